//! The alarms: for each condition a byte of bits and the moment at which its running delay ends.
//!
//! A value must be beyond its limit for the whole on-delay, and back inside limit less deadband for the whole off-delay, as OPC UA
//! Part 9, Annex B.1.5 has it. A delay that ends at the moment of a sample ends before the sample.

use super::sense::Says;
use crate::alarm::{AlarmState, bits};
use crate::settings::plan::RowPlan;
use crate::time::{SWEEP, reached, wait};

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

/// All alarms of a list of `N` conditions.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Rows<const N: usize> {
    /// See [`bits`].
    pub bits: [u8; N],
    /// When the delay now running ends: the on-delay while not active, else the off-delay.
    pub due: [u32; N],
}

impl<const N: usize> Rows<N> {
    pub const fn new() -> Self {
        Self { due: [0; N], bits: [0; N] }
    }

    pub fn get(&self, rank: usize) -> u8 {
        self.bits.get(rank).copied().unwrap_or(0)
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
            Says::Within => *bits &= !bits::BEYOND,
            Says::Hold => {}
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

    /// How long until the delay of an alarm ends, if one runs.
    pub fn wait(&self, rank: usize, now: u32) -> u32 {
        match self.due.get(rank) {
            Some(due) if self.has(rank, bits::PENDING) => wait(now, *due),
            _ => SWEEP,
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
}
