//! Times of a trace as people read them, in one form everywhere: the time of day in UTC where the trace knows it, else counted from its
//! beginning; and lengths of time.

use slackside::record::Anchor;
use slackside::units::Micros;

use crate::trace::Survey;

/// A trace that begins later than this counts its times from its first row: such times are dates, not durations.
const FAR_OFF_US: u64 = 24 * 3_600 * 1_000_000;
/// Times between 2000-01-01 and 2100-01-01, counted in microseconds from 1970-01-01 UTC: the clock of the day.
const OF_THE_DAY_US: core::ops::Range<u64> = 946_684_800_000_000..4_102_444_800_000_000;
const DAY_US: i64 = 24 * 3_600 * 1_000_000;
/// How fast a box's clock may run away from the desk's: quartz crystals are good to 20 to 100 ppm over temperature (common
/// practice, no source).
pub const DRIFT_PPM: u32 = 100;

/// How times of one trace are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    zero: u64,
    /// What the clock of the day said at a moment of the trace's own time.
    day: Option<Anchor>,
    /// Whether the trace goes on for more than a day, so that a time of day needs its date.
    dates: bool,
}

impl Clock {
    /// For a trace that was surveyed.
    #[must_use]
    pub fn of(survey: &Survey) -> Self {
        let first = survey.first.unwrap_or(Micros::ZERO);
        Self::new(first, survey.last.unwrap_or(first), survey.anchor)
    }

    /// For a trace from `first` to `last`, and what is known of where that lies in the day.
    #[must_use]
    pub fn new(first: Micros, last: Micros, anchor: Option<Anchor>) -> Self {
        let own = || {
            let at = first;
            let desk_us = i64::try_from(at.get()).unwrap_or(i64::MAX);
            let uncertainty = slackside::units::Span::ZERO;
            OF_THE_DAY_US.contains(&first.get()).then_some(Anchor { at, desk_us, uncertainty })
        };
        let day = anchor.or_else(own);
        let zero = if first.get() > FAR_OFF_US { first.get() } else { 0 };
        let on = |at: Micros| day.and_then(|day| day.desk_time(at, DRIFT_PPM)).map(|(us, _)| us.div_euclid(DAY_US));
        Self { zero, day, dates: on(first) != on(last) }
    }

    /// What has to be said about the times, if anything.
    #[must_use]
    pub fn note(&self) -> Option<String> {
        match self.day {
            Some(day) if OF_THE_DAY_US.contains(&day.at.get()) => {
                Some("Times are UTC, as the trace has them: its time_us count from 1970.".to_owned())
            }
            Some(day) => {
                let (at, doubt) = (Self::length(day.at.get()), Self::length(day.uncertainty.get().into()));
                Some(format!(
                    "Times are UTC by the desk's clock, which the trace met at its own {at}, give or take {doubt}."
                ))
            }
            None => (self.zero > 0).then(|| format!("Times count from the first row, time_us {}.", self.zero)),
        }
    }

    /// Whether it knows the time of day.
    #[must_use]
    pub const fn knows_the_day(&self) -> bool {
        self.day.is_some()
    }

    /// What the clock of the day said at a moment, in microseconds from 1970-01-01 UTC.
    fn day_us(&self, at: Micros) -> Option<i64> {
        Some(self.day?.desk_time(at, DRIFT_PPM)?.0)
    }

    /// A moment for programs, where the time of day is known: `2026-03-02T06:45:30.250Z`.
    #[must_use]
    pub fn time_of_day(&self, at: Micros) -> Option<String> {
        Some(date_and_time(self.day_us(at)?).replace(' ', "T").replace("TUTC", "Z"))
    }

    /// A moment by itself, with its date: `2026-03-02 06:45:30.250 UTC`, or `76.123 s`.
    #[must_use]
    pub fn at(&self, at: Micros) -> String {
        self.day_us(at).map_or_else(|| Self::length(at.get().saturating_sub(self.zero)), date_and_time)
    }

    /// A moment among others of the same trace: `06:45:30.250`, with its date only if the trace is longer than the day; or `76.123 s`.
    #[must_use]
    pub fn short(&self, at: Micros) -> String {
        let Some(us) = self.day_us(at) else { return self.at(at) };
        let whole = date_and_time(us);
        let whole = whole.trim_end_matches(" UTC");
        if self.dates { whole.to_owned() } else { whole.split_once(' ').map_or(whole, |(_, time)| time).to_owned() }
    }

    /// A moment on an axis with marks `step` seconds apart: no more of it than the marks need.
    #[must_use]
    pub fn mark(&self, at: Micros, step: f64) -> String {
        let text = self.short(at);
        if self.day.is_some() {
            return match step {
                step if step < 1.0 => text,
                step if step < 60.0 => text.split('.').next().unwrap_or(&text).to_owned(),
                _ => text.rsplit_once(':').map_or(text.clone(), |(minutes, _)| minutes.to_owned()),
            };
        }
        match text.strip_suffix(" s") {
            Some(number) if step >= 1.0 && !text.contains('h') => {
                format!("{} s", number.split('.').next().unwrap_or(number))
            }
            _ => text.trim_end_matches(" 00 s").to_owned(),
        }
    }

    /// The first moment at or after `at` that is a whole number of `step_us` by the clock that people read.
    #[must_use]
    pub fn round_up(&self, at: Micros, step_us: u64) -> Micros {
        let past = self.day_us(at).map_or_else(
            || at.get().saturating_sub(self.zero) % step_us,
            |us| us.rem_euclid(i64::try_from(step_us).unwrap_or(i64::MAX)).unsigned_abs(),
        );
        Micros::new(if past == 0 { at.get() } else { at.get().saturating_add(step_us - past) })
    }

    /// How programs write these times again: the moment that counts as zero, and what the clock of the day said then, if it is known.
    #[must_use]
    pub fn zero_and_day(&self) -> (u64, Option<i64>, bool) {
        let zero = Micros::new(self.zero);
        (self.zero, self.day_us(zero), self.dates)
    }

    /// A length of time in microseconds.
    #[must_use]
    pub fn length(us: u64) -> String {
        let millis = us.saturating_add(500) / 1_000;
        if us < 600_000_000 {
            return format!("{}.{:03} s", millis / 1_000, millis % 1_000);
        }
        let seconds = us / 1_000_000;
        let (hours, minutes, seconds) = (seconds / 3_600, seconds / 60 % 60, seconds % 60);
        if hours == 0 {
            return format!("{minutes} min {seconds:02} s");
        }
        format!("{hours} h {minutes:02} min {seconds:02} s")
    }

    /// A length of time in seconds, such as a simulation has.
    #[must_use]
    pub fn length_of_seconds(seconds: f64) -> String {
        let length = Self::length((seconds.abs() * 1e6) as u64);
        if seconds < 0.0 { format!("-{length}") } else { length }
    }

    /// A length of time in seconds as a setting has it, with no more figures than it needs: `0.35 s`, `90 s`, `30 min`, `12 min 03 s`.
    #[must_use]
    pub fn span(seconds: f64) -> String {
        if seconds < 120.0 {
            let text = format!("{seconds:.3}");
            return format!("{} s", text.trim_end_matches('0').trim_end_matches('.'));
        }
        let whole = seconds.round() as u64;
        let (hours, minutes, seconds) = (whole / 3_600, whole / 60 % 60, whole % 60);
        match (hours, minutes, seconds) {
            (0, _, 0) => format!("{minutes} min"),
            (0, _, _) => format!("{minutes} min {seconds:02} s"),
            (_, 0, 0) => format!("{hours} h"),
            (_, _, 0) => format!("{hours} h {minutes:02} min"),
            _ => format!("{hours} h {minutes:02} min {seconds:02} s"),
        }
    }

    /// How much later than another moment, or sooner, in seconds: `+0.350 s`.
    #[must_use]
    pub fn difference(seconds: f64) -> String {
        let length = Self::length_of_seconds(seconds);
        if seconds < 0.0 { length } else { format!("+{length}") }
    }
}

/// A moment of the clock of the day, in microseconds from 1970-01-01 UTC, as `2026-01-31 12:34:56.789 UTC`.
///
/// Days to date as in "chrono-Compatible Low-Level Date Algorithms", `civil_from_days`.
#[must_use]
pub fn date_and_time(unix_us: i64) -> String {
    // Rounded as lengths are, so that both forms agree.
    let millis = unix_us.saturating_add(500).div_euclid(1_000);
    let (seconds, milli) = (millis.div_euclid(1_000), millis.rem_euclid(1_000));
    let (days, second) = (seconds.div_euclid(86_400), seconds.rem_euclid(86_400));
    let shifted = days + 719_468;
    let (era, day_of_era) = (shifted.div_euclid(146_097), shifted.rem_euclid(146_097));
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
    let month = if shifted_month < 10 { shifted_month + 3 } else { shifted_month - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    let (hour, minute, second) = (second / 3_600, second / 60 % 60, second % 60);
    format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}.{milli:03} UTC")
}

#[cfg(test)]
mod tests {
    use slackside::units::Span;

    use super::*;

    fn clock(first: u64, last: u64, anchor: Option<Anchor>) -> Clock {
        Clock::new(Micros::new(first), Micros::new(last), anchor)
    }

    #[test]
    fn a_setting_has_no_more_figures_than_it_needs() {
        for (seconds, text) in [
            (0.35, "0.35 s"),
            (90.0, "90 s"),
            (300.0, "5 min"),
            (723.0, "12 min 03 s"),
            (3_600.0, "1 h"),
            (3_900.0, "1 h 05 min"),
            (3_605.4, "1 h 00 min 05 s"),
        ] {
            assert_eq!(Clock::span(seconds), text);
        }
    }

    #[test]
    fn times_are_read_easily() {
        let own = clock(5, 9, None);
        assert_eq!(own.at(Micros::new(76_123_456)), "76.123 s");
        assert_eq!(own.at(Micros::new(3_723_000_000)), "1 h 02 min 03 s");
        assert_eq!(own.at(Micros::new(723_000_000)), "12 min 03 s");
        assert_eq!(Clock::length_of_seconds(-0.35), "-0.350 s");
        assert_eq!(Clock::difference(0.35), "+0.350 s");
        assert_eq!(own.mark(Micros::new(76_123_456), 5.0), "76 s");
        assert!(own.note().is_none());
        // From any other beginning far off, times count from the first row.
        let far = clock(100_000_000_000, 101_000_000_000, None);
        assert_eq!(far.at(Micros::new(100_002_500_000)), "2.500 s");
        assert!(far.note().is_some_and(|note| note.contains("count from the first row")));
    }

    #[test]
    fn a_trace_that_knows_the_time_of_day_is_told_in_it() {
        let zero = 1_700_000_000_000_000;
        let epoch = clock(zero, zero + 9_000_000, None);
        assert_eq!(epoch.at(Micros::new(zero + 2_500_000)), "2023-11-14 22:13:22.500 UTC");
        assert_eq!(epoch.short(Micros::new(zero + 2_500_000)), "22:13:22.500");
        assert_eq!(epoch.time_of_day(Micros::new(zero + 2_500_000)).as_deref(), Some("2023-11-14T22:13:22.500Z"));
        assert_eq!(epoch.mark(Micros::new(zero + 2_500_000), 1.0), "22:13:22");
        assert_eq!(epoch.mark(Micros::new(zero), 60.0), "22:13");
        assert!(epoch.note().is_some_and(|note| note.contains("1970")));
        let anchor = Anchor { at: Micros::new(5_000_000), desk_us: zero as i64, uncertainty: Span::new(1_500) };
        let told = clock(1_000_000, 9_000_000, Some(anchor));
        assert_eq!(told.at(Micros::new(6_000_000)), "2023-11-14 22:13:21.000 UTC");
        assert!(told.note().is_some_and(|note| note.contains("at its own 5.000 s, give or take 0.002 s")));
        // Beyond midnight the date is needed.
        let long = clock(zero, zero + DAY_US as u64, None);
        assert_eq!(long.short(Micros::new(zero)), "2023-11-14 22:13:20.000");
    }

    #[test]
    fn dates_are_those_of_the_calendar() {
        // Unix time of well-known moments (POSIX.1-2017, 4.16 "Seconds Since the Epoch", and its rationale).
        assert_eq!(date_and_time(0), "1970-01-01 00:00:00.000 UTC");
        assert_eq!(date_and_time(951_782_400_000_000), "2000-02-29 00:00:00.000 UTC");
        assert_eq!(date_and_time(1_234_567_890_999_000), "2009-02-13 23:31:30.999 UTC");
        assert_eq!(date_and_time(-1_000), "1969-12-31 23:59:59.999 UTC");
    }
}
