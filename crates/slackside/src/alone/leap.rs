//! For the desk: leaping over stored signals. Not for the box.
//!
//! Tuning judges the same signals under thousands of limits. While the leg runs at speed most rows can change nothing but the
//! delays of a few conditions, each by itself; whoever has the signals stored can work those out without a scan. [`Outlook`]
//! says what to watch and until when, [`Alone::leap`] puts judge where it would be had it been told every row. Whatever turns an
//! alarm, and everything out of the ordinary, must still be told to [`Alone::observe`].

use core::ops::Deref;

use super::Alone;
use crate::alarm::bits;
use crate::conditions::Condition;
use crate::judge::heat::Heat;
use crate::judge::leg::mark;
use crate::judge::phase::{AT_SPEED, turn};
use crate::judge::rows::is_noted;
use crate::judge::{Judge, Out, POWER_STALE, View, sense};
use crate::settings::plan::{Plan, act, fitted};
use crate::signals::Signals;
use crate::time::{Now, SWEEP, reached};
use crate::units::{Micros, Ppm, Span, Watts};
use crate::verdict::{Phase, Verdict};

/// The conditions whose delays a leap follows: every motion of a running leg may move them.
pub const LEAPT: [Condition; 11] = [
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
];

/// One condition as a leap sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeaptCell {
    /// Whether it is judged at all.
    pub judged: bool,
    /// Beyond its limit now, deadband counted.
    pub beyond: bool,
    /// An alarm, delays counted.
    pub active: bool,
    /// Judge notes its value while its on-delay runs: so long it must see every row.
    pub noted: bool,
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

    /// A row: what goes in from `now` on is so many watts times so much slip. Whether it stayed clear of its limit.
    pub fn feed(&mut self, plan: &Plan, now: Micros, watts: Watts, slip: Ppm) -> bool {
        let clear = self.pass(plan, now);
        let now = Now::new(now).us();
        self.0.slip = slip.get();
        self.0.feed(&plan.drive, watts.get(), limit(plan), now);
        let stays = self.is_clear(plan, now);
        self.0.next(&plan.drive, (limit(plan), false), now);
        clear && stays
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
        let slow = [Condition::Underspeed, Condition::DeepUnderspeed];
        let slow = slow.into_iter().any(|slow| rows.state(slow.rank()).holds());
        let unknown = [
            Condition::HeadSilent,
            Condition::FasterThanNormal,
            Condition::BothSilent,
            Condition::Mistracking,
            Condition::MistrackingSustained,
            Condition::SlipHeat,
        ];
        let notes = |rank: usize| is_noted(rank) && rows.has(rank, bits::BEYOND) && !rows.has(rank, bits::ACTIVE);
        leg.has(mark::BEGUN)
            && !(0..Condition::COUNT).any(notes)
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
            && !sense::may_read_swapped(view)
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
                noted: is_noted(rank),
                due: if pending { now.after(rows.wait(rank, now.us())).at() } else { Micros::MAX },
                on_delay: Span::new(limit.on_delay),
                off_delay: Span::new(limit.off_delay),
                limit: limit.limit.into(),
                clear: limit.clear.into(),
            }
        });
        let (head, boot) = (&view.plan.head, &view.plan.boot);
        Some(Outlook {
            until: now.after(self.wait_for_others(&view)).at(),
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
        let judge = &self.judge;
        let others = (0..Condition::COUNT).filter(|rank| LEAPT.iter().all(|leapt| leapt.rank() != *rank));
        let delays = others.map(|rank| judge.rows.wait(rank, view.now.us())).min().unwrap_or(SWEEP);
        delays.min(self.look_wait(view)).min(judge.other_wait(view)).min(self.sweep_wait())
    }

    /// How long until what conditions look at may change by itself.
    fn look_wait(&self, view: &View<'_>) -> u32 {
        let Judge { leg, rows, .. } = &self.judge;
        let mut look = leg.look(view, self.judge.head_silent());
        for (rank, row) in Condition::ROWS.iter().enumerate() {
            if !rows.has(rank, bits::OUT) && look.judges(row) {
                leg.says(row, view.limit(rank), &mut look);
            }
        }
        look.waits.other
    }

    /// The thermal image as it stands.
    #[must_use]
    pub const fn heat_course(&self) -> HeatCourse {
        HeatCourse(self.judge.leg.heat)
    }

    /// Go to `to` as if everything up to it had been observed, the last of it `signals`. The caller has made sure that no alarm
    /// turned on the way, and gives the state of the watched delays, the count of brisk pitches, the newest power reading and the
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
        let judge = &mut self.judge;
        judge.leg.heat = heat.0;
        judge.leg.brisk = brisk;
        if let Some((at, watts)) = power {
            judge.leg.put(mark::POWER, true);
            judge.leg.power = watts.get();
            judge.leg.power_at = Now::new(at).us();
        }
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
