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
//! A drive that comes on again while the belt runs down from speed, slower by now and followed by both shafts alike, opens a start too.
//!
//! Standstill is proven by silence: every fitted shaft surely slower than the share of normal speed in the settings,
//! counted from the last edge, from the drive going off, or from power-up, whichever was last. Counting from the drive
//! going off keeps a chattering contact from opening start after start. Without a drive contact the drive is taken to
//! be on whenever the head turns, so silence of both shafts is standstill, and the first head edge from there opens a
//! start, while the leg still settles only a head that gains speed; at power-up a leg that already turns is judged at once, since it was not seen standing.

use super::leg::{Leg, TOGGLES, mark};
use super::recent;
use super::speed::{Pitches, largest_to_come, silence};
use super::view::{Out, View};
use crate::arith::{high, mul_div};
use crate::conditions::Condition;
use crate::input::Shaft;
use crate::settings::plan::{RowPlan, ShaftPlan, fitted};
use crate::signals::{ShaftSignals, moved};
use crate::time::{SLOW_SHIFT, SWEEP, age, reached, wait};
use crate::verdict::{Change, Phase};

/// A leg that still gives edges so long after the drive went off is not running down: the contact lies.
pub const LONGEST_COAST_DOWN: u32 = 60_000_000;
/// A belt still at speed so long after the drive went off is driven: what has run down within [`LONGEST_COAST_DOWN`] under steady
/// drag has lost a sixth of its speed by then.
const STILL_DRIVEN: u32 = 10_000_000;
/// Changes of the drive contact are remembered so long. More than [`TOGGLES`] within it are no starts and stops: whoever starts a leg
/// from standstill waits for it to stand, and is stopped at the fifth start as a rule.
const TOGGLE_WINDOW: u32 = 10_000_000;
/// It chatters if it changes more than [`CHATTER`] times within two seconds: so long before the end of the window they count no more.
const CHATTER_OVER: u32 = 8_000_000;
/// Changes that are no chatter yet.
const CHATTER: u8 = 4;
/// From 80 % of its speed to its last edge a leg takes longer than that, in microseconds: 0.8 of a run-down at an even rate, less the
/// last pitch. A loaded leg that stops within two seconds of its own accord needs its run-down in the settings.
const JAM: u32 = 800_000;
/// So many boot pitches, with none surely slow between them, must be at speed: a single edge that is none, as a sensor gives when
/// it is switched on, would end the start too soon.
pub const AT_SPEED: u8 = 2;

/// One whole, in ppm.
const ONE: u32 = 1_000_000;

impl Leg {
    /// Go into a phase.
    pub fn set_phase(&mut self, phase: Phase, out: &mut Out<'_>) {
        let view = out.view;
        if self.phase() == phase {
            return;
        }
        self.phase = phase as u8;
        out.tell(Change::Phase(phase));
        if phase == Phase::CoastDown {
            self.rest.begin(view);
        }
        if phase == Phase::Standstill {
            self.rest.came_to_rest(view);
            self.put(mark::OPENED | mark::START_WINDOW | mark::AT_SPEED | mark::START_FAILED, false);
            if !view.plan.has(fitted::DRIVE_CONTACT) {
                self.put(mark::UNPERMITTED, false);
            }
            // Nothing slides while the leg stands: the slip of the last run says nothing of the next.
            self.heat.slip = 0;
        }
    }

    /// The drive contact changed, or is seen for the first time.
    pub fn drive(&mut self, on: bool, out: &mut Out<'_>) {
        let view = out.view;
        let known = self.has(mark::DRIVE_KNOWN);
        let same = known && self.has(mark::DRIVE_ON) == on;
        self.put(mark::DRIVE_KNOWN, true);
        self.put(mark::DRIVE_ON, on);
        if !view.plan.has(fitted::DRIVE_CONTACT) || same {
            return;
        }
        let now = view.now.us();
        if known {
            recent::push(&mut self.changes, &mut self.changes_count, now.wrapping_add(TOGGLE_WINDOW));
        }
        let phase = self.phase();
        self.put(mark::UNPERMITTED, on && !self.has(mark::RUN));
        if on {
            match phase {
                Phase::Standstill => self.open_start(out),
                Phase::Unsure if !self.has(mark::TURNED) => self.open_start(out),
                Phase::CoastDown if self.has(mark::START_WINDOW) && self.start_left(view) > 0 => {
                    self.set_phase(Phase::Starting, out);
                }
                // Once for each time that it was at speed, so that nobody renews the suppression of underspeed by switching.
                Phase::CoastDown if self.has(mark::COASTS_FROM_SPEED) && self.belt_follows(view) => {
                    self.open_start(out);
                }
                Phase::CoastDown | Phase::Unsure => {
                    self.put(mark::START_WINDOW, false);
                    self.set_phase(Phase::Running, out);
                }
                Phase::Starting | Phase::Running | Phase::Inching => {}
            }
            return;
        }
        self.off_at = now;
        self.put(mark::START_FAILED, false);
        if matches!(phase, Phase::Starting | Phase::Running) {
            self.put(mark::COASTS_FROM_SPEED, phase == Phase::Running && self.has(mark::AT_SPEED));
            self.put(mark::AT_SPEED, false);
            self.set_phase(Phase::CoastDown, out);
        } else if phase == Phase::Inching {
            self.rest.begin(view);
        }
    }

    /// Whether the leg runs down below its speed, and both shafts agree by the ratio that the belt follows.
    fn belt_follows(&self, view: &View<'_>) -> bool {
        let slip = view.signals.short;
        let most = view.limit_of(Condition::SlipHigh).limit.unsigned_abs();
        slip.is_exact()
            && slip.least.unsigned_abs() < most
            && !self.is_brisk(&self.boot(view), view.limit_of(Condition::Underspeed))
    }

    /// How much is left of the time for the start that opened last.
    const fn start_left(&self, view: &View<'_>) -> u32 {
        wait(view.now.us(), self.opened.wrapping_add(view.plan.drive.start_time))
    }

    fn open_start(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        let now = view.now.us();
        self.opened = now;
        self.put(mark::OPENED | mark::START_WINDOW, true);
        self.put(mark::AT_SPEED | mark::START_FAILED | mark::FEED_DROPPED, false);
        self.brisk = 0;
        let end = view.now.slow().wrapping_add(view.plan.drive.start_window);
        recent::push(&mut self.starts, &mut self.starts_count, end);
        self.set_phase(Phase::Starting, out);
    }

    /// End inching, if the leg is inched.
    pub fn end_inching(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        if self.phase() != Phase::Inching {
            return;
        }
        // Whoever inches may have jogged.
        self.changes_count = 0;
        // With the drive still on everything is judged at once; else the leg must be seen to stand first.
        let off = self.drive_off(view);
        if off {
            self.off_at = view.now.us();
            self.put(mark::COASTS_FROM_SPEED, false);
        }
        self.set_phase(if off { Phase::CoastDown } else { Phase::Running }, out);
    }

    /// The motion changed: note what the course of the leg needs of it.
    pub fn follow(&mut self, moved: u8, out: &mut Out<'_>) {
        let view = out.view;
        let signals = view.signals;
        if moved & moved::BOOT != 0 {
            let boot = self.boot(view);
            let under = view.limit_of(Condition::Underspeed);
            let slow = signals.boot.pitch == 0 || signals.boot.too_slow(self.scaled(turn(under.limit)));
            let brisk = self.is_brisk(&boot, under);
            self.brisk = if slow { 0 } else { self.brisk.saturating_add(u8::from(brisk)).min(AT_SPEED) };
        }
        // The first edge may be the level that a sensor has at power-up, before a target that stands.
        if signals.head.pitch | signals.boot.pitch != 0 {
            self.put(mark::TURNED, true);
        }
        if matches!(self.phase(), Phase::CoastDown | Phase::Standstill) {
            let off = Some(self.off_at);
            // From rest any speed is gained; while running down only what is well above standing.
            let stands = self.phase() == Phase::Standstill;
            for (shaft, bit, signals) in
                [(Shaft::Head, moved::HEAD, &signals.head), (Shaft::Boot, moved::BOOT, &signals.boot)]
            {
                if moved & bit != 0 {
                    let plan = view.plan.shaft(shaft);
                    let brisk = if stands { u32::MAX } else { plan.standing / 2 };
                    let limits = (brisk, mul_div(plan.sudden, ONE, view.plan.drive.reference_minimum));
                    self.rest.turns(shaft, &Pitches::new(view, signals, plan, off), limits);
                }
            }
        }
        if moved & moved::HEAD != 0 && !view.plan.has(fitted::DRIVE_CONTACT) {
            let brisk = self.head(view).fast_enough(self.scaled(view.plan.head.brisk));
            if self.has(mark::HEAD_BRISK) && !brisk {
                self.brisk_at = signals.head.last_edge.wrapping_sub(signals.head.pitch);
            }
            self.put(mark::HEAD_BRISK, brisk);
            match self.phase() {
                // A belt that swings as it settles starts nothing.
                Phase::Standstill if self.rest.head_starts() => {
                    self.put(mark::UNPERMITTED, !self.has(mark::RUN));
                    self.open_start(out);
                }
                Phase::Unsure => self.set_phase(Phase::Running, out),
                _ => {}
            }
        }
        if self.phase() == Phase::Standstill {
            let newest = newest_edge(view).unwrap_or(view.now.us());
            self.rest.standing(view, newest);
        }
    }

    /// Whether the head was silent for three pitches at half speed and then the boot gave an edge at a third of its speed or more: the
    /// head's sensor is lost. `None`: the head is silent, but nothing proves that it turns.
    pub fn head_is_lost(&self, head: &Pitches<'_>, boot: &Pitches<'_>, view: &View<'_>) -> Option<bool> {
        let limit = self.scaled(view.plan.drive.head_silent);
        if !head.is_open() {
            return None;
        }
        if !head.is_silent(limit) {
            return Some(false);
        }
        let proven = head.was_silent_before(boot.shaft.last_edge, limit)
            && boot.fast_enough(self.scaled(view.plan.drive.boot_turns));
        if proven { Some(true) } else { None }
    }

    /// When the drive contact will have stopped changing too often: as no contact of a starter does, or while not inching as no person
    /// starts a leg. `None`: it does not.
    fn chatter_ends(&self, now: u32) -> Option<u32> {
        let newest = |by| recent::before_newest(&self.changes, self.changes_count, by);
        let chatters = newest(CHATTER).map_or(0, |end| wait(now, end.wrapping_sub(CHATTER_OVER)));
        let toggles = newest(TOGGLES).filter(|_| self.phase() != Phase::Inching).map_or(0, |end| wait(now, end));
        let longer = chatters.max(toggles);
        if longer > 0 { Some(longer) } else { None }
    }

    /// Whether the drive contact changes too often.
    pub fn contact_chatters(&self, now: u32) -> bool {
        self.chatter_ends(now).is_some()
    }

    /// Whether the drive contact chatters or contradicts the shafts, and how long until that may change by itself.
    pub fn contact_lies(&self, view: &View<'_>) -> (bool, u32) {
        let now = view.now.us();
        let off = age(now, self.off_at);
        let coasting = self.phase() == Phase::CoastDown;
        let too_long = if coasting { LONGEST_COAST_DOWN.saturating_sub(off) } else { u32::MAX };
        let chatters = self.chatter_ends(now);
        let next = if too_long == 0 { u32::MAX } else { too_long };
        let driven = coasting && self.still_driven(view);
        (chatters.is_some() || driven || too_long == 0, next.min(chatters.unwrap_or(u32::MAX)))
    }

    /// Whether the belt is still at speed when a leg without its drive cannot be.
    fn still_driven(&self, view: &View<'_>) -> bool {
        let (now, boot) = (view.now.us(), &view.signals.boot);
        let under = view.limit_of(Condition::Underspeed);
        age(now, self.off_at) >= age(now, boot.last_edge).saturating_add(STILL_DRIVEN)
            && self.boot(view).fast_enough(self.scaled(turn(under.clear)))
    }

    /// Whether the leg was started while the run permit was dropped. Without a drive contact a belt that runs back turns the head
    /// too, so there the head must be at speed.
    pub fn runs_unpermitted(&self, view: &View<'_>) -> bool {
        self.has(mark::UNPERMITTED)
            && (view.plan.has(fitted::DRIVE_CONTACT) || self.head(view).fast_enough(self.scaled(view.plan.head.brisk)))
    }

    /// Whether the last whole boot pitch is at least at the level where underspeed clears.
    fn is_brisk(&self, boot: &Pitches<'_>, under: &RowPlan) -> bool {
        boot.fast_enough(self.scaled(turn(under.clear))) && !boot.too_slow(self.scaled(turn(under.limit)))
    }

    /// Whether the belt is at speed.
    fn at_speed_now(&self, view: &View<'_>) -> bool {
        self.brisk >= AT_SPEED && self.is_brisk(&self.boot(view), view.limit_of(Condition::Underspeed))
    }

    /// What falls due in the course of the leg.
    pub fn settle_phase(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        match self.phase() {
            Phase::Starting => {
                let (at_speed, up) =
                    (self.at_speed_now(view), self.has(mark::START_WINDOW) && self.start_left(view) == 0);
                if at_speed || up {
                    self.put(if at_speed { mark::AT_SPEED } else { mark::START_FAILED }, true);
                    self.put(mark::START_WINDOW, false);
                    self.set_phase(Phase::Running, out);
                }
            }
            Phase::Running if !self.has(mark::AT_SPEED) && self.at_speed_now(view) => self.put(mark::AT_SPEED, true),
            Phase::Inching if reached(view.now.slow(), self.inch_end) => self.end_inching(out),
            Phase::Standstill => self.rest.settle(view),
            // Before its stamp is so old that it looks like one to come.
            Phase::CoastDown if self.start_left(view) == 0 => self.put(mark::START_WINDOW, false),
            _ => {}
        }
        if self.standstill(view) == 0 {
            self.learn_coast_down(view);
            self.set_phase(Phase::Standstill, out);
        }
    }

    /// Shafts that turn are not proven at standstill, whatever the drive contact says. Standstill has to be proven anew.
    pub fn leave_standstill(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        self.off_at = view.now.us();
        self.put(mark::COASTS_FROM_SPEED, false);
        self.set_phase(Phase::CoastDown, out);
    }

    /// How long until the course changes by itself, silence of turning shafts apart.
    pub fn next_phase(&self, view: &View<'_>) -> u32 {
        let now = view.now.us();
        let own = match self.phase() {
            Phase::Starting if self.has(mark::START_WINDOW) => self.start_left(view),
            Phase::Inching => slow_wait(view, self.inch_end),
            Phase::Standstill => self.rest.next(now),
            _ => u32::MAX,
        };
        own.min(self.standstill(view))
    }

    /// How long until silence proves standstill, if it may now; else `u32::MAX`.
    fn standstill(&self, view: &View<'_>) -> u32 {
        let contact = view.plan.has(fitted::DRIVE_CONTACT);
        let off = self.drive_off(view);
        let may = match self.phase() {
            Phase::Unsure => off || !contact,
            Phase::CoastDown => true,
            Phase::Starting | Phase::Running => !contact,
            Phase::Standstill | Phase::Inching => false,
        };
        if !may {
            return u32::MAX;
        }
        let now = view.now.us();
        let mut floor = age(now, self.base);
        if off {
            floor = floor.min(age(now, self.off_at));
        }
        let of = |shaft: &ShaftSignals, plan: &ShaftPlan| {
            if !plan.is_fitted() {
                return 0;
            }
            let quiet = if shaft.is_seen() { floor.min(age(now, shaft.last_edge)) } else { floor };
            silence(now.wrapping_sub(quiet), largest_to_come(shaft, plan), plan.standing, now)
        };
        let (head, boot) = (of(&view.signals.head, &view.plan.head), of(&view.signals.boot, &view.plan.boot));
        head.max(boot).max(if contact { 0 } else { self.underspeed_tells(view) })
    }

    /// How long until a boot that has been silent since its last edge has been told to be far too slow. Where many marks prove standstill
    /// sooner than that, a leg without a drive contact would stand before anything was said of how it came to.
    fn underspeed_tells(&self, view: &View<'_>) -> u32 {
        let (now, boot, deep) = (view.now.us(), &view.signals.boot, view.limit_of(Condition::DeepUnderspeed));
        let crossed = high(boot.next_largest, self.scaled(turn(deep.limit))).saturating_add(deep.on_delay);
        if boot.is_seen() { crossed.saturating_add(2).saturating_sub(age(now, boot.last_edge)) } else { 0 }
    }

    /// Keep the shortest run-down that was slow at its end, as a real one is.
    fn learn_coast_down(&mut self, view: &View<'_>) {
        if self.phase() != Phase::CoastDown || !self.has(mark::COASTS_FROM_SPEED) {
            return;
        }
        let slow = |leg: &Self, shaft: &ShaftSignals, plan: &ShaftPlan| {
            !plan.is_fitted() || shaft.too_slow(leg.scaled(plan.brisk))
        };
        if !slow(self, &view.signals.head, &view.plan.head) || !slow(self, &view.signals.boot, &view.plan.boot) {
            return;
        }
        let Some(took) = self.since_off(view).filter(|took| *took > 0) else { return };
        let least = if self.has(mark::COAST_LEARNED) { self.coast_down } else { u32::MAX };
        self.coast_down = took.min(least);
        self.put(mark::COAST_LEARNED, true);
    }

    /// How long after the drive went off the newest edge came: nothing if before. `None` without one.
    fn since_off(&self, view: &View<'_>) -> Option<u32> {
        let now = view.now.us();
        newest_edge(view).map(|edge| age(now, self.off_at).saturating_sub(age(now, edge)))
    }

    /// Whether the last edge came sooner after the drive went off than half the shortest run-down known. Where that half is shorter than
    /// four pitches of the finer shaft, the last edge of a sound stop may come as soon, after a pitch at speed: then its silence tells nothing.
    pub fn stopped_too_soon(&self, view: &View<'_>) -> bool {
        let pitch = |shaft: &ShaftPlan| self.scaled(high(shaft.largest, shaft.normal_turn));
        let four_pitches = pitch(&view.plan.head).min(pitch(&view.plan.boot)).saturating_mul(4);
        let set = view.plan.drive.coast_down;
        let shortest = match (set > 0, self.has(mark::COAST_LEARNED)) {
            (true, true) => set.min(self.coast_down),
            (true, false) => set,
            (false, true) => self.coast_down,
            (false, false) => return false,
        };
        shortest / 2 >= four_pitches && self.since_off(view).is_some_and(|took| took < shortest / 2)
    }

    /// Whether a start from standstill has not moved the head yet: what measure then says of slip and of the belt following
    /// belongs to the run before.
    pub fn waits_for_head(&self, view: &View<'_>) -> bool {
        matches!(self.phase(), Phase::Starting | Phase::Inching) && !self.rest.head_has_turned(&view.signals.head)
    }

    /// Whether both shafts stand, and the head came to rest sooner after it was at speed than any leg runs down by itself, or than a
    /// quarter of the shortest run-down in the settings: how much is lost after the last edge depends on the targets.
    pub fn jammed(&self, view: &View<'_>) -> bool {
        let (now, edge) = (view.now.us(), view.signals.head.last_edge);
        let took = if self.has(mark::HEAD_BRISK) { 0 } else { age(now, self.brisk_at).saturating_sub(age(now, edge)) };
        let set = view.plan.drive.coast_down >> 2;
        let stands =
            self.head(view).is_silent(view.plan.head.standing) && self.boot(view).is_silent(view.plan.boot.standing);
        stands && took < if set > 0 { set } else { JAM }
    }

    /// How long the head, as far as is known, still turns at speed if it gives no edge: nothing if it does not. Its last pitch at 80 % of
    /// normal or more, no silence that says otherwise, and a signal to be trusted. From proven standstill edges of one shaft are
    /// chatter, and of both a rollback: either stops.
    pub fn head_turns(&self, head: &Pitches<'_>, view: &View<'_>) -> u32 {
        let brisk = self.scaled(view.plan.head.brisk);
        let may = view.signals.head.distrust == 0 && self.phase() != Phase::Standstill;
        if may && head.fast_enough(brisk) { head.silence(brisk) } else { 0 }
    }

    /// Whether the head has lost its speed too.
    pub fn head_is_slow(&self, view: &View<'_>) -> bool {
        let (head, limit) = (self.head(view), self.scaled(view.plan.drive.head_deep));
        head.is_silent(limit) || head.too_slow(limit)
    }
}

/// A speed row's limit: a turn in microseconds.
pub const fn turn(limit: i32) -> u32 {
    limit.unsigned_abs()
}

/// How long until a moment of the slow count, in microseconds, a sweep at most: nothing once it has come.
pub fn slow_wait(view: &View<'_>, end: u32) -> u32 {
    slow_steps(view, wait(view.now.slow(), end))
}

/// How long until so many steps of the slow count, likewise.
pub fn slow_steps(view: &View<'_>, steps: u32) -> u32 {
    steps.saturating_mul(1 << SLOW_SHIFT).min(SWEEP).saturating_sub(view.now.us() & ((1 << SLOW_SHIFT) - 1))
}

/// The newest edge of either shaft.
fn newest_edge(view: &View<'_>) -> Option<u32> {
    let seen = [&view.signals.head, &view.signals.boot].into_iter().filter(|shaft| shaft.is_seen());
    seen.map(|shaft| shaft.last_edge).min_by_key(|edge| age(view.now.us(), *edge))
}
