//! Minimum width: a level counts only if it is held.
//!
//! Real noise pulses are fractions of a microsecond to tens of microseconds wide. A gate on gaps alone takes the noise and
//! throws away the true edge after it; a gate on width waits until the level has proven itself, and then stamps the edge with
//! the time it happened.

use crate::record::keep::keep;
use crate::units::{Micros, Span};

/// A level that has proven itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Held {
    /// The level.
    pub level: bool,
    /// When it began.
    pub since: Micros,
}

/// What a raw edge did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Raw {
    /// It waits for its minimum width, or says nothing new.
    Waits,
    /// It ended a pulse too narrow to count.
    Narrow,
}

/// The gate of one sensor.
#[derive(Clone, Debug)]
pub struct Width {
    minimum: Span,
    level: Option<bool>,
    waiting: Option<Held>,
}

keep!(Held { level, since });
keep!(Width { level, waiting } fixed { minimum });

impl Width {
    pub const fn new(minimum: Span) -> Self {
        Self { minimum, level: None, waiting: None }
    }

    /// When the waiting level will have been held long enough; the end of time if none waits.
    pub const fn deadline(&self) -> Micros {
        match self.waiting {
            Some(held) => held.since.after(self.minimum),
            None => Micros::MAX,
        }
    }

    /// The waiting level, if it has been held long enough at `now`.
    pub fn settle(&mut self, now: Micros) -> Option<Held> {
        let held = self.waiting.filter(|held| held.since.after(self.minimum) <= now)?;
        self.waiting = None;
        self.level = Some(held.level);
        Some(held)
    }

    /// A raw edge, after everything due has been settled.
    pub fn edge(&mut self, at: Micros, level: bool) -> Raw {
        if self.level == Some(level) {
            // Back to the level that counts: whatever waited was too narrow.
            return if self.waiting.take().is_some() { Raw::Narrow } else { Raw::Waits };
        }
        if self.waiting.is_none() {
            self.waiting = Some(Held { level, since: at });
        } else if self.level.is_none() && self.waiting.is_some_and(|held| held.level != level) {
            // Before the first level has proven itself, either may be the true one: the newest waits.
            self.waiting = Some(Held { level, since: at });
            return Raw::Narrow;
        }
        Raw::Waits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(micros: u64) -> Micros {
        Micros::new(micros)
    }

    #[test]
    fn a_level_held_exactly_long_enough_counts_from_its_own_edge() {
        let mut width = Width::new(Span::new(200));
        assert_eq!(width.edge(at(1_000), true), Raw::Waits);
        assert_eq!(width.deadline(), at(1_200));
        assert_eq!(width.settle(at(1_199)), None);
        assert_eq!(width.settle(at(1_200)), Some(Held { level: true, since: at(1_000) }));
        assert_eq!(width.deadline(), Micros::MAX);
    }

    #[test]
    fn noise_before_a_true_edge_does_not_move_it() {
        let mut width = Width::new(Span::new(5));
        width.edge(at(0), false);
        width.settle(at(5));
        assert_eq!(width.edge(at(100), true), Raw::Waits);
        assert_eq!(width.edge(at(101), false), Raw::Narrow);
        assert_eq!(width.edge(at(103), true), Raw::Waits);
        assert_eq!(width.settle(at(108)), Some(Held { level: true, since: at(103) }));
    }

    #[test]
    fn a_repeated_level_says_nothing_new() {
        let mut width = Width::new(Span::new(5));
        width.edge(at(0), true);
        assert_eq!(width.edge(at(2), true), Raw::Waits);
        assert_eq!(width.settle(at(9)), Some(Held { level: true, since: at(0) }));
        assert_eq!(width.edge(at(20), true), Raw::Waits);
        assert_eq!(width.deadline(), Micros::MAX);
    }
}
