//! Times of a trace as people read them.

use slackside::units::Micros;

/// A trace that begins later than this counts its times from its first row: such times are dates, not durations.
const FAR_OFF_US: u64 = 24 * 3_600 * 1_000_000;

/// How times of one trace are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    zero: u64,
}

impl Clock {
    /// For a trace that begins at `first`.
    #[must_use]
    pub const fn for_trace(first: Micros) -> Self {
        Self { zero: if first.get() > FAR_OFF_US { first.get() } else { 0 } }
    }

    /// What has to be said about the times, if anything.
    #[must_use]
    pub fn note(&self) -> Option<String> {
        (self.zero > 0).then(|| format!("Times count from the first row, time_us {}.", self.zero))
    }

    /// A moment.
    #[must_use]
    pub fn at(&self, at: Micros) -> String {
        Self::length(at.get().saturating_sub(self.zero))
    }

    /// A length of time in microseconds.
    #[must_use]
    pub fn length(us: u64) -> String {
        let millis = us.saturating_add(500) / 1_000;
        if us < 600_000_000 {
            return format!("{}.{:03} s", millis / 1_000, millis % 1_000);
        }
        let seconds = us / 1_000_000;
        format!("{} h {:02} min {:02} s", seconds / 3_600, seconds / 60 % 60, seconds % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_easily() {
        let clock = Clock::for_trace(Micros::new(5));
        assert_eq!(clock.at(Micros::new(76_123_456)), "76.123 s");
        assert_eq!(clock.at(Micros::new(3_723_000_000)), "1 h 02 min 03 s");
        assert!(clock.note().is_none());
        let epoch = Clock::for_trace(Micros::new(1_700_000_000_000_000));
        assert_eq!(epoch.at(Micros::new(1_700_000_002_500_000)), "2.500 s");
        assert!(epoch.note().is_some());
    }
}
