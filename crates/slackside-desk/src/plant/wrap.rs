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

/// Friction while sliding, over friction at rest, at a sliding speed in m/s.
///
/// Rubber is viscoelastic: its friction climbs with the first sliding and falls again at higher speed (K. A. Grosch 1963,
/// from memory; B. N. J. Persson, "Conveyor Belt Drive Physics", Tribology Letters 68:17, 2020, holds that a drive is to
/// be run below the slip at which it pulls most). So a belt at its limit first slips a little and holds, then lets go. The
/// figures are engineering judgement: 15 % more at 0.25 m/s, back to none at 1 m/s, a tenth less from 1.5 m/s.
#[must_use]
pub fn sliding_share(sliding: f64) -> f64 {
    let v = sliding.abs();
    let climb = (v / 0.25).min(1.0);
    let fall = ((v - 0.25) / 1.25).clamp(0.0, 1.0);
    1.0 + 0.15 * climb * (2.0 - climb) - 0.25 * fall
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

    #[test]
    fn friction_climbs_with_the_first_sliding_and_then_falls() {
        assert_eq!(sliding_share(0.0), 1.0);
        assert!((sliding_share(0.25) - 1.15).abs() < 1e-12);
        assert!((sliding_share(1.0) - 1.0).abs() < 1e-12);
        assert!((sliding_share(-9.0) - 0.9).abs() < 1e-12);
    }
}
