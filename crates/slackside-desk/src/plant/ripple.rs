//! Drag that comes and goes: a screw feeder's flights, buckets that dig one by one, a V-belt's thick place.

use serde::Deserialize;

/// What it keeps time with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Beat {
    /// Seconds: a screw feeder on a drive of its own.
    Second,
    /// Metres of belt: buckets.
    Metre,
    /// Turns of the head: V-belts, a bent shaft.
    HeadTurn,
}

/// Where it brakes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum At {
    /// The drive.
    Drive,
    /// The belt in the boot.
    Boot,
}

/// A periodic drag: from nothing to `drag_n` and back once in a period, while the belt moves.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ripple {
    /// What it keeps time with.
    pub beat: Beat,
    /// Its period in that unit.
    pub period: f64,
    /// Largest drag in N at the rim.
    pub drag_n: f64,
    /// Where it brakes.
    pub at: At,
}

impl Ripple {
    /// Drag in N, so far gone in its own unit.
    #[must_use]
    pub fn drag(&self, gone: f64) -> f64 {
        0.5 * self.drag_n * (1.0 + wave(gone / self.period))
    }
}

/// The whole number at or below: as [`f64::floor`], which is a call to a library where the processor has no such instruction.
#[must_use]
pub fn floor(value: f64) -> f64 {
    let whole = value as i64 as f64;
    if whole > value { whole - 1.0 } else { whole }
}

/// A sine of so many turns, to a thousandth, from products alone: the same bits everywhere, and quick.
#[must_use]
pub fn wave(turns: f64) -> f64 {
    let x = 2.0 * (turns - floor(turns + 0.5));
    let y = 4.0 * x * (1.0 - x.abs());
    y + 0.225 * (y * y.abs() - y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floor_is_the_library_s() {
        for i in -40_000..40_000 {
            let value = f64::from(i) * 0.037;
            assert_eq!(floor(value), value.floor(), "{value}");
        }
    }

    #[test]
    fn a_wave_is_a_sine_to_a_thousandth() {
        for i in -2_000..2_000 {
            let turns = f64::from(i) / 777.0;
            assert!((wave(turns) - libm::sin(core::f64::consts::TAU * turns)).abs() < 1.2e-3, "{turns}");
        }
    }

    #[test]
    fn drag_is_half_of_its_most_in_the_mean() {
        let ripple = Ripple { beat: Beat::Metre, period: 0.3, drag_n: 80.0, at: At::Boot };
        let mean = (0..3_000).map(|i| ripple.drag(f64::from(i) * 0.001)).sum::<f64>() / 3_000.0;
        assert!((mean - 40.0).abs() < 0.1, "{mean}");
        assert!((0..300).all(|i| (-1e-9..=80.2).contains(&ripple.drag(f64::from(i) * 0.001))));
    }
}
