//! What goes into the value that survives a loss of power, and comes back out of it.

use super::Judge;
use super::leg::mark;
use crate::alarm::{Set, bits};
use crate::conditions::{Condition, ConditionSet};
use crate::retained::Retained;
use crate::settings::plan::{Plan, act};
use crate::time::{Now, SLOW_SHIFT, wait};
use crate::units::Span;

impl<const N: usize> Judge<N> {
    /// Take a plan, and what survived the last loss of power: trips are latched, whatever caused them may be gone; bypasses have lapsed.
    /// Nothing is allowed before something is observed.
    #[inline(never)]
    pub fn configure(&mut self, plan: &Plan, retained: &Retained) {
        self.leg.clear();
        let (latched, acknowledged) = (retained.latched.ranks(), retained.acknowledged.ranks());
        for (rank, bits) in self.rows.bits.iter_mut().enumerate() {
            *bits = if plan.acts(rank) & act::JUDGED != 0 { 0 } else { bits::OUT };
            if latched.contains(rank) {
                *bits |= bits::LATCHED;
                if !acknowledged.contains(rank) {
                    *bits |= bits::UNACKNOWLEDGED;
                }
            }
        }
        self.leg.first_out = retained.first_out.map_or(0, |condition| (condition.rank() as u8).wrapping_add(1));
        self.leg.put(mark::BOOT_CLEARED_NEEDED, retained.boot_cleared_needed);
        for (start, age) in self.leg.starts.iter_mut().zip(&retained.start_ages) {
            *start = age.get() >> SLOW_SHIFT;
            self.leg.starts_count = self.leg.starts_count.saturating_add(1);
        }
        self.leg.heat.begin(&plan.drive, retained.slip_heat, 0);
    }

    /// What must survive a loss of power, as it stands at `now`, the newest time.
    #[must_use]
    #[inline(never)]
    pub fn retained(&self, plan: &Plan, now: Now) -> Retained {
        let (mut latched, mut acknowledged) = (Set::EMPTY, Set::EMPTY);
        for (rank, bits) in self.rows.bits.iter().enumerate() {
            // Behind a bypass a latch is still a latch, and what is wrong would be raised afresh: bypasses lapse.
            let shelved_active = bits & (bits::SHELVED | bits::ACTIVE) == bits::SHELVED | bits::ACTIVE;
            let afresh = shelved_active && plan.acts(rank) & act::LATCHING != 0;
            if bits & bits::LATCHED != 0 || afresh {
                latched = latched.put(rank, true);
                acknowledged = acknowledged.put(rank, bits & bits::UNACKNOWLEDGED == 0 && !shelved_active);
            }
        }
        let mut retained = Retained {
            latched: ConditionSet::of_ranks(latched),
            acknowledged: ConditionSet::of_ranks(acknowledged),
            first_out: Condition::of_rank(usize::from(self.leg.first_out).wrapping_sub(1)),
            boot_cleared_needed: self.leg.has(mark::BOOT_CLEARED_NEEDED),
            slip_heat: self.leg.heat.joules(&plan.drive, now.us()),
            ..Retained::default()
        };
        for end in self.leg.starts.iter().take(self.leg.starts_count.into()) {
            let age = if self.leg.has(mark::BEGUN) {
                plan.drive.start_window.saturating_sub(wait(now.slow(), *end))
            } else {
                *end
            };
            // There is room: both hold eight.
            let _ = retained.start_ages.push(Span::new(age.saturating_mul(1 << SLOW_SHIFT)));
        }
        retained
    }
}
