//! What goes into the value that survives a loss of power, and comes back out of it.

use super::Judge;
use super::leg::mark;
use super::permits::of_rank_and_one;
use crate::alarm::bits;
use crate::conditions::Condition;
use crate::retained::Retained;
use crate::settings::plan::{Plan, act};
use crate::time::{Now, SLOW_SHIFT, wait};
use crate::units::Span;

impl Judge {
    /// Take a plan, and what survived the last loss of power: trips are latched, whatever caused them may be gone; bypasses have lapsed.
    /// Nothing is allowed before something is observed.
    #[inline(never)]
    pub fn configure(&mut self, plan: &Plan, retained: &Retained) {
        self.leg.clear();
        for ((bits, acts), condition) in self.rows.bits.iter_mut().zip(&plan.acts).zip(Condition::ALL) {
            *bits = retained.alarm(condition) | if acts & act::JUDGED != 0 { 0 } else { bits::OUT };
        }
        self.leg.first_out = retained.first_out().map_or(0, |condition| (condition.rank() as u8).wrapping_add(1));
        self.leg.put(mark::BOOT_CLEARED_NEEDED, retained.boot_cleared_needed());
        for (start, age) in self.leg.starts.iter_mut().zip(retained.start_ages()) {
            *start = age.get() >> SLOW_SHIFT;
            self.leg.starts_count = self.leg.starts_count.saturating_add(1);
        }
        self.leg.heat.begin(&plan.drive, retained.slip_heat());
    }

    /// What must survive a loss of power, as it stands at `now`, the newest time.
    #[must_use]
    #[inline(never)]
    pub fn retained(&self, plan: &Plan, now: Now) -> Retained {
        let mut retained = Retained::default();
        for ((rank, bits), condition) in self.rows.bits.iter().enumerate().zip(&Condition::ALL) {
            // Behind a bypass a latch is still a latch, and what is wrong would be raised afresh: bypasses lapse.
            let afresh = bits & bits::SHELVED != 0 && bits & bits::ACTIVE != 0;
            let mut kept = bits & (bits::LATCHED | bits::UNACKNOWLEDGED);
            if afresh {
                kept |= bits::UNACKNOWLEDGED | if plan.acts(rank) & act::LATCHING != 0 { bits::LATCHED } else { 0 };
            }
            if kept & bits::LATCHED != 0 {
                retained.put_bits(*condition, kept);
            }
        }
        retained.put_first_out(of_rank_and_one(self.leg.first_out));
        retained.put_boot_cleared_needed(self.leg.has(mark::BOOT_CLEARED_NEEDED));
        retained.put_slip_heat(self.leg.heat.joules(&plan.drive, now.us()));
        for end in self.leg.starts.iter().take(self.leg.starts_count.into()) {
            let age = if self.leg.has(mark::BEGUN) {
                plan.drive.start_window.saturating_sub(wait(now.slow(), *end))
            } else {
                *end
            };
            retained.push_start(Span::new(age.saturating_mul(1 << SLOW_SHIFT)));
        }
        retained
    }
}
