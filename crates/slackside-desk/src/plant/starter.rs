//! What the motor is fed with: straight from the line, through a soft starter, or from a variable-speed drive.

use serde::Deserialize;

use super::motor::Motor;

/// How the motor is started and fed.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Starter {
    /// Across the line.
    Direct,
    /// The voltage climbs from a first value to full; torque goes with its square.
    Soft {
        /// First voltage in per cent.
        initial_pct: f64,
        /// Time to full voltage in s.
        ramp_s: f64,
    },
    /// Frequency and voltage climb together (constant flux), torque held to a limit.
    Variable {
        /// The fastest change of speed in per cent a second.
        ramp_pct_per_s: f64,
        /// The lowest speed in per cent.
        minimum_pct: f64,
        /// Largest torque in per cent of rated.
        torque_limit_pct: f64,
    },
}

impl Starter {
    /// A variable-speed drive as legs have it: engineering judgement, no source.
    pub const USUAL_VARIABLE: Self =
        Self::Variable { ramp_pct_per_s: 12.0, minimum_pct: 40.0, torque_limit_pct: 150.0 };
}

/// The starter's own state.
#[derive(Clone, Copy, Debug, Default)]
pub struct Feeding {
    /// Voltage or frequency, of nominal.
    pub level: f64,
}

impl Feeding {
    /// Move on by `dt` seconds with the contactor closed or open and a speed reference (1 = normal).
    pub fn step(&mut self, starter: &Starter, closed: bool, reference: f64, dt: f64) {
        if !closed {
            self.level = 0.0;
            return;
        }
        match *starter {
            Starter::Direct => self.level = 1.0,
            Starter::Soft { initial_pct, ramp_s, .. } => {
                let first = initial_pct / 100.0;
                self.level = (self.level.max(first) + (1.0 - first) * dt / ramp_s).min(1.0);
            }
            Starter::Variable { ramp_pct_per_s, minimum_pct, .. } => {
                let goal = reference.max(minimum_pct / 100.0);
                let most = ramp_pct_per_s / 100.0 * dt;
                self.level += (goal - self.level).clamp(-most, most);
            }
        }
    }

    /// Square of the rotor's current over rated: torque times the speed it lags, over the same at rated speed.
    #[must_use]
    pub fn current_squared(&self, starter: &Starter, motor: &Motor, speed: f64, torque: f64) -> f64 {
        let frequency = if matches!(starter, Starter::Variable { .. }) { self.level } else { 1.0 };
        let lag = frequency * motor.synchronous - speed;
        torque * lag / (motor.rated_torque * motor.rated_lag)
    }

    /// Torque in N m, and its change with speed in N m s, at `speed` rad/s and a supply voltage of `voltage` (1 = nominal).
    #[must_use]
    pub fn torque(&self, starter: &Starter, motor: &Motor, speed: f64, voltage: f64) -> (f64, f64) {
        if self.level <= 0.0 {
            return (0.0, 0.0);
        }
        let (frequency, flux) = match starter {
            Starter::Direct => (1.0, voltage),
            Starter::Soft { .. } => (1.0, voltage * self.level),
            Starter::Variable { .. } => (self.level, voltage),
        };
        let slip = frequency - speed / motor.synchronous;
        let strength = flux * flux;
        let torque = strength * motor.torque(slip);
        let damping = strength * motor.slope(slip) / motor.synchronous;
        if let Starter::Variable { torque_limit_pct, .. } = *starter {
            let most = motor.rated_torque * torque_limit_pct / 100.0;
            if torque.abs() > most {
                return (most.copysign(torque), 0.0);
            }
        }
        (torque, damping)
    }
}

#[cfg(test)]
mod tests {
    use super::super::motor::Nameplate;
    use super::*;

    fn motor() -> Motor {
        Motor::new(&Nameplate {
            power_kw: 10.0,
            synchronous_rpm: 1_500.0,
            rated_rpm: 1_455.0,
            breakdown_ratio: 2.5,
            locked_ratio: None,
        })
    }

    #[test]
    fn half_the_voltage_is_a_quarter_of_the_torque() {
        let motor = motor();
        let full = Feeding { level: 1.0 }.torque(&Starter::Direct, &motor, 150.0, 1.0).0;
        let half = Feeding { level: 1.0 }.torque(&Starter::Direct, &motor, 150.0, 0.5).0;
        assert!((half / full - 0.25).abs() < 1e-12);
    }

    #[test]
    fn a_variable_drive_keeps_to_its_ramp() {
        let starter = Starter::Variable { ramp_pct_per_s: 10.0, minimum_pct: 20.0, torque_limit_pct: 150.0 };
        let mut feeding = Feeding::default();
        for _ in 0..100 {
            feeding.step(&starter, true, 1.0, 0.01);
        }
        assert!((feeding.level - 0.1).abs() < 1e-9);
    }
}
