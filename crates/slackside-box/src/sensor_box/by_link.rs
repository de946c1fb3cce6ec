//! Commands that come by a link: few at a time, only what would be carried out, and what is refused is counted.
//!
//! Whoever reaches the wire can send commands without end. Were each of them an input, they would push what matters out of the
//! recorder's ring and the log of verdicts. So judge is asked first, and what it would refuse goes no further.

use slackside::units::{Micros, Span};
use slackside::wire::Refused;

/// Commands are taken so often, on average.
const EVERY: Span = Span::from_millis(15_000);
/// After a while without any, so many may come at once.
const AT_ONCE: u32 = 4;

/// What came by links since power-up.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct ByLink {
    pub(super) refused: Refused,
    /// When all that were taken are paid for, at the rate allowed.
    paid: Micros,
}

impl ByLink {
    /// Whether one more may be taken now.
    pub(super) fn has_room(&self, now: Micros) -> bool {
        self.paid <= now.after(Span::new(EVERY.get().saturating_mul(AT_ONCE.saturating_sub(1))))
    }

    /// One was taken.
    pub(super) fn take(&mut self, now: Micros) {
        self.paid = self.paid.max(now).after(EVERY);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_at_once_and_then_one_in_fifteen_seconds() {
        let mut by_link = ByLink::default();
        let mut taken = std::vec::Vec::new();
        for second in 100..200 {
            let now = Micros::new(second * 1_000_000);
            for _ in 0..10 {
                if by_link.has_room(now) {
                    by_link.take(now);
                    taken.push(second);
                }
            }
        }
        assert_eq!(taken, [100, 100, 100, 100, 115, 130, 145, 160, 175, 190]);
    }
}
