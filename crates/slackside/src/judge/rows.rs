//! The alarms: for each condition a byte of bits and the moment at which its running delay ends.
//!
//! A value must be beyond its limit for the whole on-delay, and back inside limit less deadband for the whole off-delay, as OPC UA
//! Part 9, Annex B.1.5 has it. A delay that ends at the moment of a sample ends before the sample.

use super::sense::Says;
use crate::alarm::{AlarmState, bits};
use crate::conditions::Condition;
use crate::settings::plan::RowPlan;
use crate::time::{reached, wait};

/// What a step did to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turned {
    /// Nothing.
    No,
    /// Now an alarm.
    Raised,
    /// No longer one.
    Cleared,
}

/// Whether bits hold: wrong, or latched from when it was.
pub const fn holds(bits: u8) -> bool {
    bits & bits::SHELVED == 0 && bits & (bits::ACTIVE | bits::LATCHED) != 0
}

/// The conditions of these ranks, slip and speed, come back into their deadbands before their delays end: so long is remembered what
/// was beyond. The first rank is the one after that of a belt that does not follow.
pub const NOTED: usize = Condition::FasterThanNormal.rank();
/// What is remembered is in 2^5 of the unit, rounded up.
const NOTED_SHIFT: u32 = 5;

/// Whether its value is noted.
pub fn is_noted(rank: usize) -> bool {
    (1..=NOTED).contains(&rank)
}

/// All alarms of a list of `N` conditions.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Rows<const N: usize> {
    /// See [`bits`].
    pub bits: [u8; N],
    /// When the delay now running ends: the on-delay while not active, else the off-delay.
    pub due: [u32; N],
    /// The newest value that was at the limit or beyond while the on-delay ran, of the first ranks.
    pub noted: [u16; NOTED],
}

impl<const N: usize> Rows<N> {
    pub const fn new() -> Self {
        Self { due: [0; N], bits: [0; N], noted: [0; NOTED] }
    }

    /// Whether a value that is beyond now is to be noted: its on-delay begins or runs.
    pub fn wants_note(&self, rank: usize) -> bool {
        is_noted(rank) && !self.has(rank, bits::ACTIVE)
    }

    /// Note a value that is beyond.
    pub fn note(&mut self, rank: usize, value: Option<i32>) {
        let rounded = value.unwrap_or(0).max(0).unsigned_abs().wrapping_add((1 << NOTED_SHIFT) - 1) >> NOTED_SHIFT;
        if let Some(slot) = rank.checked_sub(1).and_then(|index| self.noted.get_mut(index)) {
            *slot = u16::try_from(rounded).unwrap_or(u16::MAX);
        }
    }

    /// What was noted; nothing of the other ranks.
    pub fn noted(&self, rank: usize) -> i32 {
        let noted = rank.checked_sub(1).and_then(|index| self.noted.get(index));
        noted.map_or(0, |noted| i32::from(*noted) << NOTED_SHIFT)
    }

    pub fn get(&self, rank: usize) -> u8 {
        self.bits.get(rank).copied().unwrap_or_default()
    }

    pub fn has(&self, rank: usize, bit: u8) -> bool {
        self.get(rank) & bit != 0
    }

    pub fn put(&mut self, rank: usize, bit: u8, is: bool) {
        if let Some(bits) = self.bits.get_mut(rank) {
            *bits = if is { *bits | bit } else { *bits & !bit };
        }
    }

    pub fn state(&self, rank: usize) -> AlarmState {
        AlarmState::of(self.get(rank))
    }

    /// The first rank from `from` on of whose bits those of `mask` are `value`.
    #[inline(never)]
    pub fn next(&self, from: usize, mask: u8, value: u8) -> Option<usize> {
        let rest = self.bits.get(from..).unwrap_or(&[]);
        rest.iter().position(|bits| bits & mask == value).map(|rank| rank.wrapping_add(from))
    }

    /// Whether there is one.
    pub fn any(&self, (mask, value): (u8, u8)) -> bool {
        self.next(0, mask, value).is_some()
    }

    /// End the delay of an alarm, if it is due at `now`.
    pub fn settle(&mut self, rank: usize, now: u32) -> Turned {
        let (Some(bits), Some(due)) = (self.bits.get_mut(rank), self.due.get(rank)) else { return Turned::No };
        if *bits & bits::PENDING == 0 || !reached(now, *due) {
            return Turned::No;
        }
        *bits = (*bits ^ bits::ACTIVE) & !bits::PENDING;
        if *bits & bits::ACTIVE != 0 { Turned::Raised } else { Turned::Cleared }
    }

    /// Take a sample at `now`.
    pub fn sample(&mut self, rank: usize, says: Says, limit: &RowPlan, now: u32) -> Turned {
        let (Some(bits), Some(due)) = (self.bits.get_mut(rank), self.due.get_mut(rank)) else { return Turned::No };
        match says {
            Says::Beyond => *bits |= bits::BEYOND,
            // What is not known is not well.
            Says::Unknown | Says::Retracted if *bits & bits::ACTIVE != 0 => *bits |= bits::BEYOND,
            Says::Within | Says::Retracted => *bits &= !bits::BEYOND,
            Says::Hold | Says::Unknown => {}
        }
        let beyond = *bits & bits::BEYOND != 0;
        if beyond == (*bits & bits::ACTIVE != 0) {
            *bits &= !bits::PENDING;
            return Turned::No;
        }
        if *bits & bits::PENDING == 0 {
            *bits |= bits::PENDING;
            *due = now.wrapping_add(if beyond { limit.on_delay } else { limit.off_delay });
        }
        self.settle(rank, now)
    }

    /// How long until the delay of an alarm ends; `u32::MAX` where none runs.
    pub fn wait(&self, rank: usize, now: u32) -> u32 {
        match self.due.get(rank) {
            Some(due) if self.has(rank, bits::PENDING) => wait(now, *due),
            _ => u32::MAX,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: RowPlan = RowPlan { setpoint: 0, limit: 0, clear: 0, on_delay: 3_000, off_delay: 5_000 };
    const AT_ONCE: RowPlan = RowPlan { on_delay: 0, ..LIMIT };

    /// OPC UA Part 9, Annex B.1.5: the whole on-delay, to the microsecond.
    #[test]
    fn a_pulse_one_microsecond_short_gives_no_alarm() {
        let mut rows = Rows::<1>::new();
        assert_eq!(rows.sample(0, Says::Beyond, &LIMIT, 100), Turned::No);
        assert_eq!(rows.settle(0, 3_099), Turned::No);
        assert_eq!(rows.sample(0, Says::Within, &LIMIT, 3_099), Turned::No);
        assert_eq!(rows.settle(0, 9_000), Turned::No);
    }

    #[test]
    fn a_pulse_of_the_whole_delay_gives_one() {
        let mut rows = Rows::<1>::new();
        rows.sample(0, Says::Beyond, &LIMIT, 100);
        assert_eq!(rows.settle(0, 3_100), Turned::Raised);
        assert_eq!(rows.sample(0, Says::Within, &LIMIT, 3_100), Turned::No);
        assert_eq!(rows.settle(0, 8_099), Turned::No);
        assert_eq!(rows.settle(0, 8_100), Turned::Cleared);
    }

    #[test]
    fn a_short_return_does_not_end_an_alarm() {
        let mut rows = Rows::<1>::new();
        assert_eq!(rows.sample(0, Says::Beyond, &AT_ONCE, u32::MAX), Turned::Raised);
        rows.sample(0, Says::Within, &AT_ONCE, 10);
        assert_eq!(rows.sample(0, Says::Beyond, &AT_ONCE, 5_009), Turned::No);
        assert_eq!(rows.settle(0, 20_000), Turned::No);
        assert!(rows.has(0, bits::ACTIVE));
    }

    #[test]
    fn a_value_that_is_noted_is_rounded_up_and_never_below_what_it_was() {
        let mut rows = Rows::<{ NOTED + 2 }>::new();
        for (value, noted) in [(Some(0), 0), (Some(1), 32), (Some(32), 32), (Some(33), 64), (Some(-5), 0), (None, 0)] {
            rows.note(1, value);
            assert_eq!(rows.noted(1), noted, "{value:?}");
        }
        rows.note(NOTED, Some(i32::MAX));
        assert_eq!(rows.noted(NOTED), 65_535 << 5, "held");
        // The ranks before and behind have none.
        rows.note(0, Some(100));
        rows.note(NOTED + 1, Some(100));
        assert_eq!((rows.noted(0), rows.noted(NOTED + 1)), (0, 0));
        assert!(!rows.wants_note(0) && rows.wants_note(1) && rows.wants_note(NOTED) && !rows.wants_note(NOTED + 1));
        rows.put(1, bits::ACTIVE, true);
        assert!(!rows.wants_note(1), "it is raised: what it was is told");
    }

    #[test]
    fn a_delay_that_runs_is_waited_for() {
        let mut rows = Rows::<2>::new();
        assert_eq!((rows.wait(0, 100), rows.wait(9, 100)), (u32::MAX, u32::MAX));
        rows.sample(0, Says::Beyond, &LIMIT, 100);
        assert_eq!((rows.wait(0, 100), rows.wait(0, 3_000), rows.wait(0, 3_101)), (3_000, 100, 0));
        assert_eq!(rows.wait(1, 100), u32::MAX);
        assert_eq!(rows.settle(0, 3_100), Turned::Raised);
        assert_eq!(rows.wait(0, 3_100), u32::MAX);
        assert_eq!(rows.settle(9, 3_100), Turned::No, "there is no such alarm");
    }

    #[test]
    fn alarms_are_found_by_their_bits() {
        let mut rows = Rows::<4>::new();
        rows.put(1, bits::ACTIVE, true);
        rows.put(3, bits::ACTIVE | bits::LATCHED, true);
        let mask = bits::ACTIVE | bits::LATCHED;
        assert_eq!((rows.next(0, mask, bits::ACTIVE), rows.next(2, mask, bits::ACTIVE)), (Some(1), None));
        assert_eq!((rows.next(0, bits::LATCHED, bits::LATCHED), rows.next(4, 0, 0)), (Some(3), None));
        assert!(rows.any((mask, mask)) && !rows.any((bits::SHELVED, bits::SHELVED)));
        rows.put(3, bits::LATCHED, false);
        assert_eq!((rows.get(3), rows.state(3)), (bits::ACTIVE, AlarmState::Acknowledged));
        // A bypass takes its hold away.
        assert!(
            holds(bits::ACTIVE) && holds(bits::LATCHED) && !holds(bits::ACTIVE | bits::SHELVED) && !holds(bits::BEYOND)
        );
    }
}
