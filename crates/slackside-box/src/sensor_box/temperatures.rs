//! Temperatures that stand still. A transmitter or converter that repeats its last value says that nothing is hot, whatever burns; judge
//! takes each reading for what it is, and keeps the last one where none comes.
//!
//! So each fitted rub point's reading must move now and then: by a tenth of a degree at least within [`A_DAY`] in which the leg
//! [ran for an hour](AN_HOUR). The air alone moves it. Hourly readings at three airports through a year (`weather` of the R package
//! nycflights13: EWR, JFK and LGA, 2013) stood at one whole degree Celsius for 20 hours at the most, at one step of two degrees for 31. The hour
//! of running is for rooms that are kept evenly warm: a sound bearing's housing gains some 25 K by it (common practice, no source), and
//! the casing beside it some of that.

use slackside::input::{Place, Signal};
use slackside::units::{DeciCelsius, Micros, Span};

/// Looked at so often.
const LOOK: Span = Span::from_millis(60_000);
/// So many looks without another reading, the box powered.
const A_DAY: u16 = 24 * 60;
/// And the leg at speed in so many of them.
const AN_HOUR: u16 = 60;

/// One rub point.
#[derive(Clone, Copy, Debug, Default)]
struct Point {
    told: Option<DeciCelsius>,
    /// Looks since it moved, and those of them in which the leg ran.
    looks: u16,
    ran: u16,
}

/// All of them. It begins anew with a loss of power.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Temperatures {
    points: [Point; Place::COUNT],
    /// When they are looked at next.
    next: Option<Micros>,
}

impl Temperatures {
    /// Something came in.
    pub(super) fn hear(&mut self, signal: &Signal) {
        if let Signal::Temperature(place, reading) = *signal
            && let Some(point) = self.points.get_mut(place.index())
            && point.told != Some(reading)
        {
            *point = Point { told: Some(reading), looks: 0, ran: 0 };
        }
    }

    /// Whether a rub point stands still as far as is known at `now`, where those of `fitted`, as bits, have a sensor.
    pub(super) fn stand_still(&mut self, now: Micros, fitted: u8, runs: bool) -> bool {
        let is_time = *self.next.get_or_insert(now.after(LOOK)) <= now;
        if is_time {
            self.next = Some(now.after(LOOK));
        }
        let mut any = false;
        for (place, point) in (0_u32..).zip(&mut self.points) {
            if fitted.wrapping_shr(place) & 1 == 0 {
                *point = Point::default();
            } else if is_time {
                point.looks = point.looks.saturating_add(1);
                point.ran = point.ran.saturating_add(u16::from(runs));
            }
            any |= point.looks > A_DAY && point.ran >= AN_HOUR;
        }
        any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FITTED: u8 = 0b0101;
    const MINUTE: u64 = 60_000_000;

    /// The minute in which it is told, within four days. `reads` says what the sensor of the head's left gives in a minute, if anything; the
    /// boot's left moves all the time. The leg runs in the minutes that `runs` says.
    fn told(reads: impl Fn(u64) -> Option<i16>, runs: impl Fn(u64) -> bool) -> Option<u64> {
        let mut temperatures = Temperatures::default();
        (0..4 * 24 * 60).find(|minute| {
            let boot = Some((minute % 50) as i16);
            for (place, value) in [(Place::HeadLeft, reads(*minute)), (Place::BootLeft, boot)] {
                if let Some(value) = value {
                    temperatures.hear(&Signal::Temperature(place, DeciCelsius::new(value)));
                }
            }
            temperatures.stand_still(Micros::new(minute * MINUTE), FITTED, runs(*minute))
        })
    }

    #[test]
    fn a_reading_that_stays_for_a_day_with_an_hour_of_running_stands_still() {
        let in_the_morning = |minute: u64| minute % 1_440 < 60;
        assert_eq!(told(|_| Some(215), in_the_morning), Some(1_441));
        // Whether it is handed in again and again, once, or never.
        assert_eq!(told(|minute| (minute == 0).then_some(215), in_the_morning), Some(1_441));
        assert_eq!(told(|_| None, in_the_morning), Some(1_441));
        // From where it moved last.
        assert_eq!(told(|minute| Some(if minute < 700 { 215 } else { 216 }), |_| true), Some(700 + 1_440));
    }

    #[test]
    fn an_hour_of_running_must_be_among_it() {
        assert_eq!(told(|_| Some(215), |_| false), None, "a leg that never runs");
        assert_eq!(told(|_| Some(215), |minute| minute % 1_440 < 59 && minute < 1_440), None, "59 minutes");
        assert_eq!(told(|_| Some(215), |minute| minute >= 2_000), Some(2_059), "told once it has run");
    }

    #[test]
    fn one_that_moves_within_a_day_is_sound() {
        // By a tenth, once a day: at the very look.
        assert_eq!(told(|minute| Some((minute / 1_440) as i16), |_| true), None);
        // Whole degrees, 20 hours the same.
        assert_eq!(told(|minute| Some((minute / 1_200 % 2 * 10) as i16), |_| true), None);
    }

    #[test]
    fn what_is_not_fitted_is_not_looked_at_and_begins_anew_once_it_is() {
        let mut temperatures = Temperatures::default();
        let mut minutes = 0..;
        let mut day = |fitted| {
            minutes
                .by_ref()
                .take(1_442)
                .any(|minute| temperatures.stand_still(Micros::new(minute * MINUTE), fitted, true))
        };
        assert!(!day(0));
        assert!(day(1), "nothing has ever come");
        assert!(!day(0));
    }

    #[test]
    fn the_fault_ends_as_soon_as_the_reading_moves() {
        let mut temperatures = Temperatures::default();
        let mut at = |minute: u64, value: i16| {
            temperatures.hear(&Signal::Temperature(Place::BootRight, DeciCelsius::new(value)));
            temperatures.stand_still(Micros::new(minute * MINUTE), 0b1000, true)
        };
        assert!(!(0..=1_440).any(|minute| at(minute, 200)) && at(1_441, 200));
        assert!(!at(1_441, 201));
    }
}
