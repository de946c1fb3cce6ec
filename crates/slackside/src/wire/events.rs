//! The newest verdicts, numbered, for a desk to ask for. What no longer fits is counted, never silently gone.

use super::message::EVENTS_A_REPLY;
use crate::codec::message::{Message, Pen, write};
use crate::verdict::Verdict;

/// The most bytes of a verdict: a long time, and an alarm with its value and setpoint.
const MOST: usize = 26;

/// A verdict as it is sent.
#[derive(Clone, Copy, Debug)]
struct Kept {
    length: u8,
    bytes: [u8; MOST],
}

/// The newest `N` verdicts; `N` is a power of two.
#[derive(Clone, Debug)]
pub struct EventLog<const N: usize> {
    kept: [Kept; N],
    /// The number of the newest, from 1.
    newest: u32,
}

impl<const N: usize> EventLog<N> {
    const MASK: u32 = {
        assert!(N.is_power_of_two());
        (N as u32).wrapping_sub(1)
    };

    /// Nothing happened yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { kept: [Kept { length: 0, bytes: [0; MOST] }; N], newest: 0 }
    }

    /// Keep a verdict.
    pub fn push(&mut self, it: &Verdict) {
        self.newest = self.newest.saturating_add(1);
        let Some(kept) = self.kept.get_mut((self.newest & Self::MASK) as usize) else { return };
        // There is room for the longest.
        kept.length = write(it, &mut kept.bytes).unwrap_or(0) as u8;
    }

    /// The number of the newest.
    #[must_use]
    pub const fn newest(&self) -> u32 {
        self.newest
    }

    /// Those after number `after`. A number beyond the newest is of another session: then all.
    #[must_use]
    pub fn after(&self, after: u32) -> EventsAfter<'_, N> {
        let after = if after > self.newest { 0 } else { after };
        let gone = self.newest.saturating_sub(Self::MASK.wrapping_add(1));
        EventsAfter { log: self, lost: gone.saturating_sub(after), after: after.max(gone) }
    }
}

/// The [reply](super::Reply::Events) with the verdicts after one, as many as there is room for.
#[derive(Clone, Copy, Debug)]
pub struct EventsAfter<'l, const N: usize> {
    log: &'l EventLog<N>,
    lost: u32,
    after: u32,
}

#[cfg(feature = "desk")]
impl<const N: usize> EventsAfter<'_, N> {
    /// As a desk reads it: how many are lost, and the next ones.
    #[must_use]
    pub fn read(&self) -> (u32, heapless::Vec<super::Event, EVENTS_A_REPLY>) {
        let mut room = [0; super::MOST_BODY];
        let length = write(self, &mut room).unwrap_or(0);
        match room.get(..length).and_then(<super::Reply<'_> as super::Readable>::read) {
            Some(super::Reply::Events { lost, events }) => (lost, events),
            // Nothing else was written.
            _ => (0, heapless::Vec::new()),
        }
    }
}

impl<const N: usize> Message for EventsAfter<'_, N> {
    fn write(&self, pen: &mut Pen<'_>) {
        let count = self.log.newest.wrapping_sub(self.after).min(EVENTS_A_REPLY as u32) as u8;
        pen.byte(3);
        pen.number(self.lost);
        pen.byte(count);
        let mut number = self.after;
        for _ in 0..count {
            number = number.wrapping_add(1);
            pen.number(number);
            if let Some(Kept { length, bytes }) = self.log.kept.get((number & EventLog::<N>::MASK) as usize) {
                pen.all(bytes.get(..usize::from(*length)).unwrap_or_default());
            }
        }
    }
}

impl<const N: usize> Default for EventLog<N> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use super::*;
    use crate::conditions::Condition;
    use crate::units::Micros;
    use crate::verdict::{Change, Phase};
    use crate::wire::Event;

    fn verdict(at: u64) -> Verdict {
        Verdict { at: Micros::new(at), change: Change::Phase(Phase::Running) }
    }

    fn after<const N: usize>(log: &EventLog<N>, after: u32) -> (u32, Vec<Event>) {
        let (lost, events) = log.after(after).read();
        (lost, events.to_vec())
    }

    #[test]
    fn losses_are_counted_and_numbers_never_shift() {
        let mut log = EventLog::<4>::new();
        assert_eq!(after(&log, 0), (0, Vec::new()));
        for at in 1..=9 {
            log.push(&verdict(at));
        }
        for (known, lost, first) in [(0, 5, 6), (3, 2, 6), (5, 0, 6), (7, 0, 8), (100, 5, 6)] {
            let (counted, events) = after(&log, known);
            assert_eq!(counted, lost, "after {known}");
            assert_eq!(events.first(), Some(&Event { number: first, verdict: verdict(first.into()) }));
            assert_eq!(events.last().map(|event| event.number), Some(9));
        }
        assert_eq!(after(&log, 9), (0, Vec::new()));
    }

    #[test]
    fn a_long_list_comes_in_pieces() {
        let mut log = EventLog::<16>::new();
        (1..=14).for_each(|at| log.push(&verdict(at)));
        let mut numbers = Vec::new();
        while let (0, events) = after(&log, numbers.last().copied().unwrap_or(0)) {
            if events.is_empty() {
                break;
            }
            numbers.extend(events.iter().map(|event| event.number));
        }
        assert_eq!(numbers, (1..=14).collect::<Vec<u32>>());
    }

    #[test]
    fn the_longest_verdict_is_kept_whole() {
        let change = Change::Alarm {
            condition: Condition::BypassActive,
            from: crate::alarm::AlarmState::Normal,
            to: crate::alarm::AlarmState::OutOfService,
            value: Some(i32::MIN),
            setpoint: i32::MIN,
            detail: 255,
        };
        let longest = Verdict { at: Micros::MAX, change };
        let mut log = EventLog::<2>::new();
        log.push(&longest);
        assert_eq!(after(&log, 0), (0, std::vec![Event { number: 1, verdict: longest }]));
    }
}
