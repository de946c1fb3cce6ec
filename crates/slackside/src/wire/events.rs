//! The newest verdicts, numbered, for a desk to ask for. What no longer fits is counted, never silently gone.

use heapless::{Deque, Vec};

use super::message::{EVENTS_A_REPLY, Event};
use crate::verdict::Verdict;

/// The newest `N` verdicts.
#[derive(Clone, Debug)]
pub struct EventLog<const N: usize> {
    kept: Deque<Verdict, N>,
    /// The number of the newest, from 1.
    newest: u32,
}

impl<const N: usize> EventLog<N> {
    /// Nothing happened yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { kept: Deque::new(), newest: 0 }
    }

    /// Keep a verdict.
    pub fn push(&mut self, verdict: &Verdict) {
        if self.kept.is_full() {
            let _ = self.kept.pop_front();
        }
        let _ = self.kept.push_back(*verdict);
        self.newest = self.newest.saturating_add(1);
    }

    /// The number of the newest.
    #[must_use]
    pub const fn newest(&self) -> u32 {
        self.newest
    }

    /// How many after number `after` are lost, and the next ones. A number beyond the newest is of another session: then all.
    #[must_use]
    pub fn after(&self, after: u32) -> (u32, Vec<Event, EVENTS_A_REPLY>) {
        let after = if after > self.newest { 0 } else { after };
        // At most `N` are kept, which is far below 2^32.
        let before_oldest = self.newest.saturating_sub(u32::try_from(self.kept.len()).unwrap_or(u32::MAX));
        let lost = before_oldest.saturating_sub(after);
        let skip = after.saturating_sub(before_oldest);
        let mut events = Vec::new();
        let mut number = before_oldest.saturating_add(skip);
        // Beyond the room they are for the next reply.
        while !events.is_full() && number < self.newest {
            let Some(verdict) = self.kept.get(number.saturating_sub(before_oldest) as usize) else { break };
            number = number.saturating_add(1);
            let _ = events.push(Event { number, verdict: *verdict });
        }
        (lost, events)
    }
}

impl<const N: usize> Default for EventLog<N> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Micros;
    use crate::verdict::{Change, Phase};

    fn verdict(at: u64) -> Verdict {
        Verdict { at: Micros::new(at), change: Change::Phase(Phase::Running) }
    }

    #[test]
    fn losses_are_counted_and_numbers_never_shift() {
        let mut log = EventLog::<4>::new();
        assert_eq!(log.after(0), (0, Vec::new()));
        for at in 1..=9 {
            log.push(&verdict(at));
        }
        for (after, lost, first) in [(0, 5, 6), (3, 2, 6), (5, 0, 6), (7, 0, 8), (100, 5, 6)] {
            let (counted, events) = log.after(after);
            assert_eq!(counted, lost, "after {after}");
            assert_eq!(events.first(), Some(&Event { number: first, verdict: verdict(first.into()) }));
            assert_eq!(events.last().map(|event| event.number), Some(9));
        }
        assert_eq!(log.after(9), (0, Vec::new()));
    }

    #[test]
    fn a_long_list_comes_in_pieces() {
        let mut log = EventLog::<20>::new();
        (1..=14).for_each(|at| log.push(&verdict(at)));
        let mut numbers = std::vec::Vec::new();
        while let (0, events) = log.after(numbers.last().copied().unwrap_or(0)) {
            if events.is_empty() {
                break;
            }
            numbers.extend(events.iter().map(|event| event.number));
        }
        assert_eq!(numbers, (1..=14).collect::<std::vec::Vec<u32>>());
    }

    extern crate std;
}
