//! One condition's delays and deadband: what is beyond the limit now, and what counts as an alarm after the delays.
//!
//! A value must be beyond its limit for the whole on-delay, and back inside limit less deadband for the whole
//! off-delay, as OPC UA Part 9, Annex B.1.5 has it. A delay that ends at the moment of a sample ends before the sample.

use super::condition::{Condition, ConditionSet};
use crate::units::{Micros, Span};

/// No deadline.
pub(super) const NEVER: Micros = Micros::MAX;

/// What a condition's value says at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sense {
    /// At the limit or beyond.
    Beyond,
    /// Inside limit less deadband, or not judged.
    Within,
    /// In the deadband, or not known: as it was.
    Hold,
}

impl Sense {
    /// Upper limit with deadband: beyond at the setpoint, within below setpoint less deadband.
    pub(super) const fn upper(value: i32, setpoint: i32, deadband: i32) -> Self {
        if value >= setpoint {
            Self::Beyond
        } else if value < setpoint.saturating_sub(deadband) {
            Self::Within
        } else {
            Self::Hold
        }
    }

    /// Just yes or no.
    pub(super) const fn flag(wrong: bool) -> Self {
        if wrong { Self::Beyond } else { Self::Within }
    }
}

/// What a step did to the alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turned {
    /// Nothing.
    No,
    /// Now an alarm.
    Raised,
    /// No longer one.
    Cleared,
}

/// The delays of one condition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    /// Beyond the limit now, deadband counted.
    pub beyond: bool,
    /// An alarm, delays counted.
    pub active: bool,
    /// Whether the present occurrence latches.
    pub latches: bool,
    /// When the delay now running ends: the on-delay while not active, else the off-delay.
    pub due: Micros,
}

impl Cell {
    pub(super) const NEW: Self = Self { beyond: false, active: false, latches: false, due: NEVER };

    /// End the delay, if it is due at `now`.
    pub(super) fn settle(&mut self, now: Micros) -> Turned {
        if self.due > now {
            return Turned::No;
        }
        self.due = NEVER;
        self.active = !self.active;
        if self.active { Turned::Raised } else { Turned::Cleared }
    }

    /// Take a sample at `now`.
    pub(super) fn sample(&mut self, sense: Sense, now: Micros, on_delay: Span, off_delay: Span) -> Turned {
        self.beyond = match sense {
            Sense::Beyond => true,
            Sense::Within => false,
            Sense::Hold => self.beyond,
        };
        if self.beyond == self.active {
            self.due = NEVER;
            return Turned::No;
        }
        if self.due == NEVER {
            self.due = now.after(if self.beyond { on_delay } else { off_delay });
        }
        self.settle(now)
    }
}

/// The cells of all conditions, each flag as a set: a scan then finds at once which of them have anything to do.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    /// When each running delay ends, the low half: it lies within a span of the newest time.
    due: [u32; Condition::COUNT],
    pub beyond: ConditionSet,
    pub active: ConditionSet,
    latches: ConditionSet,
    /// Those whose delay runs.
    pub pending: ConditionSet,
}

impl Cells {
    pub(super) const NEW: Self = Self {
        due: [0; Condition::COUNT],
        beyond: ConditionSet::EMPTY,
        active: ConditionSet::EMPTY,
        latches: ConditionSet::EMPTY,
        pending: ConditionSet::EMPTY,
    };

    /// The cell as of `newest`, the newest time: no delay that still runs ended before it.
    pub(super) fn get(&self, condition: Condition, newest: Micros) -> Cell {
        let due = self.due.get(condition.index()).copied().filter(|_| self.pending.contains(condition));
        Cell {
            beyond: self.beyond.contains(condition),
            active: self.active.contains(condition),
            latches: self.latches.contains(condition),
            due: due.map_or(NEVER, |due| newest.after(Span::new(due.wrapping_sub(newest.get() as u32)))),
        }
    }

    pub(super) fn set(&mut self, condition: Condition, cell: Cell) {
        if let Some(due) = self.due.get_mut(condition.index()) {
            *due = cell.due.get() as u32;
        }
        self.beyond = self.beyond.put(condition, cell.beyond);
        self.active = self.active.put(condition, cell.active);
        self.latches = self.latches.put(condition, cell.latches);
        self.pending = self.pending.put(condition, cell.due != NEVER);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ON: Span = Span::new(3_000);
    const OFF: Span = Span::new(5_000);

    fn at(micros: u64) -> Micros {
        Micros::new(micros)
    }

    /// OPC UA Part 9, Annex B.1.5: the whole on-delay, to the microsecond.
    #[test]
    fn a_pulse_one_microsecond_short_gives_no_alarm() {
        let mut cell = Cell::NEW;
        assert_eq!(cell.sample(Sense::Beyond, at(100), ON, OFF), Turned::No);
        assert_eq!(cell.settle(at(3_099)), Turned::No);
        assert_eq!(cell.sample(Sense::Within, at(3_099), ON, OFF), Turned::No);
        assert_eq!(cell.settle(at(9_000)), Turned::No);
    }

    #[test]
    fn a_pulse_of_the_whole_delay_gives_one() {
        let mut cell = Cell::NEW;
        cell.sample(Sense::Beyond, at(100), ON, OFF);
        assert_eq!(cell.settle(at(3_100)), Turned::Raised);
        assert_eq!(cell.sample(Sense::Within, at(3_100), ON, OFF), Turned::No);
        assert_eq!(cell.settle(at(8_099)), Turned::No);
        assert_eq!(cell.settle(at(8_100)), Turned::Cleared);
    }

    #[test]
    fn a_short_return_does_not_end_an_alarm() {
        let mut cell = Cell::NEW;
        assert_eq!(cell.sample(Sense::Beyond, at(0), Span::ZERO, OFF), Turned::Raised);
        cell.sample(Sense::Within, at(10), Span::ZERO, OFF);
        assert_eq!(cell.sample(Sense::Beyond, at(5_009), Span::ZERO, OFF), Turned::No);
        assert_eq!(cell.settle(at(20_000)), Turned::No);
        assert!(cell.active);
    }

    /// A limit of 100 with a deadband of 5 alarms at 100 and stays until below 95 (a common worked example of
    /// operator-station handbooks).
    #[test]
    fn the_deadband_vector() {
        let mut cell = Cell::NEW;
        let mut seen = [false; 8];
        for (value, slot) in [99, 100, 97, 95, 94, 99, 101, 94].into_iter().zip(&mut seen) {
            cell.sample(Sense::upper(value, 100, 5), at(1), Span::ZERO, Span::ZERO);
            *slot = cell.active;
        }
        assert_eq!(seen, [false, true, true, true, false, false, true, false]);
    }
}
