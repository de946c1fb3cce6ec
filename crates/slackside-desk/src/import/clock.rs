//! What tells the time in a file, and whether the file says so itself.

use super::Femtos;

/// A unit of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// Microseconds.
    Microseconds,
    /// Nanoseconds.
    Nanoseconds,
    /// Picoseconds.
    Picoseconds,
}

impl Unit {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Seconds, Self::Milliseconds, Self::Microseconds, Self::Nanoseconds, Self::Picoseconds];

    /// Femtoseconds in one.
    #[must_use]
    pub const fn femtos(self) -> Femtos {
        match self {
            Self::Seconds => 1_000_000_000_000_000,
            Self::Milliseconds => 1_000_000_000_000,
            Self::Microseconds => 1_000_000_000,
            Self::Nanoseconds => 1_000_000,
            Self::Picoseconds => 1_000,
        }
    }

    /// How it is written.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Milliseconds => "ms",
            Self::Microseconds => "us",
            Self::Nanoseconds => "ns",
            Self::Picoseconds => "ps",
        }
    }

    /// The unit that a word means.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        match word.to_lowercase().as_str() {
            "s" | "sec" | "secs" | "second" | "seconds" => Some(Self::Seconds),
            "ms" | "msec" | "millisecond" | "milliseconds" => Some(Self::Milliseconds),
            "us" | "µs" | "μs" | "usec" | "microsecond" | "microseconds" => Some(Self::Microseconds),
            "ns" | "nsec" | "nanosecond" | "nanoseconds" => Some(Self::Nanoseconds),
            "ps" | "psec" | "picosecond" | "picoseconds" => Some(Self::Picoseconds),
            _ => None,
        }
    }
}

/// What tells the time. Moments of a file are in steps of it until it is known.
#[derive(Clone, Debug, PartialEq)]
pub enum Clock {
    /// The file says how long a step is, in femtoseconds; and in which words.
    Stated {
        /// Femtoseconds a step.
        step: f64,
        /// The words.
        by: String,
    },
    /// The time of day: moments are femtoseconds since the first row, which was then, in microseconds since 1970.
    Day {
        /// The first row, in microseconds since 1970-01-01, in the zone of the file.
        began_us: i64,
        /// Whether the file says that it is UTC, or how far from it.
        zoned: bool,
        /// The words of the first row.
        by: String,
    },
    /// A row is a sample, and nothing says how many there are in a second.
    Rows,
    /// A column counts time, and nothing says in what unit.
    Column {
        /// What it is called.
        name: String,
        /// How many steps a unit has.
        steps: f64,
    },
}

impl Clock {
    /// Femtoseconds a step, as the file or the person says.
    pub(super) fn step(&self, rate_hz: Option<f64>, unit: Option<Unit>) -> Option<f64> {
        match self {
            Self::Stated { step, .. } => Some(*step),
            Self::Day { .. } => Some(1.0),
            Self::Rows => rate_hz.map(|rate| 1e15 / rate),
            Self::Column { steps, .. } => unit.map(|unit| unit.femtos() as f64 / steps),
        }
    }
}

/// The unit that the name of a column says: `Time (ms)`, `time_us`, `milliseconds`, `t [s]`.
pub(super) fn unit_in(name: &str) -> Option<Unit> {
    let words: Vec<&str> =
        name.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    match words.as_slice() {
        [only] if only.len() > 2 => Unit::from_word(only),
        [_, .., last] => Unit::from_word(last),
        _ => None,
    }
}

/// A rate in a comment: `Samplerate: 1 MHz`, `sample rate = 20 kHz`.
pub(super) fn rate_in(comment: &str) -> Option<f64> {
    let lower = comment.to_lowercase();
    let at = lower.find("rate")?;
    let rest = lower[at + 4..].trim_start_matches([':', '=', ' ', '\t']);
    let digits: String = rest.chars().take_while(|letter| letter.is_ascii_digit() || *letter == '.').collect();
    let number: f64 = digits.parse().ok()?;
    let unit = rest[digits.len()..].trim_start();
    let factor =
        [("ghz", 1e9), ("mhz", 1e6), ("khz", 1e3), ("hz", 1.0)].into_iter().find(|(word, _)| unit.starts_with(word))?.1;
    (number > 0.0).then_some(number * factor)
}

/// A moment of the day: `2026-03-02 06:45:01.250`, with `T`, `Z` or `+01:00`; in microseconds since 1970, and whether it says its zone.
pub(super) fn day_time(text: &str) -> Option<(i64, bool)> {
    let text = text.trim();
    let (date, time) = text.split_once(['T', ' '])?;
    let mut parts = date.split(['-', '/']);
    let mut number =
        |least: i64, most: i64| parts.next()?.parse::<i64>().ok().filter(|value| (least..=most).contains(value));
    let (year, month, day) = (number(1970, 2200)?, number(1, 12)?, number(1, 31)?);
    let (time, offset) = zone(time.trim())?;
    let mut parts = time.split(':');
    let mut number = |most: i64| parts.next()?.parse::<i64>().ok().filter(|value| (0..=most).contains(value));
    let (hour, minute) = (number(23)?, number(59)?);
    let (whole, fraction) = match parts.next().map(|seconds| seconds.split_once(['.', ',']).unwrap_or((seconds, ""))) {
        Some((whole, fraction)) => (whole.parse::<i64>().ok().filter(|value| (0..=60).contains(value))?, fraction),
        None => (0, ""),
    };
    if fraction.chars().any(|letter| !letter.is_ascii_digit()) || parts.next().is_some() {
        return None;
    }
    let micros: i64 = format!("{fraction:0<6}")[..6].parse().ok()?;
    let seconds = ((days(year, month, day) * 24 + hour) * 60 + minute) * 60 + whole - offset.unwrap_or(0);
    Some((seconds * 1_000_000 + micros, offset.is_some()))
}

/// The zone behind a time: seconds east of UTC.
fn zone(time: &str) -> Option<(&str, Option<i64>)> {
    if let Some(time) = time.strip_suffix('Z') {
        return Some((time, Some(0)));
    }
    let Some(at) = time.rfind(['+', '-']) else { return Some((time, None)) };
    let (time, zone) = time.split_at(at);
    let digits: String = zone[1..].chars().filter(char::is_ascii_digit).collect();
    let (hours, minutes) =
        (digits.get(..2)?.parse::<i64>().ok()?, digits.get(2..4).map_or(Some(0), |m| m.parse().ok())?);
    let east = hours * 3_600 + minutes * 60;
    Some((time, Some(if zone.starts_with('-') { -east } else { east })))
}

/// Days from 1970-01-01 to a day of the Gregorian calendar: years counted from March, so that the day which is not always there is the
/// last.
const fn days(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let month = (month + 9) % 12;
    let of_year = (153 * month + 2) / 5 + day - 1;
    year * 365 + year / 4 - year / 100 + year / 400 + of_year - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_where_a_header_says_them_and_nowhere_else() {
        let table = [
            ("milliseconds", Some(Unit::Milliseconds)),
            ("Time (s)", Some(Unit::Seconds)),
            ("time_us", Some(Unit::Microseconds)),
            ("t [ns]", Some(Unit::Nanoseconds)),
            ("Time", None),
            ("time", None),
            ("s", None),
            ("timestamp", None),
        ];
        for (name, unit) in table {
            assert_eq!(unit_in(name), unit, "{name}");
        }
        assert_eq!(rate_in("Samplerate: 20 MHz"), Some(20e6));
        assert_eq!(rate_in(" sample rate = 12.5 kHz, 8 channels"), Some(12_500.0));
        assert_eq!(rate_in("Channels (2/13): D0, D1"), None);
        assert_eq!(rate_in("rate: 5"), None, "no unit");
    }

    /// RFC 3339, section 5.8: its examples; and two days that a calendar gets wrong.
    #[test]
    fn days_are_those_of_the_calendar() {
        let at = |text| day_time(text).map(|(micros, zoned)| (micros / 1_000_000, micros % 1_000_000, zoned));
        assert_eq!(at("1985-04-12T23:20:50.52Z"), Some((482_196_050, 520_000, true)));
        assert_eq!(at("1996-12-19T16:39:57-08:00"), Some((851_042_397, 0, true)));
        assert_eq!(at("2000-02-29 00:00:00"), Some((951_782_400, 0, false)));
        assert_eq!(at("2026-03-01 12:00"), Some((1_772_366_400, 0, false)));
        for wrong in
            ["2026-13-01 00:00:00", "12:00:00", "2026-03-01", "2026-03-01 24:00:00", "2026-03-01 00:00:00.1x", "5.2"]
        {
            assert_eq!(at(wrong), None, "{wrong}");
        }
    }
}
