//! What a head speed does to the discharge, in words.

/// What a speed does, as a share of the balancing speed. Common practice; no source.
#[must_use]
pub fn verdict(share: f64) -> &'static str {
    match share {
        share if share < 0.85 => "slow for centrifugal discharge: grain may fall back down the leg",
        share if share <= 1.45 => "in the usual range of centrifugal discharge",
        _ => "fast: see that grain thrown early clears the head cover",
    }
}
