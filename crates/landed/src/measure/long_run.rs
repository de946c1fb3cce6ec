//! The no-slip ratio as the leg shows it over a long block of whole boot turns.
//!
//! A ratio that differs from the accepted one by the same amount at any load is lagging lost, build-up or wrong geometry: it
//! is no slip and makes no heat. Only a long mean with a small spread can say so.

use crate::motion::{SeenRatio, Slip, SlipReading};
use crate::record::keep::keep;
use crate::units::{Micros, Ppm, Ratio};

/// Boot turns in a block.
const BLOCK_TURNS: u32 = 64;

/// The block under way.
#[derive(Clone, Copy, Debug)]
pub struct LongRun {
    readings: u32,
    sum: i64,
    smallest: i32,
    largest: i32,
    /// Long-window readings that make a block.
    wanted: u32,
}

keep!(LongRun { readings, sum, smallest, largest } fixed { wanted });

impl LongRun {
    pub const fn new() -> Self {
        Self { readings: 0, sum: 0, smallest: i32::MAX, largest: i32::MIN, wanted: BLOCK_TURNS }
    }

    /// Begin, with so many long-window readings a boot turn.
    pub const fn configure(&mut self, readings_a_turn: u32) {
        *self = Self::new();
        self.wanted = BLOCK_TURNS.saturating_mul(readings_a_turn);
    }

    pub const fn restart(&mut self) {
        let wanted = self.wanted;
        *self = Self::new();
        self.wanted = wanted;
    }

    /// A whole long window closed. The ratio seen, once a block is full.
    pub fn take(&mut self, slip: &Slip, in_force: Ratio) -> Option<SeenRatio> {
        let SlipReading::Known(ppm) = slip.reading else {
            // A stretch with the boot overdue is no steady running.
            self.restart();
            return None;
        };
        self.readings = self.readings.saturating_add(1);
        self.sum = self.sum.saturating_add(i64::from(ppm.get()));
        self.smallest = self.smallest.min(ppm.get());
        self.largest = self.largest.max(ppm.get());
        if self.readings < self.wanted {
            return None;
        }
        let seen = self.conclude(in_force, slip.known_at);
        self.restart();
        Some(seen)
    }

    fn conclude(&self, in_force: Ratio, at: Micros) -> SeenRatio {
        // `readings` is `wanted` here and never zero; slip is within 200 %, so the mean fits.
        let mean = self.sum.checked_div(i64::from(self.readings)).unwrap_or(0);
        let kept = 1_000_000_i64.saturating_sub(mean).clamp(0, 3_000_000);
        let ratio = i64::from(in_force.get()).saturating_mul(kept).checked_div(1_000_000).unwrap_or(0);
        SeenRatio {
            ratio: Ratio::new(u32::try_from(ratio).unwrap_or(u32::MAX)),
            spread: Ppm::new(self.largest.saturating_sub(self.smallest)),
            at,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twelve_millimetres_of_lagging_lost_show_as_a_steady_shift() {
        // 600 mm bare, 12 mm lagging, 8 mm belt at the head; 600 mm bare at the boot: from geometry, D + 2t + belt.
        let with = 632.0 / 608.0;
        let without = 608.0 / 608.0;
        let slip = ((1.0 - without / with) * 1e6) as i32;
        let mut run = LongRun::new();
        run.configure(4);
        let in_force = Ratio::new((with * 1e6) as u32);
        let mut seen = None;
        for reading in 0..256 {
            assert_eq!(seen, None);
            let jitter = if reading % 2 == 0 { 40 } else { -40 };
            let reading = SlipReading::Known(Ppm::new(slip + jitter));
            seen = run.take(&Slip { reading, ..Slip::default() }, in_force);
        }
        let seen = seen.expect("a whole block");
        assert!(seen.ratio.get().abs_diff(1_000_000) < 10, "{seen:?}");
        assert_eq!(seen.spread, Ppm::new(80));
    }
}
