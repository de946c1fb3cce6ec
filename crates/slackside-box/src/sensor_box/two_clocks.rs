//! Two clocks against each other: a clock that runs slow makes every speed seem higher, and loosens the stop by as much.
//!
//! The one stamps the edges; the other comes from another oscillator, is [handed in](super::SensorBox::second_clock), and need not tell
//! the time well, only go on evenly. Over spans of two seconds both must have gone equally far. Which of them is wrong is not known: the
//! permits drop.

use slackside::units::{Micros, Span};

/// They are compared each time that one of them has gone so far.
const OVER: Span = Span::from_millis(2_000);
/// They may differ by so much over that: 3 %. A slow clock adds as much to the fall of speed that stops the leg, so a stop set at 15 %
/// stays well within 20. And an oscillator without a crystal keeps 1 to 2 % over temperature (from memory), which leaves 20 ms for the
/// steps in which the two are read.
const MAY_DIFFER: Span = Span::from_millis(60);

/// Both clocks.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct TwoClocks {
    /// The second clock's time as it was handed in last; without one nothing is compared.
    second: Option<Micros>,
    /// What both told as the present comparison began.
    began: Option<(Micros, Micros)>,
}

impl TwoClocks {
    /// What the second clock says.
    pub(super) const fn hand_in(&mut self, second: Micros) {
        self.second = Some(second);
    }

    /// Whether they have gone equally far, as far as is known at `now` of the clock that stamps the edges. A second clock that nobody hands
    /// in any more stands still.
    pub(super) fn agree(&mut self, now: Micros) -> bool {
        let Some(second) = self.second else { return true };
        let (first_began, second_began) = *self.began.get_or_insert((now, second));
        // Neither goes back: one that does differs.
        let gone = |from: Micros, to: Micros| if to < from { Span::new(u32::MAX) } else { to.since(from) };
        let (first, second_gone) = (gone(first_began, now), gone(second_began, second));
        if first < OVER && second_gone < OVER {
            return true;
        }
        self.began = Some((now, second));
        first.get().abs_diff(second_gone.get()) <= MAY_DIFFER.get()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// When two clocks are found to differ, in milliseconds of true time: the first one so many per mille fast, the second as `second`
    /// tells of true milliseconds.
    fn found(fast: i64, second: impl Fn(u64) -> u64) -> Option<u64> {
        let mut clocks = TwoClocks::default();
        (0..60_000).find(|at| {
            clocks.hand_in(Micros::new(second(*at)));
            !clocks.agree(Micros::new(at.saturating_mul((1_000 + fast) as u64)))
        })
    }

    #[test]
    fn a_clock_more_than_three_per_cent_off_is_found_within_two_seconds_and_one_less_than_that_never() {
        let even = |at: u64| at * 1_000;
        for fast in [-29, -10, 0, 10, 29] {
            assert_eq!(found(fast, even), None, "{fast} per mille fast");
        }
        for fast in [-900, -280, -100, -32, 32, 100, 280, 2_000] {
            assert!(found(fast, even).is_some_and(|at| at <= 2_001), "{fast} per mille fast: {:?}", found(fast, even));
        }
    }

    /// A second clock in steps of 10 ms, as a counter of hundredths of a second.
    #[test]
    fn steps_of_ten_milliseconds_leave_two_per_cent() {
        let coarse = |at: u64| at / 10 * 10_000;
        for fast in [-20, 0, 20] {
            assert_eq!(found(fast, coarse), None, "{fast} per mille fast");
        }
        assert!(found(-280, coarse).is_some_and(|at| at <= 2_011));
    }

    #[test]
    fn a_second_clock_that_stands_or_goes_back_is_found_too() {
        assert!(found(0, |_| 7).is_some_and(|at| at <= 2_001));
        assert!(found(0, |at| if at < 10_000 { at * 1_000 } else { 5 }).is_some_and(|at| at == 10_000));
    }

    #[test]
    fn a_first_clock_that_stands_is_found_by_the_second() {
        assert!(found(-1_000, |at| at * 1_000).is_some_and(|at| at <= 2_001));
    }

    #[test]
    fn without_a_second_clock_nothing_is_compared() {
        let mut clocks = TwoClocks::default();
        assert!((0..100).all(|second| clocks.agree(Micros::new(second * 1_000_000))));
    }
}
