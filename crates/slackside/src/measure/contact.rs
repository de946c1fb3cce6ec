//! Rub contacts: chatter bridged, dwell, count, and the share of the last belt loop on which the belt rubbed.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::{divide, high, mul_div};
use crate::input::{ContactState, Place};
use crate::settings::plan::{self, ContactPlan};
use crate::signals::{ContactSignals, rub};
use crate::time::{age, held, reached, wait};

/// Bins in one belt loop, a power of two, so that the ring wraps by masking.
const BINS: u8 = plan::BINS as u8;
/// A bin on which the belt rubbed all the time.
const FULL: u8 = 255;
/// A rub begins at the place of the one remembered if it comes a loop later, give or take a bin: so much a loop may be longer or shorter
/// than it says in the settings, with the take-up and with creep, and so coarse bins are.
const AGAIN: u8 = BINS + 1;
/// See [`AGAIN`]: the remembered place may be reached from this on, counted down from one more than `AGAIN`.
const EARLY: u8 = 3;

/// The rub contacts, in the order of [`Place::ALL`].
#[derive(Clone, Copy, Debug, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Contacts {
    each: [Contact; Place::COUNT],
    /// Belt passed since the newest bin began, in micrometres, and the time that took.
    in_bin: u32,
    bin_time: u32,
    /// The oldest bin, to be written next.
    oldest: u8,
    /// Contacts that rub or have rubbed within the last loop, as bits.
    touched: u8,
    /// Contacts that are clear but still bridged, as bits.
    bridged: u8,
    spare: u8,
}

/// One rub contact.
#[derive(Clone, Copy, Debug, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Contact {
    /// Rubbing in the bin under way, in microseconds, as far as counted.
    rubbed: u32,
    /// Up to when rubbing is counted, while the belt rubs: while it is clear but bridged, since when.
    counted: u32,
    /// Sum of the bins.
    sum: u16,
    /// In so many bins the place where a rub began is forgotten; 0 if none is remembered.
    remembers: u8,
    spare: u8,
    /// What share of each bin of the last belt loop the belt rubbed, [`FULL`] for all of it; a ring.
    bins: [u8; BINS as usize],
}

impl Contact {
    const fn count(&mut self, until: u32) {
        if reached(until, self.counted) {
            self.rubbed = self.rubbed.saturating_add(age(until, self.counted));
            self.counted = until;
        }
    }

    /// How long until the rub ends, if it stays clear.
    const fn bridged(&self, plan: &ContactPlan, now: u32) -> u32 {
        wait(now, self.counted.wrapping_add(plan.bridge))
    }

    /// A rub begins. One that comes between is another place's, and counts for nothing.
    const fn begin(&mut self, signals: &mut ContactSignals) {
        if self.remembers == 0 {
            signals.loops = 0;
        } else if self.remembers <= EARLY {
            signals.loops = signals.loops.saturating_add(1);
        } else {
            return;
        }
        self.remembers = AGAIN + 1;
    }

    /// The belt moved on by `bins` bins, in `time`: one share for all of them, from the `oldest` on. Whether any bin is not empty, or
    /// a place remembered.
    #[inline(never)]
    fn advance(&mut self, bins: u32, time: u32, oldest: u8, signals: &mut ContactSignals) -> bool {
        self.remembers = self.remembers.saturating_sub(bins.min(u32::from(FULL)) as u8);
        if self.remembers == 0 {
            signals.loops = 0;
        }
        let rubbed = core::mem::replace(&mut self.rubbed, 0);
        let share = if rubbed == 0 || time == 0 { 0 } else { mul_div(rubbed, u32::from(FULL), time).min(255) as u8 };
        if share == 0 && self.sum == 0 {
            return self.remembers != 0;
        }
        for step in 0..bins.min(u32::from(BINS)) {
            let index = usize::from(oldest).wrapping_add(step as usize) & usize::from(BINS - 1);
            if let Some(bin) = self.bins.get_mut(index) {
                self.sum = self.sum.wrapping_add(u16::from(share)).wrapping_sub(u16::from(*bin));
                *bin = share;
            }
        }
        // 1,000,000 over 32 bins of 255.
        signals.duty = divide(u64::from(self.sum).wrapping_mul(6_250), 51) as i32;
        self.sum != 0 || self.remembers != 0
    }
}

impl Contacts {
    /// The contact there says `state` from `at` on.
    pub fn change(&mut self, at: u32, place: Place, state: ContactState, signals: &mut [ContactSignals; Place::COUNT]) {
        let (Some(contact), Some(signals)) = (self.each.get_mut(place.index()), signals.get_mut(place.index())) else {
            return;
        };
        let bit = 1_u8 << place.index();
        match state {
            ContactState::Rubbing => {
                if signals.rubs == 0 {
                    signals.rubs = 1;
                    signals.since = at;
                    signals.count = signals.count.wrapping_add(1);
                    contact.counted = at;
                    contact.begin(signals);
                    self.touched |= bit;
                }
                // A gap that was bridged counts as rubbing.
                contact.count(at);
                signals.bridged = 0;
                signals.state = rub::RUBBING;
            }
            ContactState::Clear if signals.rubs == 0 => signals.state = rub::CLEAR,
            ContactState::Clear => {
                // Still rubbing until it has been clear for the bridging time.
                signals.state = rub::RUBBING;
                if signals.bridged == 0 {
                    contact.count(at);
                    signals.bridged = 1;
                }
            }
            ContactState::Faulty => {
                // What the belt does is not known: a rub under way is held to go on.
                signals.state = rub::FAULTY;
                signals.bridged = 0;
            }
        }
        self.bridged = if signals.bridged == 0 { self.bridged & !bit } else { self.bridged | bit };
    }

    /// How long until the first bridged rub ends if it stays clear, at most `most`.
    pub fn wait(&self, plan: &ContactPlan, now: u32, most: u32, signals: &[ContactSignals; Place::COUNT]) -> u32 {
        let mut least = most;
        if self.bridged != 0 {
            for (contact, _) in self.each.iter().zip(signals).filter(|(_, signals)| signals.bridged != 0) {
                least = least.min(contact.bridged(plan, now));
            }
        }
        least
    }

    /// End bridged rubs that stayed clear until `now`. Whether any did.
    pub fn settle(&mut self, plan: &ContactPlan, now: u32, signals: &mut [ContactSignals; Place::COUNT]) -> bool {
        let before = self.bridged;
        for (place, (contact, signals)) in self.each.iter().zip(signals).enumerate() {
            if signals.bridged != 0 && contact.bridged(plan, now) == 0 {
                signals.bridged = 0;
                signals.rubs = 0;
                signals.state = rub::CLEAR;
                self.bridged &= !1_u8.wrapping_shl(place as u32);
            }
        }
        before != self.bridged
    }

    /// The belt moved with the boot by a pitch of that angle (2^-32 turn) and time, which ended at `at`. Whether a duty may have changed.
    pub fn move_belt(
        &mut self,
        plan: &ContactPlan,
        circumference: u32,
        at: u32,
        (angle, time): (u32, u32),
        signals: &mut [ContactSignals; Place::COUNT],
    ) -> bool {
        self.in_bin = self.in_bin.saturating_add(high(angle, circumference));
        self.bin_time = self.bin_time.saturating_add(time);
        if self.in_bin < plan.bin_length {
            return false;
        }
        // Seldom more than one, and there is no division for it then.
        self.in_bin = self.in_bin.wrapping_sub(plan.bin_length);
        let more = if self.in_bin < plan.bin_length { 0 } else { divide(u64::from(self.in_bin), plan.bin_length) };
        self.in_bin = self.in_bin.wrapping_sub(more.wrapping_mul(plan.bin_length));
        let bins = more.wrapping_add(1);
        let time = core::mem::replace(&mut self.bin_time, 0);
        let touched = self.touched;
        if touched != 0 {
            for (place, (contact, signals)) in self.each.iter_mut().zip(signals).enumerate() {
                let bit = 1_u8.wrapping_shl(place as u32);
                if touched & bit == 0 {
                    continue;
                }
                if signals.rubs != 0 && signals.bridged == 0 {
                    contact.count(at);
                }
                if !contact.advance(bins, time, self.oldest, signals) && signals.rubs == 0 {
                    self.touched &= !bit;
                }
            }
        }
        self.oldest = self.oldest.wrapping_add(bins as u8) & (BINS - 1);
        touched != 0
    }

    pub fn sweep(&mut self, now: u32) {
        for contact in &mut self.each {
            contact.counted = held(now, contact.counted);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use zerocopy::FromZeros;

    /// One boot turn is one bin: a metre less the micrometre by which a whole turn is short.
    const PLAN: ContactPlan =
        ContactPlan { bridge: 150_000, bin_length: 999_999, fitted: 15, temperatures: 0, spare: [0; 2] };

    struct Rig {
        contacts: Contacts,
        signals: [ContactSignals; Place::COUNT],
    }

    impl Rig {
        fn new() -> Self {
            Self { contacts: Contacts::new_zeroed(), signals: Default::default() }
        }

        fn change(&mut self, at: u32, state: ContactState) {
            self.contacts.change(at, Place::BootLeft, state, &mut self.signals);
        }

        /// So many bins up to `at`, in `time`.
        fn advance(&mut self, at: u32, bins: u32, time: u32) {
            self.contacts.in_bin = (bins - 1) * PLAN.bin_length;
            self.contacts.move_belt(&PLAN, 1_000_000, at, (u32::MAX, time), &mut self.signals);
            assert_eq!(self.contacts.in_bin, 0);
        }

        fn here(&self) -> &ContactSignals {
            &self.signals[Place::BootLeft.index()]
        }
    }

    #[test]
    fn chatter_is_one_rub_and_the_dwell_counts_from_its_start() {
        let mut rig = Rig::new();
        for bounce in 0..20 {
            rig.change(1_000_000 + bounce * 100_000, ContactState::Rubbing);
            rig.change(1_010_000 + bounce * 100_000, ContactState::Clear);
            assert!(!rig.contacts.settle(&PLAN, 1_099_000 + bounce * 100_000, &mut rig.signals));
        }
        assert_eq!((rig.here().count, rig.here().since), (1, 1_000_000));
        assert_eq!(rig.here().bridged, 1);
        assert_eq!(rig.contacts.wait(&PLAN, 3_000_000, 1_000_000, &rig.signals), 60_000);
        assert!(rig.contacts.settle(&PLAN, 3_060_000, &mut rig.signals));
        assert_eq!((rig.here().rubs, rig.here().state), (0, rub::CLEAR));
        assert_eq!(rig.contacts.wait(&PLAN, 3_060_000, 1_000_000, &rig.signals), 1_000_000);
    }

    #[test]
    fn duty_is_the_share_of_the_last_loop() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        rig.advance(800_000, 8, 800_000);
        assert_eq!(rig.here().duty, 250_000);
        rig.change(850_000, ContactState::Clear);
        rig.contacts.settle(&PLAN, 1_000_000, &mut rig.signals);
        // It rubbed for half of the next bin too.
        rig.advance(900_000, 1, 100_000);
        let both = 250_000 + 31_250 / 2;
        assert!((rig.here().duty - both).abs() < 100, "{:?}", rig.here());
        rig.advance(3_200_000, 23, 2_300_000);
        assert!((rig.here().duty - both).abs() < 100, "{:?}", rig.here());
        rig.advance(6_400_000, 32, 3_200_000);
        assert_eq!(rig.here().duty, 0);
        assert_eq!(rig.contacts.touched, 0);
    }

    /// A belt that is shorter than the boot's pitch, or stood for long: all its bins are passed at once.
    #[test]
    fn a_whole_loop_at_once_leaves_nothing_of_the_loop_before() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        rig.advance(100_000, 1, 100_000);
        rig.change(100_000, ContactState::Clear);
        assert!(rig.contacts.settle(&PLAN, 250_000, &mut rig.signals));
        assert_eq!(rig.here().duty, 31_250, "one bin of 32");
        rig.advance(3_500_000, 32, 3_400_000);
        assert_eq!(rig.here().duty, 0);
    }

    #[test]
    fn a_faulty_line_does_not_end_a_rub() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        rig.change(5, ContactState::Faulty);
        assert_eq!((rig.here().rubs, rig.here().state), (1, rub::FAULTY));
        assert!(!rig.contacts.settle(&PLAN, 10_000_000, &mut rig.signals));
    }

    #[test]
    fn a_rub_is_over_when_it_was_clear_for_the_bridging_time_and_no_sooner() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        assert!(!rig.contacts.settle(&PLAN, 9_000_000, &mut rig.signals), "it rubs on");
        rig.change(9_100_000, ContactState::Clear);
        // Told again that it is clear, it has been so since the first time.
        rig.change(9_200_000, ContactState::Clear);
        assert_eq!((rig.here().rubs, rig.here().state, rig.here().bridged), (1, rub::RUBBING, 1));
        assert_eq!(rig.contacts.wait(&PLAN, 9_200_000, 1_000_000, &rig.signals), 50_000);
        assert_eq!(rig.contacts.wait(&PLAN, 9_200_000, 40_000, &rig.signals), 40_000, "something else is due sooner");
        assert!(!rig.contacts.settle(&PLAN, 9_249_999, &mut rig.signals));
        assert_eq!(rig.here().rubs, 1);
        assert!(rig.contacts.settle(&PLAN, 9_250_000, &mut rig.signals));
        assert_eq!((rig.here().rubs, rig.here().state, rig.here().bridged), (0, rub::CLEAR, 0));
        assert!(!rig.contacts.settle(&PLAN, 9_250_000, &mut rig.signals), "once");
        // The next is another rub.
        rig.change(12_000_000, ContactState::Rubbing);
        assert_eq!((rig.here().count, rig.here().since, rig.here().rubs), (2, 12_000_000, 1));
    }

    #[test]
    fn each_place_clears_for_itself() {
        let mut rig = Rig::new();
        let places = [Place::ALL[0], Place::ALL[3]];
        for place in places {
            rig.contacts.change(0, place, ContactState::Rubbing, &mut rig.signals);
        }
        rig.contacts.change(100_000, places[0], ContactState::Clear, &mut rig.signals);
        rig.contacts.change(180_000, places[1], ContactState::Clear, &mut rig.signals);
        assert_eq!(rig.contacts.wait(&PLAN, 180_000, 1_000_000, &rig.signals), 70_000);
        assert!(rig.contacts.settle(&PLAN, 250_000, &mut rig.signals));
        assert_eq!(rig.signals.map(|signals| signals.rubs), [0, 0, 0, 1]);
        assert_eq!(rig.contacts.wait(&PLAN, 250_000, 1_000_000, &rig.signals), 80_000);
        assert!(rig.contacts.settle(&PLAN, 330_000, &mut rig.signals));
        assert_eq!(rig.signals.map(|signals| (signals.rubs, signals.count)), [(0, 1), (0, 0), (0, 0), (0, 1)]);
        assert_eq!(rig.contacts.bridged, 0);
    }

    #[test]
    fn a_line_that_is_sound_again_ends_its_rub_by_the_bridging_time() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        rig.change(20_000, ContactState::Clear);
        rig.change(30_000, ContactState::Faulty);
        assert_eq!((rig.here().bridged, rig.contacts.bridged), (0, 0));
        rig.change(5_000_000, ContactState::Clear);
        assert_eq!((rig.here().state, rig.here().rubs), (rub::RUBBING, 1));
        assert!(!rig.contacts.settle(&PLAN, 5_149_999, &mut rig.signals));
        assert!(rig.contacts.settle(&PLAN, 5_150_000, &mut rig.signals));
        // A line that was faulty while nothing rubbed is clear at once.
        rig.change(6_000_000, ContactState::Faulty);
        assert_eq!((rig.here().state, rig.here().rubs), (rub::FAULTY, 0));
        rig.change(6_000_001, ContactState::Clear);
        assert_eq!((rig.here().state, rig.here().bridged), (rub::CLEAR, 0));
    }

    #[test]
    fn a_gap_that_was_bridged_counts_as_rubbing_and_what_came_after_the_end_does_not() {
        let mut rig = Rig::new();
        rig.change(0, ContactState::Rubbing);
        rig.change(20_000, ContactState::Clear);
        rig.change(60_000, ContactState::Rubbing);
        rig.change(80_000, ContactState::Clear);
        rig.advance(100_000, 1, 100_000);
        // 80 of 100 ms of one bin of 32.
        assert!((rig.here().duty - 25_000).abs() < 150, "{:?}", rig.here());
        // What is clear and bridged has no more of it; and a bin with no time in it has none.
        rig.advance(200_000, 1, 100_000);
        assert!((rig.here().duty - 25_000).abs() < 150, "{:?}", rig.here());
        rig.advance(200_000, 1, 0);
        assert!((rig.here().duty - 25_000).abs() < 150, "{:?}", rig.here());
    }

    #[test]
    fn a_rub_at_the_same_place_of_the_belt_comes_back_with_each_loop() {
        let mut rig = Rig::new();
        let mut at = 0;
        let mut rub_then = |rig: &mut Rig, bins: u32| {
            rig.change(at, ContactState::Rubbing);
            rig.change(at + 10_000, ContactState::Clear);
            rig.contacts.settle(&PLAN, at + 160_000, &mut rig.signals);
            for _ in 0..bins {
                at += 200_000;
                rig.advance(at, 1, 200_000);
            }
            rig.here().loops
        };
        // Told when a loop has passed, before the rub that begins the next one.
        assert_eq!([rub_then(&mut rig, 32), rub_then(&mut rig, 31), rub_then(&mut rig, 33)], [0, 1, 2]);
        // One between is another place's, and counts for nothing.
        assert_eq!([rub_then(&mut rig, 10), rub_then(&mut rig, 22), rub_then(&mut rig, 32)], [3, 3, 4]);
        // Not seen for a loop and two bins, the place is forgotten.
        assert_eq!(rub_then(&mut rig, 33), 5);
        assert_eq!(rub_then(&mut rig, 34), 0);
        assert_eq!(rub_then(&mut rig, 32), 0);
    }
}
