//! The speed reference of a variable-speed drive. In any doubt, and 15 s after the newest reading, it is not known: nameplate speed
//! is used then, at once, so that a belt run slower on purpose counts as too slow and not the other way round; the alarm comes
//! after its delay.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::speed::Pitches;
use crate::arith::{divide, mul_div};
use crate::settings::plan::{Plan, fitted};
use crate::time::{SWEEP, age, held};

/// What a reading may differ from what the drive can have reached: resolution and rounding of the signal.
const SLACK: u32 = 10_000;
/// A change may make up for at most so long since the reading before: a signal sent once a second is no jump.
const BANKED: u32 = 1_000_000;
/// A reading older than this says nothing of now: a sender that repeats it every five seconds has then missed three.
pub const STALE: u32 = 15_000_000;
/// One whole, in ppm.
const ONE: u32 = 1_000_000;

/// The reference and what is believed of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Reference {
    value: i32,
    /// What the drive can have reached at `believed_at`.
    believed: i32,
    believed_at: u32,
    /// The head's turn times at 80 % and 120 % of the reference.
    slow: u32,
    fast: u32,
    /// What normal speed is multiplied by, in ppm.
    pub scale: u32,
    read: u8,
    /// The head contradicts it.
    contradicted: u8,
    spare: [u8; 2],
}

impl Reference {
    /// Nothing was read yet.
    pub fn begin(&mut self, now: u32) {
        *self = Self { scale: ONE, believed_at: now, ..Self::default() };
    }

    /// What the drive can have reached by `now`, if it began to move no longer than `most` ago.
    fn reached(&self, plan: &Plan, now: u32, most: u32) -> i32 {
        let waited = age(now, self.believed_at).min(most);
        let step = i32::try_from(mul_div(waited, plan.drive.reference_rate, ONE)).unwrap_or(i32::MAX);
        let gap = self.value.saturating_sub(self.believed);
        // Not `clamp`: it panics where the bounds cross, and no compiler sees that these cannot.
        self.believed.saturating_add(gap.max(step.saturating_neg()).min(step))
    }

    /// A reading.
    pub fn read(&mut self, plan: &Plan, value: i32, now: u32) {
        let first = self.read == 0;
        self.value = value;
        self.believed = if first { value } else { self.reached(plan, now, BANKED) };
        self.believed_at = now;
        self.read = 1;
        let turn = |percent: u32| {
            let share = divide(u64::from(value.max(0).unsigned_abs()).wrapping_mul(u64::from(percent)), 100);
            mul_div(plan.head.normal_turn, ONE, share).max(1)
        };
        self.slow = turn(80);
        self.fast = turn(120);
    }

    /// Hold it against the head's last pitch, and find what normal speed is multiplied by. Whether that changed.
    pub fn settle(&mut self, plan: &Plan, head: &Pitches<'_>, judged: bool, now: u32) -> bool {
        if !judged {
            self.contradicted = 0;
        } else if head.is_closed() {
            self.contradicted = u8::from(!self.agrees(plan, head));
        }
        let scale = if self.read != 0 && plan.has(fitted::REFERENCE) && !self.is_wrong(plan, now) {
            self.value.unsigned_abs()
        } else {
            ONE
        };
        core::mem::replace(&mut self.scale, scale) != scale
    }

    /// Whether the head's last pitch is within 20 % of the reference.
    pub fn agrees(&self, plan: &Plan, head: &Pitches<'_>) -> bool {
        !plan.has(fitted::REFERENCE)
            || self.read == 0
            || !(head.shaft.too_slow(self.slow) || (self.fast > 1 && head.shaft.fast_enough(self.fast)))
    }

    fn gap(&self, from: i32) -> u32 {
        self.value.saturating_sub(from).unsigned_abs()
    }

    fn has_jumped(&self, plan: &Plan, now: u32) -> bool {
        self.read != 0 && self.gap(self.reached(plan, now, u32::MAX)) > SLACK
    }

    /// Whether there is no reading that says anything of `now`: none has come yet, or none for too long.
    pub const fn is_missing(&self, now: u32) -> bool {
        self.read == 0 || age(now, self.believed_at) >= STALE
    }

    /// Whether it cannot be relied on. Not without one.
    pub fn is_wrong(&self, plan: &Plan, now: u32) -> bool {
        plan.has(fitted::REFERENCE)
            && (self.is_missing(now)
                || self.value < i32::try_from(plan.drive.reference_minimum).unwrap_or(i32::MAX)
                || self.contradicted != 0
                || self.has_jumped(plan, now))
    }

    /// How long until the newest reading is too old, or the drive can have caught up with a jump.
    pub fn next(&self, plan: &Plan, now: u32) -> u32 {
        if !plan.has(fitted::REFERENCE) || self.is_missing(now) {
            return SWEEP;
        }
        let old = age(now, self.believed_at);
        let stale = STALE.saturating_sub(old);
        if !self.has_jumped(plan, now) {
            return stale;
        }
        let gap = u64::from(self.gap(self.believed).saturating_sub(SLACK));
        let rate = plan.drive.reference_rate;
        let caught_up = divide(gap.wrapping_mul(u64::from(ONE)).wrapping_add(u64::from(rate.saturating_sub(1))), rate);
        stale.min(caught_up.saturating_sub(old).max(1))
    }

    /// Hold what is old.
    pub fn sweep(&mut self, now: u32) {
        self.believed_at = held(now, self.believed_at);
    }
}
