//! The heartbeat for the external watchdog: toggles while the program meets its deadlines, and never again once it has not.
//!
//! The watchdog outside must cut the coils' supply or hold the processor in reset when the toggling stops, whichever level
//! it stops at. A pin that a timer toggles by itself is no heartbeat.

use embedded_hal::digital::OutputPin;
use slackside::units::{Micros, Span};

use crate::pin::Output;

/// Half the period.
pub const HALF_PERIOD: Span = Span::from_millis(10);

/// The longest the main loop may stay away, and the longest past its deadline judge may be asked.
pub const LONGEST_GAP: Span = Span::from_millis(50);

/// The heartbeat.
#[derive(Debug)]
pub struct Heartbeat<O> {
    pin: Output<O>,
    high: bool,
    toggled: Option<Micros>,
    last: Option<Micros>,
    excused: bool,
    stopped: bool,
}

impl<O: OutputPin> Heartbeat<O> {
    /// On a pin.
    pub const fn new(pin: Output<O>) -> Self {
        Self { pin, high: false, toggled: None, last: None, excused: false, stopped: false }
    }

    /// Look at the time since the last look, and how late judge's `deadline` is met. `false` once either was too long.
    pub fn on_time(&mut self, now: Micros, deadline: Option<Micros>) -> bool {
        let away = self.last.map_or(Span::ZERO, |last| now.since(last));
        let late = deadline.map_or(Span::ZERO, |deadline| now.since(deadline));
        self.last = Some(now);
        if core::mem::take(&mut self.excused) {
            return !self.stopped;
        }
        if away > LONGEST_GAP || late > LONGEST_GAP {
            self.stopped = true;
        }
        !self.stopped
    }

    /// The round under way may take longer: a block of flash is erased in it, at rest. The watchdog outside must be patient
    /// enough for the longest erasing.
    pub fn excuse(&mut self) {
        self.excused = true;
    }

    /// Stop for good: only a restart of the program lets it beat again.
    pub fn stop(&mut self) {
        self.stopped = true;
    }

    /// Whether it has stopped.
    #[must_use]
    pub const fn has_stopped(&self) -> bool {
        self.stopped
    }

    /// Toggle if it is time. At the end of the loop, after everything else went well. `false` if the pin cannot be written.
    #[must_use]
    pub fn beat(&mut self, now: Micros) -> bool {
        if self.stopped || self.toggled.is_some_and(|toggled| now.since(toggled) < HALF_PERIOD) {
            return true;
        }
        self.toggled = Some(now);
        self.high = !self.high;
        self.pin.write(self.high)
    }

    /// When the next toggle is due; `None` once stopped.
    #[must_use]
    pub fn next(&self) -> Option<Micros> {
        if self.stopped { None } else { Some(self.toggled.map_or(Micros::ZERO, |toggled| toggled.after(HALF_PERIOD))) }
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    use super::*;

    fn millis(millis: u64) -> Micros {
        Micros::new(millis * 1_000)
    }

    #[test]
    fn it_toggles_every_ten_milliseconds() {
        let mut pin = Mock::new(&[State::High, State::Low, State::High].map(Transaction::set));
        let mut heart = Heartbeat::new(Output::on_high(pin.clone()));
        for at in [0, 3, 9, 10, 19, 20] {
            assert!(heart.on_time(millis(at), None) && heart.beat(millis(at)));
        }
        assert_eq!(heart.next(), Some(millis(30)));
        pin.done();
    }

    #[test]
    fn a_loop_that_stays_away_stops_it_for_good() {
        let mut pin = Mock::new(&[Transaction::set(State::High)]);
        let mut heart = Heartbeat::new(Output::on_high(pin.clone()));
        assert!(heart.on_time(millis(0), None) && heart.beat(millis(0)));
        assert!(!heart.on_time(millis(51), None));
        for at in 51..200 {
            assert!(!heart.on_time(millis(at), None));
            assert!(heart.beat(millis(at)));
        }
        pin.done();
    }

    #[test]
    fn a_deadline_missed_stops_it() {
        let mut pin = Mock::new(&[]);
        let mut heart = Heartbeat::new(Output::on_high(pin.clone()));
        assert!(heart.on_time(millis(100), Some(millis(50))));
        assert!(!heart.on_time(millis(101), Some(millis(50))));
        pin.done();
    }
}
