//! What a wired contact said over the whole trace, change by change.

use std::collections::VecDeque;

use slackside::units::Micros;

/// The newest changes that are kept: years of starts. A contact that chatters for longer has had the leg stopped.
const MOST: usize = 10_000;

/// The changes of a wired contact.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wired {
    changes: VecDeque<(Micros, bool)>,
}

impl Wired {
    /// Take what the contact says at `at`.
    pub fn take(&mut self, at: Micros, closed: bool) {
        if self.changes.back().is_some_and(|(_, before)| *before == closed) {
            return;
        }
        if self.changes.len() == MOST {
            self.changes.pop_front();
        }
        self.changes.push_back((at, closed));
    }

    /// What it said from when on, oldest first. Before the first of them nothing is known.
    pub fn changes(&self) -> impl Iterator<Item = (Micros, bool)> + '_ {
        self.changes.iter().copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_contact_that_chatters_keeps_its_newest_changes() {
        let mut wired = Wired::default();
        for at in 0..3 * MOST as u64 {
            // Said twice, as loggers do that write every row.
            wired.take(Micros::new(2 * at), at % 2 == 0);
            wired.take(Micros::new(2 * at + 1), at % 2 == 0);
        }
        let changes: Vec<_> = wired.changes().collect();
        assert_eq!(changes.len(), MOST);
        assert_eq!(changes.last(), Some(&(Micros::new(2 * (3 * MOST as u64 - 1)), false)));
        assert!(changes.windows(2).all(|pair| pair[0].1 != pair[1].1 && pair[1].0.get() - pair[0].0.get() == 2));
    }
}
