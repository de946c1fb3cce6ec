//! Discharge over the head pulley.
//!
//! At the pole height `h = g / w^2` above the shaft the resultant of weight and centrifugal force on a grain meets the
//! vertical centre line (R. Pimblett, "Define pole height", *World Grain*). Where it falls to the pulley radius, weight and
//! centrifugal force balance at the top: `n = 42.3 / sqrt(D)` rpm with D in metres.

use core::f64::consts::TAU;

/// Standard gravity in m/s^2.
pub const GRAVITY: f64 = 9.806_65;

/// Height of the pole above the shaft in m, at that speed.
#[must_use]
pub fn pole_height(rpm: f64) -> f64 {
    let speed = rpm / 60.0 * TAU;
    GRAVITY / (speed * speed)
}

/// The speed in rpm at which weight and centrifugal force balance on a circle of that diameter in m.
#[must_use]
pub fn balance_rpm(diameter: f64) -> f64 {
    (GRAVITY / (0.5 * diameter)).sqrt() / TAU * 60.0
}

/// The share of the grain that misses the spout and falls back down the leg, at belt speed over balance speed.
///
/// One per cent at a good speed; slower, buckets empty late and into the return strand; faster, they throw into the hood.
/// The shape is engineering judgement: nothing numeric was found in print.
#[must_use]
pub fn backlegging_share(speed_over_balance: f64) -> f64 {
    let short = (0.75 - speed_over_balance).max(0.0);
    let over = (speed_over_balance - 1.6).max(0.0);
    (0.01 + 0.8 * short + 0.3 * over).min(0.6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pole_sits_on_the_pulley_rim_at_balance_speed() {
        for diameter in [0.3, 0.6, 1.2] {
            assert!((pole_height(balance_rpm(diameter)) - 0.5 * diameter).abs() < 1e-12);
        }
    }

    #[test]
    fn a_slow_leg_throws_back_more() {
        assert!(backlegging_share(0.4) > 10.0 * backlegging_share(1.0));
        assert!(backlegging_share(0.0) <= 0.62);
    }
}
