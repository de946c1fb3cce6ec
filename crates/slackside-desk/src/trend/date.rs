//! Days as people write them: of the calendar, or just counted.

use std::fmt;

use crate::report::date_and_time;

const DAY_US: i64 = 86_400_000_000;

/// A day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Date {
    /// Days from 1970-01-01 UTC.
    Calendar(i32),
    /// The number of a day, where no calendar is known.
    Counted(i32),
}

impl Date {
    /// The day of that moment, in microseconds from 1970-01-01 UTC.
    #[must_use]
    pub fn of_unix_us(unix_us: i64) -> Self {
        // Of 64 bits of microseconds, so that it fits.
        Self::Calendar(unix_us.div_euclid(DAY_US) as i32)
    }

    /// Of text such as `2026-03-14`, or of a number.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        if let Some(number) = text.parse().ok().filter(|number: &i32| (0..=100_000).contains(number)) {
            return Some(Self::Counted(number));
        }
        let mut parts = text.splitn(3, '-');
        let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
        if (year.len(), month.len(), day.len()) != (4, 2, 2) {
            return None;
        }
        let (year, month, day): (i32, i32, i32) = (year.parse().ok()?, month.parse().ok()?, day.parse().ok()?);
        if !(1970..=9999).contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
            return None;
        }
        // "chrono-Compatible Low-Level Date Algorithms", `days_from_civil`.
        let year = year - i32::from(month <= 2);
        let (era, of_era) = (year.div_euclid(400), year.rem_euclid(400));
        let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
        let found = Self::Calendar(era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468);
        // What the calendar has not, such as 30 February, would be another day.
        (found.to_string() == text).then_some(found)
    }

    /// The first date in a text such as a file's name.
    #[must_use]
    pub fn within(text: &str) -> Option<Self> {
        (0..text.len()).filter_map(|from| text.get(from..from + 10)).find_map(Self::read)
    }

    /// Days from the beginning of its count.
    #[must_use]
    pub const fn number(self) -> i32 {
        match self {
            Self::Calendar(number) | Self::Counted(number) => number,
        }
    }

    /// Whether the calendar is known.
    #[must_use]
    pub const fn is_calendar(self) -> bool {
        matches!(self, Self::Calendar(_))
    }

    /// The day of that number, counted as this one is.
    #[must_use]
    pub const fn alike(self, number: i32) -> Self {
        match self {
            Self::Calendar(_) => Self::Calendar(number),
            Self::Counted(_) => Self::Counted(number),
        }
    }
}

impl fmt::Display for Date {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Calendar(number) => {
                let text = date_and_time(i64::from(*number) * DAY_US);
                out.write_str(text.split(' ').next().unwrap_or_default())
            }
            Self::Counted(number) => write!(out, "day {number}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_come_back_and_no_other_text_is_one() {
        for number in (0..60_000).step_by(13) {
            let text = Date::Calendar(number).to_string();
            assert_eq!(Date::read(&text), Some(Date::Calendar(number)), "{text}");
        }
        // POSIX.1-2017, 4.16 "Seconds Since the Epoch": day 0 is 1970-01-01; 951782400 s is 2000-02-29.
        assert_eq!(Date::read("1970-01-01"), Some(Date::Calendar(0)));
        assert_eq!(Date::read("2000-02-29"), Some(Date::Calendar(11_016)));
        for wrong in ["2026-02-30", "2026-13-01", "26-01-01", "2026-1-1", "", "-3", "3.5", "2026-01-01x"] {
            assert_eq!(Date::read(wrong), None, "{wrong}");
        }
        assert_eq!(Date::within("leg3-2026-03-14-late.csv.gz"), Date::read("2026-03-14"));
        assert_eq!(Date::within("légère 2026-03-14"), Date::read("2026-03-14"));
        assert_eq!(Date::within("leg3-17.csv"), None);
    }
}
