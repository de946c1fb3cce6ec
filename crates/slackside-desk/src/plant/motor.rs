//! The torque curve of a squirrel-cage motor, from its nameplate.
//!
//! Kloss: `T / T_breakdown = 2 / (s/s_m + s_m/s)`, exact where the stator's impedance is neglected (B. L. and A. K.
//! Theraja, *A Textbook of Electrical Technology*, ch. 34). Kloss alone gives a small torque at standstill, where deep
//! bars make a real motor start: where the nameplate gives a locked-rotor torque, a second cage with its peak at
//! standstill is added (common practice, no source), and the critical slip is found so that the sum still gives rated
//! torque at rated speed.

use core::f64::consts::TAU;

use serde::Deserialize;

/// What is stamped on the motor.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Nameplate {
    /// Rated power in kW.
    pub power_kw: f64,
    /// Synchronous speed in rpm.
    pub synchronous_rpm: f64,
    /// Rated speed in rpm, below synchronous speed.
    pub rated_rpm: f64,
    /// Breakdown torque over rated torque, more than 1.
    pub breakdown_ratio: f64,
    /// Locked-rotor torque over rated torque. Left out: Kloss alone.
    pub locked_ratio: Option<f64>,
}

impl Nameplate {
    /// Slip at rated speed.
    #[must_use]
    pub fn rated_slip(&self) -> f64 {
        1.0 - self.rated_rpm / self.synchronous_rpm
    }

    /// Rated torque in N m.
    #[must_use]
    pub fn rated_torque(&self) -> f64 {
        self.power_kw * 1_000.0 / (self.rated_rpm / 60.0 * TAU)
    }
}

/// Torque over breakdown torque at `ratio` = slip over critical slip. Odd in its argument: a driven motor brakes.
#[must_use]
pub fn kloss(ratio: f64) -> f64 {
    2.0 * ratio / (1.0 + ratio * ratio)
}

/// Critical slip over rated slip for a breakdown ratio `k`: the larger root of Kloss at rated torque.
#[must_use]
pub fn critical_over_rated(k: f64) -> f64 {
    k + (k * k - 1.0).sqrt()
}

/// A motor.
#[derive(Clone, Debug)]
pub struct Motor {
    /// Synchronous speed in rad/s.
    pub synchronous: f64,
    /// Rated torque in N m.
    pub rated_torque: f64,
    /// How far rated speed lags synchronous speed, in rad/s.
    pub rated_lag: f64,
    breakdown: f64,
    critical: f64,
    second: f64,
}

impl Motor {
    /// The motor with that nameplate.
    #[must_use]
    pub fn new(plate: &Nameplate) -> Self {
        let (rated, slip) = (plate.rated_torque(), plate.rated_slip());
        let mut motor = Self {
            synchronous: plate.synchronous_rpm / 60.0 * TAU,
            rated_torque: rated,
            rated_lag: slip * plate.synchronous_rpm / 60.0 * TAU,
            breakdown: rated * plate.breakdown_ratio,
            critical: slip * critical_over_rated(plate.breakdown_ratio),
            second: 0.0,
        };
        if let Some(locked) = plate.locked_ratio {
            // The second cage takes over part of the rated torque, so the critical slip is larger than Kloss alone has
            // it: bisect, the torque at rated slip falls with the critical slip.
            let (mut low, mut high) = (motor.critical, 1.0);
            for _ in 0..80 {
                motor.critical = 0.5 * (low + high);
                motor.second = (locked * rated - motor.breakdown * kloss(1.0 / motor.critical)).max(0.0);
                if motor.torque(slip) > rated { low = motor.critical } else { high = motor.critical }
            }
        }
        motor
    }

    /// Torque in N m at that slip, at full voltage and rated frequency.
    #[must_use]
    pub fn torque(&self, slip: f64) -> f64 {
        self.breakdown * kloss(slip / self.critical) + self.second * kloss(slip)
    }

    /// Change of torque with slip in N m: the motor's own damping near synchronous speed.
    #[must_use]
    pub fn slope(&self, slip: f64) -> f64 {
        let part = |ratio: f64| {
            let square = ratio * ratio;
            2.0 * (1.0 - square) / ((1.0 + square) * (1.0 + square))
        };
        self.breakdown * part(slip / self.critical) / self.critical + self.second * part(slip)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plate(locked_ratio: Option<f64>) -> Nameplate {
        Nameplate { power_kw: 18.5, synchronous_rpm: 1_500.0, rated_rpm: 1_465.0, breakdown_ratio: 2.6, locked_ratio }
    }

    #[test]
    fn rated_torque_at_rated_speed_with_one_cage_and_with_two() {
        for locked in [None, Some(2.0)] {
            let plate = plate(locked);
            let motor = Motor::new(&plate);
            let torque = motor.torque(plate.rated_slip());
            assert!((torque / plate.rated_torque() - 1.0).abs() < 1e-9, "{torque}");
        }
    }

    #[test]
    fn two_cages_start_with_the_locked_torque_of_the_nameplate() {
        let motor = Motor::new(&plate(Some(2.0)));
        assert!((motor.torque(1.0) / motor.rated_torque - 2.0).abs() < 1e-9);
        let peak = (1..1_000).map(|s| motor.torque(f64::from(s) / 1_000.0)).fold(0.0, f64::max);
        // The second cage lifts the peak a little: within a fifth of the nameplate's.
        assert!(peak / motor.rated_torque > 2.6 && peak / motor.rated_torque < 3.12, "{peak}");
    }

    #[test]
    fn slope_is_the_derivative() {
        let motor = Motor::new(&plate(Some(2.0)));
        for slip in [-0.02, 0.0, 0.01, 0.1, 0.5, 1.0] {
            let numeric = (motor.torque(slip + 1e-6) - motor.torque(slip - 1e-6)) / 2e-6;
            assert!((motor.slope(slip) - numeric).abs() < 1e-3 * numeric.abs().max(1.0), "at {slip}");
        }
    }
}
