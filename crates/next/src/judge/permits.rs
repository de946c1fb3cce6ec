//! First-out and the two permits: what follows from the alarms once all of them are known.

use super::Judge;
use super::leg::mark;
use super::view::{Out, View};
use crate::alarm::Set;
use crate::conditions::Condition;
use crate::settings::plan::set;
use crate::verdict::{Change, Permit, Phase};

/// High slip and a slow belt keep feed away whatever their action.
const HINDER: Set = Set::EMPTY
    .put(Condition::SlipVeryHigh.rank(), true)
    .put(Condition::SlipHigh.rank(), true)
    .put(Condition::Underspeed.rank(), true);
const SLOW: Set = Set::EMPTY.put(Condition::Underspeed.rank(), true).put(Condition::DeepUnderspeed.rank(), true);

/// The condition of a rank and one; 0 stands for none.
pub fn of_rank_and_one(rank: u8) -> Option<Condition> {
    Condition::of_rank(usize::from(rank.checked_sub(1)?))
}

fn rank_and_one(rank: Option<usize>) -> u8 {
    rank.map_or(0, |rank| (rank as u8).wrapping_add(1))
}

impl<const N: usize> Judge<N> {
    /// The first stop, by rank, that holds the permits dropped.
    pub(super) fn first_holding_stop(&self, view: &View<'_>) -> Option<usize> {
        self.rows.holding().and(set(view.plan.stopping)).first()
    }

    /// Tell first-out and permits where they changed.
    pub(super) fn resolve(&mut self, view: &View<'_>, out: &mut Out<'_>) {
        let holding = self.rows.holding();
        let stop = holding.and(set(view.plan.stopping)).first();
        let leg = &mut self.leg;
        let raised = core::mem::take(&mut leg.raised);
        if leg.first_out == 0 && raised != 0 {
            leg.first_out = raised;
            out.tell(Change::FirstOut(of_rank_and_one(raised)));
        } else if leg.first_out != 0 && stop.is_none() {
            leg.first_out = 0;
            out.tell(Change::FirstOut(None));
        }
        if !holding.and(SLOW).is_empty() {
            leg.put(mark::AT_SPEED, false);
        }
        let run = stop.is_none() && !leg.has(mark::BOOT_CLEARED_NEEDED);
        let hinders = holding.and(set(view.plan.dropping_feed).or(HINDER)).first();
        let feed = run && leg.phase() == Phase::Running && leg.has(mark::AT_SPEED) && hinders.is_none();
        let stopped_by = if leg.first_out != 0 { leg.first_out } else { rank_and_one(stop) };
        let dropped_by = if run { rank_and_one(hinders) } else { stopped_by };
        if !run && leg.has(mark::RUN) && leg.has(mark::PROOF) {
            leg.put(mark::PROVEN, true);
        }
        for (permit, bit, allowed, by) in
            [(Permit::Run, mark::RUN, run, stopped_by), (Permit::Feed, mark::FEED, feed, dropped_by)]
        {
            if allowed != leg.has(bit) {
                leg.put(bit, allowed);
                out.tell(Change::Permit { permit, allowed, because: of_rank_and_one(if allowed { 0 } else { by }) });
            }
        }
    }
}
