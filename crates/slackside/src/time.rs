//! Time inside the core: 32 bits, wrapping.
//!
//! Inputs and verdicts carry the whole time; state keeps only its low half, so that a comparison is one subtraction. What is older
//! than [`FAR`] is held there by a sweep that comes each [`SWEEP`]: so an age never wraps, and "never" needs no value of
//! its own. Windows longer than that (starts, bypass, inching) are kept in a slow count of 1.024 ms.

use crate::units::Micros;

/// As long ago as it matters: about 18 minutes. Every age is held there.
pub const FAR: u32 = 1 << 30;
/// The longest stretch between two sweeps, and from now to any deadline in microseconds: about 9 minutes.
pub const SWEEP: u32 = 1 << 29;
/// One step of the slow count is 2^10 µs.
pub const SLOW_SHIFT: u32 = 10;

/// One moment, whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Now(u64);

impl Now {
    /// The moment `at`.
    #[must_use]
    pub const fn new(at: Micros) -> Self {
        Self(at.get())
    }

    /// As it stands in verdicts.
    #[must_use]
    pub const fn at(self) -> Micros {
        Micros::new(self.0)
    }

    /// The low half: what state keeps. Wraps every 71 minutes.
    #[must_use]
    pub const fn us(self) -> u32 {
        self.0 as u32
    }

    /// The slow count, in 1.024 ms. Wraps every 50 days.
    #[must_use]
    pub const fn slow(self) -> u32 {
        (self.0 >> SLOW_SHIFT) as u32
    }

    /// The moment `wait` microseconds later, held at the end of time.
    #[must_use]
    pub const fn after(self, wait: u32) -> Self {
        Self(self.0.saturating_add(wait as u64))
    }

    /// The slow count `span` microseconds later: early by up to one step, never late.
    #[must_use]
    pub const fn slow_after(self, span: u32) -> u32 {
        self.after(span).slow()
    }

    /// The whole time of a stamp no later than this moment and no older than the low half holds.
    #[must_use]
    pub const fn whole(self, stamp: u32) -> Micros {
        Micros::new(self.0.saturating_sub(age(self.us(), stamp) as u64))
    }
}

/// Whether `due` has come at `now`: it lies less than 2^31 µs away on either side.
#[must_use]
pub const fn reached(now: u32, due: u32) -> bool {
    (now.wrapping_sub(due) as i32) >= 0
}

/// How long until the next sweep, which comes each [`SWEEP`] after the `first` moment: never nothing.
#[must_use]
pub const fn sweep_wait(now: u32, first: u32) -> u32 {
    SWEEP.wrapping_sub(now.wrapping_sub(first) & (SWEEP - 1))
}

/// How long ago `stamp` was.
#[must_use]
pub const fn age(now: u32, stamp: u32) -> u32 {
    now.wrapping_sub(stamp)
}

/// How long until `due`: nothing once it has come.
#[must_use]
pub const fn wait(now: u32, due: u32) -> u32 {
    if reached(now, due) { 0 } else { due.wrapping_sub(now) }
}

/// A stamp of the past, held at [`FAR`].
#[must_use]
#[cfg_attr(all(target_arch = "arm", not(target_has_atomic = "32")), inline(never))]
pub fn held(now: u32, stamp: u32) -> u32 {
    now.wrapping_sub(age(now, stamp).min(FAR))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_and_waits_go_across_the_wrap() {
        let now = Now::new(Micros::new((7 << 32) + 5));
        assert_eq!(age(now.us(), u32::MAX - 4), 10);
        assert_eq!(now.whole(u32::MAX - 4), Micros::new((7 << 32) - 5));
        assert_eq!(wait(u32::MAX - 4, 5), 10);
        assert_eq!(wait(5, u32::MAX - 4), 0);
        assert!(reached(5, u32::MAX - 4) && !reached(u32::MAX - 4, 5) && reached(5, 5));
        assert_eq!(held(5, 5_u32.wrapping_sub(FAR + 1)), 5_u32.wrapping_sub(FAR));
        assert_eq!(held(5, 4), 4);
    }

    #[test]
    fn a_sweep_comes_each_nine_minutes_and_is_never_now() {
        for first in [0, 7, u32::MAX - 3] {
            assert_eq!(sweep_wait(first, first), SWEEP);
            assert_eq!(sweep_wait(first.wrapping_add(1), first), SWEEP - 1);
            assert_eq!(sweep_wait(first.wrapping_add(SWEEP - 1), first), 1);
            assert_eq!(sweep_wait(first.wrapping_add(SWEEP), first), SWEEP);
        }
    }

    #[test]
    fn the_slow_count_is_early_by_a_step_at_the_most() {
        let now = Now::new(Micros::new(10 * 1_024 + 1_000));
        assert_eq!((now.slow(), now.slow_after(23), now.slow_after(24)), (10, 10, 11));
        assert_eq!(now.after(7).at(), Micros::new(10 * 1_024 + 1_007));
        assert_eq!(Now::new(Micros::new(u64::MAX - 1)).after(5).at(), Micros::new(u64::MAX));
        assert_eq!(Now::new(Micros::new(u64::MAX)).slow(), u32::MAX);
    }

    #[test]
    fn an_age_is_held_at_eighteen_minutes_and_not_before() {
        assert_eq!(held(FAR + 9, 9), 9);
        assert_eq!(held(FAR + 10, 9), 10);
        assert_eq!(held(3, 3_u32.wrapping_sub(FAR)), 3_u32.wrapping_sub(FAR));
    }
}
