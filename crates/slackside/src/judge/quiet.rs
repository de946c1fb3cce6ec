//! The short way: a motion within everything that could change a condition.
//!
//! Where the leg runs at speed with nothing beyond a limit, a step would find every condition as it was as long as no signal reaches
//! one of the limits here; only the moments of silence and the slip heat move on.

use super::leg::mark;
use super::phase::turn;
use super::sense::Waits;
use super::view::View;
use super::{Judge, heating};
use crate::conditions::Condition;
use crate::settings::plan::{ShaftPlan, act, fitted};
use crate::signals::{Reading, ShaftSignals, moved};
use crate::time::age;
use crate::verdict::Phase;

/// Whether a signal stays below its limit; what is not judged bounds nothing.
fn stays_below(view: &View<'_>, value: i32, condition: Condition) -> bool {
    value < view.limit_of(condition).limit || view.plan.acts(condition.rank()) & act::JUDGED == 0
}

/// Whether one exact reading lies between two limits, neither reached.
fn holds(view: &View<'_>, slip: Reading, above: Condition, below: Condition) -> bool {
    let ppm = slip.least;
    slip.is_exact() && stays_below(view, ppm, above) && stays_below(view, ppm.saturating_neg(), below)
}

impl Judge {
    /// Whether the short way may be taken from now on, if nothing that every motion may change is beyond.
    pub(super) fn is_quiet(&self) -> bool {
        let marks = mark::AT_SPEED | mark::SLIP_UNKNOWN | mark::HEAT_OPEN;
        self.leg.phase() == Phase::Running && self.leg.marks & marks == mark::AT_SPEED
    }

    /// How long until silence of a shaft may change something, given the first of its limits; nothing if its last pitch already may.
    fn silence(&self, view: &View<'_>, shaft: &ShaftSignals, plan: &ShaftPlan, limit: u32) -> u32 {
        if !plan.is_fitted() {
            return u32::MAX;
        }
        let first = self.leg.scaled(limit.min(plan.sudden)).min(plan.standing);
        let now = view.now.us();
        let before_start = self.leg.opened().is_some_and(|opened| age(now, shaft.last_edge) > age(now, opened));
        if shaft.pitch == 0 || before_start || shaft.too_slow(first) {
            return 0;
        }
        super::speed::silence(shaft.last_edge, shaft.next_largest, first, now)
    }

    /// Take the motion by the short way, if it lies within; whether it did.
    #[inline(never)]
    pub(super) fn stays_quiet(&mut self, moved: u8, view: &View<'_>) -> bool {
        if !self.leg.has(mark::QUIET) || moved & moved::OTHER != 0 {
            return false;
        }
        let (plan, signals) = (view.plan, view.signals);
        // The first limit of each shaft that silence crosses.
        let row = |condition| view.limit_of(condition).limit;
        let head = turn(row(Condition::HeadUnderspeed)).min(plan.drive.head_deep);
        let boot = turn(row(Condition::DeepUnderspeed).min(row(Condition::Underspeed)).min(row(Condition::NoMotion)));
        let head = self.silence(view, &signals.head, &plan.head, head);
        let silence = head.min(self.silence(view, &signals.boot, &plan.boot, boot));
        if silence == 0 {
            return false;
        }
        if plan.head.is_fitted() {
            let slips = holds(view, signals.short, Condition::SlipVeryHigh, Condition::SlipImpossible)
                && holds(view, signals.long, Condition::SlipHigh, Condition::SlipNegative);
            let turned = i32::try_from(signals.since_boot).unwrap_or(i32::MAX);
            if !slips || !stays_below(view, turned, Condition::BeltNotFollowing) {
                return false;
            }
        }
        let fast = view.limit_of(Condition::FasterThanNormal).limit;
        if signals.boot.fast_enough(self.leg.scaled(turn(fast))) {
            return false;
        }
        if plan.has(fitted::REFERENCE) && !self.leg.reference.agrees(&signals.head) {
            return false;
        }
        // Power and drive are as they were at the last step: only slip can have changed what goes in.
        let slip = heating(plan, signals.short);
        if slip != self.leg.heat.slip {
            self.leg.heat.slip = slip;
            let now = view.now.us();
            let sooner = self.leg.heat.slide(&plan.drive, view.limit_of(Condition::SlipHeat).limit, now);
            if sooner.unwrap_or_else(|| self.feed_heat(view, now)) {
                return false;
            }
        }
        self.waits(Waits { silence, other: self.other_left(view) }, view);
        true
    }
}
