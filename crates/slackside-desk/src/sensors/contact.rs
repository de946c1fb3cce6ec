//! Rub contacts and other switches: contacts bounce, stick, and lose their wire.

use slackside::input::{ContactState, Place, Signal};

use super::outbox::Outbox;
use crate::plant::chance::Chance;

/// What is wrong with a rub contact.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContactUpset {
    /// Stuck in this state.
    pub stuck: Option<bool>,
    /// The wire is cut.
    pub cut: bool,
    /// Bounces far more than a sound contact.
    pub bouncing: bool,
}

/// One rub contact.
#[derive(Clone, Debug)]
pub struct RubContact {
    place: Place,
    chance: Chance,
    shown: ContactState,
    /// What is wrong with it.
    pub upset: ContactUpset,
}

impl RubContact {
    /// A sound contact, clear.
    #[must_use]
    pub fn new(place: Place, seed: u64) -> Self {
        Self {
            place,
            chance: Chance::new(seed, 20 + place.index() as u64),
            shown: ContactState::Clear,
            upset: ContactUpset::default(),
        }
    }

    /// The state to begin a trace with.
    pub fn begin(&self, now_us: u64, out: &mut Outbox) {
        out.push(now_us, Signal::Contact(self.place, self.shown));
    }

    /// Looked at once every `every_us`: does the belt touch?
    pub fn look(&mut self, touches: bool, now_us: u64, every_us: u32, out: &mut Outbox) {
        let closed = self.upset.stuck.unwrap_or(touches);
        let state = if self.upset.cut {
            ContactState::Faulty
        } else if closed {
            ContactState::Rubbing
        } else {
            ContactState::Clear
        };
        let other = if state == ContactState::Rubbing { ContactState::Clear } else { ContactState::Rubbing };
        // Somewhere within the time since the last look, early enough for the bounce to end before the next.
        let mut at = now_us as f64 + self.chance.between(0.0, 0.3) * f64::from(every_us);
        if state != self.shown {
            self.shown = state;
            out.push(at as u64, Signal::Contact(self.place, state));
            if state == ContactState::Faulty {
                return;
            }
            let most = if self.upset.bouncing { 12.0 } else { 3.0 };
            for _ in 0..(self.chance.uniform() * most) as u32 {
                at += self.chance.between(100.0, 600.0);
                out.push(at as u64, Signal::Contact(self.place, other));
                at += self.chance.between(100.0, 600.0);
                out.push(at as u64, Signal::Contact(self.place, state));
            }
        } else if state == ContactState::Rubbing && self.upset.stuck.is_none() && self.chance.happens(0.02) {
            // Buckets and bolts lift a rubbing belt off for a moment; a contact that is stuck stays closed.
            let gap = self.chance.between(0.1, 0.6) * f64::from(every_us);
            out.push(at as u64, Signal::Contact(self.place, other));
            out.push((at + gap) as u64, Signal::Contact(self.place, state));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An hour of looks, ten a second, at a contact that the belt touches or that is stuck: how often it opened.
    fn openings(stuck: Option<bool>, touches: bool) -> usize {
        let mut contact = RubContact::new(Place::BootLeft, 1);
        contact.upset.stuck = stuck;
        let mut out = Outbox::default();
        // The first look closes it, with its bounces.
        contact.look(touches, 0, 100_000, &mut out);
        let mut signals = Vec::new();
        out.flush(u64::MAX, |input| signals.push(input));
        signals.clear();
        for look in 1..36_000 {
            contact.look(touches, look * 100_000, 100_000, &mut out);
        }
        out.flush(u64::MAX, |input| signals.push(input));
        signals.iter().filter(|input| matches!(input.signal, Signal::Contact(_, ContactState::Clear))).count()
    }

    #[test]
    fn a_rubbed_contact_is_lifted_off_for_moments_and_a_stuck_one_never() {
        assert!(openings(None, true) > 300, "buckets and bolts lift a belt off");
        assert_eq!(openings(Some(true), true), 0);
        assert_eq!(openings(Some(true), false), 0);
    }
}
