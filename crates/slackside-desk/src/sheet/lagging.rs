//! What losing the lagging shows: the head pulley becomes smaller, the belt slower, at any load and for good.

/// The apparent slip after lagging of `lagging_m` is gone from a pulley of effective diameter `diameter_m`: `2t/D`.
#[must_use]
pub fn shift(lagging_m: f64, diameter_m: f64) -> f64 {
    2.0 * lagging_m / diameter_m
}
