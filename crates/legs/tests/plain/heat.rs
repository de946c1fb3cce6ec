//! Slip heat as a first-order image: `dH/dt = P * slip - H / tau`, in whole budgets.

use slackside::settings::plan::{HEAT_SHIFT, LegPlan};

/// The core counts in cells of 2^17 µs.
const CELL_US: f64 = 131_072.0;
/// More than four budgets are held.
const MOST: f64 = 4.0;

#[derive(Clone, Debug)]
pub struct Heat {
    /// Its time constant in µs, and the budget in joules.
    tau: f64,
    budget: f64,
    heat: f64,
    at: u64,
    /// Budgets that come in in a microsecond.
    inflow: f64,
    /// The slip that makes it, in ppm.
    pub slip: i32,
    /// While the boot is overdue: the heat when it became so, and when that was.
    sure: Option<(f64, u64)>,
}

impl Heat {
    pub fn new(plan: &LegPlan) -> Self {
        let left = f64::from(plan.heat_left) / 2_f64.powi(32);
        let tau = -CELL_US / left.ln();
        Self { tau, budget: plan.heat_budget.into(), heat: 0.0, at: 0, inflow: 0.0, slip: 0, sure: None }
    }

    pub fn at(&self, now: u64) -> f64 {
        let left = (-((now - self.at) as f64) / self.tau).exp();
        (self.heat * left + self.inflow * self.tau * (1.0 - left)).min(MOST)
    }

    /// So many watts times the slip go in from now on.
    pub fn feed(&mut self, watts: u32, now: u64) {
        (self.heat, self.at) = (self.at(now), now);
        let watts_of_slip = f64::from(watts) * f64::from(self.slip.clamp(0, 1_000_000)) / 1e6;
        self.inflow = (watts_of_slip / 1e6 / self.budget).min(MOST / CELL_US);
    }

    /// The boot is overdue, or no longer: what has gone in since it was is worked out anew with the slip that it came to.
    pub fn hear(&mut self, slip: i32, is_open: bool, watts: u32, now: u64) {
        if is_open && self.sure.is_none() {
            self.sure = Some((self.at(now), now));
        }
        self.slip = slip;
        if !is_open && let Some((heat, since)) = self.sure.take() {
            (self.heat, self.at) = (heat, since);
            self.inflow = 0.0;
            self.feed(watts, since);
        }
    }

    /// What was not sure stays as it is.
    pub fn settle_for_it(&mut self) {
        self.sure = None;
    }

    /// What is wrong with the share of the budget that is told, in ppm: a thousandth is borne, and what the core's cells round up; that it is
    /// never low by more than millionths is for the image's own tests.
    pub fn differs(&self, told_ppm: i32, now: u64) -> Option<String> {
        let exact = self.at(now) * 1e6;
        let told = f64::from(told_ppm);
        // Each cell rounds up by 4 units of 2^-30 at the most, and these decay as heat does.
        let rounded = 4.0 * (self.tau / CELL_US + 1.0) / f64::from(1 << HEAT_SHIFT) * 1e6;
        let high = exact * 1e-3 + rounded + 10.0 + self.inflow * CELL_US * 2e4;
        let low = exact * 1e-3 + 10.0;
        (told < exact - low || told > exact + high)
            .then(|| format!("slip heat is told as {told} ppm and is {exact:.1}, {low:.1} below to {high:.1} above"))
    }
}
