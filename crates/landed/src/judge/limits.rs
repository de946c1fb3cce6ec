//! What judge keeps of the limits while it runs.

use super::condition::{Condition, ConditionSet};
use crate::settings::{Limits, Starts};
use crate::units::Span;

/// One condition's limit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit {
    pub setpoint: i32,
    pub deadband: i32,
    pub on_delay: Span,
    pub off_delay: Span,
}

impl Limit {
    const NONE: Self = Self { setpoint: 0, deadband: 0, on_delay: Span::ZERO, off_delay: Span::ZERO };
}

/// All limits, without what is known as sets or said to people only.
#[derive(Clone, Debug)]
pub(super) struct InForce {
    list: [Limit; Condition::COUNT],
    pub latching: ConditionSet,
    pub starts: Starts,
}

impl InForce {
    pub(super) const NONE: Self =
        Self { list: [Limit::NONE; Condition::COUNT], latching: ConditionSet::EMPTY, starts: Limits::STARTING.starts };

    /// Take these.
    pub(super) fn take(&mut self, limits: &Limits) {
        self.starts = limits.starts;
        for (slot, condition) in self.list.iter_mut().zip(Condition::ALL) {
            let limit = limits.of(condition);
            *slot = Limit {
                setpoint: limit.setpoint,
                deadband: limit.deadband,
                on_delay: limit.on_delay,
                off_delay: limit.off_delay,
            };
            self.latching = self.latching.put(condition, limit.latching);
        }
    }

    /// The limit of one condition.
    pub(super) fn of(&self, condition: Condition) -> &Limit {
        // The list has an entry for every condition: the first is only there to satisfy `get`.
        let [first, ..] = &self.list;
        self.list.get(condition.index()).unwrap_or(first)
    }
}
