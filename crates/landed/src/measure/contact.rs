//! Rub contacts: chatter bridged, dwell, count, and the share of the last belt loop on which the belt rubbed.

use crate::input::ContactState;
use crate::math::mul_div;
use crate::motion::ContactMotion;
use crate::record::keep::{Keep, Page, Pen, Unreadable};
use crate::units::{Micros, Ppm, Span};

/// Bins in one belt loop. A power of two, so that the ring wraps by masking.
pub const BINS: u32 = 64;
/// A bin on which the belt rubbed all the time.
const FULL: u32 = 255;

/// One rub contact.
#[derive(Clone, Debug)]
pub struct Contact {
    bridge: Span,
    /// What share of each bin of the last belt loop the belt rubbed, [`FULL`] for all of it; a ring.
    bins: [u8; BINS as usize],
    /// The oldest bin, to be written next.
    oldest: u8,
    /// Sum of the bins.
    sum: u32,
    /// Rubbing in the bin under way, in microseconds, as far as counted.
    rubbed: u32,
    /// Up to when rubbing is counted, while the belt rubs.
    counted: Micros,
}

impl Contact {
    pub const fn new(bridge: Span) -> Self {
        Self { bridge, bins: [0; BINS as usize], oldest: 0, sum: 0, rubbed: 0, counted: Micros::ZERO }
    }

    /// The contact says `state` from `at` on.
    pub fn change(&mut self, at: Micros, state: ContactState, motion: &mut ContactMotion) {
        match state {
            ContactState::Rubbing => {
                if motion.rubbing_since.is_none() {
                    motion.rubbing_since = Some(at);
                    motion.count = motion.count.wrapping_add(1);
                    self.counted = at;
                }
                // A gap that was bridged counts as rubbing.
                self.count(at);
                motion.bridged_until = None;
                motion.state = ContactState::Rubbing;
            }
            ContactState::Clear => {
                if motion.rubbing_since.is_some() {
                    // Still rubbing until it has been clear for the bridging time.
                    motion.state = ContactState::Rubbing;
                    if motion.bridged_until.is_none() {
                        self.count(at);
                        motion.bridged_until = Some(at.after(self.bridge));
                    }
                } else {
                    motion.state = ContactState::Clear;
                }
            }
            ContactState::Faulty => {
                // What the belt does is not known: a rub under way is held to go on.
                motion.state = ContactState::Faulty;
                motion.bridged_until = None;
            }
        }
    }

    /// End a bridged rub that stayed clear until `now`. Whether it did.
    pub fn settle(&mut self, now: Micros, motion: &mut ContactMotion) -> bool {
        let ends = motion.bridged_until.is_some_and(|until| until <= now);
        if ends {
            motion.bridged_until = None;
            motion.rubbing_since = None;
            motion.state = ContactState::Clear;
        }
        ends
    }

    fn count(&mut self, until: Micros) {
        self.rubbed = self.rubbed.saturating_add(until.since(self.counted).get());
        self.counted = self.counted.max(until);
    }

    /// At `at` the belt had moved on by `bins` bins since the last call, in `time`: one share for all of them.
    pub fn advance(&mut self, at: Micros, bins: u32, time: Span, motion: &mut ContactMotion) {
        if motion.rubbing_since.is_some() && motion.bridged_until.is_none() {
            self.count(at);
        }
        let share = mul_div(self.rubbed, FULL, time.get()).unwrap_or(0).min(FULL);
        self.rubbed = 0;
        if share == 0 && self.sum == 0 {
            return;
        }
        for _ in 0..bins.min(BINS) {
            if let Some(bin) = self.bins.get_mut(usize::from(self.oldest)) {
                // `share` is at most 255.
                self.sum = self.sum.saturating_add(share).saturating_sub(u32::from(*bin));
                *bin = share as u8;
            }
            self.oldest = self.oldest.wrapping_add(1) & (BINS as u8).wrapping_sub(1);
        }
        motion.duty = Ppm::new(mul_div(self.sum, 1_000_000, BINS * FULL).unwrap_or(0) as i32);
    }
}

/// Only the bins that are not empty, by age.
impl Keep for Contact {
    fn keep(&self, pen: &mut Pen<'_>) {
        let Self { bridge: _, bins, oldest, sum: _, rubbed, counted } = self;
        rubbed.keep(pen);
        counted.keep(pen);
        oldest.keep(pen);
        let used = bins.iter().rev().fold(0, |used, bin| used << 1 | u64::from(*bin > 0));
        pen.varint(used);
        for bin in bins.iter().filter(|bin| **bin > 0) {
            pen.byte(*bin);
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.rubbed.fetch(page)?;
        self.counted.fetch(page)?;
        self.oldest.fetch(page)?;
        self.oldest &= (BINS as u8).wrapping_sub(1);
        let mut used = page.varint()?;
        self.sum = 0;
        for bin in &mut self.bins {
            *bin = if used & 1 == 0 { 0 } else { page.byte()? };
            self.sum = self.sum.saturating_add(u32::from(*bin));
            used >>= 1;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(millis: u64) -> Micros {
        Micros::new(millis * 1_000)
    }

    fn fitted() -> (Contact, ContactMotion) {
        (Contact::new(Span::from_millis(150)), ContactMotion { fitted: true, ..ContactMotion::default() })
    }

    #[test]
    fn chatter_is_one_rub_and_the_dwell_counts_from_its_start() {
        let (mut contact, mut motion) = fitted();
        for bounce in 0..20 {
            contact.change(at(1_000 + bounce * 100), ContactState::Rubbing, &mut motion);
            contact.change(at(1_010 + bounce * 100), ContactState::Clear, &mut motion);
            assert!(!contact.settle(at(1_099 + bounce * 100), &mut motion));
        }
        assert_eq!(motion.count, 1);
        assert_eq!(motion.rubbing_since, Some(at(1_000)));
        assert_eq!(motion.bridged_until, Some(at(3_060)));
        assert!(contact.settle(at(3_060), &mut motion));
        assert_eq!(motion.rubbing_since, None);
        assert_eq!(motion.state, ContactState::Clear);
    }

    #[test]
    fn duty_is_the_share_of_the_last_loop() {
        let (mut contact, mut motion) = fitted();
        contact.change(at(0), ContactState::Rubbing, &mut motion);
        contact.advance(at(1_600), 16, Span::from_millis(1_600), &mut motion);
        assert_eq!(motion.duty, Ppm::new(250_000));
        contact.change(at(1_650), ContactState::Clear, &mut motion);
        contact.settle(at(1_800), &mut motion);
        // It rubbed for half of the next bin too.
        contact.advance(at(1_700), 1, Span::from_millis(100), &mut motion);
        assert!(motion.duty.get().abs_diff(250_000 + 15_625 / 2) < 50, "{motion:?}");
        contact.advance(at(6_400), 47, Span::from_millis(4_700), &mut motion);
        assert!(motion.duty.get().abs_diff(250_000 + 15_625 / 2) < 50, "{motion:?}");
        contact.advance(at(12_800), 64, Span::from_millis(6_400), &mut motion);
        assert_eq!(motion.duty, Ppm::ZERO);
    }

    #[test]
    fn short_rubs_count_for_what_they_last() {
        let (mut contact, mut motion) = fitted();
        // A rub of 190 ms in each third of a loop of 24 s: 2.4 % of it.
        for eighth in 0..64_u64 {
            let begin = eighth * 375;
            if eighth % 21 == 5 {
                contact.change(at(begin + 100), ContactState::Rubbing, &mut motion);
                contact.change(at(begin + 290), ContactState::Clear, &mut motion);
                contact.settle(at(begin + 440), &mut motion);
            }
            contact.advance(at(begin + 375), 1, Span::from_millis(375), &mut motion);
        }
        assert_eq!(motion.count, 3);
        assert!(motion.duty.get().abs_diff(23_750) < 300, "{motion:?}");
    }

    #[test]
    fn a_faulty_line_does_not_end_a_rub() {
        let (mut contact, mut motion) = fitted();
        contact.change(at(0), ContactState::Rubbing, &mut motion);
        contact.change(at(5), ContactState::Faulty, &mut motion);
        assert_eq!(motion.rubbing_since, Some(at(0)));
        assert!(!contact.settle(at(10_000), &mut motion));
    }
}
