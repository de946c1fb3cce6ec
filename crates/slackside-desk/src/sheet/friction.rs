//! What a pulley can pull by friction: Euler and Eytelwein.
//!
//! A belt wrapped through θ with friction μ holds while `T1/T2 ≤ e^(μθ)`, T1 the tight and T2 the slack side. The pull that
//! can be passed on is `Te = T1 − T2`, so `Te ≤ T2 (e^(μθ) − 1)`; the wrap factor `Cw = T2/Te = 1/(e^(μθ) − 1)` is how much
//! slack tension each newton of pull needs.

/// The largest ratio of tight to slack tension that friction `mu` holds around `wrap_rad`.
#[must_use]
pub fn tension_ratio(mu: f64, wrap_rad: f64) -> f64 {
    (mu * wrap_rad).exp()
}

/// Slack tension needed for each newton of pull.
#[must_use]
pub fn wrap_factor(mu: f64, wrap_rad: f64) -> f64 {
    1.0 / (tension_ratio(mu, wrap_rad) - 1.0)
}

/// The angle an open belt wraps around the pulley of diameter `own_m`, the other being `other_m`, `centres_m` apart:
/// `π + 2 asin((D − d)/2C)`. Half a turn where the centres are too short for the sizes.
#[must_use]
pub fn wrap_angle(own_m: f64, other_m: f64, centres_m: f64) -> f64 {
    let sine = (own_m - other_m) / (2.0 * centres_m);
    if sine.is_finite() && sine.abs() <= 1.0 { std::f64::consts::PI + 2.0 * sine.asin() } else { std::f64::consts::PI }
}

/// A pulley surface and the friction it is reckoned with.
pub struct Surface {
    /// What it is.
    pub name: &'static str,
    /// Friction against the belt.
    pub mu: f64,
    /// Where the figure is from; "memory" where the source was not read.
    pub source: &'static str,
}

/// Surfaces as conveyor handbooks reckon them.
pub const SURFACES: [Surface; 4] = [
    Surface { name: "lagged, dry", mu: 0.35, source: "CEMA drive factors" },
    Surface { name: "bare steel, dry", mu: 0.25, source: "CEMA drive factors" },
    Surface { name: "lagged, wet and dirty", mu: 0.25, source: "DIN 22101, memory" },
    Surface { name: "bare steel, clean wet", mu: 0.10, source: "DIN 22101, memory" },
];
