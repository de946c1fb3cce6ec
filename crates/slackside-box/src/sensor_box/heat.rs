//! Slip heat over a loss of power: a bound that lies above it, in a ring of its own.
//!
//! The bound is a whole number of steps, and moves up before the heat is within half a step of it: what power interrupts, the bound
//! that is found lies no lower than the heat did. It moves down only once it lies far above. Where few places are left until the leg
//! stands, it moves down no more; the last place says one whole budget, at which the leg is stopped and that is stored.

use embedded_storage::nor_flash::NorFlash;
use slackside::units::Joules;

use crate::store::{Layout, Marks, Newest, StoreError};

/// Steps in a budget.
const STEPS: u32 = 32;
/// The bound moves down once it lies so many steps too high.
const TOO_HIGH: u32 = 4;
/// So many places are kept for moving up: a whole budget of steps.
const FOR_RISING: u32 = STEPS;

/// What is stored of slip heat.
pub(super) struct HeatRing {
    marks: Marks,
    /// The bound stored, in joules.
    bound: u32,
}

impl HeatRing {
    /// Open it: with the heat that was there at most. `None` if that is not known.
    pub(super) fn open<F: NorFlash>(layout: &Layout, flash: &mut F) -> Result<(Self, Option<Joules>), StoreError> {
        let (marks, newest) = Marks::open(layout.heat, layout.page_length, flash)?;
        let bound = match newest {
            Newest::Blank => Some(0),
            Newest::Value(bound) => Some(bound),
            Newest::Unknown(_) => None,
        };
        // What is not known is written anew as soon as it is.
        let ring = Self { marks, bound: bound.unwrap_or(u32::MAX) };
        Ok((ring, bound.map(Joules::new)))
    }

    /// Store the bound if it has to move; `budget` is that of the plan.
    pub(super) fn keep<F: NorFlash>(&mut self, flash: &mut F, heat: Joules, budget: u32) -> Result<(), StoreError> {
        let step = budget.div_ceil(STEPS).max(1);
        let left = self.marks.left();
        let wanted = if heat == Joules::ZERO { 0 } else { steps_above(heat.get().saturating_add(step / 2), step) };
        let bound = if wanted > self.bound {
            if left > 1 { wanted } else { budget.max(self.bound) }
        } else if self.bound.saturating_sub(wanted) >= step.saturating_mul(TOO_HIGH) && left > FOR_RISING {
            wanted
        } else {
            return Ok(());
        };
        if left == 0 || bound == self.bound {
            return Ok(());
        }
        self.marks.append(flash, bound)?;
        self.bound = bound;
        Ok(())
    }

    /// Whether a page is to be erased ahead.
    pub(super) const fn wants_tidying(&self) -> bool {
        self.marks.wants_tidying()
    }

    /// Erase a page ahead.
    pub(super) fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        self.marks.tidy(flash)
    }
}

/// The next whole number of steps.
const fn steps_above(heat: u32, step: u32) -> u32 {
    match heat.checked_next_multiple_of(step) {
        Some(bound) => bound,
        None => u32::MAX,
    }
}
