//! Rub contacts: chatter bridged, dwell, count, and the share of the last belt loop on which the belt rubbed.

use crate::input::ContactState;
use crate::motion::ContactMotion;
use crate::record::keep::keep;
use crate::units::{Micros, Ppm, Span};

/// Bins in one belt loop: a bit each.
pub const BINS: u32 = 64;
/// One bin's share of the loop.
const BIN_PPM: u32 = 1_000_000 / BINS;

/// One rub contact.
#[derive(Clone, Debug)]
pub struct Contact {
    bridge: Span,
    /// One bit for each bin of the last belt loop, newest lowest.
    loop_bins: u64,
    /// Rubbed at some time since the newest bin began.
    touched: bool,
}

keep!(Contact { loop_bins, touched } fixed { bridge });

impl Contact {
    pub const fn new(bridge: Span) -> Self {
        Self { bridge, loop_bins: 0, touched: false }
    }

    /// The contact says `state` from `at` on.
    pub fn change(&mut self, at: Micros, state: ContactState, motion: &mut ContactMotion) {
        match state {
            ContactState::Rubbing => {
                if motion.rubbing_since.is_none() {
                    motion.rubbing_since = Some(at);
                    motion.count = motion.count.wrapping_add(1);
                }
                motion.bridged_until = None;
                motion.state = ContactState::Rubbing;
                self.touched = true;
            }
            ContactState::Clear => {
                if motion.rubbing_since.is_some() {
                    // Still rubbing until it has been clear for the bridging time.
                    motion.state = ContactState::Rubbing;
                    if motion.bridged_until.is_none() {
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

    /// The belt moved on by `bins` bins since the last call.
    pub fn advance(&mut self, bins: u32, motion: &mut ContactMotion) {
        let fresh = if self.touched { u64::MAX } else { 0 };
        self.loop_bins = match self.loop_bins.checked_shl(bins) {
            Some(shifted) => shifted | (fresh & !u64::MAX.checked_shl(bins).unwrap_or(0)),
            // A whole loop or more at one step.
            None => fresh,
        };
        self.touched = motion.rubbing_since.is_some();
        motion.duty = Ppm::new(self.loop_bins.count_ones().wrapping_mul(BIN_PPM) as i32);
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
        contact.advance(16, &mut motion);
        assert_eq!(motion.duty, Ppm::new(250_000));
        contact.change(at(10), ContactState::Clear, &mut motion);
        contact.settle(at(200), &mut motion);
        // It rubbed in the bin under way too.
        contact.advance(1, &mut motion);
        contact.advance(47, &mut motion);
        assert_eq!(motion.duty, Ppm::new(17 * 15_625));
        contact.advance(64, &mut motion);
        assert_eq!(motion.duty, Ppm::ZERO);
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
