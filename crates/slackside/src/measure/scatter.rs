//! Pitches that scatter as no shaft can turn.
//!
//! A pulley with a belt round it is heavy: from one pitch to the next its speed changes by little, and never to and fro. A target
//! that stands at the edge of the sensor's reach and trembles gives edges at any rate, the leg's own among them, but not so evenly.
//! So each pitch is held against the pitch of the same two marks a turn ago, and the quotient against that of the pitch before:
//! the spacing of the marks cancels before it is learned, a ramp of speed leaves next to nothing, and what is left is scatter.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

/// A shaft whose speed changes by more than this part (1/2^3) in a turn does not turn steadily.
const UNSTEADY_SHIFT: u32 = 3;
/// At this score the signal is not to be trusted. A jolt, which is seen twice and again a turn later, adds 28 at the most. Edges
/// that lie anywhere in a fifth of a pitch come to it in 27 pitches on average, in a third of a pitch in 15.
const MOST: u8 = 48;

/// Two quotients in a row that differ by more than the whole say nothing: an edge was lost or extra, and is dealt with as such.
/// Below that, what their difference adds to the score or takes from it: about 1/32 of their size, less 1/8. So much a belt may surge
/// to and fro, by 3 % of its speed at the worst of all rates, and so much comes of a loose bracket's half a millisecond at thirty edges
/// a second. A jitter of 5 µs is far below.
const fn weigh(off: u32, whole: u32) -> i8 {
    if off > whole {
        0
    } else if off >= whole >> 2 {
        7
    } else if off >= whole >> 3 {
        3
    } else if off >= whole >> 4 {
        -1
    } else {
        -3
    }
}

/// The scatter of one shaft.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Scatter {
    /// The pitch a turn before the last one, in microseconds.
    pub then_before: u32,
    /// How the last pitches have scattered, 0 to [`MOST`].
    score: u8,
    /// Steady pitches in a row.
    calm: u8,
    /// Pitches since the marks were last in step with what is remembered of them, up to a turn and two.
    in_step: u8,
    spare: u8,
}

impl Scatter {
    /// What is remembered of the last turn is not in step with what comes.
    pub const fn lose_step(&mut self) {
        self.in_step = 0;
        self.calm = 0;
    }

    /// A pitch took `now`, the one before it `before`, and the same pitch a turn ago `then`, all in microseconds; the shaft
    /// has so many marks. What it adds to the score or takes from it.
    pub const fn take(&mut self, now: u32, before: u32, then: u32, marks: u8) -> i8 {
        let then_before = core::mem::replace(&mut self.then_before, then);
        // A whole turn and both ends of it must be remembered.
        if self.in_step <= marks.saturating_add(1) {
            self.in_step = self.in_step.saturating_add(1);
            return 0;
        }
        // The two quotients over one denominator, in sixteen bits each: what is lost is a ten-thousandth, and a small processor
        // multiplies in one step.
        let by = 16_u32.saturating_sub((now | before | then | then_before).leading_zeros());
        let whole = then.wrapping_shr(by).wrapping_mul(then_before.wrapping_shr(by));
        let one = now.wrapping_shr(by).wrapping_mul(then_before.wrapping_shr(by));
        let weight = weigh(one.abs_diff(before.wrapping_shr(by).wrapping_mul(then.wrapping_shr(by))), whole);
        let changes = now.abs_diff(then) > then >> UNSTEADY_SHIFT;
        self.calm = if weight < 0 && !changes { self.calm.saturating_add(1) } else { 0 };
        weight
    }

    /// Let a pitch count. What speaks against the shaft does so only while whatever drives it is `steady`.
    pub const fn count(&mut self, weight: i8, steady: bool) {
        if weight < 0 || steady {
            let score = self.score.saturating_add_signed(weight);
            self.score = if score < MOST { score } else { MOST };
        }
    }

    /// Whether a shaft of so many marks has turned steadily for two turns.
    pub const fn is_steady(&self, marks: u8) -> bool {
        self.calm >= marks.saturating_mul(2)
    }

    /// Whether nothing at all speaks against it.
    pub const fn is_spotless(&self) -> bool {
        self.score == 0
    }

    /// Whether its pitches scatter, given whether they did so far: until as many have been steady again.
    pub const fn is_wild(&self, so_far: bool) -> bool {
        self.score >= MOST || (so_far && self.score > 0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use super::*;

    /// Feed pitches of a shaft with four marks; how many it took until they were wild.
    fn wild_after(pitches: &[u32]) -> Option<usize> {
        let mut scatter = Scatter::default();
        for (index, window) in pitches.windows(5).enumerate() {
            let [then, _, _, before, now] = *window else { return None };
            let weight = scatter.take(now, before, then, 4);
            scatter.count(weight, true);
            if scatter.is_wild(false) {
                return Some(index);
            }
        }
        None
    }

    #[test]
    fn what_scatters_more_weighs_more() {
        for (off, weight) in
            [(0, -3), (61, -3), (62, -1), (124, -1), (125, 3), (249, 3), (250, 7), (1_000, 7), (1_001, 0)]
        {
            assert_eq!(weigh(off, 1_000), weight, "{off}");
        }
    }

    /// Two marks: whole turns and both ends must be remembered before anything counts, and steady is two turns of calm.
    #[test]
    fn a_shaft_is_steady_after_two_calm_turns() {
        let mut scatter = Scatter::default();
        let weights: Vec<i8> = (0..6).map(|_| scatter.take(1_000, 1_000, 1_000, 2)).collect();
        assert_eq!(weights, [0, 0, 0, 0, -3, -3]);
        assert!(!scatter.is_steady(2));
        scatter.take(1_000, 1_000, 1_000, 2);
        assert!(!scatter.is_steady(2), "three of four");
        scatter.take(1_000, 1_000, 1_000, 2);
        assert!(scatter.is_steady(2) && !scatter.is_steady(3));
        // Faster by an eighth within a turn, each pitch as the one before it: steady still; by more it changes.
        let mut changing = scatter;
        scatter.take(1_125, 1_125, 1_000, 2);
        scatter.then_before = 1_000;
        assert!(scatter.is_steady(2));
        changing.take(1_126, 1_126, 1_000, 2);
        assert!(!changing.is_steady(2));
        scatter.lose_step();
        assert!(!scatter.is_steady(2) && scatter.take(1_000, 1_000, 1_000, 2) == 0);
    }

    #[test]
    fn the_score_counts_against_a_shaft_only_while_its_drive_is_steady() {
        let mut scatter = Scatter::default();
        for _ in 0..20 {
            scatter.count(7, false);
        }
        assert!(scatter.is_spotless());
        for weight in [7, 7, 7, 7, 7, 7, 3] {
            scatter.count(weight, true);
            assert!(!scatter.is_wild(false) && !scatter.is_spotless());
        }
        // 45 and 3 are the limit; what comes beyond it is not remembered.
        scatter.count(3, true);
        assert!(scatter.is_wild(false));
        scatter.count(7, true);
        for _ in 0..15 {
            scatter.count(-3, false);
            assert!(scatter.is_wild(true) && !scatter.is_wild(false));
        }
        scatter.count(-3, false);
        assert!(!scatter.is_wild(true) && scatter.is_spotless());
    }

    #[test]
    fn uneven_marks_and_ramps_do_not_scatter() {
        let shares = [194_u32, 306, 180, 320];
        let steady: Vec<u32> = (0..400).map(|pitch| shares[pitch % 4] * 760).collect();
        assert_eq!(wild_after(&steady), None);
        // Half as fast again within ten turns.
        let ramp: Vec<u32> = (0..40).map(|pitch| shares[pitch % 4] * (1_140 - 9 * pitch as u32)).collect();
        assert_eq!(wild_after(&ramp), None);
        // A jolt every sixteen pitches.
        let jolts: Vec<u32> =
            (0..400).map(|pitch| shares[pitch % 4] * if pitch % 16 == 0 { 900 } else { 760 }).collect();
        assert_eq!(wild_after(&jolts), None);
    }

    #[test]
    fn edges_that_tremble_are_found_within_sixty() {
        let mut seed = 7_u64;
        let mut unit = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as f64 / (1_u64 << 31) as f64
        };
        // Each edge up to a fifth of a period late.
        let edges: Vec<f64> = (0..200).map(|edge| (f64::from(edge) + 0.2 * unit()) * 200_000.0).collect();
        let pitches: Vec<u32> = edges.windows(2).map(|pair| (pair[1] - pair[0]) as u32).collect();
        assert!(wild_after(&pitches).is_some_and(|after| after < 60), "{:?}", wild_after(&pitches));
    }
}
