//! What goes in, as C says it.

use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::units::{DeciCelsius, Micros, Ppm, Watts};

/// What arrived; `which` and `value` mean what is said here.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlacksideKind {
    /// Nothing: no earlier input follows.
    Tick = 0,
    /// A target sensor, `which` 0 head, 1 boot; `value` 1 it went high, 0 low.
    Edge = 1,
    /// A supervised sensor line, likewise; 0 sound, 1 open, 2 shorted.
    Line = 2,
    /// Edges of that shaft were lost.
    EdgesLost = 3,
    /// A rub contact, `which` 0 head left, 1 head right, 2 boot left, 3 boot right; 0 clear, 1 rubbing, 2 faulty.
    Contact = 4,
    /// Temperature there, in tenths of a degree Celsius.
    Temperature = 5,
    /// The starter's auxiliary contact: 1 on, 0 off.
    Drive = 6,
    /// Power at the head shaft in watts.
    Power = 7,
    /// The speed asked of the drive, in parts per million of normal.
    Reference = 8,
    /// The outlet: 1 plugged, 0 free.
    Outlet = 9,
    /// A person at the leg acknowledges the alarms.
    Acknowledge = 10,
    /// The reset button at the leg: 1 held down, 0 let go; it acts on release after 0.1 to 3 s.
    Reset = 11,
    /// A person at the leg has looked into the boot and found it clear.
    BootCleared = 12,
    /// The key: 1 on, 0 off.
    Key = 13,
    /// Inching: 1 begins, 0 ends; needs the key.
    Inch = 14,
}

/// One input.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct SlacksideInput {
    /// When it happened, in microseconds of the clock that stamps the edges.
    pub at_us: u64,
    /// How much, or which way.
    pub value: i32,
    /// What: one of slackside_kind. A plain number, so that any bytes are an input, if not a good one.
    pub kind: u8,
    /// Of which shaft or place.
    pub which: u8,
}

impl SlacksideInput {
    /// As the core takes it; `None` for what is no input.
    pub(crate) fn read(&self) -> Option<Input> {
        let kind = |kind: SlacksideKind| kind as u8;
        let yes = || match self.value {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        };
        let shaft = || match self.which {
            0 => Some(Shaft::Head),
            1 => Some(Shaft::Boot),
            _ => None,
        };
        let place = || Place::ALL.get(usize::from(self.which)).copied();
        let command = |command| Signal::Command(Origin::Leg, command);
        let signal = match self.kind {
            it if it == kind(SlacksideKind::Tick) => Signal::Tick,
            it if it == kind(SlacksideKind::Edge) => Signal::Edge(shaft()?, yes()?),
            it if it == kind(SlacksideKind::Line) => {
                let state =
                    *[LineState::Sound, LineState::Open, LineState::Shorted].get(usize::try_from(self.value).ok()?)?;
                Signal::Line(shaft()?, state)
            }
            it if it == kind(SlacksideKind::EdgesLost) => Signal::EdgesLost(shaft()?),
            it if it == kind(SlacksideKind::Contact) => {
                let states = [ContactState::Clear, ContactState::Rubbing, ContactState::Faulty];
                Signal::Contact(place()?, *states.get(usize::try_from(self.value).ok()?)?)
            }
            it if it == kind(SlacksideKind::Temperature) => {
                Signal::Temperature(place()?, DeciCelsius::new(i16::try_from(self.value).ok()?))
            }
            it if it == kind(SlacksideKind::Drive) => Signal::DriveRunning(yes()?),
            it if it == kind(SlacksideKind::Power) => Signal::DrivePower(Watts::new(u32::try_from(self.value).ok()?)),
            it if it == kind(SlacksideKind::Reference) => Signal::SpeedReference(Ppm::new(self.value)),
            it if it == kind(SlacksideKind::Outlet) => Signal::OutletPlugged(yes()?),
            it if it == kind(SlacksideKind::Acknowledge) => command(Command::Acknowledge),
            it if it == kind(SlacksideKind::Reset) => command(Command::ResetButton(yes()?)),
            it if it == kind(SlacksideKind::BootCleared) => command(Command::BootCleared),
            it if it == kind(SlacksideKind::Key) => command(Command::Key(yes()?)),
            it if it == kind(SlacksideKind::Inch) => command(Command::Inch(yes()?)),
            _ => return None,
        };
        Some(Input::new(Micros::new(self.at_us), signal))
    }
}
