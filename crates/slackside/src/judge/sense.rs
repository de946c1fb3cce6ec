//! What each condition says at one moment. All that conditions look at is worked out once ([`Look`]); what a condition says is then a
//! comparison by its row.
//!
//! | condition | beyond when |
//! |---|---|
//! | rollback | drive off: both shafts turn from standstill (two edges each and a quarter of a turn), once the leg has settled for 6 s; or every fitted shaft gets 1.5 times faster for two pitches (while running down above twice the standstill speed), and gains speed over five sixteenths of a turn or stays faster for a whole one |
//! | edges at rest | so many edges of one shaft at standstill, once settled, as fast as 1/1.6 of normal speed or faster; forgotten after 10 s without |
//! | head silent | the head gave no edge for three pitches at half speed, then the boot gave one at a third of its speed or more |
//! | both silent (1) | both shafts' last pitch at 80 % of normal or more, and neither gave an edge for 1.6 pitches, or 2.6 where a target is missing |
//! | both silent (2) | the same with the drive off, sooner than half the shortest run-down known |
//! | drive contact fault | more than four changes in two seconds, more than ten in ten seconds unless inching, the belt still at speed ten seconds after the drive went off, or edges a minute after it |
//! | permit bypassed | the drive came on while the run permit was dropped, and is on; without a drive contact: the head turned from standstill then, and its last pitch is at 80 % of normal or more |
//! | feed hunting | the feed, dropped while the leg ran on, was to come back a fourth time within half an hour; until acknowledged |
//!
//! Slip that is not known leaves its condition as it was: a delay runs on, what was beyond stays beyond.

use super::leg::{Leg, PHASES, mark};
use super::phase::{slow_wait, turn};
use super::recent;
use super::speed::Pitches;
use super::view::View;
use crate::arith::{high, mul_div};
use crate::conditions::{Flag, Gate, Row, Sense, Stamp, Value, Window};
use crate::input::Shaft;
use crate::settings::plan::RowPlan;
use crate::signals::{Reading, pattern, rub, unknown};
use crate::time::{SWEEP, age};
use crate::verdict::Phase;

/// A block in which slip varied more, in ppm, says nothing of the ratio.
const STEADY: i32 = 3_000;
/// Stands for a value that is not known.
const UNKNOWN: i32 = i32::MIN;

/// What a condition says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    /// At the limit or beyond.
    Beyond,
    /// Inside limit less deadband, or not judged.
    Within,
    /// In the deadband, or not known: as it was.
    Hold,
}

/// How long until conditions may change by themselves, in microseconds.
#[derive(Clone, Copy, Debug)]
pub struct Waits {
    /// By silence of a shaft: moves with every edge.
    pub silence: u32,
    /// By anything else.
    pub other: u32,
}

/// All that conditions look at, at one moment.
pub struct Look<'a> {
    view: View<'a>,
    /// The last pitches of both shafts.
    pub head: Pitches<'a>,
    /// See [`head`](Self::head).
    pub boot: Pitches<'a>,
    flags: u32,
    /// Flags of which nothing is known: as they were.
    holds: u32,
    values: [i32; 11],
    /// How long the oldest rub has lasted, and where.
    pub rubbing: Option<(u32, u8)>,
    /// How long slip has been unknown.
    pub slip_unknown: Option<u32>,
    /// Whether slip heat is to be looked at now.
    heat_is_due: bool,
    gates: u8,
    /// How long until silence of the head closes gates that it opened.
    pub silence: u32,
    /// Whether underspeed is suppressed by design.
    pub suppresses: bool,
    /// Whether slip counts as known.
    slip_counts: bool,
    /// When both shafts are silent too soon, if they may be.
    both_silent: u32,
    scale: u32,
    /// How long until what conditions look at may change by itself.
    pub wait: u32,
}

const fn upper(value: i32, limit: i32, clear: i32) -> Says {
    if value >= limit {
        Says::Beyond
    } else if value < clear {
        Says::Within
    } else {
        Says::Hold
    }
}

/// The least against the limit, the most against the clear level.
const fn range(reading: Reading, limit: &RowPlan) -> Says {
    if reading.least >= limit.limit {
        Says::Beyond
    } else if reading.most < limit.clear {
        Says::Within
    } else {
        Says::Hold
    }
}

impl Look<'_> {
    /// Whether the condition of this row is judged now.
    fn judges(&self, row: &Row) -> bool {
        !(self.suppresses && matches!(row.gate, Gate::LiveOnceStarted))
            && self.gates.wrapping_shr(row.gate as u32) & 1 != 0
    }

    /// Whether the condition of this row cannot be beyond now, nor get so by itself: it is not judged, or a flag that is not set.
    pub fn is_idle(&self, row: &Row) -> bool {
        !self.judges(row) || matches!(row.sense, Sense::Flag(flag) if !self.flag(flag))
    }

    /// What the condition of this row says.
    pub fn says(&self, row: &Row, limit: &RowPlan, waits: &mut Waits) -> Says {
        if !self.judges(row) {
            return Says::Within;
        }
        match row.sense {
            Sense::Flag(flag) => {
                if self.flag(flag) {
                    Says::Beyond
                } else if self.holds.wrapping_shr(flag as u32) & 1 != 0 {
                    Says::Hold
                } else {
                    Says::Within
                }
            }
            // Heat has its own times to be looked at, so that nothing depends on what other steps there are.
            Sense::Upper(Value::Heat) if !self.heat_is_due => Says::Hold,
            Sense::Upper(value) => match self.value(value) {
                UNKNOWN => Says::Hold,
                value => upper(value, limit.limit, limit.clear),
            },
            Sense::Over(value) => {
                let value = self.value(value);
                upper(value, limit.limit.saturating_add(1), limit.limit.max(1))
            }
            Sense::RangeAbove(window) => self.slip(window, limit, false),
            Sense::RangeBelow(window) => self.slip(window, limit, true),
            Sense::Slow(shaft) => self.slow(shaft, limit, waits),
            Sense::Fast => self.fast(limit, waits),
            Sense::Since(stamp) => match self.since(stamp) {
                None => Says::Within,
                Some(lasts) => {
                    let lasts = i32::try_from(lasts).unwrap_or(i32::MAX);
                    if lasts < limit.limit {
                        waits.other = limit.limit.saturating_sub(lasts).unsigned_abs().min(waits.other);
                    }
                    upper(lasts, limit.limit, limit.clear)
                }
            },
            Sense::BothSilent => {
                if self.both_silent == 0 {
                    return Says::Beyond;
                }
                waits.silence = self.both_silent.min(waits.silence);
                Says::Within
            }
        }
    }

    /// Whether a flag is set.
    pub const fn flag(&self, flag: Flag) -> bool {
        self.flags.wrapping_shr(flag as u32) & 1 != 0
    }

    /// A value; the least of all where it is not known.
    pub fn value(&self, value: Value) -> i32 {
        self.values.get(value as usize).copied().unwrap_or(UNKNOWN)
    }

    /// How long something has lasted, in microseconds.
    pub fn since(&self, stamp: Stamp) -> Option<u32> {
        match stamp {
            Stamp::Rubbing => self.rubbing.map(|(lasts, _)| lasts),
            Stamp::SlipUnknown => self.slip_unknown,
        }
    }

    /// The reading of a window.
    pub const fn reading(&self, window: Window) -> Reading {
        match window {
            Window::Short => self.view.signals.short.reading,
            Window::Long => self.view.signals.long.reading,
        }
    }

    fn slip(&self, window: Window, limit: &RowPlan, below: bool) -> Says {
        let reading = self.reading(window);
        if !self.slip_counts {
            return Says::Hold;
        }
        if !reading.is_known() {
            return if self.view.signals.unknown == unknown::RETRACTED { Says::Within } else { Says::Hold };
        }
        range(if below { mirrored(reading) } else { reading }, limit)
    }

    fn slow(&self, shaft: Shaft, limit: &RowPlan, waits: &mut Waits) -> Says {
        let pitches = match shaft {
            Shaft::Head => &self.head,
            Shaft::Boot => &self.boot,
        };
        let too_long = self.scaled(limit.limit);
        let silence = pitches.silence(too_long);
        if silence == 0 {
            return Says::Beyond;
        }
        waits.silence = silence.min(waits.silence);
        if pitches.too_slow(too_long) {
            Says::Beyond
        } else if pitches.fast_enough(self.scaled(limit.clear)) {
            Says::Within
        } else {
            Says::Hold
        }
    }

    fn fast(&self, limit: &RowPlan, waits: &mut Waits) -> Says {
        let normal = self.scaled(limit.clear);
        let silence = self.boot.silence(normal);
        if silence == 0 || !self.boot.fast_enough(normal) {
            return Says::Within;
        }
        waits.silence = silence.min(waits.silence);
        if self.boot.fast_enough(self.scaled(limit.limit)) { Says::Beyond } else { Says::Hold }
    }

    const fn scaled(&self, limit: i32) -> u32 {
        if self.scale == 1_000_000 { turn(limit) } else { mul_div(turn(limit), 1_000_000, self.scale) }
    }
}

/// Slip below zero as slip above it.
const fn mirrored(reading: Reading) -> Reading {
    Reading { least: reading.most.saturating_neg(), most: reading.least.saturating_neg() }
}

/// The gates that are open in each phase, with the drive not known to be off and with it off.
const GATES: [[u8; 2]; PHASES.len()] = {
    let mut table = [[0; 2]; PHASES.len()];
    let (mut rest, mut phases): (&mut [[u8; 2]], &[Phase]) = (&mut table, &PHASES);
    while let ([open, more @ ..], [phase, others @ ..]) = (rest, phases) {
        *open = [gates(*phase, false), gates(*phase, true)];
        (rest, phases) = (more, others);
    }
    table
};

/// The gates that a head at speed opens.
const TURNING: u8 = 1 << Gate::Live as u8 | 1 << Gate::LiveOrRunningDown as u8;

const fn gates(phase: Phase, off: bool) -> u8 {
    let (stands, down) = (matches!(phase, Phase::Standstill), matches!(phase, Phase::CoastDown));
    let live = !off && !stands && !down;
    let starting = matches!(phase, Phase::Starting);
    let gates = [
        (Gate::Always, true),
        (Gate::Live, live),
        (Gate::LiveOnceStarted, live),
        (Gate::LiveOrRunningDown, live || down),
        (Gate::StartedOrRunningDown, (live && !starting) || down),
        (Gate::Running, matches!(phase, Phase::Running) && !off),
        (Gate::DriveOff, off),
        (Gate::Standstill, stands),
    ];
    let mut bits = 0;
    let mut rest: &[(Gate, bool)] = &gates;
    while let [(gate, is), more @ ..] = rest {
        bits |= (*is as u8).wrapping_shl(*gate as u32);
        rest = more;
    }
    bits
}

impl Leg {
    /// The gates that are open, a bit each, and how long they stay so in silence. While the `head` turns at speed slip is judged whatever
    /// contact and phase say.
    fn gates(&self, head: &Pitches<'_>, view: &View<'_>) -> (u8, u32) {
        let [on, off] = GATES.get(usize::from(self.phase)).copied().unwrap_or_default();
        let open = if self.drive_off(view) { off } else { on };
        if open & TURNING == TURNING {
            return (open, SWEEP);
        }
        match self.head_turns(head, view) {
            0 => (open, SWEEP),
            turns => (open | TURNING, turns),
        }
    }

    /// Whether what is judged only while running is judged now.
    pub fn is_running(&self, view: &View<'_>) -> bool {
        self.phase() == Phase::Running && !self.drive_off(view)
    }

    /// Whether slip counts as known: not while the head is silent, whatever a window may say.
    pub fn slip_counts(&self, view: &View<'_>, head_silent: bool) -> bool {
        !head_silent && !self.waits_for_head(view)
    }

    /// Work out all that conditions look at. `head_silent`: whether that condition is beyond.
    #[inline(never)]
    pub fn look<'a>(&self, view: &View<'a>, head_silent: bool) -> Look<'a> {
        let (plan, signals, now) = (view.plan, view.signals, view.now.us());
        let (head, boot) = (self.head(view), self.boot(view));
        let mut rubbing: Option<(u32, u8)> = None;
        let (mut duty, mut loops, mut faulty) = (UNKNOWN, UNKNOWN, false);
        for (place, contact) in (0_u8..).zip(&signals.contacts) {
            if plan.contacts.fitted.wrapping_shr(place.into()) & 1 == 0 {
                continue;
            }
            duty = duty.max(contact.duty);
            loops = loops.max(contact.loops.into());
            faulty |= contact.state == rub::FAULTY;
            let lasts = age(now, contact.since);
            if contact.rubs != 0 && rubbing.is_none_or(|(most, _)| lasts > most) {
                rubbing = Some((lasts, place));
            }
        }
        let (contact_lies, contact_wait) = self.contact_lies(view);
        let (gates, silence) = self.gates(&head, view);
        let held = if self.has(mark::PRESSED) { super::operator::held(now, self.pressed) } else { SWEEP };
        let standing = self.phase() == Phase::Standstill;
        let lost = self.head_is_lost(&head, &boot, view);
        let hold = |flag: Flag, is: bool| u32::from(is).wrapping_shl(flag as u32);
        let holds = hold(Flag::Rollback, !standing) | hold(Flag::HeadSilent, lost.is_none());
        let mut flags = 0;
        let mut put = |flag: Flag, is: bool| flags |= u32::from(is).wrapping_shl(flag as u32);
        put(Flag::StartFailed, self.has(mark::START_FAILED));
        put(Flag::Rollback, if standing { self.rest.rolls_from_rest(view) } else { self.rest.speeds_up(view) });
        put(Flag::OutletPlugged, self.has(mark::OUTLET));
        put(Flag::HeadDistrust, signals.head.distrust != 0);
        put(Flag::BootDistrust, signals.boot.distrust != 0);
        put(Flag::HeadSilent, lost == Some(true));
        put(Flag::HeadTargets, signals.head.pattern != pattern::WHOLE);
        put(Flag::BootTargets, signals.boot.pattern != pattern::WHOLE);
        put(Flag::ContactFault, faulty);
        put(Flag::DriveContact, contact_lies);
        put(Flag::Reference, self.reference.is_wrong(plan, now));
        put(Flag::Plan, self.has(mark::PLAN_DAMAGED));
        put(Flag::ResetHeld, held == 0);
        put(Flag::Bypass, self.bypassed != 0);
        put(Flag::Unpermitted, self.runs_unpermitted(view));
        put(Flag::FeedHunting, self.has(mark::FEED_HUNTS));
        let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
        // In the order of `Value`.
        let values = [
            if self.waits_for_head(view) { 0 } else { count(signals.since_boot) },
            self.heat.ahead(&plan.drive, now),
            duty,
            self.hottest().map_or(UNKNOWN, |(value, _)| value),
            ratio_shift(view).map_or(UNKNOWN, i32::saturating_abs),
            count(self.rest.edges_of_one(view)),
            self.starts_count.into(),
            self.lates_count.into(),
            signals.slip_mean,
            signals.slip_mean.saturating_neg(),
            loops,
        ];
        let starts = recent::next(&self.starts, self.starts_count, view.now.slow());
        let starts = starts.and_then(|_| self.starts.first()).map_or(SWEEP, |end| slow_wait(view, *end));
        let lates = recent::next(&self.lates, self.lates_count, now).unwrap_or(SWEEP);
        let held = if held == 0 { SWEEP } else { held };
        Look {
            view: *view,
            flags,
            holds,
            values,
            rubbing,
            heat_is_due: self.heat.wait(now) == 0,
            slip_unknown: if self.has(mark::SLIP_UNKNOWN) { Some(age(now, self.unknown_since)) } else { None },
            gates,
            silence,
            suppresses: matches!(self.phase(), Phase::Starting | Phase::Inching),
            slip_counts: self.slip_counts(view, head_silent),
            both_silent: self.both_silent(view, &head, &boot),
            scale: self.reference.scale,
            wait: contact_wait.min(starts).min(lates).min(held).min(self.reference.next(plan, now)),
            head,
            boot,
        }
    }

    /// A slow boot may only have lost edges, until its next edge or its silence tells: when that is at the latest, at normal speed. Nothing
    /// where there is no such doubt, or the condition is another. So a delay that would end meanwhile ends a pitch and a quarter after
    /// the late edge at the latest. A boot that gives no edge at all is in no doubt.
    pub fn boot_will_tell(&self, rank: usize, view: &View<'_>) -> Option<u32> {
        let boot = &view.signals.boot;
        let is_of = |row: &Row| matches!(row.sense, Sense::Slow(Shaft::Boot));
        if !boot.is_in_doubt() || !view.list.get(rank).is_some_and(is_of) {
            return None;
        }
        Some(boot.last_edge.wrapping_add(high(boot.next_largest, view.plan.boot.brisk)))
    }

    /// How long until both shafts are silent sooner than the leg can stop; nothing once they are.
    fn both_silent(&self, view: &View<'_>, head: &Pitches<'_>, boot: &Pitches<'_>) -> u32 {
        let plan = view.plan;
        let may = head.fast_enough(self.scaled(plan.head.brisk))
            && boot.fast_enough(self.scaled(plan.boot.brisk))
            && (self.phase() != Phase::CoastDown || self.stopped_too_soon(view));
        if !may {
            return SWEEP;
        }
        // Where a target is missing a pitch more passes in silence: 2.6 for 1.6.
        let silence = |pitches: &Pitches<'_>, limit: u32| {
            let missing = pitches.shaft.pattern == pattern::MISSING;
            let more = if missing { (limit >> 1).saturating_add(limit >> 3) } else { 0 };
            pitches.silence(self.scaled(limit.saturating_add(more)))
        };
        silence(head, plan.head.sudden).max(silence(boot, plan.boot.sudden))
    }
}

/// How far the ratio seen lies from the one in force, in ppm of it, with its sign, if a steady block says so.
pub fn ratio_shift(view: &View<'_>) -> Option<i32> {
    let (seen, expected) = (view.signals.ratio, view.plan.slip.ratio);
    if seen == 0 || view.signals.ratio_spread >= STEADY {
        return None;
    }
    let shift = i32::try_from(mul_div(seen.abs_diff(expected), 1_000_000, expected)).unwrap_or(i32::MAX);
    Some(if seen < expected { shift.saturating_neg() } else { shift })
}
