//! The rub contacts: chatter bridged, how long and how often, on what share of the last loop, and on how many loops at one place.

use slackside::input::{ContactState, Place};
use slackside::settings::plan::{BINS, Plan};
use slackside::signals::{ContactSignals, rub};

use crate::speed::share;

#[derive(Clone, Debug)]
struct Contact {
    /// What was told last, but clear while a rub is bridged.
    state: u8,
    /// Since when it rubs, chatter bridged.
    rubs: Option<u64>,
    /// Since when it has been clear while it still counts as rubbing.
    clear: Option<u64>,
    count: u32,
    /// Rubbing in the bin under way, counted up to a moment.
    rubbed: u64,
    counted: u64,
    /// The share of each bin of the last loop, in 255ths, the newest last.
    bins: Vec<u64>,
    /// How many bins ago the rub began whose place is remembered.
    began: Option<u64>,
    loops: u32,
}

/// All of them, and the belt.
#[derive(Clone, Debug)]
pub struct Contacts {
    each: Vec<Contact>,
    bridge: u64,
    fitted: u8,
    bin: u64,
    circumference: u32,
    /// How far the belt has come in the bin under way, in micrometres, and in what time.
    passed: u64,
    time: u64,
}

impl Contact {
    fn count_until(&mut self, at: u64) {
        if at >= self.counted {
            self.rubbed += at - self.counted;
            self.counted = at;
        }
    }

    fn says(&self) -> ContactSignals {
        // 1,000,000 over 32 bins of 255.
        let duty = self.bins.iter().sum::<u64>() * 6_250 / 51;
        ContactSignals {
            since: self.rubs.map_or(0, |since| since as u32),
            duty: duty as i32,
            count: self.count,
            state: self.state,
            rubs: self.rubs.is_some().into(),
            bridged: self.clear.is_some().into(),
            loops: self.loops.min(255) as u8,
        }
    }
}

impl Contacts {
    pub fn new(plan: &Plan) -> Self {
        let contact = Contact {
            state: rub::CLEAR,
            rubs: None,
            clear: None,
            count: 0,
            rubbed: 0,
            counted: 0,
            bins: vec![0; BINS as usize],
            began: None,
            loops: 0,
        };
        Self {
            each: vec![contact; Place::COUNT],
            bridge: plan.contacts.bridge.into(),
            fitted: plan.contacts.fitted,
            bin: plan.contacts.bin_length.into(),
            circumference: plan.slip.boot_circumference,
            passed: 0,
            time: 0,
        }
    }

    pub fn change(&mut self, place: Place, state: ContactState, now: u64) {
        if self.fitted >> place.index() & 1 == 0 {
            return;
        }
        let contact = &mut self.each[place.index()];
        match state {
            ContactState::Rubbing => {
                if contact.rubs.is_none() {
                    (contact.rubs, contact.counted) = (Some(now), now);
                    contact.count += 1;
                    // At the same place of the belt, a loop later give or take a bin, or another place.
                    match contact.began {
                        Some(bins) if bins < u64::from(BINS) - 1 => {}
                        began => {
                            contact.loops = if began.is_some() { contact.loops + 1 } else { 0 };
                            contact.began = Some(0);
                        }
                    }
                }
                contact.count_until(now);
                (contact.clear, contact.state) = (None, rub::RUBBING);
            }
            ContactState::Clear if contact.rubs.is_none() => contact.state = rub::CLEAR,
            ContactState::Clear => {
                contact.state = rub::RUBBING;
                if contact.clear.is_none() {
                    contact.count_until(now);
                    contact.clear = Some(contact.counted);
                }
            }
            ContactState::Faulty => (contact.state, contact.clear) = (rub::FAULTY, None),
        }
    }

    /// Rubs end that have been clear for the bridging time.
    pub fn settle(&mut self, now: u64) {
        for contact in &mut self.each {
            if contact.clear.is_some_and(|since| now >= since + self.bridge) {
                (contact.clear, contact.rubs, contact.state) = (None, None, rub::CLEAR);
            }
        }
    }

    /// The boot turned by a pitch of that angle and time, up to `at`.
    pub fn belt_moves(&mut self, angle: u32, time: u64, at: u64) {
        self.passed += share(angle, self.circumference);
        self.time += time;
        let bins = self.passed / self.bin;
        if bins == 0 {
            return;
        }
        self.passed %= self.bin;
        let time = std::mem::take(&mut self.time);
        for contact in &mut self.each {
            if contact.rubs.is_some() && contact.clear.is_none() {
                contact.count_until(at);
            }
            let rubbed = std::mem::take(&mut contact.rubbed);
            let share = (rubbed * 255).checked_div(time).unwrap_or(0).min(255);
            for _ in 0..bins.min(BINS.into()) {
                contact.bins.remove(0);
                contact.bins.push(share);
            }
            contact.began = contact.began.map(|began| began + bins).filter(|began| *began < u64::from(BINS) + 2);
            if contact.began.is_none() {
                contact.loops = 0;
            }
        }
    }

    pub fn says(&self) -> [ContactSignals; Place::COUNT] {
        std::array::from_fn(|place| self.each[place].says())
    }
}
