//! When, within a step, a shaft passed an angle.
//!
//! The speed changes evenly over a step, so the angle is a parabola and the moment has a closed form. Edges so carry real
//! microseconds, not multiples of the step.

/// Seconds after the step's beginning at which the angle `ahead` (turns, signed as the motion) is passed, at speeds of
/// `from` and `to` turns a second at its ends. Held within the step.
#[must_use]
pub fn passed_after(ahead: f64, from: f64, to: f64, dt: f64) -> f64 {
    let sign = if from + to < 0.0 { -1.0 } else { 1.0 };
    let (ahead, from, to) = (ahead * sign, from * sign, to * sign);
    let root = (from * from + 2.0 * (to - from) / dt * ahead).max(0.0).sqrt();
    let sum = from + root;
    // The form with the root in the denominator stays exact as the acceleration goes to nothing.
    if sum > 0.0 { (2.0 * ahead / sum).clamp(0.0, dt) } else { dt }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steady_and_accelerating_and_backward() {
        assert!((passed_after(0.001, 1.0, 1.0, 0.002) - 0.001).abs() < 1e-15);
        // From rest at 500 turns/s^2: angle = 250 t^2.
        assert!((passed_after(0.00025, 0.0, 1.0, 0.002) - 0.001).abs() < 1e-12);
        assert!((passed_after(-0.001, -1.0, -1.0, 0.002) - 0.001).abs() < 1e-15);
    }

    #[test]
    fn the_time_found_puts_the_shaft_at_the_angle() {
        for (from, to) in [(1.0, 1.2), (1.3, 0.2), (0.0, 0.9)] {
            let dt = 0.004;
            let whole = 0.5 * (from + to) * dt;
            for part in [0.1, 0.5, 0.9] {
                let t = passed_after(part * whole, from, to, dt);
                let angle = from * t + 0.5 * (to - from) / dt * t * t;
                assert!((angle - part * whole).abs() < 1e-12);
            }
        }
    }
}
