//! What in a plan follows from the rest of it. The desk fills it in by these functions; the box fills in a copy by the same ones and
//! refuses a plan that says anything else.

use super::plan::{HEAT_SHIFT, LegPlan, RowPlan, ShaftPlan, SlipPlan};
use crate::arith::{divide, high, mul_div, share};
use crate::conditions::Compared;
use crate::input::Shaft;

/// One whole in ppm.
pub(super) const ONE: u32 = 1_000_000;
/// A turn in 2^-24.
const TURN: u32 = 1 << 24;
/// The most head angle that all remembered closing marks together may span, with room for a last interval below the 256 turns after
/// which angles in 2^-24 turn wrap.
const STRETCH: u32 = 224 * TURN;
/// Closing marks in one boot turn, at most.
const MOST_CLOSINGS: u32 = 8;
/// Boot marks that may wait for the next head edge; 20 of them by the settings, the rest to spare.
const WAITING: u32 = 20;
/// Boot turns of the long window.
const LONG_TURNS: u32 = 4;
/// Microseconds for each metre a second at 10 m/s².
const MICROS_A_METRE_A_SECOND: u32 = 100_000;
/// Boot turns in a block of the long-run ratio.
const BLOCK_TURNS: u32 = 64;
/// A learned pitch may differ from what the settings say by this part of an even one (1/2^6, 1.6 %), if the tolerance is not larger.
const MATERIAL_SHIFT: u32 = 6;
/// Pitches that make up just the angle of a limit reach it whatever their rounding: a millionth of a turn less, in 2^-24 turn.
const ROUNDED: i32 = 16;
/// A cell of slip heat is 2^17 µs: what one watt makes in it, in 2^-16 of 2^-30 of a budget of 1 J, rounded up.
const HEAT_A_WATT: u64 = (1_u64 << (17 + 16 + HEAT_SHIFT)).div_ceil(1_000_000);
/// How long a turn takes at `share` ppm of a speed at which it takes `turn`; the end of the type where it would never end.
pub(super) const fn turn_at(turn: u32, share: i32) -> u32 {
    if share <= 0 { u32::MAX } else { mul_div(turn, ONE, share as u32) }
}

/// Late inputs are counted up to sixteen: a larger setpoint counts as sixteen.
const MOST_LATES: i32 = 16;

/// `value` of a condition's setpoint in what judge compares with. `turn` is a turn of its shaft at normal speed.
pub(super) fn in_its_unit(compared: Compared, value: i32, turn: u32) -> i32 {
    let factor = match compared {
        Compared::Itself => return value,
        Compared::Counted => return if value > MOST_LATES { MOST_LATES } else { value },
        Compared::Time => 1_000 * ONE,
        Compared::Angle => TURN,
        Compared::Heat => 1 << HEAT_SHIFT,
        Compared::BootTurnFaster => {
            return to_i32(turn_at(turn, 1_000_000_i32.saturating_add(value))).saturating_neg();
        }
        Compared::HeadTurn | Compared::BootTurn => return to_i32(turn_at(turn, 1_000_000_i32.saturating_sub(value))),
    };
    let rounded = if matches!(compared, Compared::Angle) { ROUNDED } else { 0 };
    to_i32(share(factor, value)).saturating_sub(rounded)
}

const fn to_i32(value: u32) -> i32 {
    if value > i32::MAX as u32 { i32::MAX } else { value as i32 }
}

/// Which shaft's normal speed it compares with; the boot's where none.
pub(super) const fn shaft_of(compared: Compared) -> Shaft {
    match compared {
        Compared::HeadTurn => Shaft::Head,
        _ => Shaft::Boot,
    }
}

/// The limit made of a setpoint in that unit. For an angle of the head it is no less than a quarter more than lies between two boot edges of a
/// belt that follows: by then it has slipped by a fifth.
pub(super) fn limit(compared: Compared, limit: i32, boot: &ShaftPlan, slip: &SlipPlan) -> i32 {
    let between = high(boot.largest, slip.head_per_boot);
    let least = to_i32(between.saturating_add(between >> 2));
    if matches!(compared, Compared::Angle) { limit.max(least) } else { limit }
}

impl ShaftPlan {
    /// Fill in what follows from marks, `least`, `largest`, `normal`, `top_turn` and `standing`.
    pub(super) fn complete(&mut self) {
        self.even = divide(u32::MAX.into(), u32::from(self.marks).max(1));
        let tolerance = if self.uneven == 0 { self.even.saturating_sub(self.least) } else { 0 };
        let margin = tolerance.max(self.even >> MATERIAL_SHIFT);
        self.allowed_least = self.least.saturating_sub(margin);
        self.allowed_most = self.largest.saturating_add(margin);
        // To the nearest microsecond.
        self.normal_turn = divide(1_000_000_000_000_u64.saturating_add(u64::from(self.normal >> 1)), self.normal);
        // A fifth below the gap at top speed, so that a shaft over top speed is still seen as one.
        self.minimum_gap = share(high(self.least, self.top_turn), 800_000);
        // A tenth of normal speed over the widest pitch; but a sensor that drops out for a moment, where marks lie close, is no rest.
        self.rest = share(high(self.largest, self.normal_turn), 10_000_000).max(self.normal_turn >> 1);
        self.reject_window = share(self.normal_turn, 10_000_000);
        self.brisk = share(self.normal_turn, 1_250_000);
        self.sudden = share(self.normal_turn, 1_600_000);
    }
}

impl SlipPlan {
    /// Fill in what follows from `ratio` and the shafts.
    pub(super) fn complete(&mut self, head: &ShaftPlan, boot: &ShaftPlan) {
        self.head_per_boot = mul_div(TURN, ONE, self.ratio);
        self.boot_per_head = mul_div(TURN, self.ratio, ONE);
        let marks = u32::from(boot.marks).max(1);
        // Boot turns in one head pitch, in 2^-8 turn, rounded up.
        let boot_in_pitch = mul_div(head.largest >> 24, self.ratio, ONE).wrapping_add(2);
        let most = divide(u64::from(WAITING << 8), boot_in_pitch).clamp(1, MOST_CLOSINGS);
        // Small numbers all: up to 64 marks.
        let rounded_up = |a: u32, b: u32| divide(a.wrapping_add(b).wrapping_sub(1).into(), b);
        let stride = rounded_up(marks, most);
        let closings = rounded_up(marks, stride);
        self.stride = stride as u8;
        self.closings = closings as u8;
        self.closing_share = divide(TURN.into(), closings);
        self.apart = divide(STRETCH.into(), closings.wrapping_mul(LONG_TURNS));
        let pitches = if boot.marks > 2 { 3_250_000 } else { 1_250_000 };
        self.doubt = share(high(boot.largest, self.head_per_boot), pitches);
        self.regain = mul_div(self.boot_circumference, MICROS_A_METRE_A_SECOND, boot.normal_turn);
        self.block = BLOCK_TURNS.wrapping_mul(closings) as u16;
    }
}

impl LegPlan {
    /// Fill in what follows from the shafts, the limits of deep underspeed and of the start time, and the heat that is lost.
    pub(super) fn complete(&mut self, head: &ShaftPlan, boot: &ShaftPlan, deep: &RowPlan, start_failed: &RowPlan) {
        self.head_deep = turn_at(head.normal_turn, 1_000_000_i32.saturating_sub(deep.setpoint));
        self.head_silent = share(head.normal_turn, 6_000_000);
        self.boot_turns = share(boot.normal_turn, 3_000_000);
        self.start_time = start_failed.limit.unsigned_abs();
        self.heat_left = high(self.heat_left_half, self.heat_left_half).wrapping_add(1);
        self.heat_a_watt =
            divide(HEAT_A_WATT.saturating_add(u64::from(self.heat_budget.saturating_sub(1))), self.heat_budget);
    }
}
