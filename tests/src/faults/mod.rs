//! Single faults as one table: what fails, what must happen with the leg stopped, starting and running, and by when. Each cell is
//! [played](play) on the box's own code and then given a belt that truly stops; the fail-safe page of the book is [printed](page) from
//! the same rows.

mod list;
mod page;
mod play;
mod proof;

use slackside::conditions::Condition;
use slackside::settings::Settings;
use slackside_box::bench::{Chip, Level, Panel, Pin, Rig};
use slackside_box::fault::Fault;
use slackside_box::wires::Wires;

pub use list::rows;
pub use page::page;
pub use play::{Played, finds, play};
pub use proof::Proof;

/// What a leg does when something fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// At rest, ready to start.
    Stopped,
    /// Started 1.2 s ago, on its way to speed.
    Starting,
    /// At speed and fed.
    Running,
}

impl State {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Stopped, Self::Starting, Self::Running];
}

/// How it is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// An alarm of the leg.
    Alarm(Condition),
    /// A fault of the box.
    Box(Fault),
    /// The heartbeat ends.
    Heart,
    /// The box is off, and says nothing.
    Off,
    /// By what fails itself: the lamp goes out, or the horn sounds.
    Itself,
}

/// What must happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Must {
    /// The run permit is dropped.
    Stop {
        /// By then, in milliseconds after it failed.
        within_ms: u64,
        /// Told so.
        says: Word,
    },
    /// The run permit is dropped, once the leg is started again.
    StopOnceStarted {
        /// By then, in milliseconds after the start.
        within_ms: u64,
        /// Told so.
        says: Word,
    },
    /// The alarm output falls; the leg may run on.
    Alarm {
        /// By then, in milliseconds after it failed.
        within_ms: u64,
        /// Told so.
        says: Word,
    },
    /// The alarm output falls, once the leg is started again.
    AlarmOnceStarted {
        /// By then, in milliseconds after the start.
        within_ms: u64,
        /// Told so.
        says: Word,
    },
    /// Nothing for now; told at once when the run permit is next dropped, before any new start.
    AtNextStop {
        /// By then, in milliseconds after the drop.
        within_ms: u64,
        /// Told so.
        says: Word,
    },
    /// Nothing for now; told before the leg can be started again, and then it cannot.
    BeforeNextStart {
        /// Told so.
        says: Word,
    },
    /// The alarm output falls, once the leg has run for an hour of the time; the leg may run on.
    AlarmWithADay {
        /// By then, in milliseconds after it failed.
        within_ms: u64,
        /// Told so.
        says: Word,
        /// What finds it sooner.
        sooner: Proof,
    },
    /// Nothing at a steady speed; the run permit is dropped once the motor is switched off.
    OnceOff {
        /// By then, in milliseconds after the motor went off.
        within_ms: u64,
        /// Told so.
        says: Word,
        /// What finds it sooner.
        sooner: Proof,
    },
    /// Nothing: it takes no protection away.
    Nothing,
    /// Nothing, though it takes protection away: no program can see it. A proof test finds it.
    Unseen(Proof),
}

impl Must {
    /// The proof test that finds it, where no program sees it, or sees it later.
    #[must_use]
    pub const fn proof(self) -> Option<Proof> {
        match self {
            Self::Unseen(proof) | Self::AlarmWithADay { sooner: proof, .. } | Self::OnceOff { sooner: proof, .. } => {
                Some(proof)
            }
            _ => None,
        }
    }
}

/// What becomes of a belt that truly stops, with the fault there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeltStop {
    /// The motor is off within three seconds, if it was not off before.
    Stopped,
    /// The permits are dropped and the alarm falls, but they do not reach the motor.
    ToldOnly,
    /// At speed it is not seen, and the motor runs on.
    Missed,
}

/// How it comes to be.
#[derive(Clone, Copy)]
pub enum Make {
    /// While the box is on.
    While(fn(&mut Rig)),
    /// Power goes, and this becomes of the flash before it comes back.
    OverPower(fn(&mut Chip)),
}

/// The wires of a box on this panel.
pub type Wire = fn(&Panel) -> Wires<Pin, Pin, Level>;

/// A chapter of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Target sensors and their wires.
    Sensors,
    /// Rub contacts, buttons, auxiliary contacts.
    Contacts,
    /// Relays, their read-backs, the starter.
    Permits,
    /// Power, clock, watchdog, program.
    Program,
    /// Flash.
    Memory,
}

impl Group {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Sensors, Self::Contacts, Self::Permits, Self::Program, Self::Memory];

    /// Its heading.
    #[must_use]
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Sensors => "Target sensors and their wires",
            Self::Contacts => "Contacts, buttons, key",
            Self::Permits => "Permits, relays, starter",
            Self::Program => "Power, clock, watchdog, program",
            Self::Memory => "Memory",
        }
    }
}

/// One fault.
#[derive(Clone, Copy)]
pub struct Row {
    /// Its chapter.
    pub group: Group,
    /// What fails.
    pub what: &'static str,
    /// How.
    pub make: Make,
    /// How the box was wired from the first day.
    pub wire: Wire,
    /// Whether the box has a second clock.
    pub two_clocks: bool,
    /// Whether the box proves the watchdog outside before each start.
    pub proves_watchdog: bool,
    /// By how many per mille each pitch of the boot's targets is wider than the mean one; none where all are even.
    pub boot_pitches: &'static [i64],
    /// What must happen, in the order of [`State::ALL`].
    pub must: [Must; 3],
    /// And then a belt that stops.
    pub belt: BeltStop,
    /// The leg's settings.
    pub settings: fn() -> Settings,
}
