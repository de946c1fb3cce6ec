//! How warm a rub point was on a day, and how cool.

use crate::units::DeciCelsius;

/// So many looks are a minute. What a sensor says for less than that makes no day's highest: a loose wire is not warm.
const A_MINUTE: u8 = 30;

/// One rub point.
#[derive(Clone, Copy, Debug)]
struct Point {
    /// The newest, in tenths of a degree, and whether there was one today.
    newest: i16,
    is_told: bool,
    /// The least and the most within the minute.
    least: i16,
    most: i16,
    /// Of the day: the lowest of what was the most in its minute, and the highest of what was the least.
    lowest: i16,
    highest: i16,
}

impl Point {
    const NEW: Self =
        Self { newest: 0, is_told: false, least: i16::MAX, most: i16::MIN, lowest: i16::MAX, highest: i16::MIN };
}

/// Whole degrees, to the nearest: a box keeps no more.
pub(super) const fn degrees(tenths: i16) -> i16 {
    tenths.saturating_add(5).div_euclid(10)
}

const fn whole_degrees(tenths: i16) -> DeciCelsius {
    DeciCelsius::new(degrees(tenths).wrapping_mul(10))
}

/// All of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Warmth<const POINTS: usize> {
    points: [Point; POINTS],
    looks: u8,
}

impl<const POINTS: usize> Warmth<POINTS> {
    pub(super) const NEW: Self = Self { points: [Point::NEW; POINTS], looks: 0 };

    /// One of them says so much.
    pub(super) fn hear(&mut self, index: usize, temperature: DeciCelsius) {
        if let Some(point) = self.points.get_mut(index) {
            let value = temperature.get();
            (point.newest, point.is_told) = (value, true);
            (point.least, point.most) = (point.least.min(value), point.most.max(value));
        }
    }

    /// One more look.
    pub(super) fn look(&mut self) {
        self.looks = self.looks.wrapping_add(1);
        if self.looks < A_MINUTE {
            return;
        }
        self.looks = 0;
        for point in self.points.iter_mut().filter(|point| point.is_told) {
            point.highest = point.highest.max(point.least);
            point.lowest = point.lowest.min(point.most);
            // What is not told anew goes on.
            (point.least, point.most) = (point.newest, point.newest);
        }
    }

    /// The hottest of each, and the coolest of all, in whole degrees, of those that `fitted` says, as bits. One that stood still though the
    /// leg ran for long is not known: a transmitter that repeats its last value says nothing.
    pub(super) fn of_the_day(
        &self,
        fitted: u8,
        ran_long: bool,
    ) -> ([Option<DeciCelsius>; POINTS], Option<DeciCelsius>) {
        let mut coolest: Option<i16> = None;
        let mut left = fitted;
        let hottest = self.points.map(|point| {
            let is_fitted = left & 1 != 0;
            left >>= 1;
            let stands_still = ran_long && point.highest == point.lowest;
            if !is_fitted || !point.is_told || point.highest == i16::MIN || stands_still {
                return None;
            }
            // Of one that trembles all the time the lowest may lie above the highest.
            let lowest = point.lowest.min(point.highest);
            coolest = Some(coolest.map_or(lowest, |coolest| coolest.min(lowest)));
            Some(whole_degrees(point.highest))
        });
        (hottest, coolest.map(whole_degrees))
    }

    /// The day is over.
    pub(super) fn next_day(&mut self) {
        for point in &mut self.points {
            let newest = point.newest;
            *point =
                if point.is_told { Point { newest, least: newest, most: newest, ..Point::NEW } } else { Point::NEW };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: u32 = A_MINUTE as u32;

    /// A day of so many minutes, the leg running long, in which the one point says this in each look, if anything.
    fn day(minutes: u32, says: impl Fn(u32) -> Option<i16>) -> (Option<i16>, Option<i16>) {
        let mut warmth = Warmth::<2>::NEW;
        for look in 0..minutes * MINUTE {
            if let Some(value) = says(look) {
                warmth.hear(1, DeciCelsius::new(value));
            }
            warmth.look();
        }
        let ([other, one], coolest) = warmth.of_the_day(0b10, true);
        assert_eq!(other, None);
        (one.map(DeciCelsius::get), coolest.map(DeciCelsius::get))
    }

    #[test]
    fn highest_and_lowest_are_those_that_were_there_for_a_minute() {
        // Up by a tenth of a degree each minute, and down again: at the top for one minute only.
        let course = |look: u32| 200 + 300_i16.saturating_sub_unsigned((look / MINUTE).abs_diff(300) as u16);
        assert_eq!(day(600, |look| Some(course(look))), (Some(500), Some(200)));
        // A wire that is loose for a look, wherever it falls, and told as it changes only.
        for at in 0..2 * MINUTE {
            let at = 300 * MINUTE + at;
            let wild = |look| {
                if look == at {
                    8_500
                } else if look == at + 1 {
                    -2_730
                } else {
                    course(look)
                }
            };
            let changed = |look: u32| (look == 0 || wild(look) != wild(look - 1)).then(|| wild(look));
            // The minute of a reading far too low is lost.
            for (hottest, coolest) in [day(600, |look| Some(wild(look))), day(600, changed)] {
                assert!(hottest == Some(500) && coolest == Some(200), "{at}: {hottest:?} {coolest:?}");
            }
        }
    }

    #[test]
    fn what_stands_still_does_not_come_or_is_not_fitted_is_not_known() {
        assert_eq!(day(600, |_| Some(215)), (None, None));
        assert_eq!(day(600, |_| None), (None, None));
        assert_eq!(day(600, |look| Some(if look < 9_000 { 214 } else { 215 })), (Some(220), Some(210)));
        let mut warmth = Warmth::<2>::NEW;
        for look in 0..90 {
            warmth.hear(0, DeciCelsius::new(look));
            warmth.look();
        }
        assert_eq!(warmth.of_the_day(0b10, false), ([None, None], None));
        assert!(matches!(warmth.of_the_day(0b01, false), ([Some(_), None], Some(_))));
        // A leg that hardly ran may well have stood still.
        let mut still = Warmth::<2>::NEW;
        for _ in 0..90 {
            still.hear(0, DeciCelsius::new(7));
            still.look();
        }
        assert_eq!(still.of_the_day(0b01, false).0[0], Some(DeciCelsius::new(10)));
    }

    #[test]
    fn a_new_day_knows_nothing_of_the_one_before_but_what_it_is_told_anew() {
        let mut warmth = Warmth::<1>::NEW;
        for value in [400, 500, 300] {
            for _ in 0..A_MINUTE {
                warmth.hear(0, DeciCelsius::new(value));
                warmth.look();
            }
        }
        warmth.next_day();
        for _ in 0..A_MINUTE {
            warmth.look();
        }
        assert_eq!(warmth.of_the_day(1, false), ([None], None), "a sensor that comes no more");
        warmth.hear(0, DeciCelsius::new(310));
        for _ in 0..2 * A_MINUTE {
            warmth.look();
        }
        assert_eq!(warmth.of_the_day(1, false), ([Some(DeciCelsius::new(310))], Some(DeciCelsius::new(310))));
    }
}
