//! The last seconds before the first-out, kept in a ring until it happens.

use std::collections::VecDeque;

use slackside::motion::{Motion, ShaftMotion, SlipReading};
use slackside::settings::Machine;
use slackside::units::{MicrometresPerSecond, Micros, MicroturnsPerSecond};

use super::sample::shaft_speed;

/// How far back it reaches.
const REACH_US: u64 = 11_000_000;
/// Of motions closer together than this only the newest is kept, so that a storm of edges cannot fill the memory.
const SLOT_US: u64 = 1_000;

/// What a moment of the run-up is worked out from. Most are never looked at, so nothing is worked out yet.
#[derive(Clone, Copy, Debug)]
struct Glimpse {
    at: Micros,
    head: ShaftMotion,
    boot: ShaftMotion,
    slip_short: SlipReading,
    slip_long: SlipReading,
}

/// What was known at one moment of the run-up. `None` is "not known".
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moment {
    /// Speed of the head shaft at most.
    pub head: Option<MicroturnsPerSecond>,
    /// Belt speed at most, from the boot shaft.
    pub belt: Option<MicrometresPerSecond>,
    /// Slip over one boot turn.
    pub slip_short: SlipReading,
    /// Slip over four boot turns.
    pub slip_long: SlipReading,
}

/// The last seconds before a moment.
#[derive(Clone, Debug, Default)]
pub struct RunUp {
    ring: VecDeque<Glimpse>,
    slot_end: Micros,
    until: Option<Micros>,
}

impl RunUp {
    /// Take what is known at `at`, unless the moment has come.
    pub fn motion(&mut self, at: Micros, motion: &Motion) {
        if self.until.is_none() {
            self.take(at, motion);
        }
    }

    /// The moment has come: `motion` is what is known at it.
    pub fn end(&mut self, at: Micros, motion: &Motion) {
        if self.until.is_none() {
            self.take(at, motion);
            self.until = Some(at);
        }
    }

    fn take(&mut self, at: Micros, motion: &Motion) {
        let oldest = at.get().saturating_sub(REACH_US);
        // One glimpse older than the reach stays: it says what was so when the reach began.
        while self.ring.get(1).is_some_and(|second| second.at.get() < oldest) {
            self.ring.pop_front();
        }
        if at < self.slot_end {
            self.ring.pop_back();
        } else {
            self.slot_end = Micros::new(at.get().saturating_add(SLOT_US));
        }
        self.ring.push_back(Glimpse {
            at,
            head: motion.head,
            boot: motion.boot,
            slip_short: motion.slip_short,
            slip_long: motion.slip_long,
        });
    }

    /// The moment, once it has come.
    #[must_use]
    pub const fn until(&self) -> Option<Micros> {
        self.until
    }

    /// What was known `before_us` before the moment; `None` if the trace does not reach so far back.
    #[must_use]
    pub fn known_before(&self, before_us: u64, machine: &Machine) -> Option<Moment> {
        let at = self.until?.get().checked_sub(before_us)?;
        let glimpse = self.ring.iter().rev().find(|glimpse| glimpse.at.get() <= at)?;
        Some(glimpse.moment(Micros::new(at), machine))
    }

    /// Every moment that was kept, oldest first.
    pub fn moments<'a>(&'a self, machine: &'a Machine) -> impl Iterator<Item = (Micros, Moment)> + 'a {
        self.ring.iter().map(|glimpse| (glimpse.at, glimpse.moment(glimpse.at, machine)))
    }
}

impl Glimpse {
    /// What was known at `at`, if nothing newer had come.
    fn moment(&self, at: Micros, machine: &Machine) -> Moment {
        Moment {
            head: shaft_speed(&self.head, at),
            belt: shaft_speed(&self.boot, at).map(|boot| machine.belt_speed(boot)),
            slip_short: self.slip_short,
            slip_long: self.slip_long,
        }
    }
}
