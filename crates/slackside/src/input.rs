//! What goes in: every input carries its own time, and nothing else tells the core what time it is.

use serde::{Deserialize, Serialize};

use crate::conditions::Condition;
use crate::units::{DeciCelsius, Micros, Ppm, Span, Watts};

/// The shafts that carry targets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Shaft {
    /// The driven pulley's shaft at the top.
    Head,
    /// The pulley's shaft at the bottom, turned by the belt.
    Boot,
}

/// Where a rub contact sits: its station and its side, for a person standing on the up-strand side and looking the way
/// the head discharges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Place {
    /// Head, left.
    HeadLeft,
    /// Head, right.
    HeadRight,
    /// Boot, left.
    BootLeft,
    /// Boot, right.
    BootRight,
}

impl Place {
    /// How many there are.
    pub const COUNT: usize = 4;
    /// All of them, in the order used everywhere.
    pub const ALL: [Self; Self::COUNT] = [Self::HeadLeft, Self::HeadRight, Self::BootLeft, Self::BootRight];

    /// The position in [`Place::ALL`], 0 to 3.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

/// What a rub contact says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ContactState {
    /// The belt does not touch it.
    #[default]
    Clear,
    /// The belt rubs.
    Rubbing,
    /// Its line is cut or shorted: what the belt does there is not known.
    Faulty,
}

/// The state of a supervised sensor line, in the way of IEC 60947-5-6.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LineState {
    /// Current within the working range.
    #[default]
    Sound,
    /// No current: the wire is cut or the sensor is off.
    Open,
    /// Too much current: the wires touch.
    Shorted,
}

/// Where a command comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Origin {
    /// A person at the box beside the leg.
    Leg,
    /// The link: someone who may not see the leg.
    Link,
}

/// What a person asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Command {
    /// I have seen the alarms.
    Acknowledge,
    /// Clear latched alarms whose cause is gone: a press already found to be of proper length.
    Reset,
    /// The reset button is held down (`true`) or let go (`false`); it acts on release after 0.1 to 3 s.
    ResetButton(bool),
    /// The boot was opened, looked into and found clear.
    BootCleared,
    /// The key at the box is on (`true`) or off.
    Key(bool),
    /// Bypass one condition for so long; needs the key.
    Bypass(Condition, Span),
    /// End every bypass.
    EndBypass,
    /// Turn the belt slowly for maintenance (`true`) or end it; needs the key.
    Inch(bool),
    /// Begin (`true`) or end a proof test: a trip during it counts as proof.
    ProofTest(bool),
    /// The box has put a new plan in force, and a person there has confirmed it. Said by the box itself; changes nothing.
    Armed {
        /// The identity of the plan before, 0 if there was none.
        old: u32,
        /// The identity of that now in force.
        new: u32,
    },
}

/// What arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Signal {
    /// The target sensor of a shaft went high (`true`) or low. Both levels are needed.
    Edge(Shaft, bool),
    /// The supervised line of a target sensor changed state.
    Line(Shaft, LineState),
    /// Edges of this shaft were lost on the way here (a queue overflowed).
    EdgesLost(Shaft),
    /// A rub contact changed.
    Contact(Place, ContactState),
    /// Temperature at a rub point.
    Temperature(Place, DeciCelsius),
    /// The starter's auxiliary contact: the motor is on (`true`) or off.
    DriveRunning(bool),
    /// Power at the head shaft.
    DrivePower(Watts),
    /// The speed asked of a variable-speed drive, of normal operating speed.
    SpeedReference(Ppm),
    /// The outlet below the head is plugged (`true`) or free.
    OutletPlugged(bool),
    /// Someone asks for something.
    Command(Origin, Command),
    /// Nothing, but no earlier input follows.
    Tick,
}

/// One input with its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Input {
    /// When it happened.
    pub at: Micros,
    /// What happened.
    pub signal: Signal,
}

impl Input {
    /// `signal` at `at`.
    #[must_use]
    pub const fn new(at: Micros, signal: Signal) -> Self {
        Self { at, signal }
    }
}
