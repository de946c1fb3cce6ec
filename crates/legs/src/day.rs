//! A leg's day: starts, runs, stops and rests, step by step, with what was planned falling due on the way.

use std::collections::BTreeMap;

use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit};

use crate::random::Random;
use crate::settings::Make;
use crate::wheel::Turning;

/// A step while something turns, and at rest.
const STEP_US: u64 = 2_000;
const REST_STEP_US: u64 = 50_000;

/// Something that falls due.
#[derive(Clone, Copy, Debug)]
pub enum Due {
    /// The head goes to this speed (turns a second, backwards below zero) within so many seconds.
    HeadTo(f64, f64),
    /// Slip goes to this share within so many seconds.
    SlipTo(f64, f64),
    /// An input.
    Say(Signal),
    /// An input that comes when it is late by so many microseconds.
    SayLate(Signal, u64),
    /// Targets are not seen until then, with this probability.
    Lose(Shaft, u64, f64),
    /// The sensor is silent until then.
    Silent(Shaft, u64),
    /// Each edge bounces until then.
    Chatter(Shaft, u64),
    /// Pulses until then: on average so many microseconds apart, so wide at most.
    Noise(Shaft, u64, u64, u64),
    /// A train of edges until then, so many microseconds from one to the next.
    Hum(Shaft, u64, u64),
    /// Sticks and slips until then: so long stuck, so long let go, in microseconds.
    StickSlip(u64, u64, u64),
    /// The drive is switched off by whoever obeys the run permit.
    Obey,
    /// Decide what happens next.
    Decide,
}

/// Value that moves to its aim at an even rate.
#[derive(Clone, Copy, Default)]
struct Moving {
    value: f64,
    aim: f64,
    a_second: f64,
}

impl Moving {
    fn to(&mut self, aim: f64, seconds: f64) {
        self.aim = aim;
        self.a_second = if seconds <= 0.0 { f64::INFINITY } else { (aim - self.value).abs() / seconds };
    }

    fn step(&mut self, seconds: f64) {
        let most = self.a_second * seconds;
        let left = self.aim - self.value;
        self.value = if left.abs() <= most { self.aim } else { self.value + most * left.signum() };
    }
}

/// The day as it goes.
pub struct Day<'a> {
    /// The leg.
    pub make: &'a Make,
    /// What is drawn for it.
    pub random: Random,
    /// Now, in microseconds.
    pub now: u64,
    /// The drive is on.
    pub drive: bool,
    /// The run permit, as the core gives it.
    pub permit: bool,
    /// Whether somebody obeys it.
    pub obeys: bool,
    /// The share of what would happen while it runs that is left out.
    pub calm: f64,
    /// Creep of the sound belt.
    pub creep: f64,
    head: Moving,
    slip: Moving,
    ratio: f64,
    turning: [Turning; 2],
    due: BTreeMap<(u64, u64), Due>,
    waiting: BTreeMap<(u64, u64), Input>,
    sequence: u64,
}

impl Day<'_> {
    /// Have something fall due `seconds` from now.
    pub fn plan(&mut self, seconds: f64, due: Due) {
        self.sequence += 1;
        self.due.insert((self.now + (seconds.max(0.0) * 1e6) as u64, self.sequence), due);
    }

    /// Say something `seconds` from now.
    pub fn say(&mut self, seconds: f64, signal: Signal) {
        self.plan(seconds, Due::Say(signal));
    }

    /// The moment `seconds` from now.
    pub const fn later(&self, seconds: f64) -> u64 {
        self.now + (seconds * 1e6) as u64
    }

    /// The head's speed now, of normal.
    pub fn head_share(&self) -> f64 {
        self.head.value / self.normal()
    }

    /// The head's normal speed, in turns a second.
    pub fn normal(&self) -> f64 {
        f64::from(self.make.settings.machine.normal_head.get()) / 1e6
    }

    fn emit(&mut self, at: u64, signal: Signal) {
        self.sequence += 1;
        self.waiting.insert((at, self.sequence), Input::new(Micros::new(at), signal));
    }

    fn emit_all(&mut self, told: Vec<(u64, Signal)>) {
        for (at, signal) in told {
            self.emit(at, signal);
        }
    }

    fn settle(&mut self, due: Due) {
        let mut told = Vec::new();
        let mut tell = |at, signal| told.push((at, signal));
        match due {
            Due::HeadTo(speed, seconds) => self.head.to(speed, seconds),
            Due::SlipTo(slip, seconds) => self.slip.to(slip, seconds),
            Due::Say(signal) => {
                if let Signal::DriveRunning(on) = signal {
                    self.drive = on;
                }
                if !matches!(signal, Signal::DriveRunning(_)) || self.make.settings.machine.drive_contact {
                    tell(self.now, signal);
                }
            }
            Due::SayLate(signal, late) => {
                self.sequence += 1;
                let input = Input::new(Micros::new(self.now.saturating_sub(late)), signal);
                self.waiting.insert((self.now, self.sequence), input);
            }
            Due::Lose(shaft, until, probability) => self.turning[shaft as usize].lost = (until, probability),
            Due::Silent(shaft, until) => self.turning[shaft as usize].silent_until = until,
            Due::Chatter(shaft, until) => self.turning[shaft as usize].chatter_until = until,
            Due::Noise(shaft, until, gap, width) => {
                let wide = 1 + self.random.next_u64() % width;
                self.turning[shaft as usize].pulse(self.now, wide, &mut tell);
                let next = 1 + wide + self.random.next_u64() % (2 * gap);
                if self.now + next < until {
                    self.plan(next as f64 / 1e6, due);
                }
            }
            Due::Hum(shaft, until, half) => {
                self.turning[shaft as usize].silent_until = until;
                let mut at = self.now;
                let mut level = true;
                while at < until && self.turning[shaft as usize].is_fitted() {
                    tell(at, Signal::Edge(shaft, level));
                    level = !level;
                    at += half + self.random.next_u64() % 3;
                }
            }
            Due::StickSlip(until, stuck, free) => {
                let creep = self.creep;
                if self.slip.aim > 0.9 {
                    self.slip.to(creep, 0.01);
                    if self.now < until {
                        self.plan(free as f64 / 1e6, due);
                    }
                } else if self.now < until {
                    self.slip.to(1.0, 0.01);
                    self.plan(stuck as f64 / 1e6, due);
                }
            }
            Due::Obey => {
                if !self.permit && self.drive {
                    self.stop();
                }
            }
            Due::Decide => self.decide(),
        }
        self.emit_all(told);
    }

    fn step(&mut self, span: u64) {
        let seconds = span as f64 / 1e6;
        let before = (self.head.value, self.slip.value);
        self.head.step(seconds);
        self.slip.step(seconds);
        let head = (before.0 + self.head.value) / 2.0;
        let slip = (before.1 + self.slip.value) / 2.0;
        let turns = [head * seconds, head * self.ratio * (1.0 - slip) * seconds];
        let mut told = Vec::new();
        for (shaft, turns) in self.turning.iter_mut().zip(turns) {
            shaft.turn(turns, self.now, span, &mut self.random, &mut |at, signal| told.push((at, signal)));
        }
        self.emit_all(told);
    }
}

/// Live for so long, so calmly. The core watches, so that whoever obeys its permit can.
pub fn live(make: &Make, begin_us: u64, span_us: u64, calm: f64, random: &mut Random) -> Vec<Input> {
    let mut own = random.split();
    let turning = [(Shaft::Head, &make.head), (Shaft::Boot, &make.boot)]
        .map(|(shaft, changes)| Turning::new(shaft, changes.clone(), &mut own));
    let creep = own.between(0.002, 0.012);
    let ratio = f64::from(make.settings.machine.ratio_in_force().get()) / 1e6;
    let off = if own.chance(0.15) { own.between(-0.06, 0.06) } else { own.between(-0.002, 0.002) };
    let mut day = Day {
        make,
        now: begin_us,
        drive: false,
        permit: true,
        obeys: own.chance(0.7),
        calm,
        creep,
        head: Moving::default(),
        slip: Moving { value: creep, aim: creep, a_second: 0.0 },
        ratio: ratio * (1.0 + off),
        turning,
        due: BTreeMap::new(),
        waiting: BTreeMap::new(),
        sequence: 0,
        random: own,
    };
    day.begin();
    let mut monitor = make.monitor(&Retained::default());
    let mut inputs = Vec::new();
    let end = begin_us + span_us;
    while day.now < end {
        while let Some(entry) = day.due.first_entry().filter(|entry| entry.key().0 <= day.now) {
            let due = entry.remove();
            day.settle(due);
        }
        let moves = day.head.value != 0.0 || day.head.aim != 0.0;
        let longest = if moves { STEP_US } else { REST_STEP_US };
        let next = day.due.first_key_value().map_or(end, |((at, _), _)| *at);
        let span = next.min(end).saturating_sub(day.now).clamp(1, longest);
        if moves {
            day.step(span);
        }
        day.now += span;
        let mut dropped = false;
        while let Some(entry) = day.waiting.first_entry().filter(|entry| entry.key().0 < day.now) {
            let input = entry.remove();
            inputs.push(input);
            monitor.observe(input, &mut |verdict| {
                if let Change::Permit { permit: Permit::Run, allowed, .. } = verdict.change {
                    day.permit = allowed;
                    dropped |= !allowed;
                }
            });
        }
        if dropped && day.obeys {
            let after = day.random.between(0.02, 0.4);
            day.plan(after, Due::Obey);
        }
    }
    inputs.push(Input::new(Micros::new(end + 1), Signal::Tick));
    inputs
}
