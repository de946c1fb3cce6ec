//! What a condition may look at, and the way out for what changed.

use crate::alarm::AlarmState;
use crate::conditions::Condition;
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

/// Where verdicts go, and the world that they are said of.
pub struct Out<'a> {
    /// The world.
    pub view: &'a View<'a>,
    /// Who takes them.
    pub sink: &'a mut dyn FnMut(&Verdict),
}

impl Out<'_> {
    /// Tell a change.
    #[inline(never)]
    pub fn tell(&mut self, change: Change) {
        (self.sink)(&Verdict { at: self.view.now.at(), change });
    }

    /// Tell that an alarm moved.
    pub fn alarm(&mut self, rank: usize, (from, to): (AlarmState, AlarmState), (value, detail): (Option<i32>, u8)) {
        if let Some(condition) = Condition::of_rank(rank) {
            let setpoint = self.view.limit(rank).setpoint;
            self.tell(Change::Alarm { condition, from, to, value, setpoint, detail });
        }
    }
}
