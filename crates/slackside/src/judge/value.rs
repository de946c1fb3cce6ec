//! The value and the detail that go with an alarm's change, in the unit of its condition: for people, not for decisions.
//!
//! Detail is: the place of a contact or rub point (0 to 3), the bits of distrust, 1 missing, 2 extra or 3 moved target, 1 for a
//! ratio below the one in force (as when lagging is gone) and 2 above, 1 with the drive on and 2 with it off for both
//! shafts silent, 1 for a speed reference that does not come and 0 for one that cannot be right; for the drive contact 1
//! changing too often, 2 off though the belt is driven; else 0.

use super::heat::Heat;
use super::leg::{Leg, mark};
use super::sense::{Rubs, UNKNOWN, ratio_shift, reading};
use super::view::View;
use crate::arith::divide;
use crate::conditions::{Flag, Row, Sense, Stamp, Value};
use crate::input::{Place, Shaft};
use crate::time::age;
use crate::verdict::Phase;

impl Leg {
    /// Of the condition of this row, with `wrong`: whether it is beyond.
    #[inline(never)]
    pub fn value(&self, row: &Row, wrong: bool, view: &View<'_>) -> (Option<i32>, u8) {
        let (plan, signals, now) = (view.plan, view.signals, view.now.us());
        match row.sense {
            Sense::Flag(flag) => {
                let detail = match flag {
                    Flag::StartFailed => {
                        let took = if self.has(mark::OPENED) { Some(millis(age(now, self.opened))) } else { None };
                        return (took, 0);
                    }
                    Flag::HeadDistrust => signals.head.distrust,
                    Flag::BootDistrust => signals.boot.distrust,
                    Flag::HeadTargets => signals.head.pattern,
                    Flag::BootTargets => signals.boot.pattern,
                    Flag::ContactFault => match Rubs::of(view).faulty {
                        place if usize::from(place) < Place::COUNT => place,
                        _ => 0,
                    },
                    Flag::Reference => u8::from(self.reference.is_missing(now)),
                    Flag::DriveContact if self.contact_chatters(now) => 1,
                    Flag::DriveContact => u8::from(wrong) << 1,
                    _ => 0,
                };
                (Some(i32::from(wrong)), detail)
            }
            Sense::Upper(Value::SinceBoot) => {
                let turns = u64::from(signals.since_boot).wrapping_mul(1_000_000) >> 24;
                (Some(i32::try_from(turns).unwrap_or(i32::MAX)), 0)
            }
            Sense::Upper(Value::Heat) => {
                (Some(Heat::share(self.level(Value::Heat, view, UNKNOWN).unsigned_abs()).get()), 0)
            }
            Sense::Upper(Value::Duty) => {
                let rubs = Rubs::of(view);
                at_place((rubs.duty, rubs.duty_at))
            }
            Sense::Upper(Value::RubLoops) => {
                let rubs = Rubs::of(view);
                at_place((rubs.loops, rubs.loops_at))
            }
            Sense::Upper(Value::Hottest) => self.hottest().map_or((None, 0), at_place),
            Sense::Upper(Value::RatioShift) => {
                let shift = ratio_shift(view);
                (shift.map(i32::saturating_abs), shift.map_or(0, |shift| if shift < 0 { 1 } else { 2 }))
            }
            Sense::Upper(value) | Sense::Over(value) => (Some(self.level(value, view, UNKNOWN)), 0),
            Sense::RangeAbove(window) => {
                let reading = reading(signals, window);
                (if reading.is_known() { Some(reading.least) } else { None }, 0)
            }
            Sense::RangeBelow(window) => {
                let reading = reading(signals, window);
                (if reading.is_known() { Some(reading.least.saturating_neg()) } else { None }, 0)
            }
            Sense::Slow(Shaft::Head) => (self.head(view).loss(self.scaled_speed(plan.head.normal)), 0),
            Sense::Slow(Shaft::Boot) => (self.boot(view).loss(self.scaled_speed(plan.boot.normal)), 0),
            Sense::Fast => {
                let loss = self.boot(view).loss(self.scaled_speed(plan.boot.normal));
                (loss.map(i32::saturating_neg), 0)
            }
            Sense::Since(stamp) => {
                let rubs = Rubs::of(view);
                let lasts = self.since(stamp, view, &rubs).map(millis);
                (lasts, if lasts.is_some() && stamp == Stamp::Rubbing { rubs.lasts_at } else { 0 })
            }
            Sense::BothSilent => (Some(i32::from(wrong)), if self.phase() == Phase::CoastDown { 2 } else { 1 }),
        }
    }
}

fn at_place((value, place): (i32, u8)) -> (Option<i32>, u8) {
    if value == UNKNOWN { (None, 0) } else { (Some(value), place) }
}

/// In whole milliseconds.
const fn millis(micros: u32) -> i32 {
    divide(micros as u64, 1_000) as i32
}
