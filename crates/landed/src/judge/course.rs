//! What the leg is doing: phases, starts, standstill.
//!
//! ```text
//!             drive on, or first head edge        at speed, or start time up
//!  Standstill ────────────────────────────► Starting ───────────────────────► Running
//!     ▲  ▲                                   │    ▲                            │  ▲
//!     │  └── key, Inch ◄──► Inching          │    └ drive on within start time │  │ drive on
//!     │ silence proves it                    └──────────► CoastDown ◄──────────┘  │ otherwise
//!     └────────────────────────────────────────────────── (drive off) ────────────┘
//! ```
//! Standstill is proven by silence: every fitted shaft surely slower than the share of normal speed in the settings,
//! counted from the last edge, from the drive going off, or from power-up, whichever was last. Counting from the drive
//! going off keeps a chattering contact from opening start after start. Without a drive contact the drive is taken to
//! be on whenever the head turns, so silence of both shafts is standstill, and the first head edge from there opens a
//! start; at power-up a leg that already turns is judged at once, since it was not seen standing.

use super::cell::NEVER;
use super::speeds::{Open, closed, fast_enough, too_slow};
use super::{Condition, Judge, Out};
use crate::record::keep::keep;
use crate::units::{Micros, Span};
use crate::verdict::{Change, Phase, Verdict};

/// A leg that still gives edges so long after the drive went off is not running down: the contact lies.
pub(super) const LONGEST_COAST_DOWN: Span = Span::from_millis(60_000);
/// A belt still at speed so long after the drive went off is driven: what has run down within [`LONGEST_COAST_DOWN`] under steady
/// drag has lost a sixth of its speed by then.
pub(super) const STILL_DRIVEN: Span = Span::from_millis(10_000);
/// Changes of the drive contact are remembered so long. More than [`TOGGLES`] within it are no starts and stops: whoever starts a leg
/// from standstill waits for it to stand, and is stopped at the fifth start as a rule.
pub(super) const TOGGLE_WINDOW: Span = Span::from_millis(10_000);
/// Changes that may still be a person's: five starts.
pub(super) const TOGGLES: usize = 10;
/// It chatters if it changes more than [`CHATTER`] times within two seconds: so long before the end of the window they count no more.
const CHATTER_OVER: Span = Span::from_millis(8_000);
/// Changes that are no chatter yet.
const CHATTER: usize = 4;

/// So many boot pitches, with none surely slow between them, must be at speed: a single edge that is none, as a sensor gives when it is switched on, would
/// end the start too soon.
pub(super) const AT_SPEED: u8 = 2;

/// Where the leg is in its course.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    /// Whether a drive contact is fitted.
    pub contact: bool,
    /// What it said last.
    pub drive: Option<bool>,
    /// When the last start opened; `None` once the leg stands.
    pub opened: Option<Micros>,
    /// When the start time is up; never once the start has ended.
    pub window_end: Micros,
    /// When the drive went off.
    pub off_at: Micros,
    /// The belt has been at speed since the start, and has not been too slow since.
    pub at_speed: bool,
    /// Boot pitches at speed since the last that was surely slow, up to [`AT_SPEED`].
    pub brisk: u8,
    /// The start time was up before the belt was at speed.
    pub start_failed: bool,
    /// The drive came on, or without a drive contact the head turned from standstill, while the run permit was dropped.
    pub unpermitted: bool,
    /// Whether the leg was at speed when the drive went off: only then is its run-down learned.
    pub coasts_from_speed: bool,
    /// The shortest clean run-down seen.
    pub learned_coast_down: Option<Span>,
    /// When inching ends.
    pub inch_end: Micros,
    /// Whether any edge has been seen since power-up.
    pub turned: bool,
}

keep!(Course {
    drive,
    opened,
    window_end,
    off_at,
    at_speed,
    brisk,
    start_failed,
    unpermitted,
    coasts_from_speed,
    learned_coast_down,
    inch_end,
    turned,
} fixed { contact });

impl Course {
    pub(super) const NEW: Self = Self {
        contact: false,
        drive: None,
        opened: None,
        window_end: NEVER,
        off_at: Micros::ZERO,
        at_speed: false,
        brisk: 0,
        start_failed: false,
        unpermitted: false,
        coasts_from_speed: false,
        learned_coast_down: None,
        inch_end: NEVER,
        turned: false,
    };

    /// The drive is known to be off.
    pub(super) fn drive_off(&self) -> bool {
        self.contact && self.drive == Some(false)
    }
}

impl Judge {
    pub(super) fn set_phase(&mut self, phase: Phase, now: Micros, out: Out<'_>) {
        if self.status.phase == phase {
            return;
        }
        self.status.phase = phase;
        out(Verdict { at: now, change: Change::Phase(phase) });
        if matches!(phase, Phase::Standstill | Phase::CoastDown) {
            self.rest.begin(&self.motion.head, &self.motion.boot);
        }
        if phase == Phase::Standstill {
            self.course.opened = None;
            self.course.window_end = NEVER;
            self.course.at_speed = false;
            self.course.start_failed = false;
            self.course.unpermitted &= self.course.contact;
            // Nothing slides while the leg stands: the slip of the last run says nothing of the next.
            self.heat_slip = 0;
        }
    }

    /// The drive contact changed, or is seen for the first time.
    pub(super) fn drive(&mut self, on: bool, now: Micros, out: Out<'_>) {
        let before = self.course.drive.replace(on);
        if !self.course.contact || before == Some(on) {
            return;
        }
        if before.is_some() {
            self.contact_changes.push(now.after(TOGGLE_WINDOW));
        }
        let phase = self.status.phase;
        self.course.unpermitted = on && !self.status.run_permit;
        if on {
            match phase {
                Phase::Standstill => self.open_start(now, out),
                Phase::Unsure if !self.course.turned => self.open_start(now, out),
                Phase::CoastDown if self.course.window_end != NEVER && now < self.course.window_end => {
                    self.set_phase(Phase::Starting, now, out);
                }
                Phase::CoastDown | Phase::Unsure => {
                    self.course.window_end = NEVER;
                    self.set_phase(Phase::Running, now, out);
                }
                Phase::Starting | Phase::Running | Phase::Inching => {}
            }
        } else {
            self.course.off_at = now;
            self.course.start_failed = false;
            if matches!(phase, Phase::Starting | Phase::Running) {
                self.course.coasts_from_speed = phase == Phase::Running && self.course.at_speed;
                self.course.at_speed = false;
                self.set_phase(Phase::CoastDown, now, out);
            } else if phase == Phase::Inching {
                self.rest.begin(&self.motion.head, &self.motion.boot);
            }
        }
    }

    fn open_start(&mut self, now: Micros, out: Out<'_>) {
        let limit = self.limits.of(Condition::StartFailed);
        let time = Span::from_millis(limit.setpoint.unsigned_abs());
        self.course.opened = Some(now);
        self.course.window_end = now.after(time);
        self.course.at_speed = false;
        self.course.brisk = 0;
        self.course.start_failed = false;
        self.starts.push(now.after(self.limits.starts.window));
        self.set_phase(Phase::Starting, now, out);
    }

    pub(super) fn end_inching(&mut self, now: Micros, out: Out<'_>) {
        self.course.inch_end = NEVER;
        if self.status.phase != Phase::Inching {
            return;
        }
        // Whoever inches may have jogged.
        self.contact_changes.clear();
        // With the drive still on everything is judged at once; else the leg must be seen to stand first.
        let off = self.course.drive_off();
        if off {
            self.course.off_at = now;
            self.course.coasts_from_speed = false;
        }
        self.set_phase(if off { Phase::CoastDown } else { Phase::Running }, now, out);
    }

    /// The motion changed: note what the course of the leg needs of it.
    pub(super) fn follow(&mut self, head_edge: bool, boot_edge: bool, now: Micros, out: Out<'_>) {
        if boot_edge {
            let slow = self.motion.boot.pitch.is_none_or(|pitch| too_slow(&pitch, self.speeds.under.limit));
            self.course.brisk =
                if slow { 0 } else { self.course.brisk.saturating_add(u8::from(self.is_brisk())).min(AT_SPEED) };
        }
        self.course.turned |= self.motion.head.last_edge.is_some() || self.motion.boot.last_edge.is_some();
        if head_edge && !self.course.contact {
            match self.status.phase {
                Phase::Standstill => {
                    self.course.unpermitted = !self.status.run_permit;
                    self.open_start(now, out);
                }
                Phase::Unsure => self.set_phase(Phase::Running, now, out),
                _ => {}
            }
        }
        let (head, boot) = (&self.motion.head, &self.motion.boot);
        match self.status.phase {
            Phase::CoastDown => self.rest.running_down(
                (head, self.speeds.head.standing / 2),
                (boot, self.speeds.boot.standing / 2),
                self.course.off_at,
            ),
            Phase::Standstill => self.rest.standing(head, boot),
            _ => {}
        }
    }

    /// Whether the drive contact changes too often: as no contact of a starter does, or while not inching as no person starts a leg.
    pub(super) fn contact_chatters(&self, now: Micros) -> bool {
        self.chatter_ends(now) > now
    }

    /// When it will have stopped doing so, if it does.
    pub(super) fn chatter_ends(&self, now: Micros) -> Micros {
        let newest = |by| self.contact_changes.leaves_before_newest(by);
        let chatters = newest(CHATTER).map(|end| Micros::new(end.get().saturating_sub(CHATTER_OVER.get().into())));
        let toggles = newest(TOGGLES).filter(|_| self.status.phase != Phase::Inching);
        chatters.max(toggles).unwrap_or(now)
    }

    /// Whether the leg was started while the run permit was dropped. Without a drive contact a belt that runs back turns the head
    /// too, so there the head must be at speed.
    pub(super) fn runs_unpermitted(&self) -> bool {
        self.course.unpermitted
            && (self.course.contact
                || closed(&self.motion.head, self.course.opened)
                    .is_some_and(|pitch| fast_enough(&pitch, self.speeds.head.brisk)))
    }

    /// Whether the belt is at speed.
    fn at_speed_now(&self) -> bool {
        self.course.brisk >= AT_SPEED && self.is_brisk()
    }

    /// Whether the last whole boot pitch is at least at the level where underspeed clears.
    fn is_brisk(&self) -> bool {
        closed(&self.motion.boot, self.course.opened).is_some_and(|pitch| {
            fast_enough(&pitch, self.speeds.under.clear) && !too_slow(&pitch, self.speeds.under.limit)
        })
    }

    /// What falls due in the course of the leg.
    pub(super) fn settle_course(&mut self, now: Micros, out: Out<'_>) {
        match self.status.phase {
            Phase::Starting => {
                if self.at_speed_now() {
                    self.course.at_speed = true;
                    self.course.window_end = NEVER;
                    self.set_phase(Phase::Running, now, out);
                } else if now >= self.course.window_end {
                    self.course.start_failed = true;
                    self.course.window_end = NEVER;
                    self.set_phase(Phase::Running, now, out);
                }
            }
            Phase::Running if !self.course.at_speed && self.at_speed_now() => self.course.at_speed = true,
            Phase::Inching if now >= self.course.inch_end => self.end_inching(now, out),
            Phase::Standstill => self.rest.settle(now, &self.motion.head, &self.motion.boot),
            _ => {}
        }
        if now >= self.standstill_at() {
            self.learn_coast_down();
            self.set_phase(Phase::Standstill, now, out);
        }
    }

    /// Shafts that turn are not proven at standstill, whatever the drive contact says. Standstill has to be proven anew.
    pub(super) fn leave_standstill(&mut self, now: Micros, out: Out<'_>) -> bool {
        let rolls = self.status.phase == Phase::Standstill && self.cell(Condition::Rollback).beyond;
        if rolls {
            self.course.off_at = now;
            self.course.coasts_from_speed = false;
            self.set_phase(Phase::CoastDown, now, out);
        }
        rolls
    }

    /// When the course changes by itself.
    pub(super) fn course_next(&self) -> Micros {
        let own = match self.status.phase {
            Phase::Starting => self.course.window_end,
            Phase::Inching => self.course.inch_end,
            Phase::Standstill => self.rest.next(),
            _ => NEVER,
        };
        own.min(if self.standstill_by_silence() { NEVER } else { self.standstill_at() })
    }

    /// Whether silence of turning shafts alone may prove standstill: then its deadline moves with every edge.
    pub(super) fn standstill_by_silence(&self) -> bool {
        !self.course.contact && matches!(self.status.phase, Phase::Starting | Phase::Running)
    }

    /// When silence proves standstill, if it may now.
    pub(super) fn standstill_at(&self) -> Micros {
        let may = match self.status.phase {
            Phase::Unsure => self.course.drive_off() || !self.course.contact,
            Phase::CoastDown => true,
            Phase::Starting | Phase::Running => !self.course.contact,
            Phase::Standstill | Phase::Inching => false,
        };
        if !may {
            return NEVER;
        }
        let floor = if self.course.drive_off() { self.course.off_at.max(self.base) } else { self.base };
        let (head, boot) = (&self.motion.head, &self.motion.boot);
        let of = |open: Option<Open>, standing| open.map_or(NEVER, |open| open.crossing(standing));
        let head = self
            .fitted
            .head
            .then(|| of(Open::of(head, Some(floor), self.names.head_largest), self.speeds.head.standing));
        let boot = self
            .fitted
            .boot
            .then(|| of(Open::of(boot, Some(floor), self.names.boot_largest), self.speeds.boot.standing));
        head.max(boot).unwrap_or(NEVER)
    }

    /// Keep the shortest run-down that was slow at its end, as a real one is.
    fn learn_coast_down(&mut self) {
        if self.status.phase != Phase::CoastDown || !self.course.coasts_from_speed {
            return;
        }
        let slow = |shaft: &crate::motion::ShaftMotion, brisk| {
            !shaft.fitted || shaft.pitch.is_some_and(|pitch| too_slow(&pitch, brisk))
        };
        let (head, boot) = (&self.motion.head, &self.motion.boot);
        if !slow(head, self.speeds.head.brisk) || !slow(boot, self.speeds.boot.brisk) {
            return;
        }
        let Some(last) = head.last_edge.max(boot.last_edge) else { return };
        let took = last.since(self.course.off_at);
        if took > Span::ZERO {
            self.course.learned_coast_down = Some(self.course.learned_coast_down.map_or(took, |least| least.min(took)));
        }
    }
}
