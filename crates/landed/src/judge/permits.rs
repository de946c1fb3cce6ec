//! First-out and the two permits: what follows from the alarms once all of them are known.

use super::{Condition, ConditionSet, Judge, Out};
use crate::units::Micros;
use crate::verdict::{Change, Permit, Phase, Verdict};

impl Judge {
    pub(super) fn conclude(&mut self, now: Micros, out: Out<'_>) {
        let stop = self.first_holding_stop();
        let raised = self.raised.take();
        if self.status.first_out.is_none() && raised.is_some() {
            self.status.first_out = raised;
            out(Verdict { at: now, change: Change::FirstOut(raised) });
        } else if self.status.first_out.is_some() && stop.is_none() {
            self.status.first_out = None;
            out(Verdict { at: now, change: Change::FirstOut(None) });
        }

        let slow = |condition| self.state(condition).holds();
        if slow(Condition::Underspeed) || slow(Condition::DeepUnderspeed) {
            self.course.at_speed = false;
        }
        let run = stop.is_none() && !self.status.boot_cleared_needed;
        let hinders = self.hinders_feed();
        let feed = run && self.status.phase == Phase::Running && self.course.at_speed && hinders.is_none();

        let stopped_by = self.status.first_out.or(stop);
        if run != self.status.run_permit {
            self.status.run_permit = run;
            if !run && let Some(dropped) = &mut self.people.proof {
                *dropped = true;
            }
            let because = if run { None } else { stopped_by };
            out(Verdict { at: now, change: Change::Permit { permit: Permit::Run, allowed: run, because } });
        }
        if feed != self.status.feed_permit {
            self.status.feed_permit = feed;
            let because = match (feed, run) {
                (true, _) => None,
                (false, false) => stopped_by,
                (false, true) => hinders,
            };
            out(Verdict { at: now, change: Change::Permit { permit: Permit::Feed, allowed: feed, because } });
        }
    }

    /// The first by rank that keeps feed away while the leg may run. High slip does so whatever its action.
    fn hinders_feed(&self) -> Option<Condition> {
        const HIGH: ConditionSet =
            ConditionSet::of(&[Condition::SlipVeryHigh, Condition::SlipHigh, Condition::Underspeed]);
        self.holding.and(self.dropping_feed.or(HIGH)).first()
    }
}
