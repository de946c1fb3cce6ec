//! What a condition may look at, and the way out for what changed.

use crate::alarm::AlarmState;
use crate::conditions::{Condition, Row};
use crate::settings::plan::{Plan, RowPlan};
use crate::signals::Signals;
use crate::time::Now;
use crate::verdict::{Change, Verdict};

/// The world at one moment, to be read only.
#[derive(Clone, Copy)]
pub struct View<'a> {
    /// What the box runs on.
    pub plan: &'a Plan,
    /// What measure knows.
    pub signals: &'a Signals,
    /// The list of conditions.
    pub list: &'a [Row],
    /// The moment.
    pub now: Now,
}

impl View<'_> {
    /// The limit of the condition of that rank.
    pub fn limit(&self, rank: usize) -> &RowPlan {
        self.plan.row(rank)
    }

    /// The limit of a condition known by name.
    pub fn limit_of(&self, condition: Condition) -> &RowPlan {
        self.plan.row(condition.rank())
    }
}

/// Where verdicts go, with the moment they fall due.
pub struct Out<'a> {
    /// The moment.
    pub now: Now,
    /// Who takes them.
    pub sink: &'a mut dyn FnMut(&Verdict),
}

impl Out<'_> {
    /// Tell a change.
    #[inline(never)]
    pub fn tell(&mut self, change: Change) {
        (self.sink)(&Verdict { at: self.now.at(), change });
    }

    /// Tell that an alarm moved.
    pub fn alarm(
        &mut self,
        rank: usize,
        (from, to): (AlarmState, AlarmState),
        (value, detail): (Option<i32>, u8),
        setpoint: i32,
    ) {
        if let Some(condition) = Condition::of_rank(rank) {
            self.tell(Change::Alarm { condition, from, to, value, setpoint, detail });
        }
    }
}
