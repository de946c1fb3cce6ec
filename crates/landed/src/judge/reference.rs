//! The speed reference of a variable-speed drive. In any doubt, and 15 s after the newest reading, it is not known: nameplate speed
//! is used then, at once, so that a belt run slower on purpose counts as too slow and not the other way round; the alarm comes
//! after its delay.

use super::cell::{NEVER, Sense};
use super::speeds::{TurnTime, fast_enough, too_slow, turn_time};
use crate::math::divide;
use crate::motion::Pitch;
use crate::record::keep::keep;
use crate::settings::SpeedReference;
use crate::units::{Micros, MicroturnsPerSecond, Ppm, Span};

/// What a reading may differ from what the drive can have reached: resolution and rounding of the signal.
const SLACK: i64 = 10_000;
/// The drive's ramp with half as much again, since a ramp setting is a nominal value.
const RAMP_MARGIN_HALVES: i64 = 3;
/// A change may make up for at most so long since the reading before: a signal sent once a second is no jump.
const BANKED: u64 = 1_000_000;
/// A reading older than this says nothing of now: a sender that repeats it every five seconds has then missed three.
pub(super) const STALE: Span = Span::from_millis(15_000);

/// The reference and what is believed of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reference {
    fitted: Option<SpeedReference>,
    value: Option<i32>,
    /// What the drive can have reached at `believed_at`.
    believed: i64,
    believed_at: Micros,
    /// The head's turn times at 80 % and 120 % of the reference.
    slow: TurnTime,
    fast: TurnTime,
    /// The head contradicts it.
    contradicted: bool,
}

keep!(Reference { value, believed, believed_at, slow, fast, contradicted } fixed { fitted });

impl Reference {
    pub(super) const NEW: Self = Self {
        fitted: None,
        value: None,
        believed: 0,
        believed_at: Micros::ZERO,
        slow: u32::MAX,
        fast: 0,
        contradicted: false,
    };

    pub(super) const fn new(fitted: Option<SpeedReference>) -> Self {
        Self { fitted, ..Self::NEW }
    }

    fn rate(&self) -> i64 {
        let ramp = self.fitted.map_or(0, |fitted| i64::from(fitted.ramp_per_second.get().max(1)));
        ramp.saturating_mul(RAMP_MARGIN_HALVES) / 2
    }

    fn reached(&self, now: Micros, most: u64) -> i64 {
        let Some(value) = self.value else { return self.believed };
        let waited = now.get().saturating_sub(self.believed_at.get()).min(most);
        // Whole seconds and the rest apart: the rest is below 2^20 and a rate below 2^32.
        let rate = self.rate().unsigned_abs();
        let seconds = divide(waited, 1_000_000).unwrap_or(0);
        let rest = waited.wrapping_sub(seconds.wrapping_mul(1_000_000));
        let part = divide(rest.wrapping_mul(rate), 1_000_000).unwrap_or(0);
        let step = i64::try_from(seconds.saturating_mul(rate).saturating_add(part)).unwrap_or(i64::MAX);
        let gap = i64::from(value).saturating_sub(self.believed);
        // Not `clamp`: it panics where the bounds cross, and no compiler sees that these cannot.
        self.believed.saturating_add(gap.max(step.saturating_neg()).min(step))
    }

    /// A reading.
    pub(super) fn read(&mut self, now: Micros, value: Ppm, normal_head: MicroturnsPerSecond) {
        let first = self.value.is_none();
        self.value = Some(value.get());
        self.believed = if first { value.get().into() } else { self.reached(now, BANKED) };
        self.believed_at = now;
        let share = |percent: i64| {
            let share = i64::from(value.get().max(0)).saturating_mul(percent) / 100;
            turn_time(normal_head, i32::try_from(share).unwrap_or(i32::MAX))
        };
        self.slow = share(80);
        self.fast = share(120);
    }

    /// Hold it against the head's last pitch; `None`: nothing to hold it against.
    pub(super) fn compare(&mut self, pitch: Option<Pitch>, judged: bool) {
        match pitch {
            _ if !judged => self.contradicted = false,
            Some(pitch) => self.contradicted = !self.agrees(&pitch),
            None => {}
        }
    }

    /// Whether a head pitch is within 20 % of the reference.
    pub(super) fn agrees(&self, pitch: &Pitch) -> bool {
        self.fitted.is_none()
            || self.value.is_none()
            || !(too_slow(pitch, self.slow) || (self.fast > 1 && fast_enough(pitch, self.fast)))
    }

    fn jumped(&self, now: Micros) -> bool {
        let Some(value) = self.value else { return false };
        i64::from(value).saturating_sub(self.reached(now, u64::MAX)).abs() > SLACK
    }

    /// Whether there is no reading that says anything of `now`: none has come yet, or none for too long.
    pub(super) fn is_missing(&self, now: Micros) -> bool {
        self.value.is_none() || now >= self.believed_at.after(STALE)
    }

    fn wrong(&self, now: Micros) -> bool {
        let Some(fitted) = self.fitted else { return false };
        self.is_missing(now)
            || self.value.is_none_or(|value| value < fitted.minimum.get())
            || self.contradicted
            || self.jumped(now)
    }

    /// What it says at `now`.
    pub(super) fn sense(&self, now: Micros) -> Sense {
        Sense::flag(self.wrong(now))
    }

    /// When the newest reading is too old, or the drive can have caught up with a jump.
    pub(super) fn next(&self, now: Micros) -> Micros {
        if self.fitted.is_none() || self.is_missing(now) {
            return NEVER;
        }
        self.believed_at.after(STALE).min(self.caught_up(now))
    }

    fn caught_up(&self, now: Micros) -> Micros {
        let Some(value) = self.value else { return NEVER };
        if !self.jumped(now) {
            return NEVER;
        }
        let gap = i64::from(value).saturating_sub(self.believed).saturating_abs().saturating_sub(SLACK);
        let micros =
            u64::try_from(gap).unwrap_or(0).saturating_mul(1_000_000).saturating_add(self.rate().unsigned_abs());
        let micros = divide(micros, self.rate().unsigned_abs()).unwrap_or(u64::MAX);
        Micros::new(self.believed_at.get().saturating_add(micros))
    }

    /// The share of nameplate speed that counts as normal at `now`.
    pub(super) fn scale(&self, now: Micros) -> Ppm {
        match self.value {
            Some(value) if self.fitted.is_some() && !self.wrong(now) => Ppm::new(value),
            _ => Ppm::ONE,
        }
    }

    /// Whether the leg has a reference at all.
    pub(super) const fn is_fitted(&self) -> bool {
        self.fitted.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NORMAL: MicroturnsPerSecond = MicroturnsPerSecond::new(1_000_000);

    fn reference() -> Reference {
        let fitted = SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(100_000) };
        let mut reference = Reference::new(Some(fitted));
        reference.read(Micros::new(0), Ppm::ONE, NORMAL);
        reference
    }

    #[test]
    fn a_jump_uses_nameplate_until_the_drive_can_be_there() {
        let mut reference = reference();
        let jump = Micros::new(20_000_000);
        reference.read(jump, Ppm::new(500_000), NORMAL);
        assert_eq!(reference.scale(jump), Ppm::ONE);
        // A second's worth is granted: 85 % reached; 34 % more at 15 %/s.
        let there = reference.next(jump);
        assert!((there.get() - 20_000_000).abs_diff(2_266_667) < 3, "{there:?}");
        assert_eq!(reference.scale(Micros::new(there.get() - 3)), Ppm::ONE);
        assert_eq!(reference.scale(there), Ppm::new(500_000));
        assert_eq!(reference.next(there), jump.after(STALE));
    }

    #[test]
    fn a_ramp_sent_once_a_second_is_no_jump() {
        let mut reference = reference();
        for second in 1..=5 {
            let now = Micros::new(second * 1_000_000);
            reference.read(now, Ppm::new(1_000_000 - second as i32 * 100_000), NORMAL);
            assert_eq!(reference.sense(now), Sense::Within);
        }
        assert_eq!(reference.scale(Micros::new(5_000_000)), Ppm::new(500_000));
    }

    #[test]
    fn below_its_minimum_or_lost_it_does_not_count() {
        let mut reference = reference();
        reference.read(Micros::new(9_000_000), Ppm::ZERO, NORMAL);
        assert_eq!(reference.scale(Micros::new(60_000_000)), Ppm::ONE);
        assert_eq!(reference.sense(Micros::new(60_000_000)), Sense::Beyond);
        let unseen = Reference::new(Some(SpeedReference { minimum: Ppm::ZERO, ramp_per_second: Ppm::ONE }));
        assert_eq!(unseen.sense(Micros::ZERO), Sense::Beyond);
        assert_eq!(unseen.scale(Micros::ZERO), Ppm::ONE);
    }

    #[test]
    fn a_reading_that_is_not_repeated_counts_for_fifteen_seconds() {
        let fitted = SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(100_000) };
        let mut reference = Reference::new(Some(fitted));
        reference.read(Micros::new(7), Ppm::new(600_000), NORMAL);
        let end = Micros::new(15_000_007);
        let before = Micros::new(15_000_006);
        assert_eq!(reference.next(before), end);
        assert_eq!((reference.sense(before), reference.scale(before)), (Sense::Within, Ppm::new(600_000)));
        assert_eq!((reference.sense(end), reference.scale(end)), (Sense::Beyond, Ppm::ONE));
        assert_eq!(reference.next(end), NEVER);
        // One that comes again counts again.
        reference.read(Micros::new(20_000_000), Ppm::new(600_000), NORMAL);
        assert_eq!(reference.scale(Micros::new(20_000_000)), Ppm::new(600_000));
    }
}
