//! The value and the detail that go with an alarm's change, in the unit of its condition: for people, not for decisions.
//!
//! Detail is: the place of a contact or rub point (0 to 3), the bits of distrust, 1 missing, 2 extra or 3 moved target, 1 for a
//! ratio below the one in force (as when lagging is gone) and 2 above, 1 with the drive on and 2 with it off for both
//! shafts silent, 1 for a speed reference that does not come and 0 for one that cannot be right; for the drive contact 1
//! changing too often, 2 off though the belt is driven; else 0.

use super::heat::Heat;
use super::leg::{Leg, mark};
use super::sense::{Look, ratio_shift};
use super::view::View;
use crate::arith::divide;
use crate::conditions::{Flag, Row, Sense, Stamp, Value};
use crate::input::Shaft;
use crate::signals::rub;
use crate::time::age;
use crate::verdict::Phase;

impl Leg {
    /// Of the condition of this row, with `wrong`: whether it is beyond.
    #[inline(never)]
    pub fn value(&self, row: &Row, wrong: bool, look: &Look<'_>, view: &View<'_>) -> (Option<i32>, u8) {
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
                    Flag::ContactFault => {
                        let fitted = |place: u8| plan.contacts.fitted.wrapping_shr(place.into()) & 1 != 0;
                        let faulty = (0_u8..)
                            .zip(&signals.contacts)
                            .find(|(place, contact)| fitted(*place) && contact.state == rub::FAULTY);
                        faulty.map_or(0, |(place, _)| place)
                    }
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
            Sense::Upper(Value::Heat) => (Some(Heat::share(look.value(Value::Heat).unsigned_abs()).get()), 0),
            Sense::Upper(value @ (Value::Duty | Value::RubLoops)) => {
                let mut worst: Option<(i32, u8)> = None;
                for (place, contact) in (0_u8..).zip(&signals.contacts) {
                    let fitted = plan.contacts.fitted.wrapping_shr(place.into()) & 1 != 0;
                    let here = if value == Value::Duty { contact.duty } else { contact.loops.into() };
                    if fitted && worst.is_none_or(|(most, _)| here > most) {
                        worst = Some((here, place));
                    }
                }
                at_place(worst)
            }
            Sense::Upper(Value::Hottest) => at_place(self.hottest()),
            Sense::Upper(Value::RatioShift) => {
                let shift = ratio_shift(view);
                (shift.map(i32::saturating_abs), shift.map_or(0, |shift| if shift < 0 { 1 } else { 2 }))
            }
            Sense::Upper(value) | Sense::Over(value) => (Some(look.value(value)), 0),
            Sense::RangeAbove(window) => {
                let reading = look.reading(window);
                (if reading.is_known() { Some(reading.least) } else { None }, 0)
            }
            Sense::RangeBelow(window) => {
                let reading = look.reading(window);
                (if reading.is_known() { Some(reading.least.saturating_neg()) } else { None }, 0)
            }
            Sense::Slow(Shaft::Head) => (look.head.loss(self.scaled_speed(plan.head.normal)), 0),
            Sense::Slow(Shaft::Boot) => (look.boot.loss(self.scaled_speed(plan.boot.normal)), 0),
            Sense::Fast => {
                let loss = look.boot.loss(self.scaled_speed(plan.boot.normal));
                (loss.map(i32::saturating_neg), 0)
            }
            Sense::Since(Stamp::Rubbing) => at_place(look.rubbing.map(|(lasts, place)| (millis(lasts), place))),
            Sense::Since(Stamp::SlipUnknown) => (look.slip_unknown.map(millis), 0),
            Sense::BothSilent => (Some(i32::from(wrong)), if self.phase() == Phase::CoastDown { 2 } else { 1 }),
        }
    }
}

fn at_place(worst: Option<(i32, u8)>) -> (Option<i32>, u8) {
    (worst.map(|(value, _)| value), worst.map_or(0, |(_, place)| place))
}

/// In whole milliseconds.
const fn millis(micros: u32) -> i32 {
    divide(micros as u64, 1_000) as i32
}
