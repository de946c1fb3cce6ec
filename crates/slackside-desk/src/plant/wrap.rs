//! How much a pulley can pull through friction: Euler (1769) and Eytelwein (1808).
//!
//! On the point of slipping `T1 / T2 = e^(mu theta)`; a moving belt presses less by `m v^2` on both sides (R. S. Khurmi and
//! J. K. Gupta, *Theory of Machines*, ch. 11). Conveyor handbooks print the same as the wrap factor `Cw = 1 / (e^(mu
//! theta) - 1)`: slack tension needed for each newton of pull.

/// Tight over slack tension on the point of slipping.
#[must_use]
pub fn tension_ratio(friction: f64, wrap_rad: f64) -> f64 {
    libm::exp(friction * wrap_rad)
}

/// Slack tension needed for each newton of effective pull.
#[must_use]
pub fn wrap_factor(friction: f64, wrap_rad: f64) -> f64 {
    1.0 / (tension_ratio(friction, wrap_rad) - 1.0)
}

/// The largest pull in N: the smaller side's tension, the part of it that does not press (`m v^2`), and the tension ratio.
#[must_use]
pub fn largest_pull(slack_n: f64, centrifugal_n: f64, ratio: f64) -> f64 {
    (slack_n - centrifugal_n).max(0.0) * (ratio - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_wrap_needs_less_slack_tension() {
        let half = core::f64::consts::PI;
        assert!(wrap_factor(0.25, half) > wrap_factor(0.25, half * 7.0 / 6.0));
        assert!(
            (largest_pull(1_000.0, 0.0, tension_ratio(0.25, half)) * wrap_factor(0.25, half) - 1_000.0).abs() < 1e-9
        );
        assert_eq!(largest_pull(-5.0, 0.0, 3.0), 0.0);
    }
}
