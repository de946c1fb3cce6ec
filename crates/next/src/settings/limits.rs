//! The limits: what judge holds the motion against.

use serde::{Deserialize, Serialize};

use crate::conditions::{Action, Condition, Entry, Priority, Starting};
use crate::units::{Joules, Ppm, Span};

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
        self.list.get(condition.rank()).unwrap_or(first)
    }

    /// Change the limit of one condition.
    pub fn change(&mut self, condition: Condition, change: impl FnOnce(&mut Limit)) {
        if let Some(limit) = self.list.get_mut(condition.rank()) {
            change(limit);
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self::STARTING
    }
}

impl Limit {
    /// The starting value of a condition.
    #[must_use]
    pub const fn starting(starting: &Starting) -> Self {
        Self {
            enabled: true,
            setpoint: starting.setpoint,
            deadband: starting.deadband,
            on_delay: Span::from_millis(starting.on_ms),
            off_delay: Span::from_millis(starting.off_ms),
            latching: starting.latching,
            priority: starting.priority,
            action: starting.action,
        }
    }
}

/// The starting limits of a list of conditions.
pub(super) const fn all_starting<const COUNT: usize>(entries: &[Entry; COUNT]) -> [Limit; COUNT] {
    let mut list = [Limit::starting(&Condition::BeltNotFollowing.entry().starting); COUNT];
    let (mut limits, mut rest): (&mut [Limit], &[Entry]) = (&mut list, entries);
    while let ([limit, more @ ..], [entry, others @ ..]) = (limits, rest) {
        *limit = Limit::starting(&entry.starting);
        limits = more;
        rest = others;
    }
    list
}

impl Limits {
    /// The starting values.
    pub const STARTING: Self = Self {
        list: all_starting(&Condition::TABLE),
        starts: Starts {
            // A tenth of normal speed: below it nothing on a leg is worth judging, and it is proven within ten pitches.
            standstill_below: Ppm::new(100_000),
            shortest_coast_down: Span::ZERO,
            window: Span::from_millis(30 * 60 * 1_000),
            inching_time: Span::from_millis(5 * 60 * 1_000),
            bypass_time: Span::from_millis(30 * 60 * 1_000),
        },
        slip_heat: SlipHeat {
            // 25 kg of rim and lagging that take part, 0.9 kJ/(kg K), 40 K of rise.
            budget: Joules::new(900_000),
            // A pulley in a closed casing loses its heat over half an hour.
            time_constant: Span::from_millis(30 * 60 * 1_000),
        },
    };
}
