//! Slip heat: the thermal image of pulley and belt.
//!
//! `dH/dt = P·slip − H/τ`, in cells of 2^17 µs: of what is there a share `left = e^(−cell/τ)` stays, and what comes in during a cell has
//! lost half a cell's share by its end. Over `k` cells at one inflow that is `H·left^k + inflow·√left·(1 − left^k)/(1 − left)`, the
//! closed form that IEC 60255-149 has for a first-order image; parts of a cell are straight. Every rounding is upwards but
//! one: over many cells `left^k` is rounded up, which makes `1 − left^k` smaller, and the sum up to a millionth low. The limit is held
//! against the heat one cell on, which is more than that: so the stop may come a little early, never late.
//!
//! Heat is in 2^-30 of the budget, so that it is held at four budgets.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::{divide, high};
use crate::settings::plan::LegPlan;
use crate::time::{SWEEP, age, reached, wait};
use crate::units::{Joules, Ppm};

/// The length of a cell is 2^17 µs: 131 ms.
const CELL_SHIFT: u32 = 17;
const CELL: u32 = 1 << CELL_SHIFT;
/// Up to so many cells are gone through one by one.
const FEW: u32 = 4;
/// While it is beyond, it is looked at so often, to find when it is within again.
const WHILE_BEYOND: u32 = 8 * CELL;
/// What rounding up may bring in a cell.
const ROUNDED: u32 = 4;
/// The next check is worked out for this part (1/2^6) of the slip more than there is.
const SPARE_SHIFT: u32 = 6;
/// One budget.
const BUDGET_SHIFT: u32 = 30;

/// The image.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Heat {
    /// The heat at `at`.
    heat: u32,
    at: u32,
    /// What comes in during a cell.
    inflow: u32,
    /// What would come in at a slip of 100 %.
    fullest: u32,
    /// With no more than this coming in the limit is not reached before the next check.
    bound: u32,
    /// Until then nothing can happen by itself.
    check: u32,
    /// The slip that makes it, in ppm.
    pub slip: i32,
    /// The heat when the boot became overdue, and when that was: what came in since is worked out anew once it is known.
    sure: u32,
    sure_at: u32,
}

impl Heat {
    /// Begin with what survived.
    pub fn begin(&mut self, plan: &LegPlan, heat: Joules) {
        *self = Self::default();
        // Rounded down, for what was kept had been rounded up: no less comes back than was there, and a power cycle adds nothing.
        self.heat = divide(u64::from(heat.get()) << BUDGET_SHIFT, plan.heat_budget);
    }

    /// The heat at `now`.
    #[inline(never)]
    pub fn at(&self, plan: &LegPlan, now: u32) -> u32 {
        let waited = age(now, self.at);
        let mut heat = self.heat;
        let cells = waited >> CELL_SHIFT;
        let came = high(self.inflow, plan.heat_left_half).saturating_add(u32::from(self.inflow > 0));
        if cells <= FEW {
            for _ in 0..cells {
                heat = stays(heat, plan.heat_left).saturating_add(came);
            }
        } else {
            let left = power(plan.heat_left, cells);
            // (1 − left^k) / (1 − left) in 2^-16: at most the number of cells.
            let times = divide(u64::from(left.wrapping_neg()) << 16, plan.heat_left.wrapping_neg()).saturating_add(1);
            let grown = u64::from(came).wrapping_mul(u64::from(times)) >> 16;
            heat = stays(heat, left).saturating_add(u32::try_from(grown).unwrap_or(u32::MAX)).saturating_add(1);
        }
        let part = (waited & (CELL - 1)) << (32 - CELL_SHIFT);
        if part == 0 {
            return heat;
        }
        let lost = high(high(heat, plan.heat_left.wrapping_neg()), part);
        heat.saturating_sub(lost).saturating_add(high(self.inflow, part)).saturating_add(u32::from(self.inflow > 0))
    }

    /// The heat at `now`, or at the last change if that is later.
    pub fn no_sooner(&self, plan: &LegPlan, now: u32) -> u32 {
        self.at(plan, if reached(now, self.at) { now } else { self.at })
    }

    /// What the limit is held against: the heat one cell on.
    pub fn ahead(&self, plan: &LegPlan, now: u32) -> i32 {
        i32::try_from(self.at(plan, now).saturating_add(self.inflow)).unwrap_or(i32::MAX)
    }

    /// As a share of the budget.
    pub fn share(heat: u32) -> Ppm {
        Ppm::new((u64::from(heat).wrapping_mul(1_000_000) >> BUDGET_SHIFT) as i32)
    }

    /// In whole joules, rounded up: a unit more than lies below, so that storing and reading back never loses any.
    pub fn joules(&self, plan: &LegPlan, now: u32) -> Joules {
        let joules = u64::from(self.at(plan, now)).wrapping_mul(u64::from(plan.heat_budget));
        Joules::new((joules.saturating_add((1 << BUDGET_SHIFT) - 1) >> BUDGET_SHIFT) as u32)
    }

    /// What goes in from `now` on: so many watts times the slip. Whether the limit may now be reached sooner than at the last check.
    #[inline(never)]
    pub fn feed(&mut self, plan: &LegPlan, watts: u32, limit: i32, now: u32) -> bool {
        let full = u64::from(watts).wrapping_mul(u64::from(plan.heat_a_watt)).saturating_add(0xFFFF) >> 16;
        let fullest = u32::try_from(full).unwrap_or(u32::MAX);
        let inflow = self.inflow_at(full);
        if inflow == self.inflow && fullest == self.fullest {
            return false;
        }
        self.fullest = fullest;
        self.let_in(plan, inflow, limit, now)
    }

    /// The same where only the slip has changed since it was fed; nothing where the power was too much to be told from that.
    pub fn slide(&mut self, plan: &LegPlan, limit: i32, now: u32) -> Option<bool> {
        if self.fullest == u32::MAX {
            return None;
        }
        let inflow = self.inflow_at(self.fullest.into());
        Some(inflow != self.inflow && self.let_in(plan, inflow, limit, now))
    }

    /// What comes in at the slip there is, given what would come in at 100 %.
    fn inflow_at(&self, full: u64) -> u32 {
        // 2^32 / 10^6, rounded up.
        let slip = self.slip.max(0).unsigned_abs().saturating_mul(4_295);
        if slip == 0 || full == 0 {
            0
        } else if let Ok(fullest) = u32::try_from(full) {
            high(fullest, slip).saturating_add(1)
        } else {
            // So much power would fill several budgets in a cell: a little slip of it may not.
            let part = (full >> 16).saturating_add(1).wrapping_mul(slip.into()) >> 16;
            u32::try_from(part).unwrap_or(u32::MAX).saturating_add(1)
        }
    }

    /// From `now` on so much comes in.
    fn let_in(&mut self, plan: &LegPlan, inflow: u32, limit: i32, now: u32) -> bool {
        self.heat = self.at(plan, now);
        self.at = now;
        self.inflow = inflow;
        let sooner = inflow > self.bound || self.room(limit) <= inflow;
        if sooner {
            self.check = now;
        }
        sooner
    }

    /// From here on what goes in may have to be [worked out anew](Self::go_back).
    pub fn mark_sure(&mut self, plan: &LegPlan, now: u32) {
        self.sure = self.at(plan, now);
        self.sure_at = now;
    }

    /// Go back to what was sure. When that was.
    pub const fn go_back(&mut self) -> u32 {
        self.heat = self.sure;
        self.at = self.sure_at;
        self.sure_at
    }

    fn room(&self, limit: i32) -> u32 {
        limit.unsigned_abs().saturating_sub(self.heat)
    }

    /// Find when it must be looked at next, if that has come.
    pub fn next(&mut self, plan: &LegPlan, (limit, beyond): (i32, bool), now: u32) {
        if self.wait(now) > 0 {
            return;
        }
        self.heat = self.at(plan, now);
        self.at = now;
        let lost = high(self.heat, plan.heat_left.wrapping_neg());
        self.bound = self.inflow;
        let wait = if beyond {
            // Where as much comes in as is lost, but for rounding, nothing moves.
            if self.inflow.saturating_add(ROUNDED) < lost { WHILE_BEYOND } else { u32::MAX }
        } else if self.inflow <= lost {
            u32::MAX
        } else {
            // Whole cells in which so much inflow cannot fill the room, less the one that is looked ahead. A little more than comes in
            // now, so that not every change of slip asks for a look.
            self.bound = self.inflow.saturating_add(self.fullest >> SPARE_SHIFT);
            let cells = divide(u64::from(self.room(limit)), self.bound).saturating_sub(1);
            cells.max(1).saturating_mul(CELL)
        };
        self.check = now.wrapping_add(wait.min(SWEEP));
    }

    /// Time becomes known.
    pub const fn started(&mut self, now: u32) {
        self.at = now;
        self.check = now;
    }

    /// How long until it must be looked at.
    pub const fn wait(&self, now: u32) -> u32 {
        wait(now, self.check)
    }

    /// When it must be looked at.
    #[cfg(feature = "desk")]
    pub const fn check(&self) -> u32 {
        self.check
    }

    /// What comes in during a cell.
    #[cfg(feature = "desk")]
    pub const fn inflow(&self) -> u32 {
        self.inflow
    }

    /// Begin a new stretch.
    pub fn sweep(&mut self, plan: &LegPlan, now: u32) {
        self.heat = self.at(plan, now);
        self.at = now;
    }
}

/// What stays of `heat` when so much is left, rounded up.
const fn stays(heat: u32, left: u32) -> u32 {
    high(heat, left).saturating_add((heat > 0) as u32)
}

/// `base^exponent` of a fraction of 2^32, rounded up.
#[inline(never)]
const fn power(mut base: u32, mut exponent: u32) -> u32 {
    let mut result = u32::MAX;
    while exponent > 0 {
        if exponent & 1 != 0 {
            result = high(result, base).saturating_add(1);
        }
        base = high(base, base).saturating_add(1);
        exponent >>= 1;
    }
    result
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    extern crate std;

    use super::*;
    use crate::settings::Settings;
    use crate::units::Span;

    const MINUTE: u32 = 60_000_000;
    const TAU_US: f64 = 30.0 * 60e6;
    const BUDGET_J: f64 = 900_000.0;

    fn plan_of(joules: u32) -> LegPlan {
        let mut settings = Settings::example();
        settings.limits.slip_heat.time_constant = Span::from_millis(30 * 60_000);
        settings.limits.slip_heat.budget = Joules::new(joules);
        settings.check_for_bench().expect("sound").plan().drive
    }

    fn plan() -> LegPlan {
        plan_of(900_000)
    }

    /// So many watts at this slip from the moment `now` on, over what was kept.
    fn fed(plan: &LegPlan, kept: u32, watts: u32, slip: i32, now: u32) -> Heat {
        let mut heat = Heat::default();
        heat.begin(plan, Joules::new(kept));
        heat.started(now);
        heat.slip = slip;
        heat.feed(plan, watts, 1 << BUDGET_SHIFT, now);
        heat
    }

    /// The first-order image of IEC 60255-149: what was there decays, what comes in rises to `power * tau`. In joules.
    fn image(kept: f64, watts: f64, slip: f64, waited_us: f64) -> f64 {
        let left = (-waited_us / TAU_US).exp();
        kept * left + watts * slip * TAU_US / 1e6 * (1.0 - left)
    }

    fn joules(heat: u32) -> f64 {
        f64::from(heat) * BUDGET_J / f64::from(1 << BUDGET_SHIFT)
    }

    #[test]
    fn heat_is_that_of_a_first_order_image() {
        let plan = plan();
        let cells = [0, 1, 2, 3, 4, 5, 6, 17, 600, 3_001];
        let parts = [0, 1, CELL / 4, CELL / 2, CELL - 1];
        for kept in [0, 10_000, 450_000] {
            for (watts, slip) in
                [(0, 300_000), (18_500, 0), (200, 1_000), (18_500, 20_000), (18_500, 150_000), (7_000, 1_000_000)]
            {
                for now in [5, u32::MAX - 1_000] {
                    let heat = fed(&plan, kept, watts, slip, now);
                    for waited in cells.iter().flat_map(|cells| parts.map(|part| cells * CELL + part)) {
                        let exact = image(kept.into(), watts.into(), f64::from(slip) / 1e6, waited.into());
                        let told = joules(heat.at(&plan, now.wrapping_add(waited)));
                        // Over many cells the closed form may be two millionths low: far less than the cell that the limit looks
                        // ahead. What comes in during a part of a cell is straight, and each cell rounds up by three units at the most.
                        let straight = f64::from(watts) * f64::from(slip) / 1e6 * 1e-5;
                        let rounded = f64::from(waited >> CELL_SHIFT) * joules(3);
                        assert!(
                            told >= exact.min(4.0 * BUDGET_J) * (1.0 - 2e-6) - 0.01,
                            "{told} < {exact}: {kept} {watts} {slip} {waited}"
                        );
                        assert!(
                            told <= exact * 1.00003 + straight + rounded + 0.05,
                            "{told} > {exact}: {kept} {watts} {slip} {waited}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn what_survives_a_loss_of_power_comes_back_to_the_joule() {
        let plan = plan();
        for kept in [0, 1, 7, 89_999, 900_000, 2_000_000] {
            let heat = fed(&plan, kept, 0, 0, 77);
            assert_eq!(heat.joules(&plan, 77), Joules::new(kept));
            assert_eq!((heat.wait(77), heat.wait(78)), (0, 0), "it is looked at, at once");
        }
        assert_eq!(Heat::share(1 << BUDGET_SHIFT), Ppm::new(1_000_000));
        assert_eq!(Heat::share(u32::MAX), Ppm::new(3_999_999));
    }

    #[test]
    fn the_stop_comes_when_the_budget_is_full_and_not_later() {
        let plan = plan();
        let limit = 1 << BUDGET_SHIFT;
        for (watts, slip) in [(18_500, 50_000), (18_500, 300_000), (18_500, 1_000_000), (110_000, 60_000)] {
            let mut now = 1_000;
            let mut heat = fed(&plan, 0, watts, slip, now);
            let mut looks = 0;
            while heat.ahead(&plan, now) < limit && looks < 1_000 {
                heat.next(&plan, (limit, false), now);
                now += heat.wait(now);
                looks += 1;
            }
            let power = f64::from(watts) * f64::from(slip) / 1e6;
            // Where `power * tau * (1 - e^(-t / tau))` is the budget.
            let full = -TAU_US * (1.0 - BUDGET_J / (power * TAU_US / 1e6)).ln();
            let told = f64::from(now - 1_000);
            assert!(told <= full, "{watts} W at {slip} ppm: {told} is after {full}");
            // The heat one cell on is what counts.
            let there = image(0.0, watts.into(), f64::from(slip) / 1e6, told);
            assert!(
                there >= BUDGET_J - 1.5 * power * 0.131_072 - 60.0,
                "{watts} W at {slip} ppm: {there} J at the stop"
            );
            assert!((2..100).contains(&looks), "{looks} looks");
        }
    }

    #[test]
    fn what_cannot_fill_the_budget_asks_for_no_look() {
        let plan = plan();
        let limit = 1 << BUDGET_SHIFT;
        // 400 W for ever come to 720 kJ.
        let mut heat = fed(&plan, 899_000, 18_500, 21_600, 0);
        heat.next(&plan, (limit, false), 0);
        assert_eq!(heat.wait(0), SWEEP);
        // Beyond, it is looked at for when it is within again; where nothing moves it is not.
        heat.next(&plan, (limit, true), heat.check);
        assert_eq!(heat.wait(heat.at), WHILE_BEYOND);
        let mut steady = fed(&plan, 0, 0, 0, 0);
        steady.next(&plan, (limit, true), 0);
        assert_eq!(steady.wait(0), SWEEP);
        // Where nothing comes in and nothing is lost it is as late, however much the motor could bring in.
        let mut still = fed(&plan_of(10_000), 0, 2_000_000, 0, 0);
        still.next(&plan_of(10_000), (limit, false), 0);
        assert_eq!((still.wait(0), still.bound), (SWEEP, 0));
        // One that comes before it is due changes nothing.
        let before = steady;
        steady.next(&plan, (limit, false), 5);
        assert_eq!(steady, before);
    }

    #[test]
    fn as_much_as_is_lost_moves_nothing() {
        let plan = plan();
        let kept = 1 << 29;
        let lost = high(kept, plan.heat_left.wrapping_neg());
        let wait = |inflow, beyond| {
            let mut heat = Heat { heat: kept, inflow, fullest: u32::MAX >> 8, ..Heat::default() };
            heat.next(&plan, (1 << BUDGET_SHIFT, beyond), 0);
            heat.wait(0)
        };
        assert!(lost > ROUNDED);
        assert_eq!(wait(lost, false), SWEEP);
        assert!(wait(lost + 1, false) < SWEEP);
        assert_eq!(wait(lost - ROUNDED, true), SWEEP);
        assert_eq!(wait(lost - ROUNDED - 1, true), WHILE_BEYOND);
    }

    #[test]
    fn only_more_than_was_reckoned_with_asks_for_a_look() {
        let plan = plan();
        let limit = 1 << BUDGET_SHIFT;
        let mut heat = fed(&plan, 0, 18_500, 100_000, 0);
        heat.next(&plan, (limit, false), 0);
        let due = heat.wait(MINUTE);
        // A 64th of the whole power more: 1.5 % of slip.
        heat.slip = 115_000;
        assert!(!heat.feed(&plan, 18_500, limit, MINUTE), "that much is spared");
        assert_eq!(heat.wait(MINUTE), due);
        heat.slip = 117_000;
        assert!(heat.feed(&plan, 18_500, limit, MINUTE));
        assert_eq!(heat.wait(MINUTE), 0);
        assert!(!heat.feed(&plan, 18_500, limit, MINUTE), "nothing changed");
        // Little comes in, but the room is less than a cell of it.
        let mut full = fed(&plan, 899_990, 18_500, 10_000, 0);
        full.next(&plan, (limit, false), 0);
        full.slip = 9_000;
        assert!(full.feed(&plan, 18_500, limit, 1));
    }

    #[test]
    fn an_overdue_boot_is_worked_out_anew_from_where_all_was_sure() {
        let plan = plan();
        let mut heat = fed(&plan, 100_000, 18_500, 20_000, 0);
        heat.mark_sure(&plan, MINUTE);
        let sure = heat.at(&plan, MINUTE);
        heat.slip = 900_000;
        heat.feed(&plan, 18_500, 1 << BUDGET_SHIFT, MINUTE);
        assert!(heat.at(&plan, 2 * MINUTE) > sure);
        assert_eq!(heat.go_back(), MINUTE);
        assert_eq!(heat.at(&plan, MINUTE), sure);
        heat.slip = 20_000;
        heat.feed(&plan, 18_500, 1 << BUDGET_SHIFT, MINUTE);
        let as_before = image(100_000.0, 18_500.0, 0.02, 120e6);
        assert!((joules(heat.at(&plan, 2 * MINUTE)) - as_before).abs() < 5.0);
        assert_eq!(heat.no_sooner(&plan, 5), heat.at(&plan, MINUTE), "nothing is known of before");
    }

    #[test]
    fn power_beyond_all_budgets_is_held_but_a_little_slip_of_it_is_not() {
        // The smallest budget fills in a twentieth of a second at 2 MW.
        let plan = plan_of(10_000);
        let heat = fed(&plan, 0, 2_000_000, 10_000, 0);
        let exact = 2_000_000.0 * 0.01 * 0.131_072 / 10_000.0 * f64::from(1 << BUDGET_SHIFT);
        assert!((f64::from(heat.inflow) / exact - 1.0).abs() < 1e-4 && f64::from(heat.inflow) >= exact);
        assert_eq!(heat.fullest, u32::MAX);
        assert_eq!(fed(&plan, 0, 2_000_000, 1_000_000, 0).inflow, u32::MAX, "held");
        assert_eq!(heat.ahead(&plan, 20 * CELL), i32::MAX, "held");
    }

    #[test]
    fn a_sweep_keeps_the_heat_and_begins_a_new_stretch() {
        let plan = plan();
        let mut heat = fed(&plan, 400_000, 18_500, 20_000, 0);
        let (then, later) = (8 * MINUTE, 16 * MINUTE);
        let straight = joules(heat.at(&plan, later));
        heat.sweep(&plan, then);
        assert_eq!(heat.at, then);
        assert!((joules(heat.at(&plan, later)) - straight).abs() < 20.0);
        heat.started(9);
        assert_eq!((heat.at, heat.wait(8), heat.wait(9)), (9, 1, 0));
    }
}
