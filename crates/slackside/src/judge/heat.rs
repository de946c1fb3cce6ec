//! Slip heat: the thermal image of pulley and belt.
//!
//! `dH/dt = P·slip − H/τ`, in cells of 2^17 µs: of what is there a share `left = e^(−cell/τ)` stays, and what comes in during a cell has
//! lost half a cell's share by its end. Over `k` cells at one inflow that is `H·left^k + inflow·√left·(1 − left^k)/(1 − left)`, the
//! closed form that IEC 60255-149 has for a first-order image; parts of a cell are straight. Every rounding is upwards, and the
//! limit is held against the heat one cell on: so the stop may come a little early, never late.
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
    pub fn begin(&mut self, plan: &LegPlan, heat: Joules, now: u32) {
        *self = Self { at: now, check: now, ..Self::default() };
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
        // 2^32 / 10^6, rounded up.
        let slip = self.slip.clamp(0, 1_000_000).unsigned_abs().saturating_mul(4_295);
        let inflow = if slip == 0 || watts == 0 {
            0
        } else if u64::from(fullest) == full {
            high(fullest, slip).saturating_add(1)
        } else {
            // So much power would fill several budgets in a cell: a little slip of it may not.
            let part = (full >> 16).saturating_add(1).wrapping_mul(slip.into()) >> 16;
            u32::try_from(part).unwrap_or(u32::MAX).saturating_add(1)
        };
        if inflow == self.inflow && fullest == self.fullest {
            return false;
        }
        self.heat = self.at(plan, now);
        self.at = now;
        self.inflow = inflow;
        self.fullest = fullest;
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
            if self.inflow.saturating_add(ROUNDED) < lost { WHILE_BEYOND } else { SWEEP }
        } else if self.inflow <= lost {
            SWEEP
        } else {
            // Whole cells in which so much inflow cannot fill the room, less the one that is looked ahead. A little more than comes in
            // now, so that not every change of slip asks for a look.
            self.bound = self.inflow.saturating_add(self.fullest >> SPARE_SHIFT);
            let cells = divide(u64::from(self.room(limit)), self.bound).saturating_sub(1);
            cells.clamp(1, SWEEP >> CELL_SHIFT).wrapping_shl(CELL_SHIFT)
        };
        self.check = now.wrapping_add(wait);
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
