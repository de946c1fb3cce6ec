//! The take-up and the belt's stretch: where the tension comes from.
//!
//! Each strand is a spring of stiffness `EA / L`. A screw fixes the sum of both stretches; what the belt lengthens, by
//! running in or by warmth, comes off the tension. A gravity take-up lets the boot pulley hang: it gives the stretch that
//! makes the sum of tensions its weight, slowly, as its guides allow, unless it is jammed or has come to its end.

use serde::Deserialize;

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
}

/// The stretch both strands have in common.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// Mean stretch of a strand in m. Zero and below: the belt hangs loose.
    pub mean: f64,
}

/// How quickly a hanging boot follows, in s (engineering judgement).
const GUIDE_TIME: f64 = 2.0;

impl Stretch {
    /// The stretch in m that gives a strand of that stiffness in N/m the mean tension.
    #[must_use]
    pub fn for_tension(mean_tension_n: f64, stiffness: f64) -> Self {
        Self { mean: mean_tension_n / stiffness }
    }

    /// Move on by `dt`. `wanted` is the mean tension in N a free gravity take-up brings about, `longer` the metres a strand
    /// has grown since. Returns the change in stretch.
    pub fn step(&mut self, kind: Kind, jammed: bool, wanted: f64, stiffness: f64, longer: f64, dt: f64) -> f64 {
        let before = self.mean;
        self.mean -= longer;
        if kind == Kind::Gravity && !jammed {
            self.mean += (wanted / stiffness - self.mean) * (dt / GUIDE_TIME).min(1.0);
        }
        self.mean - before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_makes_up_for_a_longer_belt_and_a_screw_does_not() {
        let stiffness = 40_000.0;
        let mut weight = Stretch::for_tension(5_000.0, stiffness);
        let mut screw = weight;
        let mut jammed = weight;
        for _ in 0..5_000 {
            weight.step(Kind::Gravity, false, 5_000.0, stiffness, 1e-5, 0.02);
            jammed.step(Kind::Gravity, true, 5_000.0, stiffness, 1e-5, 0.02);
            screw.step(Kind::Screw, false, 5_000.0, stiffness, 1e-5, 0.02);
        }
        assert!((weight.mean * stiffness - 5_000.0).abs() < 50.0);
        assert!((screw.mean * stiffness - 3_000.0).abs() < 1e-6);
        assert_eq!(screw.mean, jammed.mean);
    }
}
