//! First-out and the two permits: what follows from the alarms once all of them are known.

use super::Judge;
use super::leg::{RETURNS, mark};
use super::recent;
use super::rows::holds;
use super::view::{Out, View};
#[cfg(feature = "desk")]
use crate::alarm::Set;
use crate::alarm::bits;
use crate::conditions::Condition;
#[cfg(feature = "desk")]
use crate::settings::plan::Plan;
use crate::settings::plan::act;
use crate::time::{SLOW_SHIFT, reached};
use crate::verdict::{Change, Permit, Phase};

/// High slip and a slow belt keep feed away whatever their action.
const HINDER: [Condition; 4] =
    [Condition::SlipVeryHigh, Condition::SlipHigh, Condition::Underspeed, Condition::FeedHunting];
/// Returns of the feed are counted over half an hour, in the slow count.
const HUNTING_WINDOW: u32 = 1_800_000_000 >> SLOW_SHIFT;
/// While one of these holds the belt is not at speed.
const SLOW: [Condition; 2] = [Condition::DeepUnderspeed, Condition::Underspeed];

/// What the alarms that hold do: the first by rank of each kind, as its rank and one, 0 if there is none.
#[derive(Clone, Copy, Default)]
pub struct Holding {
    /// Drops both permits.
    stop: u8,
    /// Keeps feed away.
    hinders: u8,
    /// Whether the belt is not at speed.
    slow: bool,
    /// Whether anything is beyond that every motion may change.
    pub watched: bool,
}

/// The condition of a rank and one; 0 stands for none.
pub fn of_rank_and_one(rank: u8) -> Option<Condition> {
    Condition::of_rank(usize::from(rank.checked_sub(1)?))
}

impl Holding {
    /// The alarm of that rank has such bits.
    #[inline(never)]
    pub fn note(&mut self, rank: usize, bits: u8, view: &View<'_>) {
        self.watched |= bits & bits::BEYOND != 0 && Condition::row(rank).is_watched();
        if !holds(bits) {
            return;
        }
        let (acts, by) = (view.plan.acts(rank), (rank as u8).wrapping_add(1));
        if self.stop == 0 && acts & act::STOP != 0 {
            self.stop = by;
        }
        if self.hinders == 0 && (acts & act::DROP_FEED != 0 || is_one_of(&HINDER, rank)) {
            self.hinders = by;
        }
        self.slow |= is_one_of(&SLOW, rank);
    }
}

fn is_one_of(these: &[Condition], rank: usize) -> bool {
    these.iter().any(|condition| condition.rank() == rank)
}

/// What each alarm does under one plan, as sets of ranks: for the desk, which asks of one plan over and over.
#[cfg(feature = "desk")]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Effects {
    stop: Set,
    hinders: Set,
    slow: Set,
}

#[cfg(feature = "desk")]
impl Effects {
    pub fn of(plan: &Plan) -> Self {
        let those =
            |are: &dyn Fn(usize) -> bool| (0..Condition::COUNT).fold(Set::EMPTY, |set, rank| set.put(rank, are(rank)));
        Self {
            stop: those(&|rank| plan.acts(rank) & act::STOP != 0),
            hinders: those(&|rank| plan.acts(rank) & act::DROP_FEED != 0 || is_one_of(&HINDER, rank)),
            slow: those(&|rank| is_one_of(&SLOW, rank)),
        }
    }

    /// Whether one of these keeps the belt from being at speed.
    pub const fn is_slow(&self, held: Set) -> bool {
        !held.and(self.slow).is_empty()
    }

    /// Whether one of these stops.
    pub const fn stops(&self, held: Set) -> bool {
        !held.and(self.stop).is_empty()
    }

    /// Whether permits that were settled with one set may move with the other. Which alarm it is that stops or hinders is told only when a
    /// permit moves; and while something stops, nothing else keeps the permits dropped.
    pub fn differ(&self, one: Set, other: Set) -> bool {
        let hinders = |held: Set| !held.and(self.hinders).is_empty();
        if self.stops(one) || self.stops(other) {
            return self.stops(one) != self.stops(other);
        }
        hinders(one) != hinders(other) || self.is_slow(one) != self.is_slow(other)
    }

    /// What the alarms of this set do, where nothing else does.
    pub fn holding(&self, held: Set) -> Holding {
        let by = |set: Set| held.and(set).first().map_or(0, |rank| (rank as u8).wrapping_add(1));
        Holding { stop: by(self.stop), hinders: by(self.hinders), slow: self.is_slow(held), watched: false }
    }
}

impl Judge {
    /// Whether a stop holds the permits dropped.
    pub(super) fn is_stopped(&self, view: &View<'_>) -> bool {
        self.rows.bits.iter().zip(&view.plan.acts).any(|(bits, acts)| holds(*bits) && acts & act::STOP != 0)
    }

    /// Tell first-out and permits where they changed. Whether the feed has just been found to hunt, and is to be held for that.
    pub(crate) fn resolve(&mut self, holding: Holding, out: &mut Out<'_>) -> bool {
        let view = out.view;
        let Holding { stop, hinders, slow, .. } = holding;
        let leg = &mut self.leg;
        let raised = core::mem::take(&mut leg.raised);
        if leg.first_out == 0 && raised != 0 {
            leg.first_out = raised;
            out.tell(Change::FirstOut(of_rank_and_one(raised)));
        } else if leg.first_out != 0 && stop == 0 {
            leg.first_out = 0;
            out.tell(Change::FirstOut(None));
        }
        if slow {
            leg.put(mark::AT_SPEED, false);
        }
        // A plan that has changed may no longer say that its own fault stops.
        let run = stop == 0 && !leg.has(mark::BOOT_CLEARED_NEEDED | mark::PLAN_DAMAGED);
        let feed = run && leg.phase() == Phase::Running && leg.has(mark::AT_SPEED) && hinders == 0;
        let damaged =
            if leg.has(mark::PLAN_DAMAGED) { (Condition::SettingsFault.rank() as u8).wrapping_add(1) } else { 0 };
        let stopped_by = [leg.first_out, stop, damaged].into_iter().find(|by| *by != 0).unwrap_or(0);
        let dropped_by = if run { hinders } else { stopped_by };
        if !run && leg.has(mark::PROOF) {
            leg.put(mark::PROVEN, true);
        }
        if feed && !leg.has(mark::FEED) && leg.has(mark::FEED_DROPPED) {
            let slow = view.now.slow();
            recent::settle(&mut leg.returns, &mut leg.returns_count, |end| reached(slow, end));
            if usize::from(leg.returns_count) >= RETURNS {
                leg.put(mark::FEED_HUNTS, true);
                return true;
            }
            let end = view.now.slow().wrapping_add(HUNTING_WINDOW);
            recent::push(&mut leg.returns, &mut leg.returns_count, end);
        }
        if leg.has(mark::FEED) {
            leg.put(mark::FEED_DROPPED, run && leg.phase() == Phase::Running);
        }
        for (permit, bit, allowed, by) in
            [(Permit::Run, mark::RUN, run, stopped_by), (Permit::Feed, mark::FEED, feed, dropped_by)]
        {
            if allowed != leg.has(bit) {
                leg.put(bit, allowed);
                out.tell(Change::Permit { permit, allowed, because: of_rank_and_one(if allowed { 0 } else { by }) });
            }
        }
        false
    }
}
