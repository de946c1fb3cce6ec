//! A relay with read-back: the output drives the coil, the read-back is a mirror contact of the relay, closed exactly when
//! the power contact is.

use embedded_hal::digital::{InputPin, OutputPin};
use slackside::units::{Micros, Span};

use crate::pin::{Input, Output};

/// How long a relay may take to follow: pull-in, drop-out with a suppressor across the coil, and bounce.
pub const SETTLE: Span = Span::from_millis(100);

/// One relay.
#[derive(Debug)]
pub struct Relay<O, I> {
    coil: Output<O>,
    back: Input<I>,
    on: bool,
    /// Since when coil and contact have disagreed, or could have.
    unsure_since: Option<Micros>,
}

/// What the read-back says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The contact is as the coil has it.
    Agrees,
    /// Not yet, and the relay still has time.
    Settling,
    /// Switched off, but the contact stays closed.
    Welded,
    /// Switched on, but the contact is open.
    Open,
    /// A pin cannot be read or written.
    Pin,
}

impl<O: OutputPin, I: InputPin> Relay<O, I> {
    /// A relay; nothing is driven before the first [`drive`](Self::drive).
    pub const fn new(coil: Output<O>, back: Input<I>) -> Self {
        Self { coil, back, on: false, unsure_since: None }
    }

    /// Drive the coil. Written anew every time: a register that lost its content is set right.
    /// `false` if the pin cannot be written.
    #[must_use]
    pub fn drive(&mut self, on: bool) -> bool {
        self.on = on;
        self.coil.write(on)
    }

    /// Whether the coil is on.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        self.on
    }

    /// Whether the contact is closed, whatever the coil does; `None` if its pin cannot be read.
    pub fn contact(&mut self) -> Option<bool> {
        self.back.read()
    }

    /// Hold the contact against the coil.
    pub fn answer(&mut self, now: Micros) -> Answer {
        let Some(closed) = self.back.read() else { return Answer::Pin };
        if closed == self.on {
            self.unsure_since = None;
            return Answer::Agrees;
        }
        let since = *self.unsure_since.get_or_insert(now);
        if now.since(since) < SETTLE {
            Answer::Settling
        } else if closed {
            Answer::Welded
        } else {
            Answer::Open
        }
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    use super::*;

    #[test]
    fn a_contact_has_a_tenth_of_a_second_to_follow() {
        use State::{High, Low};
        let mut coil = Mock::new(&[Transaction::set(High), Transaction::set(Low)]);
        let mut back = Mock::new(&[Low, Low, High, High, Low, High, High].map(Transaction::get));
        let mut relay = Relay::new(Output::on_high(coil.clone()), Input::on_high(back.clone()));
        assert!(relay.drive(true));
        assert_eq!(relay.answer(Micros::new(0)), Answer::Settling);
        assert_eq!(relay.answer(Micros::new(99_999)), Answer::Settling);
        assert_eq!(relay.answer(Micros::new(100_000)), Answer::Agrees);
        assert!(relay.drive(false));
        assert_eq!(relay.answer(Micros::new(200_000)), Answer::Settling);
        assert_eq!(relay.answer(Micros::new(210_000)), Answer::Agrees);
        // It closes again by itself.
        assert_eq!(relay.answer(Micros::new(220_000)), Answer::Settling);
        assert_eq!(relay.answer(Micros::new(320_000)), Answer::Welded);
        coil.done();
        back.done();
    }

    #[test]
    fn a_contact_that_stays_open_is_told() {
        let mut coil = Mock::new(&[Transaction::set(State::High)]);
        let mut back = Mock::new(&[Transaction::get(State::Low), Transaction::get(State::Low)]);
        let mut relay = Relay::new(Output::on_high(coil.clone()), Input::on_high(back.clone()));
        assert!(relay.drive(true));
        assert_eq!(relay.answer(Micros::new(5)), Answer::Settling);
        assert_eq!(relay.answer(Micros::new(100_005)), Answer::Open);
        coil.done();
        back.done();
    }
}
