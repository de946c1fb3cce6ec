//! The speed reference of a variable-speed drive: the speed asked of it, which the drive then ramps to. What a belt is held against is the
//! speed that the drive has reached by its own ramp, both ways; so neither a change of speed nor its ramp is a loss of speed, and no
//! limit is loosened for it. In any doubt, and 15 s after the newest reading, the reference is not known: nameplate speed is used
//! then, at once, so that a belt run slower on purpose counts as too slow and not the other way round; the alarm comes after its delay.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::speed::Pitches;
use crate::arith::{divide, high, mul_div};
use crate::settings::plan::{Plan, fitted};
use crate::time::{SWEEP, age, held, reached, wait};

/// What readings of one speed may differ by: resolution and rounding of the signal.
const SLACK: u32 = 10_000;
/// What goes on changing may make up for at most so long since the reading before: a ramp sent once a second is no step.
const BANKED: u32 = 1_000_000;
/// A reading older than this says nothing of now: a sender that repeats it every five seconds has then missed three.
pub const STALE: u32 = 15_000_000;
/// One whole, in ppm.
const ONE: u32 = 1_000_000;
/// The ramp goes on in steps of so many microseconds: less than one per cent of normal speed where it takes eight seconds.
const STEP: u32 = 1 << 16;
/// Two thirds of a step in 2^-32 s: the plan's rate is half as much again as the drive's.
const RAMP: u32 = 187_649_984;

/// The reference and what is believed of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Reference {
    read: u8,
    /// The head contradicts it.
    contradicted: u8,
    /// Whether the newest reading went up (1) or down (2) from the one before.
    went: u8,
    spare: u8,
    value: i32,
    read_at: u32,
    /// What the drive has reached by its ramp, and what it would have at half its rate; and when they go on.
    reached: i32,
    lagging: i32,
    next_step: u32,
    /// The head's turn times at 80 % and 120 % of what it may turn at: the least and the most of these two and of what is asked.
    slow: u32,
    fast: u32,
    /// What normal speed is multiplied by, in ppm.
    pub scale: u32,
}

impl Reference {
    /// Nothing was read yet.
    pub fn begin(&mut self, now: u32) {
        *self = Self { scale: ONE, read_at: now, ..Self::default() };
    }

    /// A reading.
    pub fn read(&mut self, plan: &Plan, value: i32, now: u32) {
        if !self.is_ramping() {
            // Up, a boot pitch begun before says nothing of the ramp yet.
            let pitch = high(plan.boot.largest, plan.boot.normal_turn);
            let pitch = if value > self.reached { mul_div(pitch, ONE, self.reached.max(1).unsigned_abs()) } else { 0 };
            self.next_step = now.wrapping_add(pitch.min(STALE)).wrapping_add(STEP);
        }
        // What goes on changing is a ramp itself, sent once in a while: no step, if the drive could have made it since.
        let went = match value.saturating_sub(self.value) {
            change if change.unsigned_abs() <= SLACK => 0,
            1.. => 1,
            _ => 2,
        };
        let goes_on = went != 0 && went == self.went;
        let banked =
            if goes_on { mul_div(age(now, self.read_at).min(BANKED), plan.drive.reference_rate, ONE) } else { 0 };
        let near =
            (goes_on || self.reached == self.lagging) && value.abs_diff(self.reached) <= banked.saturating_add(SLACK);
        // What was no speed at all is nothing to ramp from.
        if self.is_missing(now) || is_too_low(plan, self.reached) || near {
            (self.reached, self.lagging) = (value, value);
        }
        self.went = went;
        self.value = value;
        self.read_at = now;
        self.read = 1;
        self.find_band(plan);
    }

    /// Between which speeds the head must turn.
    fn find_band(&mut self, plan: &Plan) {
        let turn = |speed: i32, percent: u32| {
            let share = divide(u64::from(speed.max(0).unsigned_abs()).wrapping_mul(u64::from(percent)), 100);
            mul_div(plan.head.normal_turn, ONE, share).max(1)
        };
        self.slow = turn(self.value.min(self.reached).min(self.lagging), 80);
        self.fast = turn(self.value.max(self.reached).max(self.lagging), 120);
    }

    const fn is_ramping(&self) -> bool {
        self.read != 0 && (self.reached != self.value || self.lagging != self.value)
    }

    /// A step of the ramp.
    fn step(&mut self, plan: &Plan) {
        self.next_step = self.next_step.wrapping_add(STEP);
        let step = high(plan.drive.reference_rate, RAMP);
        self.reached = towards(self.value, self.reached, step);
        self.lagging = towards(self.value, self.lagging, step >> 1);
        self.find_band(plan);
    }

    /// Ramp on, hold it against the head's last pitch, and find what normal speed is multiplied by.
    pub fn settle(&mut self, plan: &Plan, head: &Pitches<'_>, judged: bool, now: u32) {
        if !judged {
            self.contradicted = 0;
            if self.is_ramping() {
                // A leg that stands or starts has no speed to ramp from.
                (self.reached, self.lagging) = (self.value, self.value);
                self.find_band(plan);
            }
        } else {
            if self.is_ramping() && reached(now, self.next_step) {
                self.step(plan);
            }
            if head.is_closed() {
                self.contradicted = u8::from(!self.agrees(plan, head));
            }
        }
        self.scale = if self.read != 0 && plan.has(fitted::REFERENCE) && !self.is_wrong(plan, now) {
            self.reached.unsigned_abs()
        } else {
            ONE
        };
    }

    /// Whether the head's last pitch is within 20 % of what the drive can have reached.
    pub fn agrees(&self, plan: &Plan, head: &Pitches<'_>) -> bool {
        !plan.has(fitted::REFERENCE)
            || self.read == 0
            || !(head.shaft.too_slow(self.slow) || (self.fast > 1 && head.shaft.fast_enough(self.fast)))
    }

    /// Whether there is no reading that says anything of `now`: none has come yet, or none for too long.
    pub const fn is_missing(&self, now: u32) -> bool {
        self.read == 0 || age(now, self.read_at) >= STALE
    }

    /// Whether it cannot be relied on. Not without one.
    pub fn is_wrong(&self, plan: &Plan, now: u32) -> bool {
        plan.has(fitted::REFERENCE) && (self.is_missing(now) || is_too_low(plan, self.value) || self.contradicted != 0)
    }

    /// How long until the newest reading is too old, or the ramp goes on.
    pub fn next(&self, plan: &Plan, now: u32) -> u32 {
        if !plan.has(fitted::REFERENCE) || self.is_missing(now) {
            return SWEEP;
        }
        let stale = STALE.saturating_sub(age(now, self.read_at));
        if self.is_ramping() { stale.min(wait(now, self.next_step).max(1)) } else { stale }
    }

    /// Hold what is old.
    pub fn sweep(&mut self, now: u32) {
        self.read_at = held(now, self.read_at);
    }
}

/// Whether this is no speed that the leg runs at.
fn is_too_low(plan: &Plan, value: i32) -> bool {
    value < i32::try_from(plan.drive.reference_minimum).unwrap_or(i32::MAX)
}

/// One step from `from` towards `to`.
const fn towards(to: i32, from: i32, step: u32) -> i32 {
    if from.abs_diff(to) <= step {
        to
    } else if to < from {
        from.saturating_sub_unsigned(step)
    } else {
        from.saturating_add_unsigned(step)
    }
}
