//! The rub contacts, as they came over the wires.

use std::collections::VecDeque;

use slackside::input::{ContactState, Place};
use slackside::settings::Checked;

use super::shaft::{milliseconds, whole_share};
use super::{Clue, Evidence};

/// Changes closer than this, in microseconds, are bounce.
const BOUNCE_US: u64 = 30_000;
/// A contact that opens this long after it first closed, in microseconds, opens: bounce is over.
const SETTLED_US: u64 = 100_000;
/// Gaps shorter than this, in microseconds, part no rubs.
const GAP_US: u64 = 300_000;
/// A leg whose head is silent for longer, in microseconds, stands.
const STANDS_US: u64 = 3_000_000;
const MINUTE_US: u64 = 60_000_000;

#[derive(Clone, Debug, Default)]
struct Contact {
    since: Option<u64>,
    changed: Option<u64>,
    /// When the last rub ended.
    ended: Option<u64>,
    rubbed_us: u64,
    longest_us: u64,
    at_rest_us: u64,
    rubs: u64,
    first_rub: Option<u64>,
    first_us: Option<u64>,
    opened: u64,
    last_rub: Option<u64>,
    bounces: VecDeque<u64>,
    most_bounces: usize,
}

/// All contacts.
#[derive(Clone, Debug)]
pub(super) struct Rubs {
    fitted: bool,
    loop_us: u64,
    contacts: [Contact; Place::COUNT],
    faulty: bool,
    turned: Option<u64>,
}

impl Rubs {
    pub fn new(settings: &Checked) -> Self {
        let machine = &settings.machine;
        let belt = machine.belt_speed(machine.normal_boot).get();
        let length = machine.belt.loop_length.get().unsigned_abs();
        Self {
            fitted: machine.contacts.iter().any(Option::is_some),
            loop_us: length.saturating_mul(1_000_000).checked_div(u64::from(belt)).unwrap_or(0),
            contacts: Default::default(),
            faulty: false,
            turned: None,
        }
    }

    /// The leg turns.
    pub const fn turns(&mut self, at: u64) {
        self.turned = Some(at);
    }

    pub fn contact(&mut self, at: u64, place: Place, state: ContactState) {
        self.faulty |= state == ContactState::Faulty;
        let stands = self.stands(at);
        let contact = &mut self.contacts[place.index()];
        let closed = state == ContactState::Rubbing;
        if closed == contact.since.is_some() {
            return;
        }
        if contact.changed.is_some_and(|changed| at.saturating_sub(changed) < BOUNCE_US) {
            contact.bounces.push_back(at);
            while contact.bounces.front().is_some_and(|first| at - first > MINUTE_US) {
                contact.bounces.pop_front();
            }
            contact.most_bounces = contact.most_bounces.max(contact.bounces.len());
            // Enough to tell; a contact that never rests must not fill the memory.
            contact.bounces.truncate(1_000);
        }
        contact.changed = Some(at);
        if closed {
            contact.since = Some(at);
            if contact.ended.is_none_or(|ended| at.saturating_sub(ended) > GAP_US) {
                contact.rubs += 1;
                contact.first_rub.get_or_insert(at);
                contact.last_rub = Some(at);
            }
        } else {
            contact.settle(at, stands);
            let since = contact.since.unwrap_or(at);
            contact.opened += u64::from(contact.first_rub.is_some_and(|first| at.saturating_sub(first) > SETTLED_US));
            contact.first_us.get_or_insert(at.saturating_sub(since));
            contact.since = None;
            contact.ended = Some(at);
        }
    }

    fn stands(&self, at: u64) -> bool {
        self.turned.is_none_or(|turned| at.saturating_sub(turned) > STANDS_US)
    }

    /// Write down what is known at the end.
    pub fn tell(&self, at: u64, evidence: &mut Evidence) {
        if !self.fitted {
            return;
        }
        let stands = self.stands(at);
        let contacts = self.contacts.clone().map(|mut contact| {
            contact.settle(at, stands);
            contact
        });
        let places =
            (0..Place::COUNT).filter(|index| contacts[*index].rubs > 0).fold(0, |bits, index| bits | 1 << index);
        let rubbed = contacts.each_ref().map(|contact| contact.rubbed_us);
        let all: u64 = rubbed.iter().sum();
        let [head_left, head_right, boot_left, boot_right] = rubbed;
        let most = contacts.iter().max_by_key(|contact| contact.rubs);
        let every = most.filter(|contact| contact.rubs > 2).and_then(|contact| {
            let time = contact.last_rub?.saturating_sub(contact.first_rub?);
            whole_share(time / (contact.rubs - 1), self.loop_us, 100)
        });
        let worst = contacts.iter().max_by_key(|contact| contact.rubbed_us).filter(|contact| contact.rubs > 0);
        let steady =
            worst.and_then(|contact| whole_share(contact.rubbed_us, at.saturating_sub(contact.first_rub?), 100));
        let first = worst.and_then(|contact| Some(contact.first_us.unwrap_or(at.saturating_sub(contact.first_rub?))));
        let most_of = |of: fn(&Contact) -> u64| contacts.iter().map(of).max().unwrap_or(0);
        for (clue, answer) in [
            (Clue::RubPlaces, Some(places)),
            (Clue::RubLongest, Some(milliseconds(most_of(|contact| contact.longest_us)))),
            (Clue::RubCount, i32::try_from(contacts.iter().map(|contact| contact.rubs).sum::<u64>()).ok()),
            (Clue::RubEvery, every),
            (Clue::RubAtHead, whole_share(head_left + head_right, all, 100)),
            (Clue::RubAtLeft, whole_share(head_left + boot_left, all, 100)),
            (Clue::RubCrossed, whole_share(head_left + boot_right, all, 100)),
            (Clue::RubSteady, steady),
            (Clue::RubFirst, first.map(milliseconds)),
            (Clue::RubOpened, worst.and_then(|contact| i32::try_from(contact.opened).ok())),
            (Clue::RubBounce, Some(most_of(|contact| contact.most_bounces as u64) as i32)),
            (Clue::RubAtRest, Some(milliseconds(most_of(|contact| contact.at_rest_us)))),
            (Clue::ContactFaulty, Some(i32::from(self.faulty))),
        ] {
            evidence.set(clue, answer);
        }
    }
}

impl Contact {
    /// Take what it has been closed for until now.
    fn settle(&mut self, at: u64, stands: bool) {
        let Some(since) = self.since else { return };
        let closed = at.saturating_sub(since);
        if stands {
            self.at_rest_us = self.at_rest_us.max(closed);
        } else {
            self.rubbed_us += closed;
        }
        self.longest_us = self.longest_us.max(closed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::score::checked;
    use crate::scenario::{legs, settings::Commissioned};

    /// A contact that closes with a bounce and is closed for a minute but for moments of 5 ms, one every `every` seconds.
    fn opened(every: Option<u64>) -> Option<i32> {
        let leg = legs::leg("millbrook-leg-3").expect("a built-in leg");
        let settings = checked(&leg, &Commissioned::measure(&leg)).expect("its settings");
        let mut rubs = Rubs::new(&settings);
        let mut told = |at: u64, state| {
            rubs.turns(at);
            rubs.contact(at, Place::BootLeft, state);
        };
        told(1_000_000, ContactState::Rubbing);
        told(1_000_400, ContactState::Clear);
        told(1_000_900, ContactState::Rubbing);
        for second in every.map_or(0..0, |_| 2..60).filter(|second| every.is_some_and(|every| second % every == 0)) {
            told(second * 1_000_000, ContactState::Clear);
            told(second * 1_000_000 + 5_000, ContactState::Rubbing);
        }
        let mut evidence = Evidence::default();
        rubs.tell(61_000_000, &mut evidence);
        evidence.get(Clue::RubOpened)
    }

    #[test]
    fn a_belt_that_leans_is_lifted_off_for_moments_and_bounce_is_none_of_them() {
        assert_eq!(opened(Some(10)), Some(5));
        assert_eq!(opened(None), Some(0));
    }
}
