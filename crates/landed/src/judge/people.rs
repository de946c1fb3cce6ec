//! What people do: acknowledge, reset, report the boot clear, bypass, inch, prove.
//!
//! By the link alarms may be acknowledged and a proof test be begun and ended; everything else needs a person at the leg,
//! even with the key on, since a bypass of what holds a permit would give it back.

use super::alarm::{AlarmState, Event};
use super::cell::NEVER;
use super::condition::Condition;
use super::{Judge, Out};
use crate::input::{Command, Origin};
use crate::record::keep::keep;
use crate::units::{Micros, Span};
use crate::verdict::{Change, Phase, Refusal, Verdict};

/// A press of the reset button counts from here.
const SHORTEST_PRESS: Span = Span::from_millis(100);
/// Beyond that the button counts as held or stuck.
pub(super) const LONGEST_PRESS: Span = Span::from_millis(3_000);

/// What people have set.
#[derive(Clone, Copy, Debug)]
pub(super) struct People {
    key: bool,
    pub bypassed: Option<Condition>,
    bypass_end: Micros,
    /// The state of the bypassed alarm when the bypass began.
    pub before: AlarmState,
    /// Since when the reset button is down.
    pub pressed: Option<Micros>,
    /// A proof test runs; whether the run permit has dropped in it.
    pub proof: Option<bool>,
}

keep!(People { key, bypassed, before, bypass_end, pressed, proof });

impl People {
    pub(super) const NEW: Self =
        Self { key: false, bypassed: None, bypass_end: NEVER, before: AlarmState::Normal, pressed: None, proof: None };

    /// When a bypass runs out or the button counts as held.
    pub(super) fn next(&self, now: Micros) -> Micros {
        let held = self.pressed.map_or(NEVER, held_from);
        let held = if held > now { held } else { NEVER };
        held.min(if self.bypassed.is_some() { self.bypass_end } else { NEVER })
    }
}

/// When a button pressed then counts as held: one microsecond after the longest press.
pub(super) const fn held_from(pressed: Micros) -> Micros {
    Micros::new(pressed.after(LONGEST_PRESS).get().saturating_add(1))
}

impl Judge {
    pub(super) fn command(&mut self, origin: Origin, command: Command, now: Micros, out: Out<'_>) {
        let change = match self.allowed(origin, command, now) {
            Ok(()) => Change::Accepted(origin, command),
            Err(refusal) => Change::Refused(origin, command, refusal),
        };
        // The button comes up even when the press is refused.
        if origin == Origin::Leg && command == Command::ResetButton(false) {
            self.people.pressed = None;
        }
        out(Verdict { at: now, change });
        if matches!(change, Change::Accepted(..)) {
            self.carry_out(command, now, out);
        }
    }

    fn allowed(&self, origin: Origin, command: Command, now: Micros) -> Result<(), Refusal> {
        let by_link = matches!(command, Command::Acknowledge | Command::ProofTest(_));
        if origin == Origin::Link && !by_link {
            return Err(Refusal::OnlyAtTheLeg);
        }
        match command {
            Command::Acknowledge if self.any(AlarmState::wants_acknowledgement) => Ok(()),
            Command::Acknowledge => Err(Refusal::NothingToDo),
            Command::Reset => self.may_reset(),
            Command::ResetButton(true) if self.people.pressed.is_some() => Err(Refusal::NothingToDo),
            Command::ResetButton(true) => Ok(()),
            Command::ResetButton(false) => {
                let pressed = self.people.pressed.ok_or(Refusal::NothingToDo)?;
                let held = now.since(pressed);
                if held < SHORTEST_PRESS || held > LONGEST_PRESS {
                    return Err(Refusal::BadPress);
                }
                self.may_reset()
            }
            Command::BootCleared if !self.status.boot_cleared_needed => Err(Refusal::NothingToDo),
            Command::BootCleared if self.status.phase != Phase::Standstill => Err(Refusal::NotAtRest),
            Command::BootCleared | Command::Key(_) => Ok(()),
            Command::Bypass(condition, span) => self.may_bypass(condition, span),
            Command::EndBypass if self.people.bypassed.is_none() => Err(Refusal::NothingToDo),
            Command::EndBypass => Ok(()),
            Command::Inch(true) => self.may_inch(),
            Command::Inch(false) if self.status.phase != Phase::Inching => Err(Refusal::NothingToDo),
            Command::Inch(false) => Ok(()),
            Command::ProofTest(begin) if begin == self.people.proof.is_some() => Err(Refusal::NothingToDo),
            // With the permit dropped already nothing would be proven.
            Command::ProofTest(true) if !self.status.run_permit => Err(self.why_no_run()),
            Command::ProofTest(_) => Ok(()),
        }
    }

    /// A reset takes what it can: what is latched, acknowledged, and right again.
    fn may_reset(&self) -> Result<(), Refusal> {
        if Condition::ALL.into_iter().any(|condition| self.resettable(condition)) {
            return Ok(());
        }
        Err(if self.any(|state| state == AlarmState::LatchedUnacknowledged) {
            Refusal::NotAcknowledged
        } else if Condition::ALL.into_iter().any(|condition| {
            self.state(condition) == AlarmState::LatchedAcknowledged
                || (self.state(condition).holds() && self.cell(condition).latches)
        }) {
            Refusal::StillPresent
        } else if self.status.boot_cleared_needed {
            Refusal::BootNotCleared
        } else {
            Refusal::NothingToDo
        })
    }

    fn resettable(&self, condition: Condition) -> bool {
        self.state(condition) == AlarmState::LatchedAcknowledged && !self.cell(condition).beyond
    }

    fn may_bypass(&self, condition: Condition, span: Span) -> Result<(), Refusal> {
        if !self.people.key {
            Err(Refusal::KeyOff)
        } else if !condition.can_be_bypassed() {
            Err(Refusal::NeverBypassed)
        } else if self.people.bypassed.is_some() {
            Err(Refusal::OneAtATime)
        } else if span == Span::ZERO || span > self.limits.starts.bypass_time {
            Err(Refusal::TooLong)
        } else if self.state(condition) == AlarmState::OutOfService {
            Err(Refusal::NothingToDo)
        } else {
            Ok(())
        }
    }

    fn may_inch(&self) -> Result<(), Refusal> {
        if !self.people.key {
            Err(Refusal::KeyOff)
        } else if self.status.phase == Phase::Inching {
            Err(Refusal::NothingToDo)
        } else if self.status.phase != Phase::Standstill {
            Err(Refusal::NotAtRest)
        } else if !self.status.run_permit {
            Err(self.why_no_run())
        } else {
            Ok(())
        }
    }

    fn why_no_run(&self) -> Refusal {
        if self.first_holding_stop().is_none() && self.status.boot_cleared_needed {
            Refusal::BootNotCleared
        } else {
            Refusal::StillPresent
        }
    }

    fn carry_out(&mut self, command: Command, now: Micros, out: Out<'_>) {
        match command {
            Command::Acknowledge => self.move_all(Event::Acknowledge, now, out),
            Command::Reset | Command::ResetButton(false) => {
                for condition in Condition::ALL {
                    if self.resettable(condition) {
                        self.move_by(condition, Event::Reset, now, out);
                    }
                }
            }
            Command::ResetButton(true) => self.people.pressed = Some(now),
            Command::BootCleared => self.status.boot_cleared_needed = false,
            Command::Key(on) => {
                self.people.key = on;
                if !on {
                    self.end_bypass(now, out);
                    self.end_inching(now, out);
                }
            }
            Command::Bypass(condition, span) => {
                self.people.before = self.state(condition);
                self.people.bypassed = Some(condition);
                self.people.bypass_end = now.after(span);
                self.move_by(condition, Event::Shelve, now, out);
            }
            Command::EndBypass => self.end_bypass(now, out),
            Command::Inch(true) => {
                self.course.inch_end = now.after(self.limits.starts.inching_time);
                self.set_phase(Phase::Inching, now, out);
            }
            Command::Inch(false) => self.end_inching(now, out),
            Command::ProofTest(true) => self.people.proof = Some(false),
            Command::ProofTest(false) => {
                let passed = self.people.proof.take() == Some(true);
                out(Verdict { at: now, change: Change::ProofTest { passed } });
            }
        }
    }

    /// End what a person's time limit ends.
    pub(super) fn settle_people(&mut self, now: Micros, out: Out<'_>) {
        if self.people.bypassed.is_some() && now >= self.people.bypass_end {
            self.end_bypass(now, out);
        }
    }

    fn end_bypass(&mut self, now: Micros, out: Out<'_>) {
        let Some(condition) = self.people.bypassed.take() else { return };
        let cell = self.cell(condition);
        let state = self.people.before.unshelved(cell.active, cell.latches);
        if state == AlarmState::Unacknowledged {
            self.tripped(condition, now);
        }
        self.move_to(condition, state, now, out);
    }

    fn move_all(&mut self, event: Event, now: Micros, out: Out<'_>) {
        for condition in Condition::ALL {
            self.move_by(condition, event, now, out);
        }
    }
}
