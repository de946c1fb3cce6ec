//! How soon a loss of speed can be known from targets.

/// The silence after the last edge that proves a shaft slower than `share` of its speed: `1/share` pitches. No method can
/// know it sooner.
#[must_use]
pub fn silence_s(pitch_s: f64, share: f64) -> f64 {
    pitch_s / share
}

/// Slip that an error of `jitter_s` at both ends of both windows feigns over a window of `window_s`.
#[must_use]
pub fn slip_from_jitter(jitter_s: f64, window_s: f64) -> f64 {
    // Four independent edge times.
    2.0 * jitter_s / window_s
}
