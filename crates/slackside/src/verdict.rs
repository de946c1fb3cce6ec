//! What comes out: a stream of changes, each stamped with the time it fell due.

use serde::{Deserialize, Serialize};

use crate::alarm::AlarmState;
use crate::conditions::Condition;
use crate::input::{Command, Origin};
use crate::units::Micros;

/// The two permits. Energised to allow: what drops them stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Permit {
    /// The drive may run.
    Run,
    /// Material may be fed to the leg.
    Feed,
}

/// What the leg is doing, as judge sees it. State and link keep its number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// Not known yet: since power-up neither motion nor a proven standstill has been seen.
    #[default]
    Unsure,
    /// Standstill is proven.
    Standstill,
    /// The drive came on from standstill; underspeed is suppressed by design.
    Starting,
    /// Everything is judged.
    Running,
    /// The drive is off and the leg runs down.
    CoastDown,
    /// Turned slowly for maintenance.
    Inching,
}

impl Phase {
    /// The phase whose number `phase as u8` is; not known where it is none. Written out, so that to ask for one is one comparison.
    #[must_use]
    pub const fn of_number(number: u8) -> Self {
        match number {
            1 => Self::Standstill,
            2 => Self::Starting,
            3 => Self::Running,
            4 => Self::CoastDown,
            5 => Self::Inching,
            _ => Self::Unsure,
        }
    }
}

/// Why a command did nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Refusal {
    /// It came by the link and needs a person at the leg.
    OnlyAtTheLeg,
    /// The key at the box is off.
    KeyOff,
    /// Nothing is latched, or nothing is to be acknowledged.
    NothingToDo,
    /// A cause is still there.
    StillPresent,
    /// An alarm must be acknowledged first.
    NotAcknowledged,
    /// The boot has not been reported clear.
    BootNotCleared,
    /// The leg turns.
    NotAtRest,
    /// This condition may never be bypassed.
    NeverBypassed,
    /// A bypass is running already: one at a time.
    OneAtATime,
    /// The time asked for is zero or beyond the longest allowed.
    TooLong,
    /// The button was held too short or too long.
    BadPress,
}

/// What changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Change {
    /// An alarm moved from one state to another.
    Alarm {
        /// Whose alarm.
        condition: Condition,
        /// The state before.
        from: AlarmState,
        /// The state now.
        to: AlarmState,
        /// The value at that moment, in the condition's unit ([`Condition::unit`]); `None` where it is not known.
        value: Option<i32>,
        /// The setpoint it is held against, in the same unit.
        setpoint: i32,
        /// More about it: the place of a contact (0 to 3), the reasons of distrust, else 0.
        detail: u8,
    },
    /// A permit was given or dropped.
    Permit {
        /// Which.
        permit: Permit,
        /// Given or dropped.
        allowed: bool,
        /// What dropped it, where it is one condition.
        because: Option<Condition>,
    },
    /// The first condition of a trip group, or `None` when the group was cleared.
    FirstOut(Option<Condition>),
    /// The leg does something else now.
    Phase(Phase),
    /// A command was taken.
    Accepted(Origin, Command),
    /// A command was refused.
    Refused(Origin, Command, Refusal),
    /// A proof test ended: passed if the run permit dropped during it.
    ProofTest {
        /// Whether the stop was proven.
        passed: bool,
    },
}

/// One change with the time it fell due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Verdict {
    /// When it fell due: a delay that runs out is stamped with its own end, whenever anyone looked.
    pub at: Micros,
    /// What changed.
    pub change: Change,
}
