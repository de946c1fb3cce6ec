//! What each condition says at one moment. All that conditions look at is worked out once ([`Look`]); what a condition says is then a
//! comparison by its row.
//!
//! | condition | beyond when |
//! |---|---|
//! | rollback | drive off: both shafts turn from standstill (two edges each and a quarter of a turn), once the leg has settled for 6 s; or every fitted shaft gets 1.5 times faster for two pitches (while running down above twice the standstill speed), and gains speed over five sixteenths of a turn or stays faster for a whole one |
//! | edges at rest | so many edges of one shaft at standstill, once settled, as fast as 1/1.6 of normal speed or faster; forgotten after 10 s without |
//! | head silent | the head gave no edge for three pitches at half speed, then the boot gave one at a third of its speed or more |
//! | both silent (1) | both shafts' last pitch at 80 % of normal or more, and neither gave an edge for 1.6 pitches; 2.6 of one whose pitches are too short for a belt to stand within, or that misses a target |
//! | both silent (2) | the same with the drive off, sooner than half the shortest run-down known |
//! | drive contact fault | more than four changes in two seconds, more than ten in ten seconds unless inching, the belt still at speed ten seconds after the drive went off, or edges a minute after it |
//! | permit bypassed | the drive came on while the run permit was dropped, and is on; without a drive contact: the head turned from standstill then, and its last pitch is at 80 % of normal or more |
//! | feed hunting | the feed, dropped while the leg ran on, was to come back a fourth time within half an hour; until acknowledged |
//!
//! Slip that is not known leaves its condition as it was: an on-delay runs on, what was beyond stays beyond. An alarm stays until slip is
//! known to be within again, also one whose off-delay had begun; readings that were taken back end no more than an on-delay.

use super::leg::{Leg, mark};
use super::phase::turn;
use super::speed::Pitches;
use super::view::View;
use crate::arith::{high, mul_div};
use crate::conditions::{Condition, Flag, Gate, Row, Sense, Stamp, Value, Window};
use crate::input::Shaft;
use crate::settings::plan::{Plan, RowPlan};
use crate::signals::{Reading, Signals, pattern, rub, unknown};
use crate::time::age;
use crate::verdict::Phase;

/// A block in which slip varied more, in ppm, says nothing of the ratio.
const STEADY: i32 = 3_000;
/// A sound belt creeps by no more, in ppm, with a heavy load on it.
const CREEP: i32 = 30_000;
/// One whole, in ppm.
const ONE: u32 = 1_000_000;
/// Stands for a value that is not known.
pub const UNKNOWN: i32 = i32::MIN;

/// What a condition says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    /// At the limit or beyond.
    Beyond,
    /// Inside limit less deadband, or not judged.
    Within,
    /// In the deadband, or not known where that says nothing: as it was.
    Hold,
    /// Not known: as it was, and an alarm stays.
    Unknown,
    /// Not known, because what was said was wrong: within, but an alarm stays.
    Retracted,
}

/// How long until conditions may change by themselves, in microseconds: `u32::MAX` where they do not. Held at a sweep where it is noted.
#[derive(Clone, Copy, Debug)]
pub struct Waits {
    /// By silence of a shaft: moves with every edge.
    pub silence: u32,
    /// By anything else.
    pub other: u32,
}

/// No place.
const NOWHERE: u8 = u8::MAX;

/// What the rub contacts say together: each the most of them, and at which place.
pub struct Rubs {
    /// How long the oldest rub has lasted.
    pub lasts: u32,
    /// The worst duty; [`UNKNOWN`] where no contact is fitted.
    pub duty: i32,
    /// The most loops running with a rub at one place, likewise.
    pub loops: i32,
    /// Where the oldest rub is, the worst duty, and the most loops.
    pub lasts_at: u8,
    /// See [`lasts_at`](Self::lasts_at).
    pub duty_at: u8,
    /// See [`lasts_at`](Self::lasts_at).
    pub loops_at: u8,
    /// The first whose line is faulty.
    pub faulty: u8,
}

impl Rubs {
    #[inline(never)]
    pub fn of(view: &View<'_>) -> Self {
        let [lasts_at, duty_at, loops_at, faulty] = [NOWHERE; 4];
        let mut all = Self { lasts: 0, duty: UNKNOWN, loops: UNKNOWN, lasts_at, duty_at, loops_at, faulty };
        for (place, contact) in (0_u8..).zip(&view.signals.contacts) {
            if view.plan.contacts.fitted.wrapping_shr(place.into()) & 1 == 0 {
                continue;
            }
            if contact.duty > all.duty {
                (all.duty, all.duty_at) = (contact.duty, place);
            }
            if i32::from(contact.loops) > all.loops {
                (all.loops, all.loops_at) = (contact.loops.into(), place);
            }
            if contact.state == rub::FAULTY && all.faulty == NOWHERE {
                all.faulty = place;
            }
            let lasts = age(view.now.us(), contact.since);
            if contact.rubs != 0 && (all.lasts_at == NOWHERE || lasts > all.lasts) {
                (all.lasts, all.lasts_at) = (lasts, place);
            }
        }
        all
    }

    /// How long the oldest rub has lasted, if any does.
    pub const fn lasts(&self) -> Option<u32> {
        if self.lasts_at == NOWHERE { None } else { Some(self.lasts) }
    }
}

/// What conditions look at that is worked out once for all of them, at one moment.
pub struct Look<'a> {
    view: &'a View<'a>,
    /// The shafts' last pitches.
    pub head: Pitches<'a>,
    /// See [`head`](Self::head).
    pub boot: Pitches<'a>,
    rubs: Rubs,
    gates: u16,
    /// Whether underspeed is suppressed by design.
    pub suppresses: bool,
    /// Whether slip counts as known.
    slip_counts: bool,
    /// How long until what was looked at may change by itself.
    pub waits: Waits,
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
    pub const fn judges(&self, row: &Row) -> bool {
        self.gates.wrapping_shr(row.gate as u32) & 1 != 0
    }

    /// Whether slip counts as known.
    pub const fn count_slip(&mut self, counts: bool) {
        self.slip_counts = counts;
    }

    fn slip(&self, window: Window, limit: &RowPlan, below: bool) -> Says {
        let signals = self.view.signals;
        let reading = reading(signals, window);
        if !self.slip_counts {
            return Says::Unknown;
        }
        if !reading.is_known() {
            return if signals.unknown == unknown::RETRACTED { Says::Retracted } else { Says::Unknown };
        }
        range(if below { mirrored(reading) } else { reading }, limit)
    }
}

/// The reading of a window.
pub const fn reading(signals: &Signals, window: Window) -> Reading {
    match window {
        Window::Short => signals.short,
        Window::Long => signals.long,
    }
}

impl Says {
    const fn of(is: bool) -> Self {
        if is { Self::Beyond } else { Self::Within }
    }
}

/// Slip below zero as slip above it.
const fn mirrored(reading: Reading) -> Reading {
    Reading { least: reading.most.saturating_neg(), most: reading.least.saturating_neg() }
}

/// The phases in the order of their numbers.
const PHASES: [Phase; 6] =
    [Phase::Unsure, Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Inching];

/// The gates that are open in each phase, with the drive not known to be off and with it off.
const GATES: [[u16; 2]; PHASES.len()] = {
    let mut table = [[0; 2]; PHASES.len()];
    let (mut rest, mut phases): (&mut [[u16; 2]], &[Phase]) = (&mut table, &PHASES);
    while let ([open, more @ ..], [phase, others @ ..]) = (rest, phases) {
        *open = [gates(*phase, false), gates(*phase, true)];
        (rest, phases) = (more, others);
    }
    table
};

/// The gates that a head at speed opens.
const TURNING: u16 = 1 << Gate::Live as u16 | 1 << Gate::LiveOrRunningDown as u16;

const fn gates(phase: Phase, off: bool) -> u16 {
    let (stands, down) = (matches!(phase, Phase::Standstill), matches!(phase, Phase::CoastDown));
    let live = !off && !stands && !down;
    let starting = matches!(phase, Phase::Starting);
    let gates = [
        (Gate::Live, live),
        (Gate::LiveOnceStarted, live && !starting && !matches!(phase, Phase::Inching)),
        (Gate::LiveOrRunningDown, live || down),
        (Gate::StartedOrRunningDown, (live && !starting) || down),
        (Gate::Running, matches!(phase, Phase::Running) && !off),
        (Gate::DriveOff, off),
        (Gate::Standstill, stands),
    ];
    let mut bits = 1 << Gate::Always as u16;
    let mut rest: &[(Gate, bool)] = &gates;
    while let [(gate, is), more @ ..] = rest {
        bits |= (*is as u16).wrapping_shl(*gate as u32);
        rest = more;
    }
    bits
}

/// What slip reads where the sensors are swapped and the belt does not slip; `None` where that would be no loss.
#[inline(always)]
fn slip_if_swapped(plan: &Plan) -> Option<i32> {
    let squared = |marks: u8| u32::from(marks).wrapping_mul(marks.into());
    let ratio = mul_div(squared(plan.head.marks).wrapping_mul(ONE), 1, squared(plan.boot.marks));
    let kept = mul_div(mul_div(ratio, ONE, plan.slip.ratio), ONE, plan.slip.ratio);
    Some(ONE.checked_sub(kept)?.cast_signed())
}

/// Whether slip reads what it would with nothing but creep beside `expected`.
#[inline(always)]
const fn creeps_by(expected: i32, slip: i32) -> bool {
    slip <= expected.saturating_add(CREEP / 8) && slip >= expected.saturating_sub(CREEP)
}

/// The means of slip, from the least to the most, with which the next row may find the sensors swapped: slip over four turns, which
/// every row moves, may then read as much too, above the limit from which it counts.
#[cfg(feature = "desk")]
pub fn swapped_means(view: &View<'_>) -> Option<(i32, i32)> {
    let expected = slip_if_swapped(view.plan)?;
    let most = expected.saturating_add(CREEP / 8);
    (view.limit_of(Condition::SlipHigh).limit <= most).then(|| (expected.saturating_sub(CREEP), most))
}

impl Leg {
    /// The gates that are open, a bit each, and how long they stay so in silence. While the `head` turns at speed slip is judged whatever
    /// contact and phase say.
    fn gates(&self, head: &Pitches<'_>, view: &View<'_>, rubs: &Rubs) -> (u16, u32) {
        let [on, off] = GATES.get(usize::from(self.phase)).copied().unwrap_or_default();
        let gates = if self.drive_off(view) { off } else { on };
        let gates = gates | u16::from(self.is_flagged(view, rubs)).wrapping_shl(Gate::Flagged as u32);
        if gates & TURNING == TURNING {
            return (gates, u32::MAX);
        }
        match self.head_turns(head, view) {
            0 => (gates, u32::MAX),
            turns => (gates | TURNING, turns),
        }
    }

    /// Whether any [plain](Flag::is_plain) flag may be set: a pressed button may yet be one.
    fn is_flagged(&self, view: &View<'_>, rubs: &Rubs) -> bool {
        const FLAGS: u32 = mark::START_FAILED
            | mark::OUTLET
            | mark::PLAN_DAMAGED
            | mark::PRESSED
            | mark::UNPERMITTED
            | mark::FEED_HUNTS;
        let (head, boot) = (&view.signals.head, &view.signals.boot);
        self.has(FLAGS)
            || self.bypassed | head.distrust | head.pattern | boot.distrust | boot.pattern != 0
            || rubs.faulty != NOWHERE
    }

    /// Whether what is judged only while running is judged now.
    pub fn is_running(&self, view: &View<'_>) -> bool {
        self.phase() == Phase::Running && !self.drive_off(view)
    }

    /// Whether slip counts as known: not while the head is silent, whatever a window may say.
    pub fn slip_counts(&self, view: &View<'_>, head_silent: bool) -> bool {
        !head_silent && !self.waits_for_head(view)
    }

    /// Work out what is the same for all conditions; whether [slip counts](Look::count_slip) is still to be said.
    #[inline(never)]
    pub fn look<'a>(&self, view: &'a View<'a>) -> Look<'a> {
        let rubs = Rubs::of(view);
        let head = self.head(view);
        let (gates, silence) = self.gates(&head, view, &rubs);
        Look {
            view,
            head,
            boot: self.boot(view),
            gates,
            rubs,
            suppresses: matches!(self.phase(), Phase::Starting | Phase::Inching),
            slip_counts: false,
            waits: Waits { silence, other: u32::MAX },
        }
    }

    /// What the condition of this row says, which is judged now. On a small processor a call of its own, for the sake of the stack.
    #[cfg_attr(all(target_arch = "arm", not(target_has_atomic = "32")), inline(never))]
    pub fn says(&self, row: &Row, limit: &RowPlan, look: &mut Look<'_>) -> Says {
        match row.sense {
            Sense::Flag(flag) => self.flag(flag, look),
            // Heat has its own times to be looked at, so that nothing depends on what other steps there are.
            Sense::Upper(Value::Heat) if self.heat.wait(look.view.now.us()) > 0 => Says::Hold,
            Sense::Upper(value) => {
                let rubs = if value == Value::RubLoops { look.rubs.loops } else { look.rubs.duty };
                match self.level(value, look.view, rubs) {
                    UNKNOWN => Says::Hold,
                    value => upper(value, limit.limit, limit.clear),
                }
            }
            Sense::Over(value) => {
                let value = self.level(value, look.view, UNKNOWN);
                upper(value, limit.limit.saturating_add(1), limit.limit)
            }
            Sense::RangeAbove(window) => look.slip(window, limit, false),
            Sense::RangeBelow(window) => look.slip(window, limit, true),
            Sense::Slow(shaft) => self.slow(shaft, limit, look),
            Sense::Fast => self.fast(limit, look),
            Sense::Since(stamp) => match self.since(stamp, look.view, &look.rubs) {
                None => Says::Within,
                Some(lasts) => {
                    let lasts = count(lasts);
                    if lasts < limit.limit {
                        look.waits.other = limit.limit.saturating_sub(lasts).unsigned_abs().min(look.waits.other);
                    }
                    upper(lasts, limit.limit, limit.clear)
                }
            },
            Sense::BothSilent => {
                let silent = self.both_silent(look);
                if silent > 0 {
                    look.waits.silence = silent.min(look.waits.silence);
                }
                Says::of(silent == 0)
            }
        }
    }

    /// What a flag says. Those of which nothing may be known are then as they were.
    fn flag(&self, flag: Flag, look: &mut Look<'_>) -> Says {
        let view = look.view;
        let (plan, signals, now) = (view.plan, view.signals, view.now.us());
        Says::of(match flag {
            Flag::StartFailed => self.has(mark::START_FAILED),
            Flag::Rollback if self.phase() == Phase::Standstill => self.rest.rolls_from_rest(view),
            Flag::Rollback => return if self.rest.speeds_up(view) { Says::Beyond } else { Says::Hold },
            Flag::OutletPlugged => self.has(mark::OUTLET),
            Flag::HeadDistrust => signals.head.distrust != 0,
            Flag::BootDistrust => signals.boot.distrust != 0,
            Flag::HeadSilent => return self.head_is_lost(&look.head, &look.boot, view).map_or(Says::Hold, Says::of),
            Flag::HeadTargets => signals.head.pattern != pattern::WHOLE,
            Flag::BootTargets => signals.boot.pattern != pattern::WHOLE,
            Flag::ContactFault => look.rubs.faulty != NOWHERE,
            Flag::DriveContact => {
                let (lies, wait) = self.contact_lies(view);
                look.waits.other = wait.min(look.waits.other);
                lies
            }
            Flag::Reference => self.reference.is_wrong(plan, now),
            Flag::Plan => self.has(mark::PLAN_DAMAGED),
            Flag::ResetHeld => {
                let held = if self.has(mark::PRESSED) { super::operator::held(now, self.pressed) } else { u32::MAX };
                if held > 0 {
                    look.waits.other = held.min(look.waits.other);
                }
                held == 0
            }
            Flag::Bypass => self.bypassed != 0,
            Flag::Unpermitted => self.runs_unpermitted(view),
            Flag::FeedHunting => self.has(mark::FEED_HUNTS),
        })
    }

    /// A value; the least of all where it is not known. `rubs` is the worst of the rub contacts.
    pub fn level(&self, value: Value, view: &View<'_>, rubs: i32) -> i32 {
        match value {
            Value::SinceBoot if self.waits_for_head(view) => 0,
            Value::SinceBoot => count(view.signals.since_boot),
            Value::Heat => self.heat.ahead(&view.plan.drive, view.now.us()),
            Value::Duty | Value::RubLoops => rubs,
            Value::SlipMean => view.signals.slip_mean,
            Value::BelowZero => self.swapped(view).unwrap_or_else(|| view.signals.slip_mean.saturating_neg()),
            Value::Hottest => self.hottest().map_or(UNKNOWN, |(value, _)| value),
            Value::RatioShift => ratio_shift(view).map_or(UNKNOWN, i32::saturating_abs),
            Value::EdgesAtRest => count(self.rest.edges_of_one(view)),
            Value::Starts => self.starts_count.into(),
            Value::Lates => self.lates_count.into(),
        }
    }

    /// What slip reads where the sensors are swapped and the belt only creeps, if it does read so for long and the head seems as much faster
    /// than it should. A sound belt never slips so evenly under a head that is faster than normal.
    ///
    /// The boot's `B` marks then count as the head's `H` and turn `R` times as fast, so the ratio seen is `(H / B)² / R`. What the belt slips
    /// is taken from that: in the end it would read as none.
    fn swapped(&self, view: &View<'_>) -> Option<i32> {
        let (plan, signals) = (view.plan, view.signals);
        let long = signals.long.least;
        if long < view.limit_of(Condition::SlipHigh).limit {
            return None;
        }
        let expected = slip_if_swapped(plan)?;
        // Half of what it would seem to gain, which is half of that.
        let gain = mul_div(plan.head.normal_turn, expected.unsigned_abs(), 4 * ONE);
        let fast = self.head(view).fast_enough(self.scaled(plan.head.normal_turn.saturating_sub(gain)));
        (creeps_by(expected, long) && creeps_by(expected, signals.slip_mean) && fast).then_some(expected)
    }

    /// How long something has lasted, in microseconds.
    pub fn since(&self, stamp: Stamp, view: &View<'_>, rubs: &Rubs) -> Option<u32> {
        match stamp {
            Stamp::Rubbing => rubs.lasts(),
            Stamp::SlipUnknown if self.has(mark::SLIP_UNKNOWN) => Some(age(view.now.us(), self.unknown_since)),
            Stamp::SlipUnknown => None,
        }
    }

    fn slow(&self, shaft: Shaft, limit: &RowPlan, look: &mut Look<'_>) -> Says {
        let pitches = match shaft {
            Shaft::Head => &look.head,
            Shaft::Boot => &look.boot,
        };
        let too_long = self.scaled(turn(limit.limit));
        let silence = pitches.silence(too_long);
        if silence == 0 {
            return Says::Beyond;
        }
        look.waits.silence = silence.min(look.waits.silence);
        if pitches.too_slow(too_long) {
            Says::of(shaft == Shaft::Boot || !self.ran_up_within(pitches, too_long, limit.on_delay, look.view))
        } else if pitches.fast_enough(self.scaled(turn(limit.clear))) {
            Says::Within
        } else {
            Says::Hold
        }
    }

    /// Whether the head's last pitch began while the leg was given time to start.
    pub fn runs_up(&self, view: &View<'_>) -> bool {
        let shaft = &view.signals.head;
        let since_begun = age(view.now.us(), shaft.last_edge).saturating_add(shaft.pitch);
        let begun_after = |opened| age(view.now.us(), opened).saturating_sub(since_begun);
        self.opened().is_some_and(|opened| begun_after(opened) < view.plan.drive.start_time)
    }

    /// Whether the last pitch began while the leg was given time to start, and the next may end no sooner at the limit, a turn in `too_long`,
    /// than the `delay` of the alarm: the mean speed over a run-up says nothing of the speed reached, and no edge would say so in time.
    fn ran_up_within(&self, pitches: &Pitches<'_>, too_long: u32, delay: u32, view: &View<'_>) -> bool {
        high(pitches.shaft.next_largest, too_long) > delay && self.runs_up(view)
    }

    fn fast(&self, limit: &RowPlan, look: &mut Look<'_>) -> Says {
        let normal = self.scaled(turn(limit.clear));
        let silence = look.boot.silence(normal);
        if silence == 0 || !look.boot.fast_enough(normal) {
            return Says::Within;
        }
        look.waits.silence = silence.min(look.waits.silence);
        if look.boot.fast_enough(self.scaled(turn(limit.limit))) { Says::Beyond } else { Says::Hold }
    }

    /// Until when an on-delay waits that would end while it is not known whether the boot only lost edges; nothing where there is no such
    /// doubt, or the condition is another.
    ///
    /// A slow boot: its next edge or its silence tells, at normal speed a pitch and a quarter after the late edge at the latest, or two
    /// and a quarter where the next may be late too. A boot that gives no edge at all is in no doubt. Slip that was beyond, was taken back
    /// and may still be: the next head edge tells.
    pub fn boot_will_tell(&self, rank: usize, view: &View<'_>) -> Option<u32> {
        let (plan, Signals { head, boot, .. }) = (view.plan, view.signals);
        match Condition::row(rank).sense {
            Sense::Slow(Shaft::Boot) => {
                let loses = boot.pattern == pattern::MISSING && plan.boot.marks > 3;
                let more = match (boot.is_in_doubt(), boot.may_go_on()) {
                    (true, false) => 0,
                    (true, true) => {
                        if loses {
                            2
                        } else {
                            1
                        }
                    }
                    (false, _) if loses && boot.fast_enough(self.scaled(turn(view.limit(rank).clear))) => 3,
                    (false, _) => return None,
                };
                let more = high(plan.boot.largest, plan.boot.normal_turn).wrapping_mul(more);
                Some(boot.last_edge.wrapping_add(high(boot.next_largest, plan.boot.brisk)).wrapping_add(more))
            }
            Sense::RangeAbove(window) => {
                let reading = reading(view.signals, window);
                let taken_back = reading.is_open() && reading.least < view.limit(rank).limit;
                taken_back.then(|| head.last_edge.wrapping_add(high(head.next_largest, plan.head.brisk)))
            }
            _ => None,
        }
    }

    /// How long until both shafts are silent sooner than the leg can stop; nothing once they are.
    fn both_silent(&self, look: &Look<'_>) -> u32 {
        let Look { view, head, boot, .. } = look;
        let plan = view.plan;
        let may = head.fast_enough(self.scaled(plan.head.brisk))
            && boot.fast_enough(self.scaled(plan.boot.brisk))
            && (self.phase() != Phase::CoastDown || self.stopped_too_soon(view));
        if !may {
            return u32::MAX;
        }
        // Each may have lost an edge at the same moment: a pitch more passes in silence, 2.6 for 1.6. Where a pitch is so long that the belt
        // could stand and be at speed again within it, only where a target is known to be missing.
        let silence = |pitches: &Pitches<'_>, limit: u32| {
            let short = high(pitches.shaft.next_largest, plan.boot.normal_turn) <= plan.slip.regain;
            let missing = short || pitches.shaft.pattern == pattern::MISSING;
            let more = if missing { (limit >> 1).saturating_add(limit >> 3) } else { 0 };
            pitches.silence(self.scaled(limit.saturating_add(more)))
        };
        silence(head, plan.head.sudden).max(silence(boot, plan.boot.sudden))
    }
}

/// Held at the end of the type.
fn count(count: u32) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

/// How far the ratio seen lies from the one in force, in ppm of it, with its sign, if a steady block says so.
pub fn ratio_shift(view: &View<'_>) -> Option<i32> {
    let (seen, expected) = (view.signals.ratio, view.plan.slip.ratio);
    if seen == 0 || view.signals.ratio_spread >= STEADY {
        return None;
    }
    let off = seen.wrapping_sub(expected).cast_signed();
    let shift = i32::try_from(mul_div(off.unsigned_abs(), 1_000_000, expected)).unwrap_or(i32::MAX);
    Some(shift.saturating_mul(off.signum()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is judged when, as the conditions' gates say it in words: each phase with the drive not known to be off, and with it off.
    #[test]
    fn the_gates_are_open_as_their_words_say() {
        const ALWAYS: u16 = 1 << Gate::Always as u16;
        const LIVE: u16 = 1 << Gate::Live as u16;
        const ONCE_STARTED: u16 = 1 << Gate::LiveOnceStarted as u16;
        const OR_DOWN: u16 = 1 << Gate::LiveOrRunningDown as u16;
        const STARTED_OR_DOWN: u16 = 1 << Gate::StartedOrRunningDown as u16;
        const RUNNING: u16 = 1 << Gate::Running as u16;
        const OFF: u16 = 1 << Gate::DriveOff as u16;
        const STANDS: u16 = 1 << Gate::Standstill as u16;
        const DOWN: u16 = OR_DOWN | STARTED_OR_DOWN;
        const JUDGED: u16 = LIVE | ONCE_STARTED | DOWN;
        for (phase, on, off) in [
            (Phase::Unsure, JUDGED, 0),
            (Phase::Standstill, STANDS, STANDS),
            (Phase::Starting, LIVE | OR_DOWN, 0),
            (Phase::Running, JUDGED | RUNNING, 0),
            (Phase::CoastDown, DOWN, DOWN),
            (Phase::Inching, LIVE | DOWN, 0),
        ] {
            assert_eq!(gates(phase, false), ALWAYS | on, "{phase:?}");
            assert_eq!(gates(phase, true), ALWAYS | OFF | off, "{phase:?}, drive off");
        }
    }
}
