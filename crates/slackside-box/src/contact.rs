//! Rub contacts: plain, changeover, or on a supervised line.

use embedded_hal::digital::InputPin;
use slackside::input::ContactState;
use slackside::units::Micros;

use crate::line::{Analogue, ContactLevel, Patience};
use crate::pin::Input;

/// How a rub contact is wired.
#[derive(Debug)]
pub enum Wiring<I, A> {
    /// One contact, on when the belt rubs. A cut wire cannot be told from a clear belt (or, for a contact that opens when
    /// the belt rubs, from a rub: better).
    Plain(Input<I>),
    /// A changeover contact on two inputs: exactly one of them is on.
    Changeover {
        /// On when the belt rubs.
        rubbing: Input<I>,
        /// On when it does not.
        clear: Input<I>,
    },
    /// A contact with two resistors on an analogue input: see [`ContactLevel`].
    Supervised(A),
}

/// A rub contact.
#[derive(Debug)]
pub struct RubContact<I, A> {
    wiring: Wiring<I, A>,
    patience: Patience,
    state: Option<ContactState>,
}

impl<I: InputPin, A: Analogue> RubContact<I, A> {
    /// A contact wired so.
    pub fn new(wiring: Wiring<I, A>) -> Self {
        Self { wiring, patience: Patience::default(), state: None }
    }

    /// Whether a cut or shorted wire shows.
    #[must_use]
    pub const fn is_supervised(&self) -> bool {
        !matches!(self.wiring, Wiring::Plain(_))
    }

    /// Tell the state again at the next look.
    pub fn forget(&mut self) {
        self.state = None;
    }

    /// Look at it: the new state if it changed, or at the first look. What cannot be read is faulty.
    pub fn look(&mut self, now: Micros) -> Option<ContactState> {
        let seen = match &mut self.wiring {
            Wiring::Plain(input) => input.read().map_or(ContactState::Faulty, |rubbing| {
                if rubbing { ContactState::Rubbing } else { ContactState::Clear }
            }),
            Wiring::Changeover { rubbing, clear } => match (rubbing.read(), clear.read()) {
                (Some(true), Some(false)) => ContactState::Rubbing,
                (Some(false), Some(true)) => ContactState::Clear,
                _ => ContactState::Faulty,
            },
            Wiring::Supervised(line) => {
                line.read().map_or(ContactState::Faulty, |share| ContactLevel::of(share).state())
            }
        };
        let believed = self.patience.believes(seen == ContactState::Faulty, now);
        // At the first look there is no earlier state to hold on to.
        if self.state == Some(seen) || (!believed && self.state.is_some()) {
            return None;
        }
        self.state = Some(seen);
        Some(seen)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Level, Pin};

    fn at(millis: u64) -> Micros {
        Micros::new(millis * 1_000)
    }

    #[test]
    fn a_plain_contact_is_clear_or_rubbing() {
        let pin = Pin::new();
        let mut contact: RubContact<_, Level> = RubContact::new(Wiring::Plain(Input::on_high(pin.clone())));
        assert_eq!(contact.look(at(0)), Some(ContactState::Clear));
        assert_eq!(contact.look(at(1)), None);
        pin.set(true);
        assert_eq!(contact.look(at(2)), Some(ContactState::Rubbing));
        pin.break_down();
        assert_eq!(contact.look(at(3)), None);
        assert_eq!(contact.look(at(23)), Some(ContactState::Faulty));
    }

    #[test]
    fn a_changeover_contact_may_take_its_time_but_not_stay_between() {
        let (rubs, clears) = (Pin::new(), Pin::new());
        clears.set(true);
        let wiring =
            Wiring::Changeover { rubbing: Input::on_high(rubs.clone()), clear: Input::on_high(clears.clone()) };
        let mut contact: RubContact<_, Level> = RubContact::new(wiring);
        assert_eq!(contact.look(at(0)), Some(ContactState::Clear));
        clears.set(false);
        assert_eq!(contact.look(at(5)), None);
        rubs.set(true);
        assert_eq!(contact.look(at(8)), Some(ContactState::Rubbing));
        // Both wires touch.
        clears.set(true);
        assert_eq!(contact.look(at(10)), None);
        assert_eq!(contact.look(at(30)), Some(ContactState::Faulty));
    }

    #[test]
    fn a_supervised_line_shows_cut_and_short() {
        let level = Level::new(43_300);
        let mut contact: RubContact<Pin, _> = RubContact::new(Wiring::Supervised(level.clone()));
        let mut now = 0;
        let mut look_long = |share| {
            level.set(share);
            now += 1;
            let first = contact.look(at(now));
            now += 30;
            first.or(contact.look(at(now)))
        };
        assert_eq!(look_long(Some(43_300)), Some(ContactState::Clear));
        assert_eq!(look_long(Some(20_480)), Some(ContactState::Rubbing));
        assert_eq!(look_long(Some(60_000)), Some(ContactState::Faulty));
        assert_eq!(look_long(Some(43_300)), Some(ContactState::Clear));
        assert_eq!(look_long(Some(100)), Some(ContactState::Faulty));
        assert_eq!(look_long(Some(43_300)), Some(ContactState::Clear));
        assert_eq!(look_long(None), Some(ContactState::Faulty));
    }
}
