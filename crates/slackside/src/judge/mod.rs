//! Judge knows limits, nothing of pulses.
//!
//! # Time
//! Whatever falls due is settled first, in order of time, each stamped with its own; delays end before a sample is taken, at equal
//! times too. At one moment the order is: what a command says and moves, delays that end (by rank of their condition), a bypass
//! that ends, phase, all other alarms (by rank), first-out (the lowest rank of all that were raised at that moment), run permit,
//! feed permit. Ticks change nothing but how promptly the box acts.
//!
//! # Permits and latches
//! A stop holds both permits dropped while it is wrong or latched ([`AlarmState::holds`]); what drops feed holds the feed
//! permit so. A latched alarm that gets wrong again is raised again after its on-delay, and cannot be reset while it is
//! wrong, on-delay or not. See `operator` for who may do what, `phase` for starts and standstill, `sense` for what each
//! condition looks at.
//!
//! # Two ways, one result
//! A motion within everything that could change a condition costs a few comparisons (`quiet`); any other takes a step. With
//! [`Judge::plainly`] set every motion takes a step: tests hold the one against the other.

pub(crate) mod heat;
pub(crate) mod leg;
mod operator;
mod permits;
pub(crate) mod phase;
mod quiet;
mod recent;
mod reference;
mod rest;
pub(crate) mod rows;
pub(crate) mod sense;
mod speed;
mod survive;
mod value;
mod view;

use zerocopy::IntoBytes;

use crate::alarm::{AlarmState, bits};
use crate::conditions::{Condition, Gate};
use crate::input::Signal;
use crate::settings::plan::{Plan, act, fitted};
use crate::signals::{Reading, Signals};
use crate::time::{Now, SLOW_SHIFT, SWEEP, age, reached, wait};
use crate::units::{Micros, Ppm};
use crate::verdict::Phase;

use leg::{Leg, mark};
use phase::{slow_steps, slow_wait};
use rows::{Rows, Turned};
use sense::{Look, Says, Waits};

#[cfg(feature = "desk")]
pub(crate) use permits::Effects;
pub(crate) use permits::Holding;
pub use permits::of_rank_and_one;
pub use view::{Out, View};

/// Measured power older than this is stale, in microseconds: rated power is used instead.
pub(crate) const POWER_STALE: u32 = 60_000_000;
/// Slip that has been unknown for so long, in microseconds, is guessed at for its heat: from how much slower than normal the belt is.
pub(crate) const GUESS_AFTER: u32 = 5_000_000;
/// So much of that, in ppm, may be the motor's own slip under load and the creep of a sound belt.
const LOAD_SLIP: i32 = 50_000;
/// Late inputs are counted over a minute, in the slow count.
const LATE_WINDOW: u16 = (60_000_000_u32 >> SLOW_SHIFT) as u16 + 1;

/// How long a late input still counts, given when it came.
const fn late_left(slow: u32, came: u16) -> u16 {
    LATE_WINDOW.saturating_sub((slow as u16).wrapping_sub(came))
}

/// Slip below zero counts for no more than this in heat, in ppm: what is further below stops by its size, and most of it is no slip.
const MOST_BELOW: i32 = 100_000;

/// The slip that makes heat. A boot that seems to outrun the belt by more than any ratio is off by chance may be a head that outruns it, with
/// the sensors swapped: until somebody has looked, that is slip too.
pub(crate) fn heating(plan: &Plan, Reading { least, most }: Reading) -> i32 {
    let below = most.saturating_neg();
    if below >= plan.row(Condition::SlipNegative.rank()).limit { below.min(MOST_BELOW) } else { least }
}

/// What judge holds now, for screens and outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status {
    /// The drive may run.
    pub run_permit: bool,
    /// The leg may be fed.
    pub feed_permit: bool,
    /// What the leg is doing.
    pub phase: Phase,
    /// The first-out of the present trip group.
    pub first_out: Option<Condition>,
    /// Whether the boot must be reported clear before the next start.
    pub boot_cleared_needed: bool,
    /// The condition under a bypass.
    pub bypassed: Option<Condition>,
}

/// Holds motion against limits, by the list of conditions.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Judge {
    pub(crate) leg: Leg,
    clock: Clock,
    pub(crate) rows: Rows<{ Condition::COUNT }>,
}

/// When judge must be looked at.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    zerocopy::FromBytes,
    zerocopy::IntoBytes,
    zerocopy::Immutable,
    zerocopy::KnownLayout,
)]
#[repr(C)]
struct Clock {
    /// The earliest moment at which anything may change by itself.
    due: u32,
    /// The earliest at which anything but silence and slip heat may.
    other: u32,
}

impl Clock {
    const ZERO: Self = Self { due: 0, other: 0 };
}

impl Judge {
    /// A judge without a plan: nothing is allowed.
    #[must_use]
    pub const fn new() -> Self {
        Self { leg: leg::ZERO, rows: Rows::new(), clock: Clock::ZERO }
    }

    /// A motion: what moved. Each part is a call of its own: what it keeps on the stack is gone before conditions are looked at, deepest of all.
    pub fn moved(&mut self, moved: u8, out: &mut Out<'_>) {
        if !self.stays_quiet(moved, out.view) {
            self.follow(moved, out);
            self.step(out);
        }
    }

    /// Let the leg follow a motion.
    #[inline(never)]
    fn follow(&mut self, moved: u8, out: &mut Out<'_>) {
        let view = out.view;
        // What the last run said is no slip of a leg that stands, or starts and has not turned yet.
        let stale = self.leg.phase() == Phase::Standstill || self.leg.waits_for_head(view);
        if view.signals.short.is_known() && !stale {
            self.hear_slip(view);
        }
        self.leg.follow(moved, out);
    }

    /// Anything else that came in.
    #[inline(never)]
    pub fn take(&mut self, signal: &Signal, out: &mut Out<'_>) {
        let view = out.view;
        match *signal {
            Signal::DriveRunning(on) => self.leg.drive(on, out),
            Signal::DrivePower(watts) => {
                self.leg.power = watts.get();
                self.leg.power_at = view.now.us();
                self.leg.put(mark::POWER, true);
            }
            Signal::SpeedReference(share) => self.leg.reference.read(view.plan, share.get(), view.now.us()),
            Signal::Temperature(place, celsius) => {
                if let Some(slot) = self.leg.temperatures.get_mut(place.index()) {
                    *slot = celsius.get();
                }
            }
            Signal::OutletPlugged(plugged) => self.leg.put(mark::OUTLET, plugged),
            Signal::Command(origin, command) => self.command(origin, command, out),
            _ => return,
        }
        self.step(out);
    }

    /// An input came late.
    #[inline(never)]
    pub fn late(&mut self, out: &mut Out<'_>) {
        recent::push(&mut self.leg.lates, &mut self.leg.lates_count, out.view.now.slow() as u16);
        self.step(out);
    }

    /// The plan is not what it was when it was taken: nothing that is measured or judged by it can be trusted.
    pub fn plan_damaged(&mut self, out: &mut Out<'_>) {
        self.leg.put(mark::PLAN_DAMAGED, true);
        self.step(out);
    }

    /// Settle what falls due at this moment.
    pub fn settle(&mut self, out: &mut Out<'_>) {
        self.step(out);
    }

    /// Hold what is old.
    pub fn sweep(&mut self, view: &View<'_>) {
        self.leg.sweep(view);
    }

    /// How long until something falls due by itself, in microseconds. May be early where only a look is due, never late.
    #[must_use]
    pub fn wait(&self, now: u32) -> u32 {
        wait(now, self.clock.due)
    }

    /// The first thing is observed: time becomes known.
    #[inline(never)]
    pub fn begin(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        let now = view.now;
        self.leg.put(mark::BEGUN, true);
        self.leg.base = now.us();
        for stamp in [
            &mut self.leg.opened,
            &mut self.leg.off_at,
            &mut self.leg.brisk_at,
            &mut self.leg.pressed,
            &mut self.leg.unknown_since,
            &mut self.leg.power_at,
        ] {
            *stamp = now.us();
        }
        self.leg.reference.begin(now.us());
        self.leg.heat.started(now.us());
        // Until now these were ages.
        let window = view.plan.drive.start_window;
        for start in &mut self.leg.starts {
            *start = now.slow().wrapping_add(window.saturating_sub(*start));
        }
        self.step(out);
    }

    /// Bring everything to now.
    #[inline(never)]
    pub(crate) fn step(&mut self, out: &mut Out<'_>) {
        self.bring_up(out);
        let (waits, holding) = self.conclude(out);
        self.look_ahead(waits, holding, out.view);
    }

    /// Settle what time has brought, before conditions are looked at.
    #[inline(never)]
    fn bring_up(&mut self, out: &mut Out<'_>) {
        let view = out.view;
        let now = view.now.us();
        if reached(now, self.clock.other) {
            self.end_delays(out);
            self.settle_operator(out);
            let leg = &mut self.leg;
            let slow = view.now.slow();
            recent::settle(&mut leg.starts, &mut leg.starts_count, |end| reached(slow, end));
            recent::settle(&mut leg.changes, &mut leg.changes_count, |end| reached(now, end));
            recent::settle(&mut leg.lates, &mut leg.lates_count, |came| late_left(slow, came) == 0);
        }
        self.leg.settle_phase(out);
        let judged = |condition: Condition| view.plan.acts(condition.rank()) & act::JUDGED != 0;
        let running = self.leg.is_running(view);
        let head = self.leg.head(view);
        let reference = running && judged(Condition::ReferenceFault);
        self.leg.reference.settle(view.plan, &head, reference, now);
        self.settle_slip_unknown(running && judged(Condition::SlipHeat), view);
        self.feed_heat(view, now);
    }

    /// Look at all conditions, again where what they say changes what they are judged by. How long to wait, and what holds permits.
    fn conclude(&mut self, out: &mut Out<'_>) -> (Waits, Holding) {
        let (mut waits, mut holding) = self.evaluate(out);
        let rollback = self.rows.get(Condition::Rollback.rank()) & (bits::BEYOND | bits::OUT);
        if self.leg.phase() == Phase::Standstill && rollback == bits::BEYOND {
            self.leg.leave_standstill(out);
            (waits, holding) = self.evaluate(out);
        }
        if self.resolve(holding, out) {
            (waits, holding) = self.evaluate(out);
            self.resolve(holding, out);
        }
        (waits, holding)
    }

    /// Work out when to come back.
    #[inline(never)]
    fn look_ahead(&mut self, mut waits: Waits, holding: Holding, view: &View<'_>) {
        let now = view.now.us();
        let quiet = !holding.watched && self.is_quiet();
        self.leg.put(mark::QUIET, quiet);
        let heat = Condition::SlipHeat.rank();
        let beyond = self.rows.has(heat, bits::BEYOND);
        self.leg.heat.next(&view.plan.drive, (view.limit(heat).limit, beyond), now);
        // While all is quiet standstill comes by silence alone.
        let phase = if quiet { u32::MAX } else { self.leg.next_phase(view) };
        waits.other = waits.other.min(phase).min(self.other_wait(view)).clamp(1, SWEEP);
        self.clock.other = now.wrapping_add(waits.other);
        self.waits(waits, view);
    }

    /// How long until anything but conditions, phase and heat may change something; `u32::MAX` where nothing does.
    pub(crate) fn other_wait(&self, view: &View<'_>) -> u32 {
        let (leg, now) = (&self.leg, view.now.us());
        let starts = if leg.starts_count > 0 { slow_wait(view, leg.starts[0]) } else { u32::MAX };
        let late = late_left(view.now.slow(), leg.lates[0]);
        let lates = if leg.lates_count > 0 { slow_steps(view, late.into()) } else { u32::MAX };
        let people = self.next_operator(view).min(self.power_left(view).unwrap_or(u32::MAX));
        starts.min(lates).min(people).min(leg.reference.next(view.plan, now))
    }

    /// Note how long to wait.
    fn waits(&mut self, waits: Waits, view: &View<'_>) {
        let now = view.now.us();
        // Every step leaves time behind it, whatever a deadline may say.
        let soonest = waits.silence.min(waits.other).min(self.leg.heat.wait(now)).clamp(1, SWEEP);
        self.clock.due = now.wrapping_add(soonest);
    }

    /// How long until anything but silence and heat may change something.
    fn other_left(&self, view: &View<'_>) -> u32 {
        wait(view.now.us(), self.clock.other)
    }

    pub(crate) fn head_silent(&self) -> bool {
        self.rows.has(Condition::HeadSilent.rank(), bits::BEYOND)
    }

    /// Delays that end at this moment turn their alarms.
    fn end_delays(&mut self, out: &mut Out<'_>) {
        let now = out.view.now.us();
        let mut from = 0;
        while let Some(rank) = self.rows.next(from, bits::PENDING, bits::PENDING) {
            from = rank.wrapping_add(1);
            // Only what would end now has to wait: what ends later hangs on nothing that is in doubt till then.
            if self.rows.wait(rank, now) == 0
                && !self.rows.has(rank, bits::ACTIVE)
                && let Some(told) = self.leg.boot_will_tell(rank, out.view)
                && let Some(due) = self.rows.due.get_mut(rank)
                && reached(told, *due)
            {
                *due = told;
            }
            let turned = self.rows.settle(rank, now);
            self.turn(rank, turned, out);
        }
    }

    /// Whether the head is silent, as its condition is about to find: whether slip counts hangs on it, at ranks before its own too.
    fn falls_silent(&self, look: &Look<'_>, view: &View<'_>) -> bool {
        let rank = Condition::HeadSilent.rank();
        let is_judged = look.judges(Condition::row(rank));
        if self.rows.has(rank, bits::OUT) {
            return self.head_silent();
        }
        is_judged && self.leg.head_is_lost(&look.head, &look.boot, view).unwrap_or(self.head_silent())
    }

    /// Look at every condition, and turn the alarms that follow.
    #[inline(never)]
    fn evaluate(&mut self, out: &mut Out<'_>) -> (Waits, Holding) {
        let view = out.view;
        let mut holding = Holding::default();
        let mut look = self.leg.look(view);
        let silent = self.falls_silent(&look, view);
        look.count_slip(self.leg.slip_counts(view, silent));
        for ((rank, row), limit) in Condition::ROWS.iter().enumerate().zip(&view.plan.rows) {
            let mut bits = self.rows.get(rank);
            if bits & bits::OUT == 0 {
                // What is right and was right stays as it is: no delay runs then.
                let moves = bits & (bits::BEYOND | bits::ACTIVE) != 0;
                let judged = look.judges(row);
                if judged || moves {
                    let says = if judged { self.leg.says(row, limit, &mut look) } else { Says::Within };
                    if moves || says == Says::Beyond {
                        self.sample(rank, says, &mut look, out);
                        bits = self.rows.get(rank);
                    }
                }
                if row.gate == Gate::LiveOnceStarted && look.suppresses != (bits & bits::SUPPRESSED != 0) {
                    self.suppress(rank, look.suppresses, out);
                    bits = self.rows.get(rank);
                }
            }
            // What was switched off may be latched from before; and whatever claims to be wrong holds.
            if bits & (bits::BEYOND | bits::ACTIVE | bits::LATCHED) != 0 {
                holding.note(rank, bits, view);
            }
        }
        (look.waits, holding)
    }

    /// A condition said something that may matter.
    #[inline(never)]
    fn sample(&mut self, rank: usize, says: Says, look: &mut Look<'_>, out: &mut Out<'_>) {
        let now = out.view.now.us();
        if says == Says::Beyond && self.rows.wants_note(rank) {
            let value = self.leg.value(Condition::row(rank), true, out.view).0;
            self.rows.note(rank, value);
        }
        let turned = self.rows.sample(rank, says, out.view.limit(rank), now);
        look.waits.other = look.waits.other.min(self.rows.wait(rank, now));
        // Last, so that what is kept here is off the stack by then.
        self.turn(rank, turned, out);
    }

    /// Suppress an alarm, or no longer. Only a quiet one is suppressed: what was raised or latched stays in sight.
    #[inline(never)]
    fn suppress(&mut self, rank: usize, suppresses: bool, out: &mut Out<'_>) {
        if !suppresses || self.rows.state(rank) == AlarmState::Normal {
            self.turn_bits(rank, bits::SUPPRESSED, suppresses, out);
        }
    }

    /// What the end of a delay does to the alarm.
    fn turn(&mut self, rank: usize, turned: Turned, out: &mut Out<'_>) {
        let view = out.view;
        if turned == Turned::No {
            return;
        }
        let raised = turned == Turned::Raised;
        // What was taken for an ordinary stop has shown itself by its end.
        let jammed = !raised && self.may_stop_softly(rank, view) && self.leg.jammed(view);
        // The state before: with the alarm the other way round.
        let before = self.rows.get(rank) ^ bits::ACTIVE;
        if raised && !self.rows.has(rank, bits::SHELVED) {
            self.raise(rank, !self.stops_softly(rank, view), view);
        }
        if jammed && view.plan.acts(rank) & act::LATCHING != 0 {
            self.rows.put(rank, bits::LATCHED, true);
            self.leg.put(mark::BOOT_CLEARED_NEEDED, true);
        }
        self.tell_alarm(rank, AlarmState::of(before), out);
    }

    /// It is wrong anew: a person has to acknowledge it, and as a rule it stays.
    pub(crate) fn raise(&mut self, rank: usize, stays: bool, view: &View<'_>) {
        self.rows.put(rank, bits::UNACKNOWLEDGED, true);
        if stays && view.plan.acts(rank) & act::LATCHING != 0 {
            self.rows.put(rank, bits::LATCHED, true);
        }
        self.tripped(rank, view);
    }

    /// An alarm was raised: if it stops the leg, note what follows.
    fn tripped(&mut self, rank: usize, view: &View<'_>) {
        if view.plan.acts(rank) & act::STOP == 0 {
            return;
        }
        let raised = (rank as u8).wrapping_add(1);
        self.leg.raised = if self.leg.raised == 0 { raised } else { self.leg.raised.min(raised) };
        if Condition::row(rank).needs_boot_cleared() && !self.stops_softly(rank, view) {
            self.leg.put(mark::BOOT_CLEARED_NEEDED, true);
        }
    }

    /// Whether an ordinary stop looks like this condition: without a drive contact, as a loss of speed.
    fn may_stop_softly(&self, rank: usize, view: &View<'_>) -> bool {
        let slow = [Condition::DeepUnderspeed, Condition::NoMotion].iter().any(|condition| condition.rank() == rank);
        slow && !view.plan.has(fitted::DRIVE_CONTACT)
    }

    /// Without a drive contact an ordinary stop looks like a loss of speed. It still drops the permits, but it does not
    /// latch and asks for no look into the boot, if the head lost its speed too and slip is not high; unless by its end it
    /// shows that both shafts [jammed](Leg::jammed).
    fn stops_softly(&self, rank: usize, view: &View<'_>) -> bool {
        let high = |condition: Condition| self.rows.has(condition.rank(), bits::BEYOND);
        let short = view.signals.short;
        self.may_stop_softly(rank, view)
            && self.leg.head_is_slow(view)
            && !high(Condition::SlipHigh)
            && !high(Condition::SlipVeryHigh)
            && short.least < view.limit_of(Condition::SlipHigh).limit
    }

    /// Change bits of an alarm and tell if its state changed with them.
    fn turn_bits(&mut self, rank: usize, bit: u8, is: bool, out: &mut Out<'_>) {
        let from = self.rows.state(rank);
        self.rows.put(rank, bit, is);
        self.tell_alarm(rank, from, out);
    }

    #[inline(never)]
    fn tell_alarm(&self, rank: usize, from: AlarmState, out: &mut Out<'_>) {
        let to = self.rows.state(rank);
        if from != to {
            let (wrong, setpoint) = (self.rows.has(rank, bits::BEYOND), out.view.limit(rank).setpoint);
            let (mut value, detail) = self.leg.value(Condition::row(rank), wrong, out.view);
            // Raised while back in its deadband: what was judged is what was beyond.
            if wrong && to == AlarmState::Unacknowledged && self.rows.noted(rank) >= setpoint {
                value = value.map(|value| if value < setpoint { self.rows.noted(rank) } else { value });
            }
            out.alarm(rank, (from, to), (value, detail));
        }
    }

    /// Slip became unknown, or known again.
    fn settle_slip_unknown(&mut self, judged: bool, view: &View<'_>) {
        let known = self.leg.slip_counts(view, self.head_silent()) && view.signals.short.is_known();
        if !judged || known {
            self.leg.put(mark::SLIP_UNKNOWN, false);
        } else if !self.leg.has(mark::SLIP_UNKNOWN) {
            self.leg.put(mark::SLIP_UNKNOWN, true);
            self.leg.unknown_since = view.now.us();
        } else if age(view.now.us(), self.leg.unknown_since) >= GUESS_AFTER {
            let normal = self.leg.scaled_speed(view.plan.boot.normal);
            let loss = self.leg.boot(view).loss(normal);
            self.leg.heat.slip = loss.map_or(0, |loss| loss.saturating_sub(LOAD_SLIP).max(0));
        }
    }

    /// Slip is known. While the boot is overdue it grows with every head edge; what it came to is known with the next boot edge, and goes
    /// into the heat from the beginning.
    fn hear_slip(&mut self, view: &View<'_>) {
        let reading = view.signals.short;
        let was_open = self.leg.has(mark::HEAT_OPEN);
        self.leg.put(mark::HEAT_OPEN, reading.is_open());
        if reading.is_open() && !was_open {
            self.leg.heat.mark_sure(&view.plan.drive, view.now.us());
        }
        self.leg.heat.slip = heating(view.plan, reading);
        if was_open && !reading.is_open() {
            let since = self.leg.heat.go_back();
            self.feed_heat(view, since);
        }
    }

    /// Let power times slip go into the heat, from a moment on. Whether its limit may now be reached sooner than at the last check.
    fn feed_heat(&mut self, view: &View<'_>, since: u32) -> bool {
        let standing = self.leg.drive_off(view) || self.leg.phase() == Phase::Standstill;
        // A head that turns at speed rubs, whatever the drive contact says.
        let power = if standing && self.leg.head_turns(&self.leg.head(view), view) == 0 {
            self.leg.put(mark::HEAT_OPEN, false);
            0
        } else if self.power_left(view).is_some() && self.leg.power > 0 {
            self.leg.power
        } else {
            view.plan.drive.assumed_power
        };
        let limit = view.limit_of(Condition::SlipHeat).limit;
        self.leg.heat.feed(&view.plan.drive, power, limit, since)
    }

    /// How long the newest reading of the power meter still counts, if it does.
    fn power_left(&self, view: &View<'_>) -> Option<u32> {
        let left = POWER_STALE.saturating_sub(age(view.now.us(), self.leg.power_at));
        let counts = view.plan.has(fitted::POWER_METER) && self.leg.has(mark::POWER) && left > 0;
        counts.then_some(left)
    }

    /// What judge holds now.
    #[must_use]
    pub fn status(&self) -> Status {
        Status {
            run_permit: self.leg.has(mark::RUN),
            feed_permit: self.leg.has(mark::FEED),
            phase: self.leg.phase(),
            first_out: of_rank_and_one(self.leg.first_out),
            boot_cleared_needed: self.leg.has(mark::BOOT_CLEARED_NEEDED),
            bypassed: self.bypassed(),
        }
    }

    /// The state of an alarm.
    #[must_use]
    pub fn alarm(&self, condition: Condition) -> AlarmState {
        self.rows.state(condition.rank())
    }

    /// Slip heat at `now`, as a share of the budget; not before what last changed it.
    #[must_use]
    pub fn slip_heat_at(&self, plan: &Plan, now: Micros) -> Ppm {
        heat::Heat::share(self.leg.heat.no_sooner(&plan.drive, Now::new(now).us()))
    }

    /// Whether what the windows of slip say is so at `now`: not of a leg that stands or has not turned yet, nor once the head has been silent
    /// for three pitches at half speed, or both shafts together. Then it is what was.
    #[must_use]
    pub fn knows_slip(&self, signals: &Signals, plan: &Plan, now: Micros) -> bool {
        let (leg, view) = (&self.leg, &View { plan, signals, now: Now::new(now) });
        leg.slip_counts(view, self.rows.has(Condition::BothSilent.rank(), bits::BEYOND))
            && !matches!(leg.phase(), Phase::Standstill | Phase::Unsure)
            && !leg.head(view).is_silent(leg.scaled(plan.drive.head_silent))
    }

    /// Take every motion the long way from the next step on: the oracle of the tests.
    #[doc(hidden)]
    pub fn plainly(&mut self) {
        self.leg.put(mark::QUIET, false);
    }

    /// The state's own bytes.
    pub fn parts(&self, each: &mut dyn FnMut(&[u8])) {
        each(self.leg.as_bytes());
        each(self.rows.due.as_bytes());
        each(&self.rows.bits);
        each(self.rows.noted.as_bytes());
        each(self.clock.as_bytes());
    }

    /// The same, to be put back.
    pub fn parts_mut(&mut self, each: &mut dyn FnMut(&mut [u8])) {
        each(self.leg.as_mut_bytes());
        each(self.rows.due.as_mut_bytes());
        each(&mut self.rows.bits);
        each(self.rows.noted.as_mut_bytes());
        each(self.clock.as_mut_bytes());
    }
}

impl Default for Judge {
    fn default() -> Self {
        Self::new()
    }
}
