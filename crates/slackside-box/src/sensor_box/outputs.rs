//! What goes out: the permits, the alarm relay and the heartbeat.

use embedded_hal::digital::{InputPin, OutputPin};
use slackside::units::Micros;
use slackside::verdict::Phase;

use crate::fault::{Fault, Faults};
use crate::heartbeat::Heartbeat;
use crate::permits::{Permit, Stage};
use crate::pin::Output;
use crate::wires;

use super::watchdog::{Meanwhile, WatchdogProof};

/// The outputs.
pub(super) struct Outputs<O, I> {
    pub(super) run: Permit<O, I, 2>,
    pub(super) feed: Permit<O, I, 1>,
    alarm: Output<O>,
    pub(super) heartbeat: Heartbeat<O>,
    pub(super) watchdog: WatchdogProof,
    /// A proof of the run permit is due at the next standstill.
    ran: bool,
}

/// What is wanted of the outputs.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wanted {
    pub(super) phase: Phase,
    pub(super) run: bool,
    pub(super) feed: bool,
    /// Nothing is wrong that the alarm relay tells of.
    pub(super) well: bool,
}

impl<O: OutputPin, I: InputPin> Outputs<O, I> {
    pub(super) fn new(outputs: wires::Outputs<O, I>) -> Self {
        Self {
            run: Permit::new(outputs.run, [(Fault::RunAWelded, Fault::RunAOpen), (Fault::RunBWelded, Fault::RunBOpen)]),
            feed: Permit::new([outputs.feed], [(Fault::FeedWelded, Fault::FeedOpen)]),
            alarm: outputs.alarm,
            heartbeat: Heartbeat::new(outputs.heartbeat),
            watchdog: WatchdogProof::NONE,
            ran: true,
        }
    }

    /// The leg may have run since the last proof.
    pub(super) const fn prove_at_standstill(&mut self) {
        self.ran = true;
    }

    /// Drop both permits at once.
    pub(super) fn drop_now(&mut self) -> Faults {
        self.run.drop_now().and(self.feed.drop_now())
    }

    /// Bring the outputs to what is wanted. The faults found on the way.
    pub(super) fn switch(&mut self, wanted: Wanted, now: Micros) -> Faults {
        if matches!(wanted.phase, Phase::Starting | Phase::Running | Phase::Inching) {
            self.ran = true;
        } else if wanted.phase == Phase::Standstill && self.ran {
            self.run.prove_again();
            self.watchdog.due();
            self.ran = false;
        }
        let may_run = wanted.run && wanted.phase == Phase::Standstill;
        let run = match self.watchdog.round(may_run, self.run.stage() == Stage::Proved, now) {
            Meanwhile::Go => self.run.step(wanted.run, now),
            Meanwhile::Wait => self.run.step(false, now),
            Meanwhile::Look => self.run.look_for_supply(),
        };
        let relays = run.and(self.feed.step(wanted.feed && wanted.run, now));
        let mut written = self.alarm.write(wanted.well);
        if !relays.is_empty() {
            // What one relay says drops all of them, in this very round.
            written &= self.drop_now().is_empty();
        }
        if written { relays } else { relays.with(Fault::Pin) }
    }

    /// Beat the heart, unless it was stopped. Whether the pin could be written.
    pub(super) fn beat(&mut self, now: Micros) -> bool {
        let stands = self.heartbeat.has_stopped() || self.watchdog.holds_the_heart();
        stands || self.heartbeat.beat(now) || self.heartbeat.has_stopped()
    }
}
