//! The no-slip ratio as the leg shows it over a long block of whole boot turns.
//!
//! A ratio that differs from the accepted one by the same amount at any load is lagging lost, build-up or wrong geometry: it
//! is no slip and makes no heat. Only a long mean with a small spread can say so.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::mul_div;
use crate::settings::plan::SlipPlan;
use crate::signals::{Reading, Signals};

/// The block under way.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct LongRun {
    /// Of at most 512 readings between -200 % and 100 %.
    sum: i32,
    smallest: i32,
    largest: i32,
    readings: u16,
    spare: u16,
}

impl LongRun {
    /// Begin a new block.
    pub const fn restart(&mut self) {
        self.readings = 0;
    }

    /// The long window said something new. Once a block is full, the ratio seen goes to `signals`: whether it did.
    pub fn take(&mut self, plan: &SlipPlan, signals: &mut Signals) -> bool {
        let Reading { least: ppm, .. } = signals.long;
        if !signals.long.is_exact() {
            // A stretch with the boot overdue is no steady running.
            self.restart();
            return false;
        }
        if self.readings == 0 {
            *self = Self { smallest: ppm, largest: ppm, ..Self::default() };
        }
        self.readings = self.readings.saturating_add(1);
        self.sum = self.sum.wrapping_add(ppm);
        self.smallest = self.smallest.min(ppm);
        self.largest = self.largest.max(ppm);
        if self.readings < plan.block {
            return false;
        }
        // What is kept of no slip at all, as a mean.
        let whole = u32::from(self.readings).wrapping_mul(1_000_000);
        let kept = whole.wrapping_sub(self.sum as u32);
        signals.ratio = mul_div(plan.ratio, kept, whole);
        signals.ratio_spread = self.largest.wrapping_sub(self.smallest);
        signals.ratio_blocks = signals.ratio_blocks.wrapping_add(1);
        self.restart();
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use zerocopy::FromZeros;

    #[test]
    fn a_steady_slip_of_a_tenth_takes_a_tenth_from_the_ratio() {
        let plan = SlipPlan { ratio: 4_000_000_000, block: 4, ..SlipPlan::default() };
        let (mut run, mut signals) = (LongRun::default(), Signals::new_zeroed());
        for block in 1..=3 {
            for reading in 1..=4 {
                signals.long = Reading::exact(100_000);
                assert_eq!(run.take(&plan, &mut signals), reading == 4);
            }
            assert_eq!((signals.ratio, signals.ratio_spread, signals.ratio_blocks), (3_600_000_000, 0, block));
        }
        // A boot that is overdue breaks a block off.
        for reading in
            [Reading::exact(0), Reading::exact(0), Reading::exact(0), Reading::at_least(0), Reading::exact(0)]
        {
            signals.long = reading;
            assert!(!run.take(&plan, &mut signals), "{reading:?}");
        }
    }

    #[test]
    fn twelve_millimetres_of_lagging_lost_show_as_a_steady_shift() {
        // 600 mm bare, 12 mm lagging, 8 mm belt at the head; 600 mm bare at the boot: from geometry, D + 2t + belt.
        let with = 632.0 / 608.0;
        let slip = ((1.0 - 1.0 / with) * 1e6) as i32;
        let plan = SlipPlan { ratio: (with * 1e6) as u32, block: 256, ..SlipPlan::default() };
        let (mut run, mut signals) = (LongRun::default(), Signals::new_zeroed());
        for reading in 0..256 {
            assert_eq!(signals.ratio_blocks, 0);
            signals.long = Reading::exact(slip + if reading % 2 == 0 { 40 } else { -40 });
            assert_eq!(run.take(&plan, &mut signals), reading == 255);
        }
        assert_eq!(signals.ratio_blocks, 1);
        assert!(signals.ratio.abs_diff(1_000_000) < 10, "{}", signals.ratio);
        assert_eq!(signals.ratio_spread, 80);
    }
}
