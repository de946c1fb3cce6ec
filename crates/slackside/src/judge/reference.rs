//! The speed reference of a variable-speed drive: the speed asked of it, which the drive then ramps to. What a belt is held against is the
//! speed that the drive has reached by its own ramp, both ways; so neither a change of speed nor its ramp is a loss of speed, and no
//! limit is loosened for it. In any doubt, and 15 s after the newest reading, the reference is not known: nameplate speed is used
//! then, at once, so that a belt run slower on purpose counts as too slow and not the other way round; the alarm comes after its delay.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::speed::Pitches;
use crate::arith::{divide, high, mul_div};
use crate::settings::plan::{Plan, fitted};
use crate::signals::ShaftSignals;
use crate::time::{age, held, reached, wait};

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
            mul_div(plan.head.normal_turn, ONE, share)
        };
        self.slow = turn(self.value.min(self.reached).min(self.lagging), 80);
        self.fast = turn(self.value.max(self.reached).max(self.lagging), 120);
    }

    const fn is_ramping(&self) -> bool {
        self.reached != self.value || self.lagging != self.value
    }

    /// A step of the ramp.
    fn step(&mut self, plan: &Plan) {
        self.next_step = self.next_step.wrapping_add(STEP);
        let step = high(plan.drive.reference_rate, RAMP).cast_signed();
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
                self.contradicted = u8::from(!self.agrees(head.shaft));
            }
        }
        self.scale =
            if plan.has(fitted::REFERENCE) && !self.is_wrong(plan, now) { self.reached.unsigned_abs() } else { ONE };
    }

    /// Whether the head's last pitch is within 20 % of what the drive can have reached.
    pub const fn agrees(&self, head: &ShaftSignals) -> bool {
        self.read == 0 || !(head.too_slow(self.slow) || head.fast_enough(self.fast))
    }

    /// Whether there is no reading that says anything of `now`: none has come yet, or none for too long.
    pub const fn is_missing(&self, now: u32) -> bool {
        self.read == 0 || age(now, self.read_at) >= STALE
    }

    /// Whether it cannot be relied on. Not without one.
    pub fn is_wrong(&self, plan: &Plan, now: u32) -> bool {
        plan.has(fitted::REFERENCE) && (self.is_missing(now) || is_too_low(plan, self.value) || self.contradicted != 0)
    }

    /// How long until the newest reading is too old, or the ramp goes on; `u32::MAX` where there is none.
    pub fn next(&self, plan: &Plan, now: u32) -> u32 {
        if !plan.has(fitted::REFERENCE) || self.is_missing(now) {
            return u32::MAX;
        }
        let stale = STALE.saturating_sub(age(now, self.read_at));
        if self.is_ramping() { stale.min(wait(now, self.next_step)) } else { stale }
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
fn towards(to: i32, from: i32, step: i32) -> i32 {
    from.saturating_add(to.saturating_sub(from).min(step).max(step.saturating_neg()))
}

#[cfg(test)]
mod tests {
    use super::super::view::View;
    use super::*;
    use crate::settings::plan::LegPlan;
    use crate::signals::{Signals, seen};
    use crate::time::Now;
    use crate::units::Micros;

    /// An eighth of normal speed a second, and half as much again; a quarter turn of the boot takes 0.2 s.
    fn plan() -> Plan {
        let mut plan = Plan::blank();
        plan.fitted = fitted::REFERENCE;
        (plan.drive.reference_rate, plan.drive.reference_minimum) = (187_500, 400_000);
        plan.head.normal_turn = 800_000;
        (plan.boot.largest, plan.boot.normal_turn) = (1 << 30, 800_000);
        plan
    }

    /// A head that turned half a turn in this time, or, at zero, has not turned.
    fn head(pitch: u32) -> ShaftSignals {
        let half = 1 << 31;
        let seen = if pitch > 0 { seen::SEEN } else { 0 };
        ShaftSignals { pitch, pitch_angle: half, pitch_largest: half, next_largest: half, seen, ..Default::default() }
    }

    fn settle(reference: &mut Reference, pitch: u32, judged: bool, now: u32) -> u32 {
        let (plan, signals, shaft) = (plan(), Signals::NONE, head(pitch));
        let view = View { plan: &plan, signals: &signals, now: Now::new(Micros::new(now.into())) };
        reference.settle(&plan, &Pitches::new(&view, &shaft, &plan.head, None), judged, now);
        reference.scale
    }

    fn told(readings: &[(u32, i32)]) -> Reference {
        let mut reference = Reference::default();
        reference.begin(0);
        for (now, value) in readings {
            reference.read(&plan(), *value, *now);
        }
        reference
    }

    /// 8,192 millionths of normal speed in 65.536 ms, rounded down; and what the drive would reach at half that rate.
    #[test]
    fn a_step_down_is_ramped_from_the_next_step_of_time_on() {
        let mut reference = told(&[(0, 1_000_000), (1_000, 600_000)]);
        assert_eq!(settle(&mut reference, 0, true, 1_000 + STEP - 1), 1_000_000);
        for step in 1..=49 {
            let now = 1_000 + step * STEP;
            assert_eq!(reference.next(&plan(), now - 10), 10, "{step}");
            assert_eq!(settle(&mut reference, 0, true, now), (1_000_000 - 8_191 * step).max(600_000), "{step}");
            assert_eq!(reference.lagging, 1_000_000 - 4_095 * step as i32, "{step}");
            assert_eq!(settle(&mut reference, 0, true, now + 1), reference.reached as u32, "no second step");
        }
        for step in 50..=98 {
            assert!(reference.is_ramping(), "{step}");
            assert_eq!(settle(&mut reference, 0, true, 1_000 + step * STEP), 600_000);
        }
        assert!(!reference.is_ramping());
        assert_eq!(reference.next(&plan(), 7_000_000), STALE - 7_000_000 + 1_000, "it is there: only age is left");
    }

    /// Up, a boot pitch begun at the speed before says nothing of the ramp yet.
    #[test]
    fn a_step_up_waits_for_a_boot_pitch_more() {
        let mut reference = told(&[(0, 600_000), (1_000, 1_000_000)]);
        let first = 1_000 + 333_333 + STEP;
        assert_eq!(settle(&mut reference, 0, true, first - 1), 600_000);
        assert_eq!(settle(&mut reference, 0, true, first), 608_191);
        assert_eq!(settle(&mut reference, 0, true, first + STEP), 616_382);
    }

    /// 20 % about all that the drive may turn at meanwhile.
    #[test]
    fn a_head_outside_a_fifth_contradicts_it() {
        let mut reference = told(&[(0, 1_000_000), (1_000, 600_000)]);
        // 48 % of normal is a turn in 1.667 s, and 120 % in 0.667 s.
        for (pitch, agrees) in [(333_333, false), (333_334, true), (833_333, true), (833_334, false)] {
            let scale = settle(&mut reference, pitch, true, 2_000);
            assert_eq!((reference.contradicted == 0, reference.is_wrong(&plan(), 2_000)), (agrees, !agrees), "{pitch}");
            assert_eq!(scale, 1_000_000, "{pitch}: nameplate, or not ramped on yet");
        }
        assert_eq!(settle(&mut reference, 833_334, false, 2_001), 600_000, "what is not judged contradicts nothing");
        // Without a reading, or without a drive that has one, there is nothing to contradict.
        let mut none = told(&[]);
        settle(&mut none, 100, true, 2_000);
        assert_eq!(none.contradicted, 0);
    }

    #[test]
    fn within_a_hundredth_readings_are_the_same_speed() {
        for (value, at_once) in [(790_000, true), (789_999, false), (810_000, true), (810_001, false)] {
            // Down before, so that up is no ramp that goes on.
            let before: &[(u32, i32)] =
                if value > 800_000 { &[(0, 900_000), (1, 800_000), (20_000_000, 800_000)] } else { &[(0, 800_000)] };
            let mut reference = told(before);
            reference.read(&plan(), value, 20_000_001);
            let near = reference.reached == value;
            // After 15 s without any it is a new beginning.
            assert_eq!(near, at_once || before.len() == 1, "{value}");
        }
    }

    /// A ramp that is told once in a while: no step, if the drive could have made it since; of a second at most.
    #[test]
    fn readings_that_go_on_changing_are_a_ramp_themselves() {
        for (after, change, at_once) in [
            (500_000, 103_750, true),
            (500_000, 103_751, false),
            (3_000_000, 197_500, true),
            (3_000_000, 197_501, false),
        ] {
            let reference = told(&[(0, 600_000), (1_000_000, 620_000), (1_000_000 + after, 620_000 + change)]);
            assert_eq!(reference.reached == 620_000 + change, at_once, "{after} {change}");
            assert_eq!(reference.is_ramping(), !at_once);
        }
    }

    /// A drive that ramps to three times its speed in a second makes up for that second and no microsecond more.
    #[test]
    fn what_goes_on_changing_makes_up_for_a_second_at_the_most() {
        let plan = Plan { drive: LegPlan { reference_rate: 3_000_000, ..plan().drive }, ..plan() };
        for (more, at_once) in [(0, true), (1, false)] {
            let mut reference = Reference::default();
            reference.begin(0);
            for (now, value) in [(0, 600_000), (1_000_000, 620_000), (4_000_000, 3_630_000 + more)] {
                reference.read(&plan, value, now);
            }
            assert_eq!(reference.is_ramping(), !at_once, "{more}");
        }
    }

    #[test]
    fn none_too_low_or_too_old_is_no_reference() {
        assert!(told(&[]).is_missing(0) && told(&[]).is_wrong(&plan(), 0));
        let mut reference = told(&[(0, 800_000)]);
        assert!(!reference.is_wrong(&plan(), STALE - 1) && reference.is_wrong(&plan(), STALE));
        assert_eq!(reference.next(&plan(), STALE - 1), 1);
        assert_eq!(reference.next(&plan(), STALE), u32::MAX);
        assert_eq!(settle(&mut reference, 0, true, STALE - 1), 800_000);
        assert_eq!(settle(&mut reference, 0, true, STALE), 1_000_000);
        for (value, wrong) in [(400_000, false), (399_999, true)] {
            let mut reference = told(&[(0, value)]);
            assert_eq!(reference.is_wrong(&plan(), 1), wrong);
            assert_eq!(settle(&mut reference, 0, true, 1), if wrong { 1_000_000 } else { 400_000 });
        }
        let without = Plan { fitted: 0, ..plan() };
        assert!(!told(&[]).is_wrong(&without, 0), "a drive that has none");
    }
}
