//! What people ask for: what is allowed, and what it does.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Origin};
use slackside::settings::plan::act;
use slackside::verdict::{Change, Phase, Refusal};

use super::{Alarm, Judge, SLOW};

impl Judge<'_> {
    pub(super) fn command(&mut self, origin: Origin, command: Command) {
        let refusal = self.allowed(origin, command);
        if origin == Origin::Leg && command == Command::ResetButton(false) {
            self.pressed = None;
        }
        match refusal {
            Ok(()) => {
                self.said.push(Change::Accepted(origin, command));
                self.carry_out(command);
            }
            Err(refusal) => self.said.push(Change::Refused(origin, command, refusal)),
        }
    }

    pub fn allowed(&self, origin: Origin, command: Command) -> Result<(), Refusal> {
        use Refusal::{
            BadPress, BootNotCleared, KeyOff, NeverBypassed, NotAcknowledged, NotAtRest, NothingToDo, OneAtATime,
            OnlyAtTheLeg, StillPresent, TooLong,
        };
        if origin == Origin::Link && !matches!(command, Command::Acknowledge | Command::ProofTest(_)) {
            return Err(OnlyAtTheLeg);
        }
        let open = || self.alarms.iter().filter(|alarm| !alarm.shelved);
        let is_stopped =
            (0..Condition::COUNT).any(|rank| self.alarms[rank].holds() && self.plan.acts(rank) & act::STOP != 0);
        let no_run = if !is_stopped && self.boot_needed { BootNotCleared } else { StillPresent };
        let reset = || {
            let latched = || open().filter(|alarm| alarm.latched);
            if latched().any(|alarm| !alarm.active && !alarm.unacknowledged && !alarm.beyond) {
                Ok(())
            } else if latched().any(|alarm| !alarm.active && alarm.unacknowledged) {
                Err(NotAcknowledged)
            } else if latched().next().is_some() {
                Err(StillPresent)
            } else if self.boot_needed {
                Err(BootNotCleared)
            } else {
                Err(NothingToDo)
            }
        };
        let rules: &[(bool, Refusal)] = &match command {
            Command::Acknowledge => vec![(!open().any(|alarm| alarm.unacknowledged), NothingToDo)],
            Command::Reset => return reset(),
            Command::ResetButton(true) => vec![(self.pressed.is_some(), NothingToDo)],
            Command::ResetButton(false) => {
                let Some(pressed) = self.pressed else { return Err(NothingToDo) };
                return if (100_000..=3_000_000).contains(&(self.now - pressed)) { reset() } else { Err(BadPress) };
            }
            Command::BootCleared => {
                vec![(!self.boot_needed, NothingToDo), (self.phase != Phase::Standstill, NotAtRest)]
            }
            Command::Key(_) | Command::Armed { .. } => vec![],
            Command::Bypass(condition, span) => vec![
                (!self.key, KeyOff),
                (!condition.can_be_bypassed(), NeverBypassed),
                (self.bypassed.is_some(), OneAtATime),
                (span.get() == 0 || span.get() > self.plan.drive.bypass_time, TooLong),
                (self.alarm(condition) == AlarmState::OutOfService, NothingToDo),
            ],
            Command::EndBypass => vec![(self.bypassed.is_none(), NothingToDo)],
            Command::Inch(true) => vec![
                (!self.key, KeyOff),
                (self.phase == Phase::Inching, NothingToDo),
                (self.phase != Phase::Standstill, NotAtRest),
                (!self.run, no_run),
            ],
            Command::Inch(false) => vec![(self.phase != Phase::Inching, NothingToDo)],
            Command::ProofTest(begin) => {
                vec![(begin == self.proof.is_some(), NothingToDo), (begin && !self.run, no_run)]
            }
        };
        rules.iter().find(|(refuses, _)| *refuses).map_or(Ok(()), |(_, why)| Err(*why))
    }

    fn carry_out(&mut self, command: Command) {
        match command {
            Command::Acknowledge => {
                self.each(&|alarm| !alarm.shelved && alarm.unacknowledged, &|alarm| alarm.unacknowledged = false);
                if std::mem::take(&mut self.feed_hunts) {
                    self.returns.clear();
                }
            }
            Command::Reset | Command::ResetButton(false) => self.each(
                &|alarm| !alarm.shelved && alarm.latched && !alarm.active && !alarm.unacknowledged && !alarm.beyond,
                &|alarm| alarm.latched = false,
            ),
            Command::ResetButton(true) => self.pressed = Some(self.now),
            Command::BootCleared => self.boot_needed = false,
            Command::Key(on) => {
                self.key = on;
                if !on {
                    self.end_bypass();
                    self.end_inching();
                }
            }
            Command::Bypass(condition, span) => {
                let rank = condition.rank();
                self.bypassed = Some(rank);
                self.bypass_began = self.now;
                self.bypass_end = (self.now + u64::from(span.get())) / SLOW;
                let from = self.alarms[rank].state();
                self.alarms[rank].shelved = true;
                self.tell(rank, from);
            }
            Command::EndBypass => self.end_bypass(),
            Command::Inch(true) => {
                self.inch_end = self.now / SLOW + u64::from(self.plan.drive.inching_time);
                self.set_phase(Phase::Inching);
            }
            Command::Inch(false) => self.end_inching(),
            Command::ProofTest(true) => self.proof = Some(false),
            Command::ProofTest(false) => {
                let passed = self.proof.take() == Some(true);
                self.said.push(Change::ProofTest { passed });
            }
            Command::Armed { .. } => {}
        }
    }

    fn each(&mut self, which: &dyn Fn(&Alarm) -> bool, does: &dyn Fn(&mut Alarm)) {
        for rank in 0..Condition::COUNT {
            if which(&self.alarms[rank]) {
                let from = self.alarms[rank].state();
                does(&mut self.alarms[rank]);
                self.tell(rank, from);
            }
        }
    }

    pub(super) fn end_bypass(&mut self) {
        let Some(rank) = self.bypassed.take() else { return };
        let from = self.alarms[rank].state();
        (self.alarms[rank].shelved, self.alarms[rank].suppressed) = (false, false);
        if self.alarms[rank].active {
            self.raise(rank, true);
        }
        self.tell(rank, from);
    }
}
