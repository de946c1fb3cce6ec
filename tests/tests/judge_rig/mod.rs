//! A leg as judge sees it: builds lists of sights and plays them. Four even targets a shaft, no measure needed.
#![allow(dead_code)]

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Origin, Place, Signal};
use slackside::monitor::Told;
use slackside::motion::{Motion, Pitch, SeenRatio, ShaftMotion, SlipReading};
use slackside::retained::Retained;
use slackside::settings::{Action, Checked, Settings};
use slackside::signals::{Reading, ShaftSignals, Signals, moved, unknown};
use slackside::time::FAR;
use slackside::units::{DeciCelsius, Micros, Ppm, Span, TurnFraction, Turns, Watts};
use slackside::verdict::{Change, Permit, Phase, Verdict};
use slackside_desk::monitor::plan_of;

pub const SECOND: u64 = 1_000_000;
pub const QUARTER: u32 = 1 << 30;
/// Two per cent more than a quarter turn: the settings' tolerance.
pub const QUARTER_AT_MOST: u32 = QUARTER / 50 * 51;

/// What judge is told.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    Motion(Box<Motion>),
    /// The mean of slip, in ppm; it stays so.
    Mean(i32),
    Drive(bool),
    Power(u32),
    Reference(i32),
    Temperature(Place, i16),
    Outlet(bool),
    Command(Origin, Command),
    Late,
    Wake,
}

pub type Event = (u64, What);

/// What judge holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Status {
    pub run_permit: bool,
    pub feed_permit: bool,
    pub phase: Phase,
    pub first_out: Option<Condition>,
    pub boot_cleared_needed: bool,
    pub alarms: [AlarmState; Condition::COUNT],
}

/// Judge apart from measure, told motions made up.
pub struct Judge {
    judge: Box<slackside_desk::monitor::Judge>,
    newest: Signals,
    /// The last ratio seen: a block ends with each new one.
    seen: Option<SeenRatio>,
}

impl Judge {
    pub fn observe(&mut self, (at, what): &Event, out: &mut dyn FnMut(Verdict)) {
        let (at, sink) = (Micros::new(*at), &mut |verdict: &Verdict| out(*verdict));
        let signal = match what {
            What::Motion(motion) => {
                let blocks = self.newest.ratio_blocks.wrapping_add(u16::from(motion.seen_ratio != self.seen));
                self.seen = motion.seen_ratio;
                let after = Signals { slip_mean: self.newest.slip_mean, ..signals(motion, blocks, at) };
                let moved = moved_bits(&self.newest, &after);
                self.newest = after;
                return self.judge.observe(at, Told::Moved(moved), &after, sink);
            }
            What::Mean(ppm) => {
                self.newest.slip_mean = *ppm;
                return self.judge.observe(at, Told::Moved(moved::OTHER), &self.newest, sink);
            }
            What::Late => return self.judge.observe(at, Told::Late, &self.newest, sink),
            What::Wake => return self.judge.wake(at, sink),
            What::Drive(on) => Signal::DriveRunning(*on),
            What::Power(watts) => Signal::DrivePower(Watts::new(*watts)),
            What::Reference(share) => Signal::SpeedReference(Ppm::new(*share)),
            What::Temperature(place, value) => Signal::Temperature(*place, DeciCelsius::new(*value)),
            What::Outlet(plugged) => Signal::OutletPlugged(*plugged),
            What::Command(origin, command) => Signal::Command(*origin, *command),
        };
        self.judge.observe(at, Told::Signal(&signal), &self.newest, sink);
    }

    pub fn observe_plainly(&mut self, event: &Event, out: &mut dyn FnMut(Verdict)) {
        self.judge.plainly();
        self.observe(event, out);
    }

    pub fn configure(&mut self, settings: &Checked, retained: &Retained) {
        self.judge.configure(plan_of(settings), retained);
        (self.newest, self.seen) = (Signals::NONE, None);
    }

    pub fn status(&self) -> Status {
        let status = self.judge.status();
        Status {
            run_permit: status.run_permit,
            feed_permit: status.feed_permit,
            phase: status.phase,
            first_out: status.first_out,
            boot_cleared_needed: status.boot_cleared_needed,
            alarms: Condition::ALL.map(|condition| self.judge.alarm(condition)),
        }
    }

    pub fn survivor(&self) -> Retained {
        self.judge.retained()
    }

    pub fn slip_heat_at(&self, at: Micros) -> Ppm {
        self.judge.slip_heat_at(at)
    }

    pub fn next_deadline(&self) -> Option<Micros> {
        self.judge.next_deadline()
    }
}

/// A stamp as measure keeps it: what is older than it can tell is held there.
fn stamp(at: Micros, now: Micros) -> u32 {
    at.get().max(now.get().saturating_sub(FAR.into())) as u32
}

fn shaft(from: &ShaftMotion, now: Micros) -> ShaftSignals {
    let pitch = from.pitch.unwrap_or_default();
    ShaftSignals {
        last_edge: from.last_edge.map_or(0, |at| stamp(at, now)),
        pitch: pitch.time.get(),
        pitch_angle: pitch.angle.get(),
        pitch_largest: pitch.largest.get(),
        next_largest: from.next_largest.get(),
        angle: (from.angle.get() >> 8) as u32,
        edges: from.edges,
        rejected: from.rejected,
        distrust: from.distrust.bits(),
        line: from.line as u8,
        pattern: from.pattern as u8,
        seen: from.last_edge.is_some().into(),
    }
}

fn slip(from: SlipReading) -> Reading {
    match from {
        SlipReading::Unknown | SlipReading::Retracted => Reading::UNKNOWN,
        SlipReading::Known(ppm) => Reading::exact(ppm.get()),
        SlipReading::AtLeast(ppm) => Reading::at_least(ppm.get()),
        SlipReading::Between(least, most) => Reading { least: least.get(), most: most.get() },
    }
}

/// A motion as measure would tell it now, with so many blocks of the ratio ended.
fn signals(from: &Motion, blocks: u16, now: Micros) -> Signals {
    let seen = from.seen_ratio.unwrap_or_default();
    let mut contacts = Signals::NONE.contacts;
    for (signals, contact) in contacts.iter_mut().zip(&from.contacts) {
        signals.since = contact.rubbing_since.map_or(0, |at| stamp(at, now));
        signals.duty = contact.duty.get();
        signals.count = contact.count;
        signals.state = contact.state as u8;
        signals.rubs = contact.rubbing_since.is_some().into();
        signals.bridged = contact.bridged.into();
    }
    Signals {
        head: shaft(&from.head, now),
        boot: shaft(&from.boot, now),
        short: slip(from.slip_short),
        long: slip(from.slip_long),
        since_boot: u32::try_from(from.head_since_boot.get() >> 8).unwrap_or(u32::MAX),
        slipped: from.slipped.get().clamp(i32::MIN.into(), i32::MAX.into()) as i32,
        ratio: seen.ratio.get(),
        ratio_spread: seen.spread.get(),
        ratio_blocks: blocks,
        unknown: if from.slip_short == SlipReading::Retracted { unknown::RETRACTED } else { unknown::PLAINLY },
        contacts,
        ..Signals::NONE
    }
}

/// What measure would say that moved.
fn moved_bits(before: &Signals, after: &Signals) -> u8 {
    let other = |signals: &Signals| {
        let shaft = |shaft: &ShaftSignals| (shaft.distrust, shaft.line, shaft.pattern);
        let contacts =
            signals.contacts.map(|contact| (contact.since, contact.bridged, contact.state, contact.rubs, contact.duty));
        (shaft(&signals.head), shaft(&signals.boot), signals.ratio_blocks, contacts)
    };
    let mut bits = 0;
    if before.head.edges != after.head.edges {
        bits |= moved::HEAD;
    }
    if before.boot.edges != after.boot.edges {
        bits |= moved::BOOT;
    }
    if other(before) != other(after) || bits == 0 {
        bits |= moved::OTHER;
    }
    bits
}

pub fn judge(settings: &Settings, retained: &Retained) -> Box<Judge> {
    let checked = settings.clone().check_for_bench().expect("the settings are sound");
    Box::new(Judge { judge: slackside_desk::monitor::judge(&checked, retained), newest: Signals::NONE, seen: None })
}

/// Play a list through a fresh judge.
pub fn play(settings: &Settings, events: &[Event]) -> Vec<Verdict> {
    let mut judge = judge(settings, &Retained::default());
    let mut verdicts = Vec::new();
    for event in events {
        judge.observe(event, &mut |verdict| verdicts.push(verdict));
    }
    verdicts
}

pub fn play_plainly(settings: &Settings, events: &[Event]) -> Vec<Verdict> {
    let mut judge = judge(settings, &Retained::default());
    let mut verdicts = Vec::new();
    for event in events {
        judge.observe_plainly(event, &mut |verdict| verdicts.push(verdict));
    }
    verdicts
}

/// Builds the list, keeping the motion as measure would.
#[derive(Clone)]
pub struct Leg {
    pub settings: Settings,
    pub events: Vec<Event>,
    pub motion: Motion,
    pub now: u64,
    next_head: u64,
    next_boot: u64,
}

impl Leg {
    /// The example leg at rest for five seconds with its drive known to be off.
    pub fn at_rest() -> Self {
        let mut leg = Self::new(Settings::example());
        if leg.settings.machine.drive_contact {
            leg.say(0, What::Drive(false));
        } else {
            leg.say(0, What::Wake);
        }
        leg.wait(20 * SECOND);
        leg
    }

    /// The same, run up to its speed.
    pub fn running() -> Self {
        let mut leg = Self::at_rest();
        leg.run_up();
        leg
    }

    /// The example leg without a drive contact, at rest.
    pub fn without_contact() -> Self {
        let mut settings = Settings::example();
        settings.machine.drive_contact = false;
        let mut leg = Self::new(settings);
        leg.say(0, What::Wake);
        leg.wait(20 * SECOND);
        leg
    }

    pub fn new(settings: Settings) -> Self {
        let mut motion = Motion::NONE;
        motion.head.fitted = settings.machine.head_targets.is_some();
        motion.boot.fitted = settings.machine.boot_targets.is_some();
        for (contact, fitted) in motion.contacts.iter_mut().zip(&settings.machine.contacts) {
            contact.fitted = fitted.is_some();
        }
        Self { settings, events: Vec::new(), motion, now: 0, next_head: 0, next_boot: 0 }
    }

    pub fn say(&mut self, at: u64, what: What) {
        assert!(at >= self.now, "events go forward");
        self.now = at;
        self.events.push((at, what));
    }

    pub fn drive(&mut self, on: bool) {
        self.say(self.now, What::Drive(on));
    }

    pub fn command(&mut self, command: Command) {
        self.say(self.now, What::Command(Origin::Leg, command));
    }

    pub fn by_link(&mut self, command: Command) {
        self.say(self.now, What::Command(Origin::Link, command));
    }

    /// Nothing happens for so long.
    pub fn wait(&mut self, time: u64) {
        self.say(self.now + time, What::Wake);
    }

    pub fn tell_motion(&mut self) {
        self.say(self.now, What::Motion(Box::new(self.motion)));
    }

    pub fn slip(&mut self, reading: SlipReading) {
        (self.motion.slip_short, self.motion.slip_long) = (reading, reading);
    }

    fn edge(&mut self, head: bool) {
        let at = Micros::new(self.now);
        let boot_fitted = self.motion.boot.fitted;
        let shaft = if head { &mut self.motion.head } else { &mut self.motion.boot };
        let waited =
            shaft.last_edge.map(|last| at.since(last)).filter(|waited| waited.get() > 0 && waited.get() < 20_000_000);
        shaft.pitch = waited.map(|time| Pitch {
            time,
            angle: TurnFraction::new(QUARTER),
            largest: TurnFraction::new(QUARTER_AT_MOST),
        });
        shaft.last_edge = Some(at);
        shaft.next_largest = TurnFraction::new(QUARTER_AT_MOST);
        shaft.edges += 1;
        shaft.angle = shaft.angle.forward(TurnFraction::new(QUARTER));
        if head && boot_fitted {
            self.motion.head_since_boot = self.motion.head_since_boot.forward(TurnFraction::new(QUARTER));
        } else {
            self.motion.head_since_boot = Turns::ZERO;
        }
        self.tell_motion();
    }

    pub fn head_edge(&mut self, at: u64) {
        self.now = at.max(self.now);
        self.edge(true);
    }

    pub fn boot_edge(&mut self, at: u64) {
        self.now = at.max(self.now);
        self.edge(false);
    }

    /// Turn both shafts for `time` at these shares of normal speed (ppm; zero: no edges), slip readings with every boot
    /// edge once `slip` is given.
    pub fn turn(&mut self, time: u64, head_ppm: u64, boot_ppm: u64, slip: Option<i32>) {
        let end = self.now + time;
        let pitch = |normal: u32, ppm: u64| (1_000_000_000_000_000_000_u64 / 4).checked_div(u64::from(normal) * ppm);
        let head_pitch = pitch(self.settings.machine.normal_head.get(), head_ppm).filter(|_| self.motion.head.fitted);
        let boot_pitch = pitch(self.settings.machine.normal_boot.get(), boot_ppm);
        let due = |next: u64, pitch: Option<u64>, now: u64| pitch.map(|pitch| next.clamp(now + 1, now + pitch));
        let mut head = due(self.next_head, head_pitch, self.now);
        let mut boot = due(self.next_boot, boot_pitch, self.now);
        loop {
            let next = match (head, boot) {
                (Some(a), Some(b)) => a.min(b),
                (Some(a), None) | (None, Some(a)) => a,
                (None, None) => break,
            };
            if next > end {
                break;
            }
            if head == Some(next) {
                self.head_edge(next);
                head = head_pitch.map(|pitch| next + pitch);
            } else {
                self.now = next;
                if let Some(slip) = slip {
                    self.slip(SlipReading::Known(Ppm::new(slip)));
                }
                self.boot_edge(next);
                boot = boot_pitch.map(|pitch| next + pitch);
            }
        }
        self.next_head = head.unwrap_or(0);
        self.next_boot = boot.unwrap_or(0);
        if end > self.now {
            self.say(end, What::Wake);
        }
    }

    /// From rest to running at speed, with slip known.
    pub fn run_up(&mut self) {
        self.drive(true);
        self.turn(2 * SECOND, 500_000, 500_000, None);
        self.turn(8 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    }

    /// The drive goes off, the leg runs down and stands.
    pub fn run_down(&mut self) {
        self.drive(false);
        for share in [800_000, 500_000, 250_000] {
            self.turn(SECOND, share, share, None);
        }
        self.slip(SlipReading::Unknown);
        self.motion.head_since_boot = Turns::ZERO;
        self.wait(20 * SECOND);
    }

    pub fn rub(&mut self, place: Place, rubbing: bool) {
        let now = self.now;
        let contact = &mut self.motion.contacts[place.index()];
        contact.state = if rubbing { ContactState::Rubbing } else { ContactState::Clear };
        contact.rubbing_since = rubbing.then_some(Micros::new(now));
        contact.bridged = false;
        self.tell_motion();
    }

    pub fn play(&self) -> Vec<Verdict> {
        let verdicts = play(&self.settings, &self.events);
        assert_eq!(verdicts, play_plainly(&self.settings, &self.events), "the short way and the plain scan differ");
        verdicts
    }

    /// The judge after everything.
    pub fn judged(&self) -> Box<Judge> {
        let mut judge = judge(&self.settings, &Retained::default());
        for event in &self.events {
            judge.observe(event, &mut |_| {});
        }
        judge
    }
}

/// When the alarm of `condition` was raised, first to last.
pub fn raised(verdicts: &[Verdict], condition: Condition) -> Vec<u64> {
    verdicts
        .iter()
        .filter(|verdict| {
            matches!(verdict.change, Change::Alarm { condition: whose, to: AlarmState::Unacknowledged, .. } if whose == condition)
        })
        .map(|verdict| verdict.at.get())
        .collect()
}

/// Every condition that was ever raised.
pub fn all_raised(verdicts: &[Verdict]) -> Vec<Condition> {
    let mut list: Vec<_> =
        Condition::ALL.into_iter().filter(|condition| !raised(verdicts, *condition).is_empty()).collect();
    list.dedup();
    list
}

pub fn permits(verdicts: &[Verdict], which: Permit) -> Vec<(u64, bool)> {
    verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Permit { permit, allowed, .. } if permit == which => Some((verdict.at.get(), allowed)),
            _ => None,
        })
        .collect()
}

pub fn phases(verdicts: &[Verdict]) -> Vec<Phase> {
    verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Phase(phase) => Some(phase),
            _ => None,
        })
        .collect()
}

pub fn state(judge: &Judge, condition: Condition) -> AlarmState {
    judge.status().alarms[condition.rank()]
}

pub fn set(settings: &mut Settings, condition: Condition, on_ms: u32, off_ms: u32, latching: bool, action: Action) {
    settings.limits.change(condition, |limit| {
        limit.on_delay = Span::from_millis(on_ms);
        limit.off_delay = Span::from_millis(off_ms);
        limit.latching = latching;
        limit.action = action;
    });
}
