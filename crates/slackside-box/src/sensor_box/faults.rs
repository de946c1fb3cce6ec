//! The box's own faults: what is there now, what waits for a reset, and what was told of both.

use slackside::units::Micros;

use crate::events::{EventLog, Happened};
use crate::fault::{Fault, Faults};

/// What [`Permit::step`](crate::permits::Permit::step) says anew in every round.
const RELAY_FAULTS: [Fault; 7] = [
    Fault::RunAWelded,
    Fault::RunBWelded,
    Fault::FeedWelded,
    Fault::RunAOpen,
    Fault::RunBOpen,
    Fault::FeedOpen,
    Fault::WatchdogShut,
];

/// The book of faults.
#[derive(Clone, Copy, Debug)]
pub(super) struct FaultBook {
    /// Those with a cause that is there now.
    present: Faults,
    /// Those that wait for a reset.
    latched: Faults,
    /// As last told to the event log.
    told: Faults,
}

impl FaultBook {
    /// With what survived the last loss of power.
    pub(super) fn new(survived: Faults) -> Self {
        Self { present: Faults::NONE, latched: survived.latching(), told: Faults::NONE }
    }

    /// Every fault, present or waiting for a reset.
    pub(super) const fn all(&self) -> Faults {
        self.present.and(self.latched)
    }

    /// Those that wait for a reset.
    pub(super) const fn latched(&self) -> Faults {
        self.latched
    }

    /// Whether the cause of a fault is there now.
    pub(super) const fn is_present(&self, fault: Fault) -> bool {
        self.present.contains(fault)
    }

    /// A cause is there now, or is gone.
    pub(super) const fn put(&mut self, fault: Fault, is: bool) {
        self.present = if is { self.present.with(fault) } else { self.present.without(fault) };
    }

    /// Causes are there now.
    pub(super) const fn add(&mut self, faults: Faults) {
        self.present = self.present.and(faults);
    }

    /// A fault waits for a reset whatever becomes of its cause.
    pub(super) const fn latch(&mut self, fault: Fault) {
        self.latched = self.latched.with(fault);
    }

    /// A person reset what is latched.
    pub(super) const fn reset(&mut self) {
        self.latched = Faults::NONE;
    }

    /// What the relays say in this round.
    pub(super) fn relays(&mut self, found: Faults) {
        self.present = RELAY_FAULTS.into_iter().fold(self.present, Faults::without).and(found);
    }

    /// What is present and latches, stays; tell what came and what went.
    pub(super) fn settle(&mut self, now: Micros, events: &mut EventLog) {
        self.latched = self.latched.and(self.present.latching());
        let (before, after) = (self.told, self.all());
        for fault in Fault::ALL {
            match (before.contains(fault), after.contains(fault)) {
                (false, true) => events.push(now, Happened::FaultCame(fault)),
                (true, false) => events.push(now, Happened::FaultWent(fault)),
                _ => {}
            }
        }
        self.told = after;
    }
}
