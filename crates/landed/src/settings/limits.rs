//! The limits: what judge holds the motion against.

use serde::{Deserialize, Serialize};

use crate::judge::Condition;
use crate::units::{Joules, Ppm, Span};

/// What a condition does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Action {
    /// Tells people.
    Alarm,
    /// Drops the feed permit too, so that the leg empties.
    DropFeed,
    /// Drops both permits: the leg stops.
    Stop,
}

/// How urgent an alarm is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Priority {
    /// At the next round.
    Low,
    /// Soon.
    Medium,
    /// Now.
    High,
}

/// One condition's limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limit {
    /// Whether it is judged at all.
    pub enabled: bool,
    /// The value from which it is wrong, in [`Condition::unit`].
    pub setpoint: i32,
    /// How far back inside the setpoint the value must come before it is right again, in the same unit.
    pub deadband: i32,
    /// How long it must be wrong without a break before the alarm comes.
    pub on_delay: Span,
    /// How long it must be right without a break before the alarm goes.
    pub off_delay: Span,
    /// Whether the alarm stays until reset.
    pub latching: bool,
    /// How urgent it is.
    pub priority: Priority,
    /// What it does.
    pub action: Action,
}

/// Start supervision and start counting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Starts {
    /// A shaft proven slower than this share of its normal speed stands.
    pub standstill_below: Ppm,
    /// The shortest time the leg takes to run down, if known; zero if not. Silence sooner is not a stop.
    pub shortest_coast_down: Span,
    /// The rolling window in which starts are counted. At most 71 minutes.
    pub window: Span,
    /// The longest inching may last.
    pub inching_time: Span,
    /// The longest a bypass may last.
    pub bypass_time: Span,
}

/// The thermal image of pulley and belt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SlipHeat {
    /// The heat that stops the leg.
    pub budget: Joules,
    /// The time constant with which the heat goes away.
    pub time_constant: Span,
}

/// All limits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    pub(super) list: [Limit; Condition::COUNT],
    /// Starts, standstill, inching and bypass.
    pub starts: Starts,
    /// Slip heat.
    pub slip_heat: SlipHeat,
}

impl Limits {
    /// The limit of one condition.
    #[must_use]
    pub fn of(&self, condition: Condition) -> &Limit {
        // The list has an entry for every condition: the first is only there to satisfy `get`.
        let [first, ..] = &self.list;
        self.list.get(condition.index()).unwrap_or(first)
    }

    /// Change the limit of one condition.
    pub fn change(&mut self, condition: Condition, change: impl FnOnce(&mut Limit)) {
        if let Some(limit) = self.list.get_mut(condition.index()) {
            change(limit);
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self::STARTING
    }
}
