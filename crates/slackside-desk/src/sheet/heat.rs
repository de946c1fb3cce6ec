//! The slip-heat budget: what it stands for, and how long slip lasts it.

/// Heat that warms `mass_kg` of `capacity_j_kgk` by `rise_k`, in joules.
#[must_use]
pub fn budget_j(mass_kg: f64, capacity_j_kgk: f64, rise_k: f64) -> f64 {
    mass_kg * capacity_j_kgk * rise_k
}

/// The time until the thermal image `dH/dt = P s − H/τ` reaches `budget_j` from cold, in seconds: `−τ ln(1 − B/(P s τ))`;
/// `None` if it settles below the budget and never gets there.
#[must_use]
pub fn time_to_budget_s(budget_j: f64, power_w: f64, slip: f64, tau_s: f64) -> Option<f64> {
    let share = budget_j / (power_w * slip * tau_s);
    (share < 1.0).then(|| -tau_s * (1.0 - share).ln())
}
