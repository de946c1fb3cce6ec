//! Pins with their sense: what is "on" may be high or low.

use embedded_hal::digital::{InputPin, OutputPin};
use slackside::units::{Micros, Span};

/// A digital input.
#[derive(Debug)]
pub struct Input<I> {
    pin: I,
    on_is_high: bool,
}

impl<I: InputPin> Input<I> {
    /// On when the pin is high.
    pub const fn on_high(pin: I) -> Self {
        Self { pin, on_is_high: true }
    }

    /// On when the pin is low, as a contact to ground under a pull-up is when closed.
    pub const fn on_low(pin: I) -> Self {
        Self { pin, on_is_high: false }
    }

    /// Whether it is on; `None` if the pin cannot be read.
    pub fn read(&mut self) -> Option<bool> {
        self.pin.is_high().ok().map(|high| high == self.on_is_high)
    }
}

/// A digital output.
#[derive(Debug)]
pub struct Output<O> {
    pin: O,
    on_is_high: bool,
}

impl<O: OutputPin> Output<O> {
    /// High when on: a broken lead to the relay's driver, with its pull-down, leaves it off.
    pub const fn on_high(pin: O) -> Self {
        Self { pin, on_is_high: true }
    }

    /// Low when on. A pin that floats while the processor is in reset must not mean on: mind the pull-up.
    pub const fn on_low(pin: O) -> Self {
        Self { pin, on_is_high: false }
    }

    /// Switch it. `false` if the pin cannot be written.
    #[must_use]
    pub fn write(&mut self, on: bool) -> bool {
        let high = on == self.on_is_high;
        if high { self.pin.set_high() } else { self.pin.set_low() }.is_ok()
    }
}

/// An input that counts only once it has held a new state for a while: buttons, key, auxiliary contacts.
#[derive(Debug)]
pub struct Steady<I> {
    input: Input<I>,
    hold: Span,
    state: Option<bool>,
    /// The other state, and since when it is seen.
    other: Option<Micros>,
}

/// What a look at a steady input gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// As before.
    Same,
    /// Changed, or seen for the first time.
    Changed(bool),
    /// The pin cannot be read.
    Unreadable,
}

impl<I: InputPin> Steady<I> {
    /// An input whose new state counts once held for `hold`.
    pub const fn new(input: Input<I>, hold: Span) -> Self {
        Self { input, hold, state: None, other: None }
    }

    /// Look at the pin.
    pub fn look(&mut self, now: Micros) -> Look {
        let Some(seen) = self.input.read() else { return Look::Unreadable };
        if self.state == Some(seen) {
            self.other = None;
            return Look::Same;
        }
        let since = *self.other.get_or_insert(now);
        // The first state of all needs no holding: there is nothing that it could be a bounce of.
        if self.state.is_some() && now.since(since) < self.hold {
            return Look::Same;
        }
        self.state = Some(seen);
        self.other = None;
        Look::Changed(seen)
    }

    /// Tell the state again at the next look.
    pub fn forget(&mut self) {
        (self.state, self.other) = (None, None);
    }

    /// The state that counts; `None` before the first look.
    #[must_use]
    pub const fn state(&self) -> Option<bool> {
        self.state
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    use super::*;

    fn levels(states: &[State]) -> Mock {
        let expected: std::vec::Vec<_> = states.iter().map(|state| Transaction::get(*state)).collect();
        Mock::new(&expected)
    }

    #[test]
    fn sense_is_kept() {
        let mut pin = levels(&[State::High, State::Low]);
        let mut input = Input::on_low(pin.clone());
        assert_eq!((input.read(), input.read()), (Some(false), Some(true)));
        pin.done();
        let mut pin = Mock::new(&[Transaction::set(State::Low), Transaction::set(State::High)]);
        let mut output = Output::on_low(pin.clone());
        assert!(output.write(true) && output.write(false));
        pin.done();
    }

    #[test]
    fn a_bounce_does_not_count() {
        use State::{High, Low};
        let mut pin = levels(&[Low, High, Low, High, High, High]);
        let mut key = Steady::new(Input::on_high(pin.clone()), Span::from_millis(20));
        let looks = [0, 1, 2, 3, 22, 23].map(|millis| key.look(Micros::new(millis * 1_000)));
        pin.done();
        use Look::{Changed, Same};
        assert_eq!(looks, [Changed(false), Same, Same, Same, Same, Changed(true)]);
    }

    #[test]
    fn an_unreadable_pin_says_so() {
        let error = embedded_hal_mock::eh1::MockError::Io(std::io::ErrorKind::Other);
        let mut pin = Mock::new(&[Transaction::get(State::High).with_error(error)]);
        let mut key = Steady::new(Input::on_high(pin.clone()), Span::ZERO);
        assert_eq!(key.look(Micros::ZERO), Look::Unreadable);
        pin.done();
    }
}
