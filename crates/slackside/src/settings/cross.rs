//! Rules in derived numbers that desk and box both hold: the desk before it derives a plan, the box before it runs on one.

use super::derived::{ONE, turn_at};
use super::plan::ShaftPlan;
use crate::arith::{high, mul_div};
use crate::conditions::Condition;
use crate::input::Shaft;

/// The code's bound: 20 % of normal operating speed, 29 CFR 1910.272(q)(5), in ppm.
pub(super) const CODE_LOSS: i32 = 200_000;

/// Alarms and the stops that stand behind them, in the same unit.
pub(super) const PAIRS: [(Condition, Condition); 5] = [
    (Condition::SlipHigh, Condition::SlipVeryHigh),
    (Condition::SlipNegative, Condition::SlipImpossible),
    (Condition::Underspeed, Condition::DeepUnderspeed),
    (Condition::DeepUnderspeed, Condition::NoMotion),
    (Condition::Mistracking, Condition::MistrackingSustained),
];

/// How far normal speeds may lie from the ratio, and an accepted ratio from geometry: 10 %. Losing 12 mm of lagging from a 600 mm pulley
/// is 3.8 %.
pub(super) const RATIO_TOLERANCE: u32 = 100_000;

/// The least and the most the boot's normal speed may be by the head's and the ratio.
pub(super) const fn boot_by_ratio(head: u32, ratio: u32) -> (u32, u32) {
    let expected = mul_div(head, ratio, ONE);
    let tenth = mul_div(expected, RATIO_TOLERANCE, ONE);
    (expected.saturating_sub(tenth), expected.saturating_add(tenth))
}

/// The longest that a level may have to be held on this shaft, in microseconds: a quarter of the closest pitch at top speed.
pub(super) const fn longest_width(shaft: &ShaftPlan) -> u32 {
    high(shaft.least, shaft.top_turn) >> 2
}

/// Slip that a hum would have to feign to pass for health: from −10 % (where slip becomes impossible) to 15 %.
///
/// As shares of normal speed in ppm: the boot would seem to run at 85 % to 110 %, the head at 1/1.10 to 1/0.85.
const fn feigned(shaft: Shaft) -> (u32, u32) {
    match shaft {
        Shaft::Head => (909_090, 1_176_471),
        Shaft::Boot => (850_000, 1_100_000),
    }
}

/// The hum of the mains, 50 or 60 Hz, in edges a second, that would pass for a healthy speed of a shaft of this normal speed in
/// microturns a second with so many marks, `edges_a_period` counted edges in a period of hum; 0 if neither would. With a speed
/// reference the leg may run down to its minimum in ppm, and hum may look like any speed between.
pub(super) const fn feigning_hum(shaft: Shaft, normal: u32, marks: u32, edges_a_period: u32, minimum: u32) -> u32 {
    let (least, most) = feigned(shaft);
    // In millionths of an edge a second.
    let rate = normal.saturating_mul(marks);
    let (from, to) = (mul_div(rate, mul_div(least, minimum, ONE), ONE), mul_div(rate, most, ONE));
    let (low, high) = (50_u32.saturating_mul(edges_a_period), 60_u32.saturating_mul(edges_a_period));
    let (slow, quick) = (low.saturating_mul(ONE), high.saturating_mul(ONE));
    if from <= slow && slow <= to {
        low
    } else if from <= quick && quick <= to {
        high
    } else {
        0
    }
}

/// The design ramp, as the time in which 1 ppm of normal speed is lost: 5 % a second is 1 ppm in 20 µs.
const MICROS_A_PPM: u32 = 20;
/// What is left of the spacing error of a single pitch once the spacing is learned, in ppm.
pub(super) const LEARNED_PITCH_ERROR: u32 = 2_000;
/// Error of slip over a window of whole turns, before spacing is learned, in ppm.
pub(super) const WINDOW_ERROR: u32 = 1_500;

/// How late a slow fall of belt speed is seen, in microseconds, by a boot whose widest pitch takes `pitch` at the slowest normal speed.
///
/// Half a pitch because a pitch's mean speed is that of its middle, and one more pitch until the next edge comes or is overdue.
/// Pitches take longer at the speed reached.
pub(super) const fn wait_for_edges(pitch: u32, setpoint: i32) -> u32 {
    turn_at(pitch.saturating_add(pitch >> 1), 1_000_000_i32.saturating_sub(setpoint))
}

/// By how much a pitch's speed may read too high at the setpoint, in ppm.
pub(super) const fn speed_error(pitch_error: u32, setpoint: i32) -> u32 {
    mul_div(pitch_error, 1_000_000_i32.saturating_sub(setpoint).unsigned_abs(), ONE)
}

/// The loss of belt speed, in ppm of normal, by when a stop is given.
pub(super) const fn loss(setpoint: i32, error: u32, wait: u32, on_delay: u32) -> u32 {
    let late = mul_div(wait.saturating_add(on_delay), 1, MICROS_A_PPM);
    setpoint.unsigned_abs().saturating_add(error).saturating_add(late)
}

/// The widest pitch of the boot at the slowest normal speed, in microseconds: `minimum` is the lowest reference, in ppm.
pub(super) const fn slowest_pitch(largest: u32, normal_turn: u32, minimum: u32) -> u32 {
    mul_div(high(largest, normal_turn), ONE, minimum)
}
