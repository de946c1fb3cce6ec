//! The take-up and the belt's stretch: where the tension comes from.
//!
//! Each strand is a spring of stiffness `EA / L`. A screw fixes the sum of both stretches; what the belt lengthens, by
//! running in or by warmth, comes off the tension. A gravity take-up lets the boot pulley hang in guides with its frame and
//! weights: a mass on the two strands, which weight pulls down and both tensions hold, and which the guides hold back by dry
//! friction. So it follows a sudden load no faster than its mass allows, sticks where the tensions differ from its weight by
//! less than the guides hold, and then moves in jerks; unless it is jammed, or has come to its end.

use serde::Deserialize;

use super::discharge::GRAVITY;

/// Kind of take-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Screws: fixed in place.
    Screw,
    /// Weight: follows the belt.
    Gravity,
}

/// The take-up's own figures.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Takeup {
    /// Screw or gravity.
    pub kind: Kind,
    /// Tension in N that it gives each strand at the boot.
    pub tension_n: f64,
    /// Dry friction of a gravity take-up's guides, as a share of its weight.
    #[serde(default = "Takeup::usual_guides")]
    pub guide_friction: f64,
}

impl Takeup {
    /// Guides in fair order: engineering judgement, no source.
    #[must_use]
    pub const fn usual_guides() -> f64 {
        0.06
    }

    /// Weight in N of what hangs in the guides: both strands share it.
    #[must_use]
    pub fn weight_n(&self) -> f64 {
        2.0 * self.tension_n
    }

    /// The weight hanging in its guides; none for screws.
    #[must_use]
    pub fn hanging(&self, strand_kg: f64) -> Option<Hanging> {
        (self.kind == Kind::Gravity).then(|| Hanging {
            speed: 0.0,
            // The lower half of each strand goes with it.
            mass: self.weight_n() / GRAVITY + strand_kg,
            friction_n: self.guide_friction * self.weight_n(),
        })
    }
}

/// What hangs in the guides of a gravity take-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hanging {
    /// Speed downward in m/s: each strand grows longer at that rate.
    pub speed: f64,
    mass: f64,
    friction_n: f64,
}

impl Hanging {
    /// Move on by `dt` under a force in N, downward, weight less tensions. Stuck if friction can hold what would set it going.
    pub fn step(&mut self, force: f64, dt: f64) {
        let free = self.speed + dt * force / self.mass;
        let held = dt * self.friction_n / self.mass;
        self.speed = free - free.clamp(-held, held);
    }

    /// Held where it is, as by a jam.
    pub const fn hold(&mut self) {
        self.speed = 0.0;
    }

    /// Whether it hangs still.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.speed == 0.0
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::PI;

    use super::*;

    const STIFFNESS: f64 = 58_000.0;
    const DT: f64 = 0.002;

    fn hanging(guide_friction: f64) -> Hanging {
        Takeup { kind: Kind::Gravity, tension_n: 2_500.0, guide_friction }.hanging(800.0).unwrap()
    }

    /// Displacements from balance, step by step, let go at `from` in m.
    fn swing(guide_friction: f64, from: f64, seconds: f64) -> Vec<f64> {
        let (mut hanging, mut at) = (hanging(guide_friction), from);
        (0..(seconds / DT) as u32)
            .map(|_| {
                hanging.step(-2.0 * STIFFNESS * at, DT);
                at += DT * hanging.speed;
                at
            })
            .collect()
    }

    /// A mass on two springs swings with `2 pi sqrt(m / 2 k)`: W. T. Thomson, *Theory of Vibration with Applications*, ch. 2
    /// (from memory).
    #[test]
    fn it_swings_as_a_mass_on_both_strands() {
        let mass = 5_000.0 / GRAVITY + 800.0;
        let expected = 2.0 * PI * (mass / (2.0 * STIFFNESS)).sqrt();
        let places = swing(0.0, 0.01, 10.0);
        let ups: Vec<usize> = (1..places.len()).filter(|&i| places[i - 1] < 0.0 && places[i] >= 0.0).collect();
        let period = (ups[ups.len() - 1] - ups[0]) as f64 * DT / (ups.len() - 1) as f64;
        assert!((period / expected - 1.0).abs() < 2e-3, "{period} {expected}");
    }

    /// Dry friction takes `4 F / k` off each swing, and it comes to rest where springs pull with less than `F`: the same book,
    /// Coulomb damping (from memory).
    #[test]
    fn dry_guides_take_the_same_off_each_swing_and_then_hold() {
        let off = 0.06 * 5_000.0 / (2.0 * STIFFNESS);
        let places = swing(0.06, 0.02, 10.0);
        let tops: Vec<f64> =
            places.windows(3).filter(|w| w[1] > w[0] && w[1] >= w[2] && w[1] > off).map(|w| w[1]).collect();
        assert!((tops[0] - (0.02 - 4.0 * off)).abs() < 0.02 * off, "{tops:?}");
        let last = places[places.len() - 1];
        assert!(last.abs() <= off && places[places.len() - 500] == last, "{last}");
    }

    #[test]
    fn screws_hang_nowhere() {
        assert_eq!(Takeup { kind: Kind::Screw, tension_n: 1_000.0, guide_friction: 0.06 }.hanging(100.0), None);
    }
}
