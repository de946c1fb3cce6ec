//! What the box did, beside judge's verdicts (which the link's own log keeps): faults, settings armed, recordings stored. A
//! short memory that counts.

use heapless::Deque;
use serde::{Deserialize, Serialize};
use slackside::units::Micros;

use crate::fault::Fault;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Happened {
    /// A fault of the box came.
    FaultCame(Fault),
    /// A fault of the box went, by itself or by a reset.
    FaultWent(Fault),
    /// The box started.
    Started {
        /// The identity of the settings in force, if there are any.
        settings: Option<u32>,
    },
    /// New settings were armed.
    Armed {
        /// The identity of those before, if there were any.
        before: Option<u32>,
        /// Their identity.
        now: u32,
    },
    /// A recording was stored.
    Recorded {
        /// Its number.
        number: u32,
    },
}

/// An event with its number and time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    /// Counts up by one from 0 at start-up: a gap tells of lost events.
    pub number: u32,
    /// When.
    pub at: Micros,
    /// What.
    pub happened: Happened,
}

/// How many events are kept.
const ROOM: usize = 16;

/// The newest events.
#[derive(Debug, Default)]
pub struct EventLog {
    events: Deque<Event, ROOM>,
    next: u32,
}

impl EventLog {
    /// Nothing happened yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { events: Deque::new(), next: 0 }
    }

    /// Add one; the oldest makes way.
    pub fn push(&mut self, at: Micros, happened: Happened) {
        if self.events.is_full() {
            let _ = self.events.pop_front();
        }
        let _ = self.events.push_back(Event { number: self.next, at, happened });
        self.next = self.next.wrapping_add(1);
    }

    /// The number the next event will get.
    #[must_use]
    pub const fn next_number(&self) -> u32 {
        self.next
    }

    /// The events from `number` on that are still kept, oldest first.
    pub fn from(&self, number: u32) -> impl Iterator<Item = &Event> {
        let wanted = self.next.wrapping_sub(number);
        let kept = u32::try_from(self.events.len()).unwrap_or(u32::MAX);
        // A number from before the last restart, or from nowhere: everything.
        let skip = if wanted > kept { 0 } else { kept.saturating_sub(wanted) };
        self.events.iter().skip(usize::try_from(skip).unwrap_or(usize::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(log: &EventLog, from: u32) -> std::vec::Vec<u32> {
        log.from(from).map(|event| event.number).collect()
    }

    #[test]
    fn the_oldest_make_way_and_the_gap_shows() {
        let mut log = EventLog::new();
        for number in 0..22 {
            log.push(Micros::new(number), Happened::FaultCame(Fault::Pin));
        }
        assert_eq!(numbers(&log, 0), (6..22).collect::<std::vec::Vec<_>>());
        assert_eq!(numbers(&log, 20), [20, 21]);
        assert!(numbers(&log, 22).is_empty());
        // More than was ever given out: from before a restart.
        assert_eq!(numbers(&log, 23).len(), 16);
    }
}
