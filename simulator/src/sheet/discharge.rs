//! Centrifugal discharge: at which head speed gravity and centrifugal force balance at the top of the pulley.
//!
//! `g = ω² r` gives `n = 60/(2π) √(2g/D) = 42.29/√D` rpm with D in metres. The pole, the point that the resultant force on the
//! grain always aims at, lies `h = g/ω² = 894/n²` metres above the shaft; it is on the pulley's rim at balance.

/// Standard gravity, m/s².
pub const G: f64 = 9.806_65;

/// The balancing speed in turns a minute for a pulley of `diameter_m` at the grain.
#[must_use]
pub fn balance_rpm(diameter_m: f64) -> f64 {
    60.0 / std::f64::consts::TAU * (2.0 * G / diameter_m).sqrt()
}

/// Height of the pole above the shaft, in metres, at `rpm`.
#[must_use]
pub fn pole_height_m(rpm: f64) -> f64 {
    let omega = rpm * std::f64::consts::TAU / 60.0;
    G / (omega * omega)
}

/// What a speed does, as a share of the balancing speed. Common practice; no source.
#[must_use]
pub fn verdict(share: f64) -> &'static str {
    match share {
        share if share < 0.85 => "slow for centrifugal discharge: grain may fall back down the leg",
        share if share <= 1.45 => "in the usual range of centrifugal discharge",
        _ => "fast: see that grain thrown early clears the head cover",
    }
}
