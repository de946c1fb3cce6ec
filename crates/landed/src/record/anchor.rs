//! Where the box's running time lies in the day, as the desk told it.

use serde::{Deserialize, Serialize};

use crate::units::{Micros, Span};

/// A moment of the box's running time, and what the desk's clock said then.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Anchor {
    /// The box's running time.
    pub at: Micros,
    /// The desk's clock at that moment, in microseconds since 1970-01-01 00:00 UTC, leap seconds not counted.
    pub desk_us: i64,
    /// How far `desk_us` may be off either way, the desk's own clock taken as right.
    pub uncertainty: Span,
}

impl Anchor {
    /// The anchor that follows from asking the box for its time once: the desk's clock as the question left and as the answer
    /// came, and the running time that the answer names. The box read its time somewhere between, so the middle is the best
    /// guess and half the round trip the uncertainty. `None` if the answer came before the question.
    #[must_use]
    pub fn from_exchange(asked_us: i64, answered_us: i64, at: Micros) -> Option<Self> {
        let round_trip = u64::try_from(answered_us.checked_sub(asked_us)?).ok()?;
        // Half, rounded up; the middle is then no further from either end.
        let half = round_trip.div_ceil(2);
        let uncertainty = Span::new(u32::try_from(half).ok()?);
        Some(Self { at, desk_us: asked_us.checked_add(i64::try_from(half).ok()?)?, uncertainty })
    }

    /// What the desk's clock said at another moment, as far as this anchor can tell, and how sure that is: `drift_ppm` is how fast
    /// the box's clock may run away from the desk's. `None` beyond the range of the type.
    #[must_use]
    pub fn desk_time(&self, at: Micros, drift_ppm: u32) -> Option<(i64, u64)> {
        let away = i128::from(at.get()).checked_sub(i128::from(self.at.get()))?;
        let desk = i128::from(self.desk_us).checked_add(away)?;
        let drift = away.unsigned_abs().checked_mul(u128::from(drift_ppm))?.div_ceil(1_000_000);
        let uncertainty = drift.checked_add(u128::from(self.uncertainty.get()))?;
        Some((i64::try_from(desk).ok()?, u64::try_from(uncertainty).ok()?))
    }

    /// The surer of two anchors of the same session, for moments about `at`.
    #[must_use]
    pub fn surer(self, other: Self, at: Micros, drift_ppm: u32) -> Self {
        let doubt = |anchor: &Self| anchor.desk_time(at, drift_ppm).map_or(u64::MAX, |(_, doubt)| doubt);
        if doubt(&other) < doubt(&self) { other } else { self }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_middle_of_the_exchange_and_half_of_it() {
        let anchor = Anchor::from_exchange(1_000_000, 1_004_001, Micros::new(77)).expect("in order");
        assert_eq!(anchor, Anchor { at: Micros::new(77), desk_us: 1_002_001, uncertainty: Span::new(2_001) });
        assert_eq!(Anchor::from_exchange(5, 4, Micros::ZERO), None);
        // An hour later, with a crystal of 50 ppm: 180 ms more.
        let later = anchor.desk_time(Micros::new(77 + 3_600_000_000), 50).expect("in range");
        assert_eq!(later, (3_601_002_001, 182_001));
    }

    #[test]
    fn the_nearer_anchor_wins_where_the_clock_drifts() {
        let early = Anchor { at: Micros::new(0), desk_us: 0, uncertainty: Span::new(100) };
        let late = Anchor { at: Micros::new(100_000_000), desk_us: 100_000_000, uncertainty: Span::new(2_000) };
        assert_eq!(early.surer(late, Micros::new(1_000_000), 50), early);
        assert_eq!(early.surer(late, Micros::new(90_000_000), 50), late);
    }

    proptest! {
        /// Whenever the box read its time between question and answer, the true time is within what the anchor says.
        #[test]
        fn the_truth_is_within_the_uncertainty(
            asked in -1_i64 << 50..1 << 50, trip in 0_i64..4_000_000, share in 0.0..=1.0_f64, at in 0_u64..1 << 50,
        ) {
            let truth = asked + (trip as f64 * share) as i64;
            let anchor = Anchor::from_exchange(asked, asked + trip, Micros::new(at)).expect("in order");
            let (desk, uncertainty) = anchor.desk_time(Micros::new(at), 0).expect("in range");
            prop_assert!(desk.abs_diff(truth) <= uncertainty);
        }
    }
}
