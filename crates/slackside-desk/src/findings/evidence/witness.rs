//! Looks on while a trace passes through the core, and answers the questions for the moment that counts.

use std::collections::VecDeque;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::diagnose::{Evidence as Looked, Lock};
use slackside::input::{Input, LineState, Place, Shaft, Signal};
use slackside::motion::{Motion, ShaftMotion, SlipReading, TargetPattern};
use slackside::settings::{Checked, Targets};
use slackside::verdict::{Change, Phase, Verdict};

use super::after::After;
use super::borne::Borne;
use super::reckon::{before_slip, bend, gone, grown, of_normal, seconds, since, swap_shift};
use super::rubs::Rubs;
use super::seconds::Seconds;
use super::shaft::{ShaftLog, milliseconds, whole_share};
use super::{Clue, Evidence, Raised, ruled};

const S: u64 = 1_000_000;
/// Alarms up to this long after the moment belong to it, in microseconds.
const TOGETHER_US: u64 = S;
/// How far back it is looked for where speed or power began to move, in s, and from when on after a start, in microseconds.
const LOOKED_BACK_S: u64 = 120;
const SETTLED_US: u64 = 12 * S;
/// What speed must have fallen by, in ppm of normal, and power have risen by, per mille of rated, to be looked at so.
const SLOWED: i32 = 1_000;
const RISEN: i32 = 50;
/// From how long before slip began it is told how a load grew, in s.
const GROWN_S: [usize; 4] = [5, 10, 30, 60];
/// For how long before the moment the boot's speed is held against the head's turn, in microseconds.
const HELD_AGAINST_US: u64 = 30 * S;
/// Ten minutes: what jogging is counted over.
const STARTS_US: u64 = 600 * S;
/// For how long after the moment a leg that runs on is looked at, in microseconds.
const RUNS_ON_US: u64 = 30 * S;
/// When after the moment a leg that runs on is asked what the feed's end did for it, in microseconds.
const RELIEVED_US: [u64; 2] = [30 * S, 45 * S];
/// What slip must have moved by within a minute to be asked how, in ppm.
const MOVED: i32 = 10_000;
/// Changes of the drive contact kept.
const CHANGES: usize = 256;

/// The drive contact.
#[derive(Clone, Debug, Default)]
struct Drive {
    on: Option<bool>,
    changes: VecDeque<u64>,
    starts: VecDeque<u64>,
    off_since: Option<u64>,
    off_turning_us: u64,
}

/// What is taken soon after the first start, mostly without load.
#[derive(Clone, Copy, Debug, Default)]
struct Early {
    taken: bool,
    slip: Option<i32>,
    head: Option<i64>,
    boot: Option<i64>,
    power: Option<i32>,
    least: Option<i32>,
}

/// Of head and boot: in how many turns the worst target is missed, how many are gone, where the worst lies, and the next; and how the boot
/// goes with the head's turn.
type TargetsSeen = ([[Option<i32>; 4]; 2], Option<i32>);

/// Looks on and keeps what the questions need.
#[derive(Clone, Debug)]
pub struct Witness {
    normal: [i64; 2],
    rated_w: u64,
    lagging_shift: i64,
    /// What slip reads, in ppm, on a sound leg whose sensors are swapped: the ratio comes in twice.
    swap_shift: Option<i32>,
    power_meter: bool,
    drive_contact: bool,
    outlet_switch: bool,
    reference: Option<i64>,
    targets: [u64; 2],
    shafts: [Option<ShaftLog>; 2],
    seconds: Seconds,
    rubs: Rubs,
    drive: Drive,
    plugged: bool,
    temperatures: [Option<i32>; Place::COUNT],
    last_power: Option<u32>,
    line: [u8; 2],
    distrust: [u8; 2],
    pattern: [u8; 2],
    misses: [i64; 2],
    phase: Phase,
    started: Option<u64>,
    early: Early,
    /// The newest second of which slip was held against speed.
    paired: u64,
    borne: Borne,
    /// When another speed was last asked for.
    asked: u64,
    most_slip: Option<i32>,
    newest: u64,
    /// The newest reading of slip over one boot turn, and the newest of head and boot.
    slip_short: SlipReading,
    last: [ShaftMotion; 2],
    raised: [Raised; Condition::COUNT],
    /// The moment that counts, whether the leg was stopped then, and what was known of it.
    moment: Option<(u64, bool, Evidence)>,
    after: Option<After>,
    /// What the edges of a leg that ran on told of its targets, once that time was over.
    targets_seen: Option<TargetsSeen>,
    first_alarm: Option<u64>,
    /// Slip, head speed and power once the feed has been cut for a while, if the leg ran on until then.
    relieved: Option<[Option<i32>; 3]>,
}

const fn of(shaft: Shaft) -> usize {
    match shaft {
        Shaft::Head => 0,
        Shaft::Boot => 1,
    }
}

impl Witness {
    /// Nothing seen yet, on a leg with these settings.
    #[must_use]
    pub fn new(settings: &Checked) -> Self {
        let machine = &settings.machine;
        let lagged = machine.head_diameter().get();
        let lost = machine.head_pulley.lagging.get().saturating_mul(2);
        let count = |targets: &Option<Targets>| targets.map_or(0, |targets| u64::from(targets.count));
        let log = |targets: &Option<Targets>| targets.map(|targets| ShaftLog::new(targets.count));
        Self {
            normal: [i64::from(machine.normal_head.get()), i64::from(machine.normal_boot.get())],
            rated_w: u64::from(machine.rated_power.get()),
            lagging_shift: lost.saturating_mul(1_000_000).checked_div(lagged).unwrap_or(0),
            swap_shift: swap_shift(i64::from(settings.ratio().get())),
            power_meter: machine.power_meter,
            drive_contact: machine.drive_contact,
            outlet_switch: machine.outlet_switch,
            reference: machine.speed_reference.map(|_| 1_000_000),
            targets: [count(&machine.head_targets), count(&machine.boot_targets)],
            shafts: [log(&machine.head_targets), log(&machine.boot_targets)],
            seconds: Seconds::default(),
            rubs: Rubs::new(settings),
            drive: Drive::default(),
            plugged: false,
            temperatures: [None; Place::COUNT],
            last_power: None,
            line: [0; 2],
            distrust: [0; 2],
            pattern: [0; 2],
            misses: [0; 2],
            phase: Phase::Unsure,
            started: None,
            early: Early::default(),
            paired: 0,
            borne: Borne::default(),
            asked: 0,
            most_slip: None,
            newest: 0,
            slip_short: SlipReading::Unknown,
            last: [Motion::NONE.head, Motion::NONE.boot],
            raised: [Raised::No; Condition::COUNT],
            moment: None,
            after: None,
            targets_seen: None,
            first_alarm: None,
            relieved: None,
        }
    }

    /// The time, which never runs back here: a trace in which it does is refused by others.
    fn on(&mut self, at: u64) -> u64 {
        self.newest = self.newest.max(at);
        self.newest
    }

    /// An input of the trace, before the core takes it.
    pub fn input(&mut self, input: &Input) {
        let at = self.on(input.at.get());
        match input.signal {
            Signal::Edge(shaft, rising) => {
                if let Some(log) = &mut self.shafts[of(shaft)] {
                    log.edge(at, rising);
                }
                if rising {
                    if shaft == Shaft::Head || self.shafts[0].is_none() {
                        self.rubs.turns(at);
                    }
                    if let Some(after) = &mut self.after {
                        after.rise(of(shaft), at);
                    }
                }
            }
            Signal::Line(shaft, line) => {
                let grave = match line {
                    LineState::Sound => 0,
                    LineState::Open => 1,
                    LineState::Shorted => 2,
                };
                self.line[of(shaft)] = self.line[of(shaft)].max(grave);
            }
            Signal::Contact(place, state) => self.rubs.contact(at, place, state),
            Signal::Temperature(place, celsius) => {
                self.temperatures[place.index()] = Some(i32::from(celsius.get()));
            }
            Signal::DriveRunning(on) => self.drive(at, on),
            Signal::DrivePower(power) => {
                self.last_power = Some(power.get());
                self.seconds.power(at, power.get());
            }
            Signal::SpeedReference(reference) => {
                if self.reference.replace(i64::from(reference.get())) != self.reference {
                    self.asked = at;
                }
            }
            Signal::OutletPlugged(plugged) => self.plugged |= plugged && self.moment.is_none(),
            Signal::EdgesLost(_) | Signal::Command(..) | Signal::Tick => {}
        }
    }

    fn drive(&mut self, at: u64, on: bool) {
        if let Some(after) = &mut self.after {
            after.drive(at, on);
        }
        if self.drive.on.replace(on) == Some(on) {
            return;
        }
        if self.drive.changes.len() == CHANGES {
            self.drive.changes.pop_front();
        }
        self.drive.changes.push_back(at);
        if on {
            if self.drive.off_since.is_none_or(|off| at.saturating_sub(off) > 500_000) {
                self.started = Some(at);
                self.seconds.started(at);
                self.drive.starts.push_back(at);
                while self.drive.starts.front().is_some_and(|start| at - start > STARTS_US) {
                    self.drive.starts.pop_front();
                }
            }
            self.drive.off_since = None;
        } else {
            self.drive.off_since = Some(at);
        }
    }

    /// The motion changed.
    pub fn motion(&mut self, at: u64, motion: &Motion) {
        let at = self.on(at);
        if at / S > self.paired {
            self.pair(at);
        }
        self.seconds.motion(at, motion);
        for (index, shaft) in [&motion.head, &motion.boot].into_iter().enumerate() {
            self.look_at(index, shaft);
        }
        if let SlipReading::Known(slip) = motion.slip_short
            && self.moment.is_none()
        {
            self.most_slip = Some(self.most_slip.map_or(slip.get(), |most| most.max(slip.get())));
        }
        let head = || motion.head.speed().map(|speed| i64::from(speed.get()));
        if self.moment.is_none()
            && let Some(off) = self.drive.off_since
            && head().is_some_and(|speed| speed > self.normal[0] / 10 * 9)
        {
            self.drive.off_turning_us = self.drive.off_turning_us.max(at.saturating_sub(off));
        }
        if self.moment.is_none()
            && let (Some(reference), Phase::Running) = (self.reference, self.phase)
            && let Some(speed) = head()
            && self.normal[0] > 0
        {
            self.misses[0] += (speed * 1_000_000 / self.normal[0] - reference) / 100;
            self.misses[1] += 1;
        }
        if let Some(started) = self.started {
            self.early(started, at);
        }
        if let Some((moment, false, _)) = self.moment
            && self.relieved.is_none()
            && at > moment + RELIEVED_US[1]
        {
            self.relieved = Some(self.relief(moment));
        }
        if let Some((moment, false, _)) = self.moment
            && self.targets_seen.is_none()
            && at > moment + RUNS_ON_US
        {
            self.targets_seen = self.look_at_targets();
        }
        self.slip_short = motion.slip_short;
        self.last = [motion.head, motion.boot];
    }

    fn look_at(&mut self, index: usize, shaft: &ShaftMotion) {
        if self.moment.as_ref().is_some_and(|(moment, ..)| self.newest > moment + TOGETHER_US) {
            return;
        }
        self.distrust[index] |= shaft.distrust.bits();
        let pattern = match shaft.pattern {
            TargetPattern::Whole => 0,
            TargetPattern::Missing => 1,
            TargetPattern::Extra => 2,
            TargetPattern::Moved => 3,
        };
        self.pattern[index] = self.pattern[index].max(pattern);
    }

    /// A second is over: how slip goes with speed while the leg runs.
    fn pair(&mut self, at: u64) {
        self.paired = at / S;
        if self.phase != Phase::Running || self.moment.is_some() {
            return;
        }
        let (from, to) = (at.saturating_sub(3 * S), at);
        let speed = self.seconds.speed(0, from, to).and_then(|speed| self.share(0, speed));
        // While it follows what is asked for, its speed tells nothing of the load.
        if self.started.is_some_and(|started| from >= started.max(self.asked) + SETTLED_US) {
            let power = self.seconds.power_between(from, to).filter(|_| self.power_meter);
            self.borne.add(to / S, self.shafts[0].as_ref().and(speed), power.and_then(|watts| self.of_rated(watts)));
        }
        if let Some((speed, usual)) = speed.zip(self.early.slip) {
            self.seconds.pair(from, to, speed, usual);
        }
    }

    /// What is taken once, when its window is over.
    fn early(&mut self, started: u64, at: u64) {
        let since = at.saturating_sub(started);
        if since > 13 * S && !self.early.taken {
            self.early.taken = true;
            let (from, to) = (started + 4 * S, started + 13 * S);
            self.early.slip = self.seconds.slip(from, to);
            self.early.head = self.seconds.speed(0, from, to);
            self.early.boot = self.seconds.speed(1, from, to);
            self.early.power = self.seconds.power_between(from, to);
        }
        if since > 60 * S && self.early.least.is_none() {
            self.early.least = self.seconds.least_long(started + 8 * S, started + 60 * S);
        }
    }

    /// Slip, head speed and power half a minute after a moment, if the leg runs on.
    fn relief(&self, moment: u64) -> [Option<i32>; 3] {
        if self.phase != Phase::Running || self.drive.on == Some(false) {
            return [None; 3];
        }
        let [from, to] = RELIEVED_US.map(|after| moment + after);
        let speed = self.shafts[0].is_some().then(|| self.seconds.speed(0, from, to)).flatten();
        let power = self.seconds.power_between(from, to).filter(|_| self.power_meter);
        [
            self.seconds.slip(from, to),
            speed.and_then(|speed| self.share(0, speed)),
            power.and_then(|watts| self.of_rated(watts)),
        ]
    }

    /// The core said something.
    pub fn verdict(&mut self, verdict: &Verdict) {
        let at = self.on(verdict.at.get());
        match verdict.change {
            Change::Phase(phase) => {
                if phase == Phase::Starting && self.started.is_none() {
                    self.started = Some(at);
                    self.seconds.started(at);
                }
                self.phase = phase;
            }
            Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                self.first_alarm.get_or_insert(at);
                if self.moment.is_none() {
                    self.fix(at, condition, false);
                }
                self.raise(at, condition);
            }
            Change::FirstOut(Some(condition)) if self.moment.as_ref().is_none_or(|(_, stop, _)| !stop) => {
                self.fix(at, condition, true);
                self.raise(at, condition);
                // What came before a stop came before it, however long.
                for raised in &mut self.raised {
                    if *raised == Raised::After {
                        *raised = Raised::With;
                    }
                }
            }
            _ => {}
        }
    }

    fn raise(&mut self, at: u64, condition: Condition) {
        let raised = &mut self.raised[condition.rank()];
        if *raised == Raised::No {
            let with = self.moment.as_ref().is_none_or(|(moment, ..)| at <= moment + TOGETHER_US);
            *raised = if with { Raised::With } else { Raised::After };
        }
    }

    /// This is the moment that counts.
    fn fix(&mut self, at: u64, condition: Condition, stop: bool) {
        let mut evidence = self.at(at);
        evidence.first = Some(condition);
        evidence.set(Clue::Tripped, Some(i32::from(stop)));
        let lead = at.saturating_sub(*self.first_alarm.get_or_insert(at));
        evidence.set(Clue::AlarmLead, Some(if stop { milliseconds(lead) } else { -1 }));
        if let Some((_, _, warned)) = &self.moment
            && lead > S
        {
            let slips = evidence.get(Clue::SlipAt).zip(warned.get(Clue::SlipAt));
            evidence.set(Clue::SlipSinceAlarm, slips.map(|(now, then)| now.saturating_sub(then)));
        }
        let before = [0, 1].map(|index| {
            let log = self.shafts[index].as_ref()?;
            let speed = u64::try_from(log.turn_speed(at)?).ok()?;
            let pitch = 1_000_000_000_000_u64.checked_div(speed.saturating_mul(self.targets[index]))?;
            Some((log.last_before(at)?, pitch))
        });
        self.after = Some(After::new(at, before, self.targets, self.drive.on == Some(false)));
        self.moment = Some((at, stop, evidence));
        self.targets_seen = if stop { self.look_at_targets() } else { None };
    }

    /// The evidence. `looked`: what the core's own gathering keeps of rubs.
    #[must_use]
    pub fn evidence(&self, looked: &Looked) -> Evidence {
        let mut evidence = self.moment.as_ref().map_or_else(|| self.at(self.newest), |(.., evidence)| evidence.clone());
        evidence.raised = self.raised;
        if let Some(after) = &self.after {
            let ratio =
                (self.normal[1] * 1_000).checked_div(self.normal[0]).and_then(|ratio| u64::try_from(ratio).ok());
            after.tell(ratio.unwrap_or(1_000), &mut evidence);
        }
        if let Some(relieved) = self.relieved.filter(|_| self.moment.as_ref().is_some_and(|(_, stop, _)| !stop)) {
            let clues = [
                (Clue::SlipRelieved, Clue::SlipAt),
                (Clue::HeadRelieved, Clue::HeadSpeed),
                (Clue::PowerRelieved, Clue::PowerAt),
            ];
            for ((clue, of), relieved) in clues.into_iter().zip(relieved) {
                let by = relieved.zip(evidence.get(of)).map(|(relieved, then)| relieved.saturating_sub(then));
                evidence.set(clue, by);
            }
        }
        // A leg that runs on for long forgets its edges; a record that ends before that still has them.
        if let Some((seen, with_head)) = self.targets_seen.or_else(|| self.look_at_targets()) {
            evidence.set(Clue::BootWithHead, with_head);
            let clues = [
                [Clue::HeadMissedTurns, Clue::HeadGone, Clue::HeadPlace, Clue::HeadPlaceNext],
                [Clue::BootMissedTurns, Clue::BootGone, Clue::BootPlace, Clue::BootPlaceNext],
            ];
            for (clue, answer) in clues.as_flattened().iter().zip(seen.as_flattened()) {
                evidence.set(*clue, *answer);
            }
        }
        self.rubs.tell(self.newest, &mut evidence);
        if evidence.get(Clue::RubPlaces).is_some() {
            let lock = looked.rubs.iter().map(|rubs| match rubs.lock {
                Lock::None => 0,
                Lock::Belt { .. } => 1,
                Lock::Shaft { .. } => 2,
            });
            evidence.set(Clue::RubLock, lock.max());
            evidence.set(Clue::RubDuty, looked.rubs.iter().map(|rubs| rubs.duty.get() / 1_000).max());
        }
        ruled::tell(looked, &mut evidence);
        for (index, clues) in [
            (0, [Clue::HeadDistrust, Clue::HeadPattern, Clue::HeadLine]),
            (1, [Clue::BootDistrust, Clue::BootPattern, Clue::BootLine]),
        ] {
            if self.shafts[index].is_some() {
                // The gravest reason is the highest bit.
                let gravest = self.distrust[index].checked_ilog2().map_or(0, |bit| 1 << bit);
                let answers = [gravest, i32::from(self.pattern[index]), i32::from(self.line[index])];
                for (clue, answer) in clues.into_iter().zip(answers) {
                    evidence.set(clue, Some(answer));
                }
            }
        }
        evidence
    }

    /// How regularly targets are missed, how many are, and where the others lie; a leg that runs on tells more of it.
    fn look_at_targets(&self) -> Option<TargetsSeen> {
        let (moment, stop, known) = self.moment.as_ref()?;
        // From when on the leg had settled: while it speeds up every pitch is a long one.
        let from = self.started.map_or(0, |started| started + SETTLED_US);
        let to = if *stop { *moment } else { moment + RUNS_ON_US };
        let share = |index: usize| {
            let log = self.shafts[index].as_ref()?;
            of_normal(log.mean_speed(*moment, to)?, self.normal[index])
        };
        let counted = [Clue::HeadCounted, Clue::BootCounted].map(|clue| known.get(clue));
        let shares = if *stop { counted } else { [share(0), share(1)] }.map(|share| share.map(i64::from));
        let with_head = match &self.shafts {
            [Some(head), Some(boot)] => boot.with(head, from.max(moment.saturating_sub(HELD_AGAINST_US)), to),
            _ => None,
        };
        let of_each = [0, 1].map(|index| {
            let log = self.shafts[index].as_ref();
            let places = log.filter(|_| !stop).and_then(|log| log.places(*moment, to));
            [
                log.and_then(|log| log.missed_turns(from, to)),
                gone(shares[index], shares[1 - index], self.targets[index]),
                places.map(|places| places.worst),
                places.and_then(|places| places.next),
            ]
        });
        Some((of_each, with_head))
    }

    /// What is known of a moment that is just over.
    fn at(&self, at: u64) -> Evidence {
        let mut evidence = Evidence::default();
        self.leg(at, &mut evidence);
        let foot = self.slip(at, &mut evidence);
        self.borne.tell(foot / S, &mut evidence);
        self.speeds(at, foot, &mut evidence);
        self.edges(at, &mut evidence);
        self.power(at, foot, &mut evidence);
        evidence.set(Clue::Tripped, Some(0));
        evidence
    }

    fn leg(&self, at: u64, evidence: &mut Evidence) {
        evidence.set(Clue::Phase, Some(self.phase as i32));
        let on = self.drive.on != Some(false);
        let since = self.started.filter(|_| on).map_or(-1, |started| seconds(at.saturating_sub(started)));
        evidence.set(Clue::SinceStart, Some(since));
        if self.drive_contact {
            let within = |times: &VecDeque<u64>, span: u64| {
                Some(times.iter().filter(|time| at.saturating_sub(**time) <= span).count() as i32)
            };
            evidence.set(Clue::Starts, within(&self.drive.starts, STARTS_US));
            evidence.set(Clue::DriveOn, self.drive.on.map(i32::from));
            evidence.set(Clue::DriveToggles, within(&self.drive.changes, 60 * S));
            evidence.set(Clue::DriveOffTurning, Some(milliseconds(self.drive.off_turning_us)));
        }
        if self.outlet_switch {
            evidence.set(Clue::Outlet, Some(i32::from(self.plugged)));
        }
        let known = || self.temperatures.iter().enumerate().filter_map(|(place, told)| Some((place, (*told)?)));
        if let (Some((place, most)), Some((_, least))) =
            (known().max_by_key(|(_, told)| *told), known().min_by_key(|(_, told)| *told))
        {
            evidence.set(Clue::Hottest, Some(most - least));
            evidence.set(Clue::HottestAt, Some(place as i32));
        }
        if let Some(reference) = self.reference {
            evidence.set(Clue::Reference, i32::try_from(reference).ok());
            let miss = self.misses[0].checked_div(self.misses[1]).map(|miss| miss * 100);
            evidence.set(Clue::ReferenceMiss, miss.and_then(|miss| i32::try_from(miss).ok()));
        }
    }

    /// Slip before and at the moment; when it began to rise, if it did.
    fn slip(&self, at: u64, evidence: &mut Evidence) -> u64 {
        let back = |from: u64, to: u64| self.seconds.slip(at.saturating_sub(from * S), at.saturating_sub(to * S));
        let now = self.slip_short.ppm().map(slackside::units::Ppm::get);
        let before = back(25, 14);
        evidence.set(Clue::SlipAt, now);
        evidence.set(Clue::SlipBefore2, back(3, 1));
        evidence.set(Clue::SlipBefore5, back(7, 4));
        evidence.set(Clue::SlipBefore10, back(14, 7));
        evidence.set(Clue::SlipBefore20, before);
        evidence.set(Clue::SlipBefore60, back(80, 40));
        let base = before.or_else(|| back(14, 5));
        let foot = now
            .zip(base)
            .filter(|(now, base)| now - base > 10_000)
            .and_then(|(now, base)| self.seconds.last_at_or_below(base.saturating_add((now - base) / 10), at));
        let rise = foot.map(|foot| milliseconds(at.saturating_sub(foot)));
        evidence.set(Clue::SlipRise, rise.or_else(|| now.zip(base).map(|_| -1)));
        let (from, to) = (at.saturating_sub(33 * S), at.saturating_sub(3 * S));
        evidence.set(Clue::SlipSpread, self.seconds.spread(from, to));
        evidence.set(Clue::SlipSwing, self.seconds.swing(from, to));
        evidence.set(Clue::SlipSwingLast, self.seconds.swing(at.saturating_sub(6 * S), at));
        evidence.set(Clue::SlipMost, self.most_slip);
        let late = self.seconds.least_long(at.saturating_sub(60 * S), at);
        let least = [self.early.least, late].into_iter().flatten().min();
        evidence.set(Clue::SlipLeast, least);
        evidence.set(Clue::SlipEarly, self.early.slip);
        let swapped = self.swap_shift.filter(|shift| shift.abs() > 8_000);
        let against = self.early.slip.or(least).zip(swapped).map(|(early, swapped)| early - swapped);
        evidence.set(Clue::EarlyAgainstSwap, against);
        evidence.set(Clue::SlipShift, late.zip(self.early.least.or(self.early.slip)).map(|(late, early)| late - early));
        let settled = self.seconds.least_long(at.saturating_sub(20 * S), at);
        let settled = settled.zip(self.early.slip.or(self.early.least)).map(|(settled, early)| settled - early);
        evidence.set(Clue::SlipSettled, settled);
        let step = self.seconds.largest_step(at.saturating_sub(5 * S));
        evidence.set(Clue::SlipStep, step);
        let of_all =
            |(step, settled): (i32, i32)| i32::try_from((i64::from(step) * 100).checked_div(i64::from(settled))?).ok();
        evidence.set(Clue::StepShare, step.zip(settled).filter(|(_, settled)| settled.abs() > 3_000).and_then(of_all));
        evidence.set(Clue::SlipJump, now.zip(back(2, 1)).map(|(now, then)| now - then));
        evidence.set(Clue::SlipBySpeed, self.seconds.slip_by_speed());
        evidence.set(Clue::SlipBetween, self.seconds.between(at.saturating_sub(60 * S), at, MOVED));
        if self.lagging_shift > 5_000 {
            let of_lagging = |slip: i32| i32::try_from(i64::from(slip) * 100 / self.lagging_shift).ok();
            evidence.set(Clue::SettledAgainstLagging, settled.and_then(of_lagging));
            let share = late.and_then(|late| (i64::from(late) * 100).checked_div(self.lagging_shift));
            evidence.set(Clue::SlipAgainstLagging, share.and_then(|share| i32::try_from(share).ok()));
        }
        let foot = foot.unwrap_or_else(|| at.saturating_sub(2 * S)).min(at.saturating_sub(S));
        let [usual, then] = before_slip(foot).map(|(from, to)| self.seconds.slip(from, to));
        evidence.set(Clue::SlipCreep, then.zip(usual).map(|(then, usual)| then - usual));
        foot
    }

    /// Means over three seconds, a second apart, from the newest before `foot` back to where the leg had settled after its start.
    fn before(&self, foot: u64, mean: impl Fn(u64, u64) -> Option<i32>) -> Vec<i32> {
        let settled = self.started.map_or(0, |started| started + SETTLED_US);
        let ends = (0..LOOKED_BACK_S).map_while(|second| foot.checked_sub(second * S));
        ends.take_while(|end| *end >= settled + 3 * S).map_while(|end| mean(end - 3 * S, end)).collect()
    }

    /// A speed in ppm of normal; the head's of what is asked for.
    fn share(&self, shaft: usize, speed: i64) -> Option<i32> {
        let normal = self.normal[shaft] * self.reference.unwrap_or(1_000_000) / 1_000_000;
        i32::try_from((speed * 1_000_000).checked_div(normal)?).ok()
    }

    fn speeds(&self, at: u64, foot: u64, evidence: &mut Evidence) {
        let now = slackside::units::Micros::new(at);
        let clues = [
            (Clue::HeadSpeed, Clue::HeadBefore, Clue::HeadDrift),
            (Clue::BootSpeed, Clue::BootBefore, Clue::BootDrift),
        ];
        for (index, (speed, before, drift)) in clues.into_iter().enumerate() {
            if self.shafts[index].is_none() {
                continue;
            }
            let mean = |from: u64, to: u64| {
                let speed = self.seconds.speed(index, at.saturating_sub(from * S), at.saturating_sub(to * S))?;
                self.share(index, speed)
            };
            let most = self.last[index].speed_at_most(now).and_then(|most| self.share(index, i64::from(most.get())));
            evidence.set(speed, most);
            evidence.set(before, mean(25, 14));
            evidence.set(drift, mean(9, 3).zip(mean(80, 40)).map(|(now, then)| now - then));
        }
        if let Some(boot) = &self.shafts[1] {
            evidence.set(Clue::BootEarly, self.early.boot.and_then(|speed| self.share(1, speed)));
            let left = boot.turn_speed(at).zip(self.early.boot);
            let left = left.and_then(|(now, early)| i32::try_from((now * 1_000).checked_div(early)?).ok());
            evidence.set(Clue::BootLeft, left);
        }
        let Some(head) = &self.shafts[0] else { return };
        let shares = [evidence.get(Clue::HeadSpeed), evidence.get(Clue::BootSpeed)].map(|share| share.map(i64::from));
        if let [Some(head), Some(boot)] = shares {
            let against = (head * 1_000).checked_div(boot).and_then(|against| i32::try_from(against).ok());
            evidence.set(Clue::HeadAgainstBoot, against);
        }
        let [usual, then] =
            before_slip(foot).map(|(from, to)| head.mean_speed(from, to).and_then(|speed| self.share(0, speed)));
        evidence.set(Clue::HeadBeforeSlip, then.zip(usual).map(|(then, usual)| then - usual));
        let last = head.turn_speed(at).and_then(|speed| self.share(0, speed));
        let then =
            head.mean_speed(foot.saturating_sub(11 * S), foot.saturating_sub(S)).and_then(|speed| self.share(0, speed));
        evidence.set(Clue::HeadChange, last.zip(then).map(|(last, then)| last - then));
        let speeds =
            self.before(foot, |from, to| self.seconds.speed(0, from, to).and_then(|speed| self.share(0, speed)));
        let slowness: Vec<i32> = speeds.iter().map(|speed| -speed).collect();
        let [tenth, half] = since(&slowness, SLOWED);
        evidence.set(Clue::HeadBend, tenth.and_then(|tenth| bend(&slowness, tenth)));
        evidence.set(Clue::HeadSlowed, tenth);
        let lost = [Clue::HeadLost5, Clue::HeadLost10, Clue::HeadLost30, Clue::HeadLost60];
        for (clue, lost) in lost.into_iter().zip(grown(&slowness, GROWN_S)) {
            evidence.set(clue, lost);
        }
        evidence.set(Clue::HeadHalfSlowed, half);
        let early = self.early.head.and_then(|speed| self.share(0, speed));
        evidence.set(Clue::HeadEarly, early);
        evidence.set(Clue::HeadLoad, early.zip(then).map(|(early, then)| early - then));
    }

    fn edges(&self, at: u64, evidence: &mut Evidence) {
        let clues = [
            [
                Clue::HeadSilent,
                Clue::HeadLastPitch,
                Clue::HeadScatter,
                Clue::HeadUneven,
                Clue::HeadShort,
                Clue::HeadLong,
                Clue::HeadLongSame,
                Clue::HeadDuty,
                Clue::HeadDutyChange,
                Clue::HeadSeen,
                Clue::HeadRejects,
            ],
            [
                Clue::BootSilent,
                Clue::BootLastPitch,
                Clue::BootScatter,
                Clue::BootUneven,
                Clue::BootShort,
                Clue::BootLong,
                Clue::BootLongSame,
                Clue::BootDuty,
                Clue::BootDutyChange,
                Clue::BootSeen,
                Clue::BootRejects,
            ],
        ];
        for (index, clues) in clues.into_iter().enumerate() {
            let Some(log) = &self.shafts[index] else { continue };
            let shape = log.shape(at);
            let rejects = self.seconds.rejects(index, at.saturating_sub(33 * S), at);
            let answers = [
                shape.silent,
                shape.last_pitch,
                shape.scatter,
                shape.uneven,
                shape.short,
                shape.long,
                shape.long_same,
                shape.duty,
                shape.duty_change,
                shape.seen,
                rejects,
            ];
            for (clue, answer) in clues.into_iter().zip(answers) {
                evidence.set(clue, answer);
            }
            let counted = log.turn_speed(at).and_then(|speed| self.share(index, speed));
            if index == of(Shaft::Boot) {
                evidence.set(Clue::BootSlowing, shape.slowing);
                evidence.set(Clue::BootFall, shape.fall);
                evidence.set(Clue::BootFallBend, shape.fall_bend);
                evidence.set(Clue::BootCounted, counted);
            } else {
                evidence.set(Clue::HeadCounted, counted);
                let of_normal = log.turn_speed(at).and_then(|speed| of_normal(speed, self.normal[index]));
                evidence.set(Clue::HeadOfNormal, of_normal);
            }
            let turned = self.started.and_then(|started| log.turned(started, at));
            evidence.set([Clue::HeadTurned, Clue::BootTurned][index], turned);
            let per_turn = [Clue::HeadPerTurn, Clue::BootPerTurn][index];
            evidence.set(per_turn, i32::try_from(self.targets[index]).ok());
        }
        let counted = [Clue::HeadCounted, Clue::BootCounted].map(|clue| evidence.get(clue).map(i64::from));
        if let [Some(head), Some(boot)] = counted {
            evidence.set(Clue::SpeedsTimes, i32::try_from(head * boot / 1_000_000_000).ok());
        }
        if let [Some(head), Some(boot)] = &self.shafts {
            evidence.set(Clue::EdgesTogether, boot.together(head, at));
        }
    }

    /// Power per mille of rated.
    fn of_rated(&self, watts: i32) -> Option<i32> {
        whole_share(u64::try_from(watts).unwrap_or(0), self.rated_w, 1_000)
    }

    fn power(&self, at: u64, foot: u64, evidence: &mut Evidence) {
        if !self.power_meter {
            return;
        }
        let share = |watts: i32| self.of_rated(watts);
        let now = self.last_power.and_then(|watts| whole_share(u64::from(watts), self.rated_w, 1_000));
        let before = self.seconds.power_between(at.saturating_sub(25 * S), at.saturating_sub(14 * S)).and_then(share);
        evidence.set(Clue::PowerAt, now);
        evidence.set(Clue::PowerBefore, before);
        let [late, early] = [(12, 2), (80, 40)]
            .map(|(from, to)| self.seconds.power_between(at.saturating_sub(from * S), at.saturating_sub(to * S)));
        evidence.set(Clue::PowerDrift, late.and_then(share).zip(early.and_then(share)).map(|(now, then)| now - then));
        evidence.set(Clue::PowerChange, now.zip(before).map(|(now, before)| now - before));
        let [usual, then] = before_slip(foot).map(|(from, to)| self.seconds.power_between(from, to).and_then(share));
        evidence.set(Clue::PowerBeforeSlip, then.zip(usual).map(|(then, usual)| then - usual));
        evidence.set(Clue::PowerWithSlip, now.zip(then).map(|(now, then)| now - then));
        let powers = self.before(foot, |from, to| self.seconds.power_between(from, to).and_then(share));
        let [tenth, half] = since(&powers, RISEN);
        evidence.set(Clue::PowerBend, tenth.and_then(|tenth| bend(&powers, tenth)));
        evidence.set(Clue::PowerRisen, tenth);
        let gained = [Clue::PowerGained5, Clue::PowerGained10, Clue::PowerGained30, Clue::PowerGained60];
        for (clue, gained) in gained.into_iter().zip(grown(&powers, GROWN_S)) {
            evidence.set(clue, gained);
        }
        evidence.set(Clue::PowerHalfRisen, half);
        evidence.set(Clue::PowerIdle, self.early.power.and_then(share));
        evidence.set(Clue::PowerMost, self.seconds.most_power(at.saturating_sub(60 * S), at).and_then(share));
    }
}
