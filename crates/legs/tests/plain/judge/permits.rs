//! First-out and the two permits, once all alarms are known.

use slackside::conditions::Condition;
use slackside::settings::plan::act;
use slackside::verdict::{Change, Permit, Phase};

use super::{HALF_AN_HOUR, Judge, SLOW};

impl Judge<'_> {
    /// Whether the feed has just been found to hunt.
    pub(super) fn resolve(&mut self) -> bool {
        let holding = |judge: &Self, what: &dyn Fn(usize) -> bool| {
            (0..Condition::COUNT).find(|rank| judge.alarms[*rank].holds() && what(*rank))
        };
        let is = |rank: usize, these: &[Condition]| these.iter().any(|condition| condition.rank() == rank);
        let plan = self.plan;
        let stop = holding(self, &|rank| plan.acts(rank) & act::STOP != 0);
        let hinders = holding(self, &|rank| {
            use Condition::{FeedHunting, SlipHigh, SlipVeryHigh, Underspeed};
            plan.acts(rank) & act::DROP_FEED != 0 || is(rank, &[SlipVeryHigh, SlipHigh, Underspeed, FeedHunting])
        });
        let slow = holding(self, &|rank| is(rank, &[Condition::DeepUnderspeed, Condition::Underspeed])).is_some();
        let raised = self.raised.take();
        if self.first_out.is_none() && raised.is_some() {
            self.first_out = raised;
            self.said.push(Change::FirstOut(raised.and_then(Condition::of_rank)));
        } else if self.first_out.is_some() && stop.is_none() {
            self.first_out = None;
            self.said.push(Change::FirstOut(None));
        }
        self.at_speed &= !slow;
        let run = stop.is_none() && !self.boot_needed;
        let feed = run && self.phase == Phase::Running && self.at_speed && hinders.is_none();
        if !run && self.run {
            self.proof = self.proof.map(|_| true);
        }
        if feed && !self.feed && self.feed_dropped {
            let slow = self.now / SLOW;
            self.returns.retain(|end| *end > slow);
            if self.returns.len() >= 3 {
                self.feed_hunts = true;
                return true;
            }
            self.returns.push(slow + HALF_AN_HOUR / SLOW);
        }
        if self.feed {
            self.feed_dropped = run && self.phase == Phase::Running;
        }
        let stopped = self.first_out.or(stop);
        let by = [(Permit::Run, run, stopped), (Permit::Feed, feed, if run { hinders } else { stopped })];
        for (permit, allowed, because) in by {
            let held = if permit == Permit::Run { &mut self.run } else { &mut self.feed };
            if std::mem::replace(held, allowed) != allowed {
                let because = because.filter(|_| !allowed).and_then(Condition::of_rank);
                self.said.push(Change::Permit { permit, allowed, because });
            }
        }
        false
    }
}
