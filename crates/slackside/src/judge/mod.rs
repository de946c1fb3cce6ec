//! Judge knows limits, nothing of pulses.

mod alarm;
mod condition;
mod kept;

use crate::settings::Checked;
use crate::sight::Seen;
use crate::survivor::Survivor;
use crate::units::{Micros, Ppm};
use crate::verdict::{Phase, Verdict};

pub use alarm::AlarmState;
pub use condition::{Condition, ConditionSet, Unit};

/// What judge holds now, for screens and outputs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Status {
    /// The drive may run.
    pub run_permit: bool,
    /// The leg may be fed.
    pub feed_permit: bool,
    /// What the leg is doing.
    pub phase: Phase,
    /// The first-out of the present trip group.
    pub first_out: Option<Condition>,
    /// Whether the boot must be reported clear before the next start.
    pub boot_cleared_needed: bool,
    /// The state of every alarm, in the order of [`Condition::ALL`].
    pub alarms: [AlarmState; Condition::COUNT],
}

/// Holds motion against limits.
#[derive(Clone, Debug)]
pub struct Judge {
    status: Status,
}

impl Judge {
    /// A judge without settings: nothing is allowed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            status: Status {
                run_permit: false,
                feed_permit: false,
                phase: Phase::Unsure,
                first_out: None,
                boot_cleared_needed: false,
                alarms: [AlarmState::Normal; Condition::COUNT],
            },
        }
    }

    /// Take limits, and what survived the last loss of power.
    pub fn configure(&mut self, _settings: &Checked, _survivor: &Survivor) {}

    /// Settle everything that fell due up to `seen.at`, then take it.
    pub fn observe(&mut self, _seen: Seen<'_>, _out: &mut dyn FnMut(Verdict)) {}

    /// When something will fall due by itself.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        None
    }

    /// What judge holds now.
    #[must_use]
    pub const fn status(&self) -> &Status {
        &self.status
    }

    /// Slip heat at `now`, as a share of the budget.
    #[must_use]
    pub fn slip_heat_at(&self, _now: Micros) -> Ppm {
        Ppm::ZERO
    }

    /// What must survive a loss of power, as it stands now.
    #[must_use]
    pub fn survivor(&self) -> Survivor {
        Survivor::default()
    }
}
