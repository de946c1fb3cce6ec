//! Circular statistics: do rubs happen anywhere on the belt, or always at the same place?
//!
//! Each rub is an angle on the circle that the belt loop (or a shaft's turn) makes. Angles from anywhere cancel; angles
//! from one place add up. The Rayleigh test says how likely a sum of this length is by chance: with `R` the length of the
//! sum of `n` unit vectors, `p = exp(sqrt(1 + 4n + 4(n² − R²)) − (1 + 2n))` (Zar, *Biostatistical Analysis*; the formula as
//! used in the CircStat toolbox).
//!
//! The loop length is known from geometry to a few per cent only, and 2 % wrong smears 50 loops evenly over the circle. So
//! [`BeltPhase`] tries a comb of lengths, and multiplies the best `p` by the number of trials, as one must who has tried
//! often (Bonferroni).

// Floats and micromath are allowed here and nowhere else in the core: nothing is decided from these figures. The errors of
// micromath's sine, cosine, root and exponential are bounded in the tests below.
#![allow(clippy::float_arithmetic)]

use micromath::F32Ext;

use crate::units::{Micrometres, TurnFraction, Turns};

/// The sum of unit vectors on the circle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Resultant {
    count: u32,
    cosines: f32,
    sines: f32,
}

impl Resultant {
    /// No angle yet.
    pub const NONE: Self = Self { count: 0, cosines: 0.0, sines: 0.0 };

    /// Add one angle.
    pub fn add(&mut self, angle: TurnFraction) {
        // The upper 24 bits of the angle, which a float holds exactly, as −π to π.
        let turn = (angle.get() >> 8) as f32 / 16_777_216.0;
        let folded = if turn >= 0.5 { turn - 1.0 } else { turn };
        let radians = folded * core::f32::consts::TAU;
        self.cosines += F32Ext::cos(radians);
        self.sines += F32Ext::sin(radians);
        self.count = self.count.saturating_add(1);
    }

    /// How many angles.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The length of the sum over the number: 1 if all angles are the same, near 0 if they come from anywhere. 0 for none.
    #[must_use]
    pub fn length(&self) -> f32 {
        if self.count == 0 {
            return 0.0;
        }
        let length = root(self.square()) / self.count as f32;
        if length > 1.0 { 1.0 } else { length }
    }

    /// The chance of so long a sum, or a longer one, if the angles came from anywhere. 1 for none.
    #[must_use]
    pub fn chance(&self) -> f32 {
        let n = self.count as f32;
        if self.count == 0 {
            return 1.0;
        }
        let most = n * n;
        let square = if self.square() > most { most } else { self.square() };
        // sqrt(a² − 4R²) − a = −4R² / (sqrt(a² − 4R²) + a) with a = 1 + 2n: nothing cancels.
        let a = 1.0 + 2.0 * n;
        let exponent = -4.0 * square / (root(a * a - 4.0 * square) + a);
        // Beyond −80 the exponential is nothing a float holds.
        if exponent < -80.0 { 0.0 } else { F32Ext::exp(exponent) }
    }

    /// The mean direction in degrees, 0 to 360; meaningless where [`length`](Self::length) is small.
    #[must_use]
    pub fn mean_degrees(&self) -> f32 {
        let degrees = F32Ext::atan2(self.sines, self.cosines) * (180.0 / core::f32::consts::PI);
        if degrees < 0.0 { degrees + 360.0 } else { degrees }
    }

    fn square(&self) -> f32 {
        self.cosines * self.cosines + self.sines * self.sines
    }
}

/// The square root; micromath's is off by up to 4 %, and one step of Newton makes that less than a thousandth.
fn root(square: f32) -> f32 {
    let near = F32Ext::sqrt(square);
    if near > 0.0 { 0.5 * (near + square / near) } else { 0.0 }
}

/// How many loop lengths are tried: −3 % to +3 % of the geometry's, a quarter per cent apart.
pub const TRIALS: usize = 25;

/// Rubs on the belt loop, whose length is known only roughly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeltPhase {
    loop_length: Micrometres,
    trials: [Resultant; TRIALS],
}

impl BeltPhase {
    /// Nothing seen yet on a loop of about that length.
    #[must_use]
    pub const fn new(loop_length: Micrometres) -> Self {
        Self { loop_length, trials: [Resultant::NONE; TRIALS] }
    }

    /// A rub after the belt has travelled so far.
    pub fn add(&mut self, travelled: Micrometres) {
        for (index, trial) in self.trials.iter_mut().enumerate() {
            let length = trial_length(self.loop_length, index);
            let Some(place) = travelled.get().checked_rem(length).filter(|place| *place >= 0) else { continue };
            // place < length < 2^31 in settings that passed; the shift keeps within i128 in any case.
            let fraction = (i128::from(place) << 32).checked_div(i128::from(length)).unwrap_or(0);
            trial.add(TurnFraction::new(u32::try_from(fraction).unwrap_or(u32::MAX)));
        }
    }

    /// How many rubs.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.trials.first().map_or(0, Resultant::count)
    }

    /// The chance that rubs from anywhere look so much like one place at any of the lengths tried, and the length at which
    /// they do most.
    #[must_use]
    pub fn chance(&self) -> (f32, Micrometres) {
        let mut best = (1.0, self.loop_length);
        for (index, trial) in self.trials.iter().enumerate() {
            let chance = trial.chance();
            if chance < best.0 {
                best = (chance, Micrometres::new(trial_length(self.loop_length, index)));
            }
        }
        let corrected = best.0 * TRIALS as f32;
        (if corrected > 1.0 { 1.0 } else { corrected }, best.1)
    }
}

/// The length of one trial: the middle one is that of the geometry.
fn trial_length(loop_length: Micrometres, index: usize) -> i64 {
    let steps = (index as i64).saturating_sub((TRIALS as i64) / 2);
    let change = loop_length.get().saturating_mul(steps).saturating_mul(25) / 10_000;
    loop_length.get().saturating_add(change)
}

/// How far the belt has travelled when the boot shaft has turned so far, each turn moving it by `circumference`.
#[must_use]
pub(super) fn travelled(boot: Turns, circumference: Micrometres) -> Micrometres {
    let scaled = i128::from(boot.get()).saturating_mul(i128::from(circumference.get())) >> 32;
    Micrometres::new(i64::try_from(scaled).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;

    fn of_degrees(degrees: &[f64]) -> Resultant {
        let mut sum = Resultant::NONE;
        for angle in degrees {
            sum.add(TurnFraction::new((angle.rem_euclid(360.0) / 360.0 * 4_294_967_296.0) as u32));
        }
        sum
    }

    /// What the same angles give in double precision with the library's functions.
    fn exactly(degrees: &[f64]) -> (f64, f64, f64) {
        let n = degrees.len() as f64;
        let cos: f64 = degrees.iter().map(|angle| angle.to_radians().cos()).sum();
        let sin: f64 = degrees.iter().map(|angle| angle.to_radians().sin()).sum();
        let square = cos * cos + sin * sin;
        let chance = ((1.0 + 4.0 * n + 4.0 * (n * n - square)).sqrt() - (1.0 + 2.0 * n)).exp();
        (square.sqrt() / n, chance, sin.atan2(cos).to_degrees().rem_euclid(360.0))
    }

    /// Errors allowed to micromath: mean length 0.005, chance 5 % of itself, mean direction 0.6 degrees.
    fn near(sum: &Resultant, length: f64, chance: f64, mean: f64) {
        assert!((f64::from(sum.length()) - length).abs() < 0.005, "length {} not {length}", sum.length());
        assert!(
            (f64::from(sum.chance()) - chance).abs() < 0.05 * chance + 1e-6,
            "chance {} not {chance}",
            sum.chance()
        );
        assert!((f64::from(sum.mean_degrees()) - mean).abs() < 0.6, "mean {} not {mean}", sum.mean_degrees());
    }

    // 3.141 is a published datum that happens to lie near pi.
    #[allow(clippy::approx_constant)]
    #[test]
    fn published_examples() {
        // Documentation of astropy.stats.rayleightest, data 130, 90, 0, 145 degrees: mean length 0.596197, mean direction
        // 101.169; chance by the formula used here 0.254678 (the documentation's 0.25635 is by another series).
        near(&of_degrees(&[130.0, 90.0, 0.0, 145.0]), 0.596_197, 0.254_678, 101.169);
        // Documentation of pingouin.circ_rayleigh: 0.785, 1.57, 3.141, 0.839, 5.934 rad: z 1.236, p 0.304844.
        let radians = [0.785_f64, 1.57, 3.141, 0.839, 5.934];
        let degrees: std::vec::Vec<f64> = radians.iter().map(|angle| angle.to_degrees()).collect();
        near(&of_degrees(&degrees), 0.497_230, 0.304_844, 58.038_5);
        // Zar, Biostatistical Analysis, example of leaning trees: printed r 0.82522, mean 99 degrees (data from memory).
        let trees = [45.0, 55.0, 81.0, 96.0, 110.0, 117.0, 132.0, 154.0];
        near(&of_degrees(&trees), 0.825_22, 0.001_851_64, 98.988);
        // Mardia's roulette: printed r 0.711, mean 51 degrees (data from memory).
        let roulette = [43.0, 45.0, 52.0, 61.0, 75.0, 88.0, 88.0, 279.0, 357.0];
        near(&of_degrees(&roulette), 0.710_991, 0.007_036_38, 51.050);
    }

    #[test]
    fn evenly_spread_angles_say_nothing() {
        let even: std::vec::Vec<f64> = (0..12).map(|step| f64::from(step) * 30.0).collect();
        assert!(of_degrees(&even).length() < 0.005);
        assert!(of_degrees(&even).chance() > 0.999);
        assert!((Resultant::NONE.chance() - 1.0).abs() < f32::EPSILON);
    }

    #[test]
    fn the_error_of_the_approximations_is_bounded() {
        // From one place (0) to anywhere (360), few and many: never further from double precision than stated above.
        for count in [3_u32, 5, 10, 30, 100, 1_000] {
            for spread in [5.0, 40.0, 90.0, 150.0, 220.0, 300.0] {
                let angles: std::vec::Vec<f64> = (0..count)
                    .map(|index| 200.0 + spread * (f64::from(index * 37 % count) / f64::from(count)))
                    .collect();
                let sum = of_degrees(&angles);
                let (length, chance, _) = exactly(&angles);
                assert!((f64::from(sum.length()) - length).abs() < 0.005, "{count} {spread}");
                // Of a chance below a millionth nobody needs the figures; above it, 5 % of itself.
                if chance > 1e-6 {
                    let error = (f64::from(sum.chance()) - chance).abs();
                    assert!(error < 0.05 * chance, "{count} {spread}: {} not {chance}", sum.chance());
                } else {
                    assert!(sum.chance() < 1e-5);
                }
            }
        }
    }

    #[test]
    fn a_splice_is_found_though_the_loop_is_two_per_cent_longer_than_thought() {
        let thought = Micrometres::new(61_950_000);
        let truly = 63_189_000_i64;
        let mut splice = BeltPhase::new(thought);
        let mut middle_only = Resultant::NONE;
        for turn in 0..50_i64 {
            let travelled = Micrometres::new(turn * truly + 20_000_000 + (turn % 7) * 30_000);
            splice.add(travelled);
            let place = travelled.get() % thought.get();
            middle_only.add(TurnFraction::new(((i128::from(place) << 32) / i128::from(thought.get())) as u32));
        }
        // Without the trials, 2 % over 50 loops is one whole turn: nothing is left to see.
        assert!(middle_only.chance() > 0.1, "{}", middle_only.chance());
        let (chance, length) = splice.chance();
        assert!(chance < 1e-4, "{chance}");
        assert!((length.get() - truly).abs() < truly / 200, "{length:?}");
    }

    #[test]
    fn rubs_from_anywhere_are_rarely_taken_for_a_splice() {
        // 400 legs of 20 rubs each at places from a fixed generator: at a level of 1 % about 4 would be expected, and the
        // correction makes it fewer. More than 10 would be a broken test.
        let mut state = 12_345_u64;
        let mut taken = 0;
        for _ in 0..400 {
            let mut phase = BeltPhase::new(Micrometres::new(61_950_000));
            let mut travelled = 0_i64;
            for _ in 0..20 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                travelled += ((state >> 33) % 124_000_000) as i64;
                phase.add(Micrometres::new(travelled));
            }
            taken += u32::from(phase.chance().0 < 0.01);
        }
        assert!(taken <= 10, "{taken}");
    }

    #[test]
    fn nonsense_lengths_do_nothing() {
        for length in [0, -1, i64::MAX, i64::MIN] {
            let mut phase = BeltPhase::new(Micrometres::new(length));
            phase.add(Micrometres::new(5));
            let _ = phase.chance();
        }
    }
}
