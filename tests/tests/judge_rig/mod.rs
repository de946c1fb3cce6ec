//! A leg as judge sees it: builds lists of sights and plays them. Four even targets a shaft, no measure needed.
#![allow(dead_code)]

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Origin, Place};
use slackside::judge::Judge;
use slackside::motion::{Motion, Pitch, Slip, SlipReading};
use slackside::retained::Retained;
use slackside::settings::{Action, Settings};
use slackside::sight::{Seen, Sight};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, TurnFraction, Turns, Watts};
use slackside::verdict::{Change, Permit, Phase, Verdict};

pub const SECOND: u64 = 1_000_000;
pub const QUARTER: u32 = 1 << 30;
/// Two per cent more than a quarter turn: the settings' tolerance.
pub const QUARTER_AT_MOST: u32 = QUARTER / 50 * 51;

/// A sight that owns what it shows.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    Motion(Box<Motion>),
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

pub fn show<'a>((at, what): &'a Event) -> Seen<'a> {
    let sight = match what {
        What::Motion(motion) => Sight::Motion(motion),
        What::Drive(on) => Sight::Drive(*on),
        What::Power(watts) => Sight::Power(Watts::new(*watts)),
        What::Reference(share) => Sight::Reference(Ppm::new(*share)),
        What::Temperature(place, value) => Sight::Temperature(*place, DeciCelsius::new(*value)),
        What::Outlet(plugged) => Sight::Outlet(*plugged),
        What::Command(origin, command) => Sight::Command(*origin, *command),
        What::Late => Sight::Late,
        What::Wake => Sight::Wake,
    };
    Seen { at: Micros::new(*at), sight }
}

pub fn judge(settings: &Settings, survivor: &Retained) -> Box<Judge> {
    let checked = settings.clone().check_for_bench().expect("the settings are sound");
    let mut judge = Box::new(Judge::new());
    judge.configure(&checked, survivor);
    judge
}

/// Play a list through a fresh judge.
pub fn play(settings: &Settings, events: &[Event]) -> Vec<Verdict> {
    let mut judge = judge(settings, &Retained::default());
    let mut verdicts = Vec::new();
    for event in events {
        judge.observe(show(event), &mut |verdict| verdicts.push(verdict));
    }
    verdicts
}

pub fn play_plainly(settings: &Settings, events: &[Event]) -> Vec<Verdict> {
    let mut judge = judge(settings, &Retained::default());
    let mut verdicts = Vec::new();
    for event in events {
        judge.observe_plainly(show(event), &mut |verdict| verdicts.push(verdict));
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
        let at = Micros::new(self.now);
        self.motion.slip_short = Slip { reading, at, known_at: at };
        self.motion.slip_long = self.motion.slip_short;
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
        contact.bridged_until = None;
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
            judge.observe(show(event), &mut |_| {});
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
