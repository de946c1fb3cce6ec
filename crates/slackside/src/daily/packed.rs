//! A day with temperatures: the other figures in coarser steps, so that all of it has room in the same 24 bytes.
//!
//! Behind number, kind and flags stand 19 bytes, filled from their lowest bit on:
//!
//! | bits | what | not known |
//! |---|---|---|
//! | 11 | running, in whole minutes | |
//! | 4 × 12 | slip by load and shift of the ratio, in 50 ppm, with sign, held at ±102,350 ppm | -2048 |
//! | 4 × 7 | contact duty by place, in 8 ppm, to within 6 % | 127 |
//! | 2 × 6 | rejects, to within 13 % | 63 |
//! | 5 | losses, to within 25 % | 31 |
//! | 6 | starts, held at 63 | |
//! | 7 | longest run-down, in fifths of a second, held at 25.2 s | 127 |
//! | 7 | the coolest, in degrees above -40 °C | |
//! | 4 × 7 | the hottest by place, in degrees above the coolest | 127 |

use super::coarse::{code, count};
use super::summary::tens;
use super::warmth::degrees;
use super::{Coarse, LOOKS_A_DAY, Summary};
use crate::input::Place;
use crate::units::{DeciCelsius, Ppm, Span};

/// The bytes that it takes.
pub(super) const LENGTH: usize = 19;

/// So many looks are a minute.
const LOOKS_A_MINUTE: u16 = 30;
/// Slip and the ratio, in so many tens of ppm.
const FIGURE_STEP: i16 = 5;
const NO_FIGURE: u32 = 1 << 11;
/// Contact duty, in so many ppm.
const DUTY_STEP: u32 = 8;
const DUTY_FRACTION: u32 = 3;
const REJECTS_FRACTION: u32 = 2;
const LOSSES_FRACTION: u32 = 1;
const MOST_STARTS: u8 = 63;
/// Run-down, in so many microseconds.
const COAST_STEP: u32 = 200_000;
const UNKNOWN: u32 = 127;
/// The coolest that can be told, in degrees.
const COOLEST: i16 = -40;

/// Bits one after the other.
struct Bits<'a> {
    bytes: &'a mut [u8; LENGTH],
    at: usize,
}

impl Bits<'_> {
    #[inline(never)]
    fn put(&mut self, mut value: u32, width: u32) {
        for _ in 0..width {
            if let Some(byte) = self.bytes.get_mut(self.at >> 3) {
                *byte |= ((value & 1) as u8) << (self.at & 7);
            }
            value >>= 1;
            self.at = self.at.wrapping_add(1);
        }
    }

    #[inline(never)]
    fn take(&mut self, width: u32) -> u32 {
        let mut value = 0;
        for bit in 0..width {
            let byte = self.bytes.get(self.at >> 3).copied().unwrap_or(0);
            value |= u32::from(byte >> (self.at & 7) & 1) << bit;
            self.at = self.at.wrapping_add(1);
        }
        value
    }
}

/// What a day says, but for its number, kind and flags.
pub(super) fn pack(day: &Summary) -> [u8; LENGTH] {
    let mut bytes = [0; LENGTH];
    let mut bits = Bits { bytes: &mut bytes, at: 0 };
    let running = if day.running < LOOKS_A_DAY { day.running } else { LOOKS_A_DAY };
    bits.put((running / LOOKS_A_MINUTE).into(), 11);
    for figure in day.slip.iter().chain([&day.ratio_shift]) {
        let steps = figure.map(|figure| {
            let tens = tens(Some(figure));
            let half = if tens < 0 { -FIGURE_STEP / 2 } else { FIGURE_STEP / 2 };
            (tens.saturating_add(half) / FIGURE_STEP).clamp(-2_047, 2_047) as u32
        });
        bits.put(steps.unwrap_or(NO_FIGURE), 12);
    }
    for duty in day.duty {
        let steps = duty.map(|duty| (duty.get().max(0) as u32).saturating_add(DUTY_STEP >> 1) / DUTY_STEP);
        bits.put(code(steps, DUTY_FRACTION).into(), 7);
    }
    for rejects in day.rejects {
        bits.put(code(rejects.get(), REJECTS_FRACTION).into(), 6);
    }
    bits.put(code(day.losses.get(), LOSSES_FRACTION).into(), 5);
    bits.put(day.starts.min(MOST_STARTS).into(), 6);
    bits.put(day.coast.map_or(UNKNOWN, |coast| (coast.get() / COAST_STEP).min(UNKNOWN.wrapping_sub(1))), 7);
    let coolest =
        day.coolest.map_or(COOLEST, |coolest| degrees(coolest.get()).clamp(COOLEST, COOLEST.wrapping_add(127)));
    bits.put(coolest.wrapping_sub(COOLEST) as u32, 7);
    for hottest in day.hottest {
        let above = hottest.map(|hottest| degrees(hottest.get()).saturating_sub(coolest).clamp(0, 126) as u32);
        bits.put(above.unwrap_or(UNKNOWN), 7);
    }
    bytes
}

/// The same day again, in these steps; number, kind and flags as in `day`.
pub(super) fn unpack(mut bytes: [u8; LENGTH], day: Summary) -> Summary {
    let mut bits = Bits { bytes: &mut bytes, at: 0 };
    let running = (bits.take(11) as u16).wrapping_mul(LOOKS_A_MINUTE);
    let [a, b, c, ratio_shift] = [(); 4].map(|()| {
        let steps = bits.take(12);
        // The sign is the highest of 12 bits.
        let signed = ((steps << 20) as i32) >> 20;
        (steps != NO_FIGURE).then(|| Ppm::new(signed.wrapping_mul(50)))
    });
    let duty = [(); Place::COUNT].map(|()| {
        let steps = count(bits.take(7) as u8, DUTY_FRACTION)?;
        Some(Ppm::new(steps.saturating_mul(DUTY_STEP).min(1_000_000) as i32))
    });
    let coarse = |count: Option<u32>| count.map_or(Coarse::UNKNOWN, Coarse::of);
    let rejects = [(); 2].map(|()| coarse(count(bits.take(6) as u8, REJECTS_FRACTION)));
    let losses = coarse(count(bits.take(5) as u8, LOSSES_FRACTION));
    let starts = bits.take(6) as u8;
    let coast = bits.take(7);
    let coolest = (bits.take(7) as i16).wrapping_add(COOLEST);
    let hottest = [(); Place::COUNT].map(|()| {
        let above = bits.take(7);
        (above != UNKNOWN).then(|| DeciCelsius::new(coolest.wrapping_add(above as i16).wrapping_mul(10)))
    });
    Summary {
        running: running.min(LOOKS_A_DAY),
        slip: [a, b, c],
        ratio_shift,
        duty,
        rejects,
        losses,
        starts,
        coast: (coast != UNKNOWN).then(|| Span::new(coast.wrapping_mul(COAST_STEP))),
        coolest: Some(DeciCelsius::new(coolest.wrapping_mul(10))),
        hottest,
        ..day
    }
}
