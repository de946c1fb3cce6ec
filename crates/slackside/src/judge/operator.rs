//! What people do: acknowledge, reset, report the boot clear, bypass, inch, prove.
//!
//! By the link alarms may be acknowledged and a proof test be begun and ended; everything else needs a person at the leg,
//! even with the key on, since a bypass of what holds a permit would give it back.

use super::Judge;
use super::leg::mark;
use super::phase::slow_wait;
use super::view::{Out, View};
use crate::alarm::{AlarmState, bits};
use crate::conditions::Condition;
use crate::input::{Command, Origin};
use crate::time::{age, reached};
use crate::units::Span;
use crate::verdict::{Change, Phase, Refusal};

/// A press of the reset button counts from here, in microseconds.
const SHORTEST_PRESS: u32 = 100_000;
/// Beyond that the button counts as held or stuck.
const LONGEST_PRESS: u32 = 3_000_000;

/// Alarms by a mask of their bits and what is left under it: a person has still to acknowledge it.
const WANTS_ACKNOWLEDGEMENT: (u8, u8) = (bits::SHELVED | bits::UNACKNOWLEDGED, bits::UNACKNOWLEDGED);
/// Latched, and not bypassed.
const LATCHED: (u8, u8) = (bits::SHELVED | bits::LATCHED, bits::LATCHED);
/// Latched and no longer wrong, not acknowledged.
const LATCHED_UNACKNOWLEDGED: (u8, u8) =
    (LATCHED.0 | bits::ACTIVE | bits::UNACKNOWLEDGED, bits::LATCHED | bits::UNACKNOWLEDGED);
/// Latched, acknowledged, and right again.
const RESETTABLE: (u8, u8) = (LATCHED_UNACKNOWLEDGED.0 | bits::BEYOND, bits::LATCHED);

/// How long until a button pressed then counts as held: one microsecond after the longest press.
pub const fn held(now: u32, pressed: u32) -> u32 {
    (LONGEST_PRESS + 1).saturating_sub(age(now, pressed))
}

impl Judge {
    /// A person asks for something.
    pub(super) fn command(&mut self, origin: Origin, command: Command, out: &mut Out<'_>) {
        let view = out.view;
        let refusal = self.allowed(origin, command, view);
        // The button comes up even when the press is refused.
        if origin == Origin::Leg && command == Command::ResetButton(false) {
            self.leg.put(mark::PRESSED, false);
        }
        match refusal {
            Ok(()) => {
                out.tell(Change::Accepted(origin, command));
                self.carry_out(command, out);
            }
            Err(refusal) => out.tell(Change::Refused(origin, command, refusal)),
        }
    }

    /// Whether it would be carried out now.
    ///
    /// # Errors
    /// Why not.
    pub fn allowed(&self, origin: Origin, command: Command, view: &View<'_>) -> Result<(), Refusal> {
        use Refusal as No;
        let leg = &self.leg;
        let unless = |is: bool, refusal| if is { Err(refusal) } else { Ok(()) };
        let by_link = matches!(command, Command::Acknowledge | Command::ProofTest(_));
        unless(origin == Origin::Link && !by_link, No::OnlyAtTheLeg)?;
        match command {
            Command::Acknowledge => unless(!self.rows.any(WANTS_ACKNOWLEDGEMENT), No::NothingToDo),
            Command::Reset => self.may_reset(),
            Command::ResetButton(true) => unless(leg.has(mark::PRESSED), No::NothingToDo),
            Command::ResetButton(false) => {
                unless(!leg.has(mark::PRESSED), No::NothingToDo)?;
                let held = age(view.now.us(), leg.pressed);
                unless(!(SHORTEST_PRESS..=LONGEST_PRESS).contains(&held), No::BadPress)?;
                self.may_reset()
            }
            Command::BootCleared => {
                unless(!leg.has(mark::BOOT_CLEARED_NEEDED), No::NothingToDo)?;
                unless(leg.phase() != Phase::Standstill, No::NotAtRest)
            }
            Command::Key(_) | Command::Armed { .. } => Ok(()),
            Command::Bypass(condition, span) => {
                unless(!leg.has(mark::KEY), No::KeyOff)?;
                unless(!Condition::row(condition.rank()).can_be_bypassed(), No::NeverBypassed)?;
                unless(leg.bypassed != 0, No::OneAtATime)?;
                unless(span == Span::ZERO || span.get() > view.plan.drive.bypass_time, No::TooLong)?;
                unless(self.rows.state(condition.rank()) == AlarmState::OutOfService, No::NothingToDo)
            }
            Command::EndBypass => unless(leg.bypassed == 0, No::NothingToDo),
            Command::Inch(true) => {
                unless(!leg.has(mark::KEY), No::KeyOff)?;
                unless(leg.phase() == Phase::Inching, No::NothingToDo)?;
                unless(leg.phase() != Phase::Standstill, No::NotAtRest)?;
                unless(!leg.has(mark::RUN), self.why_no_run(view))
            }
            Command::Inch(false) => unless(leg.phase() != Phase::Inching, No::NothingToDo),
            Command::ProofTest(begin) => {
                unless(begin == leg.has(mark::PROOF), No::NothingToDo)?;
                // With the permit dropped already nothing would be proven.
                unless(begin && !leg.has(mark::RUN), self.why_no_run(view))
            }
        }
    }

    /// A reset takes what it can: what is latched, acknowledged, and right again.
    fn may_reset(&self) -> Result<(), Refusal> {
        if self.rows.any(RESETTABLE) {
            return Ok(());
        }
        Err(if self.rows.any(LATCHED_UNACKNOWLEDGED) {
            Refusal::NotAcknowledged
        } else if self.rows.any(LATCHED) {
            Refusal::StillPresent
        } else if self.leg.has(mark::BOOT_CLEARED_NEEDED) {
            Refusal::BootNotCleared
        } else {
            Refusal::NothingToDo
        })
    }

    fn why_no_run(&self, view: &View<'_>) -> Refusal {
        if !self.is_stopped(view) && self.leg.has(mark::BOOT_CLEARED_NEEDED) {
            Refusal::BootNotCleared
        } else {
            Refusal::StillPresent
        }
    }

    fn carry_out(&mut self, command: Command, out: &mut Out<'_>) {
        let view = out.view;
        match command {
            Command::Acknowledge => {
                self.take_from_each(WANTS_ACKNOWLEDGEMENT, bits::UNACKNOWLEDGED, out);
                // Somebody has seen that the feed hunts: it counts anew.
                if self.leg.has(mark::FEED_HUNTS) {
                    self.leg.put(mark::FEED_HUNTS, false);
                    self.leg.returns_count = 0;
                }
            }
            Command::Reset | Command::ResetButton(false) => {
                self.take_from_each(RESETTABLE, bits::LATCHED, out);
            }
            Command::ResetButton(true) => {
                self.leg.put(mark::PRESSED, true);
                self.leg.pressed = view.now.us();
            }
            Command::BootCleared => self.leg.put(mark::BOOT_CLEARED_NEEDED, false),
            Command::Key(on) => {
                self.leg.put(mark::KEY, on);
                if !on {
                    self.end_bypass(out);
                    self.leg.end_inching(out);
                }
            }
            Command::Bypass(condition, span) => {
                self.leg.bypassed = (condition.rank() as u8).wrapping_add(1);
                self.leg.bypass_end = view.now.slow_after(span.get());
                self.turn_bits(condition.rank(), bits::SHELVED, true, out);
            }
            Command::Armed { .. } => {}
            Command::EndBypass => self.end_bypass(out),
            Command::Inch(true) => {
                self.leg.inch_end = view.now.slow().wrapping_add(view.plan.drive.inching_time);
                self.leg.set_phase(Phase::Inching, out);
            }
            Command::Inch(false) => self.leg.end_inching(out),
            Command::ProofTest(begin) => {
                let passed = self.leg.has(mark::PROVEN);
                self.leg.put(mark::PROOF, begin);
                self.leg.put(mark::PROVEN, false);
                if !begin {
                    out.tell(Change::ProofTest { passed });
                }
            }
        }
    }

    /// Take a bit from each alarm of these bits, in order of rank.
    fn take_from_each(&mut self, (mask, value): (u8, u8), bit: u8, out: &mut Out<'_>) {
        let mut from = 0;
        while let Some(rank) = self.rows.next(from, mask, value) {
            self.turn_bits(rank, bit, false, out);
            from = rank.wrapping_add(1);
        }
    }

    /// End what a person's time limit ends.
    pub(super) fn settle_operator(&mut self, out: &mut Out<'_>) {
        if reached(out.view.now.slow(), self.leg.bypass_end) {
            self.end_bypass(out);
        }
    }

    /// How long until a bypass runs out; `u32::MAX` without one.
    pub(super) fn next_operator(&self, view: &View<'_>) -> u32 {
        if self.leg.bypassed == 0 { u32::MAX } else { slow_wait(view, self.leg.bypass_end) }
    }

    /// What is wrong now is raised afresh; what was latched is latched still; what came and went meanwhile is ignored, as OPC UA
    /// Part 9 (5.8.17.1) has it of timed shelving.
    fn end_bypass(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        let Some(rank) = core::mem::take(&mut self.leg.bypassed).checked_sub(1).map(usize::from) else { return };
        let from = self.rows.state(rank);
        self.rows.put(rank, bits::SHELVED | bits::SUPPRESSED, false);
        if self.rows.has(rank, bits::ACTIVE) {
            self.raise(rank, true, view);
        }
        self.tell_alarm(rank, from, out);
    }

    /// The condition under a bypass.
    pub(super) fn bypassed(&self) -> Option<Condition> {
        Condition::of_rank(usize::from(self.leg.bypassed.checked_sub(1)?))
    }
}
