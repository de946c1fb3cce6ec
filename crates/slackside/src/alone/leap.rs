//! For the desk: leaping over stored signals. Not for the box.
//!
//! Tuning judges the same signals under thousands of limits. While the leg runs steadily each condition that a row may move is apart
//! from all others: a list of crossings and two delays. Whoever has the signals stored follows them, and tells judge only what turns
//! ([`Alone::turn`], [`Alone::settle_turns`]): alarms, first-out and permits are judge's own. [`Outlook`] says what to follow and until
//! when; [`Alone::leap`] puts judge where it would be had it been told every row. Everything out of the ordinary must still be told to
//! [`Alone::observe`].
//!
//! What turns so is told without value and detail, which only the signals of that moment could tell.

use core::ops::Deref;

use super::Alone;
use crate::alarm::{AlarmState, Set, bits};
use crate::conditions::{Condition, Flag, Row, Sense};
use crate::judge::heat::Heat;
use crate::judge::leg::mark;
use crate::judge::phase::{AT_SPEED, turn};
use crate::judge::rows::holds;
use crate::judge::{Effects, GUESS_AFTER, Judge, Out, POWER_STALE, View, heating, sense};
use crate::settings::plan::{Plan, act, fitted};
use crate::signals::{Reading, Signals};
use crate::time::{Now, SWEEP, age, reached};
use crate::units::{Joules, Micros, Span, Watts};
use crate::verdict::{Change, Phase, Verdict};

/// The conditions whose delays a leap follows: every motion of a running leg may move them.
pub const LEAPT: [Condition; 13] = [
    Condition::SlipVeryHigh,
    Condition::SlipHigh,
    Condition::SlipImpossible,
    Condition::SlipNegative,
    Condition::BeltNotFollowing,
    Condition::DeepUnderspeed,
    Condition::Underspeed,
    Condition::NoMotion,
    Condition::HeadUnderspeed,
    Condition::MistrackingDuty,
    Condition::RatioShifted,
    Condition::SlipMean,
    Condition::RatioOrWiring,
];

/// While one of these holds the belt is not at speed.
const SLOW: [Condition; 2] = [Condition::Underspeed, Condition::DeepUnderspeed];

/// Whether time alone, with no silence and no delay, may bring a condition to its limit.
const fn waits(row: &Row) -> bool {
    matches!(row.sense, Sense::Since(_) | Sense::Flag(Flag::DriveContact | Flag::ResetHeld))
}

/// The alarms that hold while turns are told, and what they do.
#[derive(Clone, Copy, Debug)]
pub struct Held {
    now: Set,
    /// When permits were last settled.
    settled: Set,
    effects: Effects,
}

impl Held {
    /// Whether a condition keeps the belt from being at speed while it holds.
    #[must_use]
    pub const fn slows(&self, condition: Condition) -> bool {
        self.effects.is_slow(Set::EMPTY.put(condition.rank(), true))
    }

    /// Whether one of them keeps the belt from being at speed.
    #[must_use]
    pub const fn is_slow(&self) -> bool {
        self.effects.is_slow(self.now)
    }
}

/// One condition as a leap sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeaptCell {
    /// Whether it is judged at all.
    pub judged: bool,
    /// Beyond its limit now, deadband counted.
    pub beyond: bool,
    /// An alarm, delays counted.
    pub active: bool,
    /// What its turns do depends on more than alarms: judge must be told the row.
    pub seen: bool,
    /// When the delay now running ends; [`Micros::MAX`] if none runs.
    pub due: Micros,
    /// The delay before it becomes an alarm.
    pub on_delay: Span,
    /// The delay before it ends.
    pub off_delay: Span,
    /// From here on it is beyond: in the unit that its sense compares in; for speeds microseconds a turn, and beyond if longer.
    pub limit: i64,
    /// Below this it is within; for speeds microseconds a turn, and within if no longer.
    pub clear: i64,
}

/// So many boot pitches at speed, with none surely slow between them, are as good as more.
pub const BRISK_ENOUGH: u8 = AT_SPEED;

/// How slow a shaft may get, in microseconds a turn, before more than delays can change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Guard {
    /// At the head.
    pub head: u32,
    /// At the boot.
    pub boot: u32,
    /// How fast the boot may get.
    pub fast: u32,
}

/// What judge waits for.
#[derive(Clone, Copy, Debug)]
pub struct Outlook {
    /// Nothing but what is watched here, silence and slip heat can change anything before.
    pub until: Micros,
    /// When old stamps must be held again: [`Alone::look_on`] by then.
    pub sweep: Micros,
    /// The alarms that hold.
    pub held: Held,
    /// From the least to the most: a mean of slip with which the next row may find the sensors swapped.
    pub swapped: Option<(i32, i32)>,
    /// The watched conditions, in the order of [`LEAPT`].
    pub cells: [LeaptCell; LEAPT.len()],
    /// Silence and pitches beyond this need a scan.
    pub guard: Guard,
    /// Boot pitches at speed since the last that was surely slow, up to [`BRISK_ENOUGH`]: at speed is where underspeed clears,
    /// slow where it is beyond.
    pub brisk: u8,
    /// Power where it is not measured, or its reading is stale.
    pub assumed_power: Watts,
    /// Whether measured power counts.
    pub power_meter: bool,
    /// The newest power reading.
    pub power: Option<(Micros, Watts)>,
}

const fn stale_at(read: Micros) -> Micros {
    read.after(Span::new(POWER_STALE))
}

impl Outlook {
    /// The power that makes slip heat at `now`, with `newest` the newest reading.
    #[must_use]
    pub fn power_at(&self, newest: Option<(Micros, Watts)>, now: Micros) -> Watts {
        let counts = newest.filter(|(at, power)| self.power_meter && *power > Watts::ZERO && now < stale_at(*at));
        counts.map_or(self.assumed_power, |(_, power)| power)
    }

    /// Whether power is measured and its newest reading has gone stale by `now`, or never came.
    #[must_use]
    pub fn awaits_power(&self, now: Micros) -> bool {
        self.power_meter && self.power.is_none_or(|(at, _)| now >= stale_at(at))
    }
}

/// The thermal image apart from judge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeatCourse(Heat);

impl HeatCourse {
    /// Bring it to `now`, looking at it on the way when judge would have. Whether it stayed clear of its limit.
    pub fn pass(&mut self, plan: &Plan, now: Micros) -> bool {
        let now = Now::new(now).us();
        let mut clear = true;
        while reached(now, self.0.check()) {
            let at = self.0.check();
            clear &= self.is_clear(plan, at);
            self.0.next(&plan.drive, (limit(plan), false), at);
        }
        clear && self.is_clear(plan, now)
    }

    /// With so much heat at `now`, and none coming in.
    #[must_use]
    pub fn holding(plan: &Plan, heat: Joules, now: Micros) -> Self {
        let mut course = Heat::default();
        course.begin(&plan.drive, heat);
        course.started(Now::new(now).us());
        Self(course)
    }

    /// Old stamps are held, as of `now`.
    pub fn sweep(&mut self, plan: &Plan, now: Micros) {
        self.0.sweep(&plan.drive, Now::new(now).us());
    }

    /// A row: what goes in from `now` on is so many watts times the slip that this reading stands for. Whether it stayed clear of its limit.
    pub fn feed(&mut self, plan: &Plan, now: Micros, watts: Watts, slip: Reading) -> bool {
        let clear = self.pass(plan, now);
        let now = Now::new(now).us();
        self.0.slip = heating(plan, slip);
        self.0.feed(&plan.drive, watts.get(), limit(plan), now);
        let stays = self.is_clear(plan, now);
        self.0.next(&plan.drive, (limit(plan), false), now);
        clear && stays
    }

    /// As [`pass`](Self::pass), where no one asks whether it stayed clear.
    pub fn wait(&mut self, plan: &Plan, now: Micros) {
        let now = Now::new(now).us();
        while reached(now, self.0.check()) {
            self.0.next(&plan.drive, (limit(plan), false), self.0.check());
        }
    }

    /// As [`feed`](Self::feed), where no one asks whether it stayed clear.
    pub fn take(&mut self, plan: &Plan, now: Micros, watts: Watts, slip: Reading) {
        self.wait(plan, now);
        let now = Now::new(now).us();
        self.0.slip = heating(plan, slip);
        self.0.feed(&plan.drive, watts.get(), limit(plan), now);
        self.0.next(&plan.drive, (limit(plan), false), now);
    }

    /// Whether no step soon can find it beyond: judge looks a cell ahead, and at least once a cell where it is near.
    fn is_clear(&self, plan: &Plan, now: u32) -> bool {
        self.reach_us(plan, now) < limit(plan).unsigned_abs()
    }

    fn reach_us(&self, plan: &Plan, now: u32) -> u32 {
        self.0.at(&plan.drive, now).saturating_add(self.0.inflow().saturating_mul(4))
    }

    /// How near to its limit it comes at `now`, in 2^-30 of the budget: what it will hold a few cells on.
    #[must_use]
    pub fn reach(&self, plan: &Plan, now: Micros) -> u32 {
        self.reach_us(plan, Now::new(now).us())
    }

    /// The heat from which the condition is beyond, in 2^-30 of the budget.
    #[must_use]
    pub fn limit(plan: &Plan) -> u32 {
        limit(plan).unsigned_abs()
    }

    /// The heat at `now`, in millijoules.
    #[must_use]
    pub fn at(&self, plan: &Plan, now: Micros) -> u64 {
        let heat = u64::from(self.0.at(&plan.drive, Now::new(now).us()));
        // 2^32 times 2^32 fits; a thousand times that does not.
        (heat.wrapping_mul(plan.drive.heat_budget.into()) >> 20).wrapping_mul(1_000) >> 10
    }
}

/// The heat from which the condition is beyond, in 2^-30 of the budget.
fn limit(plan: &Plan) -> i32 {
    plan.row(Condition::SlipHeat.rank()).limit
}

/// The shift of a seen ratio against the one in force, in ppm, if its block was steady enough to say so.
#[must_use]
pub fn steady_shift(plan: &Plan, signals: &Signals) -> Option<i32> {
    sense::ratio_shift(&View { plan, signals, now: Now::new(Micros::ZERO) })
}

impl<P: Deref<Target = Plan>> Alone<P> {
    fn view(&self) -> View<'_> {
        View { plan: &self.plan, signals: &self.signals, now: self.now() }
    }

    /// Whether leaping is allowed: a leg with both shafts fitted and no speed reference that runs at speed, or is held to be too slow,
    /// with slip known, nothing rubbing, no shaft silent and heat below its limit.
    fn is_steady(&self, view: &View<'_>) -> bool {
        let (leg, rows) = (&self.judge.leg, &self.judge.rows);
        let beyond = |condition: Condition| rows.has(condition.rank(), bits::BEYOND);
        // While one of these holds, every step would find the leg at speed or not and end with it not at speed.
        let slow = SLOW.into_iter().any(|slow| rows.state(slow.rank()).holds());
        let unknown = [
            Condition::HeadSilent,
            Condition::FasterThanNormal,
            Condition::BothSilent,
            Condition::Mistracking,
            Condition::MistrackingSustained,
            Condition::SlipHeat,
        ];
        let swapped = sense::swapped_means(view);
        leg.has(mark::BEGUN)
            && leg.phase() == Phase::Running
            && leg.has(mark::AT_SPEED) != slow
            && !leg.drive_off(view)
            && !leg.has(mark::SLIP_UNKNOWN | mark::HEAT_OPEN)
            && (!leg.has(mark::UNPERMITTED) || view.plan.has(fitted::DRIVE_CONTACT))
            && view.signals.short.is_known()
            && view.plan.head.is_fitted()
            && view.plan.boot.is_fitted()
            && !view.plan.has(fitted::REFERENCE)
            && leg.head(view).is_closed()
            && leg.boot(view).is_closed()
            && view.signals.contacts.iter().all(|contact| contact.rubs == 0)
            && !unknown.into_iter().any(beyond)
            // A delay that runs waits for what the boot will tell, and a leap ends it when it is due.
            && !LEAPT.into_iter().any(|condition| leg.boot_will_tell(condition.rank(), view).is_some())
            && !swapped.is_some_and(|(least, most)| (least..=most).contains(&view.signals.slip_mean))
            && !leg.runs_up(view)
    }

    /// What judge waits for, where leaping is allowed.
    #[must_use]
    pub fn outlook(&self) -> Option<Outlook> {
        let view = self.view();
        if !self.is_steady(&view) {
            return None;
        }
        let (leg, rows, now) = (&self.judge.leg, &self.judge.rows, view.now);
        let cells = LEAPT.map(|condition| {
            let (rank, limit) = (condition.rank(), view.limit_of(condition));
            let pending = rows.has(rank, bits::PENDING);
            LeaptCell {
                judged: view.plan.acts(rank) & act::JUDGED != 0,
                beyond: rows.has(rank, bits::BEYOND),
                active: rows.has(rank, bits::ACTIVE),
                seen: judge_sees(&view, condition),
                due: if pending { now.after(rows.wait(rank, now.us())).at() } else { Micros::MAX },
                on_delay: Span::new(limit.on_delay),
                off_delay: Span::new(limit.off_delay),
                limit: limit.limit.into(),
                clear: limit.clear.into(),
            }
        });
        let (head, boot) = (&view.plan.head, &view.plan.boot);
        let held = self.held();
        Some(Outlook {
            until: now.after(self.wait_for_others(&view)).at(),
            sweep: now.after(self.sweep_wait()).at(),
            held: Held { now: held, settled: held, effects: Effects::of(view.plan) },
            swapped: sense::swapped_means(&view),
            cells,
            guard: Guard {
                head: head.sudden.min(head.standing).min(view.plan.drive.head_silent),
                boot: boot.sudden.min(boot.standing),
                fast: turn(view.limit_of(Condition::FasterThanNormal).limit),
            },
            brisk: leg.brisk,
            assumed_power: Watts::new(view.plan.drive.assumed_power),
            power_meter: view.plan.has(fitted::POWER_METER),
            power: leg.has(mark::POWER).then(|| (now.whole(leg.power_at), Watts::new(leg.power))),
        })
    }

    /// How long until anything but the watched delays, silence and heat may change something.
    fn wait_for_others(&self, view: &View<'_>) -> u32 {
        const OTHERS: Set = {
            let (mut others, mut leapt): (Set, &[Condition]) = (Set::from_bits((1 << Condition::COUNT) - 1), &LEAPT);
            while let [one, rest @ ..] = leapt {
                others = others.put(one.rank(), false);
                leapt = rest;
            }
            others
        };
        let judge = &self.judge;
        let delays = OTHERS.map(|rank| judge.rows.wait(rank, view.now.us())).min().unwrap_or(SWEEP);
        delays.min(self.look_wait(view)).min(judge.other_wait(view)).min(SWEEP)
    }

    /// How long until what conditions look at may change by itself.
    fn look_wait(&self, view: &View<'_>) -> u32 {
        let Judge { leg, rows, .. } = &self.judge;
        let mut look = leg.look(view);
        look.count_slip(leg.slip_counts(view, self.judge.head_silent()));
        for (rank, row) in Condition::ROWS.iter().enumerate() {
            // Most have nothing to say of that: where assertions are on, they are asked all the same.
            if (waits(row) || cfg!(debug_assertions)) && !rows.has(rank, bits::OUT) && look.judges(row) {
                let before = look.waits.other;
                leg.says(row, view.limit(rank), &mut look);
                debug_assert!(waits(row) || look.waits.other == before, "{row:?} waits");
            }
        }
        look.waits.other
    }

    /// The alarms that hold.
    fn held(&self) -> Set {
        let rows = &self.judge.rows;
        (0..Condition::COUNT).fold(Set::EMPTY, |set, rank| set.put(rank, holds(rows.get(rank))))
    }

    /// Between leaps: nothing but turns has come up to `at`, and the newest power reading is `power`. What [`Outlook::until`] and
    /// [`Outlook::sweep`] are from here. Old stamps are held, so it may be called at a sweep and before it.
    pub fn look_on(&mut self, at: Micros, power: Option<(Micros, Watts)>) -> (Micros, Micros) {
        self.newest = at.get();
        let now = self.now();
        self.read_power(power);
        self.signals.sweep(now.us());
        let view = View { plan: &self.plan, signals: &self.signals, now };
        self.judge.sweep(&view);
        (now.after(self.wait_for_others(&self.view())).at(), now.after(self.sweep_wait()).at())
    }

    /// Whether the slip that makes heat may be guessed at before `until`. A guess is made anew with each step, and when a step comes hangs on the
    /// heat: so it must be known to the unit.
    #[must_use]
    pub fn may_guess(&self, until: Micros) -> bool {
        let (leg, now) = (&self.judge.leg, self.now());
        let unknown = if leg.has(mark::SLIP_UNKNOWN) { age(now.us(), leg.unknown_since) } else { 0 };
        let more = until.get().saturating_sub(self.newest);
        leg.phase() == Phase::Running && more.saturating_add(unknown.into()) >= GUESS_AFTER.into()
    }

    fn read_power(&mut self, power: Option<(Micros, Watts)>) {
        if let Some((at, watts)) = power {
            let leg = &mut self.judge.leg;
            leg.put(mark::POWER, true);
            leg.power = watts.get();
            leg.power_at = Now::new(at).us();
        }
    }

    /// A watched condition turns at a moment: its delay ends, or it has none. In one step first those whose delays end, by rank,
    /// then the others, by rank; [`settle_turns`](Self::settle_turns) ends the step. Whether it was raised and is in sight.
    pub fn turn(&mut self, at: Micros, condition: Condition, held: &mut Held, sink: &mut dyn FnMut(&Verdict)) -> bool {
        self.newest = at.get();
        let view = View { plan: &self.plan, signals: &self.signals, now: self.now() };
        turn_alarm(&mut self.judge, condition, &mut held.now, &view, sink);
        let bits = self.judge.rows.get(condition.rank());
        bits & (bits::ACTIVE | bits::UNACKNOWLEDGED | bits::SHELVED) == bits::ACTIVE | bits::UNACKNOWLEDGED
    }

    /// The conditions of whose turns nothing follows but their alarms, a bit for each place in [`LEAPT`], while turns alone are told. All, if a
    /// stop holds that only a person can take back, told as the first and with permits settled. Those that do not stop, if the feed is
    /// held until a person has looked.
    #[must_use]
    pub fn idle(&self, held: &Held) -> u16 {
        const ALL: u16 = (1 << LEAPT.len()) - 1;
        let (leg, rows) = (&self.judge.leg, &self.judge.rows);
        let has = |rank, mask, bits| rows.get(rank) & mask == bits;
        if leg.first_out != 0 {
            let stays = |rank| {
                held.effects.stops(Set::EMPTY.put(rank, true))
                    && has(rank, bits::LATCHED | bits::SHELVED, bits::LATCHED)
            };
            let stopped = held.effects.stops(held.settled) && { held.now }.any(stays);
            return if stopped { ALL } else { 0 };
        }
        let hunts = leg.has(mark::FEED_HUNTS)
            && has(Condition::FeedHunting.rank(), bits::ACTIVE | bits::SHELVED | bits::OUT, bits::ACTIVE);
        if !hunts || leg.has(mark::FEED) || held.effects.stops(held.settled.or(held.now)) {
            return 0;
        }
        let stop = |condition: &Condition| held.effects.stops(Set::EMPTY.put(condition.rank(), true));
        LEAPT.iter().enumerate().fold(ALL, |idle, (number, condition)| idle & !(u16::from(stop(condition)) << number))
    }

    /// As [`turn`](Self::turn), of an [idle](Self::idle) condition that was raised before in this leap: all that raising it brings is there.
    #[inline]
    pub fn turn_again(&mut self, at: Micros, condition: Condition, held: &mut Held, sink: &mut dyn FnMut(&Verdict)) {
        let rank = condition.rank();
        let before = self.judge.rows.get(rank);
        let after = before ^ bits::ACTIVE;
        if let Some(bits) = self.judge.rows.bits.get_mut(rank) {
            *bits = after;
        }
        held.now = held.now.put(rank, holds(after));
        let setpoint = self.plan.row(rank).setpoint;
        let (from, to) = (state_of(before), state_of(after));
        sink(&Verdict { at, change: Change::Alarm { condition, from, to, value: None, setpoint, detail: 0 } });
    }

    /// As [`turn_again`](Self::turn_again), so many times in turn, each of which is told by whoever knows when. Whether the first raised it.
    pub fn turn_often(&mut self, condition: Condition, times: usize, held: &mut Held) -> bool {
        let rank = condition.rank();
        let before = self.judge.rows.get(rank);
        let raises = before & bits::ACTIVE == 0;
        self.judge.rows.put(rank, bits::ACTIVE, raises == (times % 2 == 1));
        held.now = held.now.put(rank, holds(self.judge.rows.get(rank)));
        raises
    }

    /// Turns of [idle](Self::idle) conditions were told. Whether the belt is at speed by now, if that may have changed.
    pub fn settle_idle(&mut self, at_speed: Option<bool>) {
        self.judge.leg.raised = 0;
        if let Some(at_speed) = at_speed {
            self.judge.leg.put(mark::AT_SPEED, at_speed);
        }
    }

    /// All that turns in a step has turned: first-out and permits follow. `at_speed` says whether the belt is, should that matter.
    /// Whether the step in which the belt will be at speed matters from here on.
    pub fn settle_turns(
        &mut self,
        at: Micros,
        held: &mut Held,
        at_speed: impl FnOnce() -> bool,
        sink: &mut dyn FnMut(&Verdict),
    ) -> bool {
        self.newest = at.get();
        let view = View { plan: &self.plan, signals: &self.signals, now: self.now() };
        let (judge, out) = (&mut self.judge, &mut Out { view: &view, sink });
        let slow = held.effects.is_slow(held.now);
        let comes = !slow && !judge.leg.has(mark::AT_SPEED) && at_speed();
        // A stop more, where one holds already and is told as the first, moves nothing.
        let told = judge.leg.first_out != 0 && held.effects.stops(held.now);
        // Permits follow from what holds and does something, what was raised and the belt's speed: from the same follows the same.
        let moves = comes || (judge.leg.raised != 0 && !told) || held.effects.differ(held.now, held.settled);
        if comes || slow {
            judge.leg.put(mark::AT_SPEED, comes);
        }
        if !moves {
            judge.leg.raised = 0;
        } else {
            if judge.resolve(held.effects.holding(held.now), out) {
                let hunts = Condition::FeedHunting;
                if judge.rows.get(hunts.rank()) & (bits::OUT | bits::ACTIVE) == 0 {
                    judge.rows.put(hunts.rank(), bits::BEYOND, true);
                    turn_alarm(judge, hunts, &mut held.now, &view, out.sink);
                }
                judge.resolve(held.effects.holding(held.now), out);
            }
            held.settled = held.now;
        }
        !slow && !judge.leg.has(mark::AT_SPEED)
    }

    /// The thermal image as it stands.
    #[must_use]
    pub const fn heat_course(&self) -> HeatCourse {
        HeatCourse(self.judge.leg.heat)
    }

    /// Go to `to` as if everything up to it had been observed, the last of it `signals`. The caller has told what turned on the way, and
    /// gives the state of the watched delays, the count of brisk pitches, the newest power reading and the
    /// heat at that moment.
    #[allow(clippy::too_many_arguments, reason = "each of them is a state of its own")]
    pub fn leap(
        &mut self,
        to: Micros,
        signals: &Signals,
        cells: &[(bool, Micros); LEAPT.len()],
        brisk: u8,
        power: Option<(Micros, Watts)>,
        heat: &HeatCourse,
        sink: &mut dyn FnMut(&Verdict),
    ) {
        self.newest = to.get();
        self.signals = *signals;
        self.read_power(power);
        let judge = &mut self.judge;
        judge.leg.heat = heat.0;
        judge.leg.brisk = brisk;
        for ((beyond, due), condition) in cells.iter().zip(LEAPT) {
            let rank = condition.rank();
            judge.rows.put(rank, bits::BEYOND, *beyond);
            judge.rows.put(rank, bits::PENDING, *due != Micros::MAX);
            if let Some(slot) = judge.rows.due.get_mut(rank) {
                *slot = Now::new(*due).us();
            }
        }
        // It finds everything as it is, and from there what to wait for.
        let now = Now::new(to);
        let view = View { plan: &self.plan, signals: &self.signals, now };
        judge.step(&mut Out { view: &view, sink });
    }
}

/// Whether judge must be told the rows at which this condition turns: without a drive contact an ordinary stop looks like it.
fn judge_sees(view: &View<'_>, condition: Condition) -> bool {
    matches!(condition, Condition::DeepUnderspeed | Condition::NoMotion) && !view.plan.has(fitted::DRIVE_CONTACT)
}

/// [`AlarmState::of`], looked up.
fn state_of(bits: u8) -> AlarmState {
    const STATES: [AlarmState; 256] = {
        let mut states = [AlarmState::Normal; 256];
        let (mut rest, mut bits): (&mut [AlarmState], u8) = (&mut states, 0);
        while let [state, after @ ..] = rest {
            *state = AlarmState::of(bits);
            (rest, bits) = (after, bits.wrapping_add(1));
        }
        states
    };
    STATES.get(usize::from(bits)).copied().unwrap_or_default()
}

/// Turn an alarm, and tell it if its state changed with that.
fn turn_alarm(
    judge: &mut Judge,
    condition: Condition,
    held: &mut Set,
    view: &View<'_>,
    sink: &mut dyn FnMut(&Verdict),
) {
    let rank = condition.rank();
    let before = judge.rows.get(rank);
    let raised = before & bits::ACTIVE == 0;
    judge.rows.put(rank, bits::ACTIVE, raised);
    if raised && before & bits::SHELVED == 0 {
        judge.raise(rank, true, view);
    }
    let after = judge.rows.get(rank);
    let (from, to) = (AlarmState::of(before), AlarmState::of(after));
    if from != to {
        let setpoint = view.limit(rank).setpoint;
        let change = Change::Alarm { condition, from, to, value: None, setpoint, detail: 0 };
        sink(&Verdict { at: view.now.at(), change });
    }
    *held = held.put(rank, holds(after));
}
