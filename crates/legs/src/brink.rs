//! Stories on the brink: legs at random whose moments are not. What a box compares it is given equal, and a microsecond or a unit to either
//! side: pitches as long as its plan's own limits, or last time's and a 64th, an eighth, a half of that; inputs at the very moment of its next
//! deadline; levels held for the minimum width; a button, a rub, a start for just as long as it may last.
//!
//! No shaft turns so, and none need: it is the box that is tried. Where a limit lies is seen only by who stands on it.

use std::collections::BTreeMap;

use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::{Plan, ShaftPlan};
use slackside::time::{FAR, SLOW_SHIFT, SWEEP};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};
use slackside::verdict::Phase;

use crate::random::Random;
use crate::{Leg, Make, Monitor, make};

/// Inputs of a story.
const INPUTS: usize = 2_000;

/// A leg on the brink: its make and its inputs.
pub fn leg(random: &mut Random) -> Leg {
    let make = make(random);
    let begin = random.one_of(&[0, 5_000_000, 1 << 31, (1 << 32) - 20_000_000, (1 << 42) - 20_000_000]);
    let inputs = Brink::new(&make, begin, random.split()).live();
    Leg { make, inputs, power_cuts: Vec::new() }
}

/// One shaft, which turns by steps of its pitch.
struct Steps {
    shaft: Shaft,
    plan: ShaftPlan,
    /// From one counted edge to the next; 0 while it stands.
    pitch: u64,
    /// What each pitch is longer than the one before.
    longer: i64,
    /// Where `longer` leads: faster than that it does not get, or slower.
    aim: u64,
    last: u64,
    next: Option<u64>,
    level: bool,
    /// So many edges are not seen.
    lost: u32,
    /// The mark passed last, and those that are gone from the wheel.
    mark: u8,
    gone: [Option<u8>; 2],
}

impl Steps {
    fn new(shaft: Shaft, plan: &ShaftPlan) -> Self {
        Self {
            shaft,
            plan: *plan,
            pitch: 0,
            longer: 0,
            aim: 0,
            last: 0,
            next: None,
            level: false,
            lost: 0,
            mark: 0,
            gone: [None; 2],
        }
    }

    /// The pitch that takes as much of a turn in `turn` as an even one.
    const fn share(&self, turn: u32) -> u64 {
        turn as u64 / self.plan.marks as u64
    }

    /// Times that the box compares this shaft's with.
    fn spans(&self, plan: &Plan) -> Vec<u64> {
        let own = &self.plan;
        let mut spans: Vec<u64> =
            [own.minimum_gap, own.minimum_gap >> 2, own.rest, own.rest >> 1, plan.slip.regain].map(u64::from).into();
        for turn in turns(plan, own) {
            for share in [own.least, own.largest, own.even] {
                spans.push((u64::from(turn) * u64::from(share)) >> 32);
            }
        }
        spans
    }
}

/// How long a turn takes at speeds that mean something.
fn turns(plan: &Plan, own: &ShaftPlan) -> Vec<u32> {
    let drive = &plan.drive;
    let mut turns = vec![own.normal_turn, own.top_turn, own.brisk, own.sudden, own.standing];
    turns.extend([drive.head_deep, drive.head_silent, drive.boot_turns]);
    for condition in [
        Condition::DeepUnderspeed,
        Condition::Underspeed,
        Condition::NoMotion,
        Condition::HeadUnderspeed,
        Condition::FasterThanNormal,
    ] {
        let row = plan.row(condition.rank());
        turns.extend([row.limit.unsigned_abs(), row.clear.unsigned_abs()]);
    }
    turns
}

struct Brink<'a> {
    plan: Plan,
    rated: u32,
    random: Random,
    now: u64,
    shafts: [Steps; 2],
    slip_ppm: i64,
    /// One pitch in so many is odd.
    odd: u64,
    /// So many pitches pass between two things that happen, at the most.
    calm: u64,
    waiting: BTreeMap<(u64, u64), Signal>,
    sequence: u64,
    drive: bool,
    monitor: Box<Monitor>,
    inputs: Vec<Input>,
    make: &'a Make,
}

impl<'a> Brink<'a> {
    fn new(make: &'a Make, begin: u64, mut random: Random) -> Self {
        let plan = make.settings.plan();
        Self {
            rated: plan.drive.assumed_power,
            now: begin,
            shafts: [Steps::new(Shaft::Head, &plan.head), Steps::new(Shaft::Boot, &plan.boot)],
            slip_ppm: 0,
            odd: random.one_of(&[8, 20, 60, 1_000]),
            calm: random.one_of(&[24, 24, 100, 400]),
            waiting: BTreeMap::new(),
            sequence: 0,
            drive: false,
            monitor: make.monitor(&Retained::default()),
            inputs: Vec::new(),
            plan,
            random,
            make,
        }
    }

    fn live(mut self) -> Vec<Input> {
        self.say(0, Signal::DriveRunning(false));
        for place in Place::ALL {
            self.say(0, Signal::Contact(place, ContactState::Clear));
        }
        if self.random.chance(0.8) {
            self.say(1, Signal::SpeedReference(Ppm::new(1_000_000)));
        }
        let mut act = self.now + self.random.one_of(&[1_000_000, 15_000_000, 40_000_000]);
        while self.inputs.len() < INPUTS {
            let edge = self.shafts.iter().filter_map(|shaft| shaft.next).min().unwrap_or(u64::MAX);
            let said = self.waiting.first_key_value().map_or(u64::MAX, |((at, _), _)| *at);
            self.now = self.now.max(act.min(edge).min(said));
            if said <= self.now
                && let Some((_, signal)) = self.waiting.pop_first()
            {
                self.give(signal);
            } else if edge <= self.now {
                self.edges();
            } else {
                self.act();
                act = self.now + 1 + self.pause();
            }
        }
        self.inputs
    }

    fn give(&mut self, signal: Signal) {
        if let Signal::DriveRunning(on) = signal {
            self.drive = on;
            if !self.make.settings.machine.drive_contact {
                return;
            }
        }
        let input = Input::new(Micros::new(self.now), signal);
        self.monitor.observe(input, &mut |_| {});
        self.inputs.push(input);
    }

    fn say(&mut self, after: u64, signal: Signal) {
        self.sequence += 1;
        self.waiting.insert((self.now + after, self.sequence), signal);
    }

    fn person(&mut self, after: u64, command: Command) {
        let origin = if self.random.chance(0.9) { Origin::Leg } else { Origin::Link };
        self.say(after, Signal::Command(origin, command));
    }

    /// A unit less, the same, a unit more.
    fn beside(&mut self, span: u64) -> u64 {
        let by = self.random.whole(-1, 1);
        span.saturating_add_signed(by)
    }

    /// How long until something else happens.
    fn pause(&mut self) -> u64 {
        let head = self.shafts[0].pitch.max(self.shafts[1].pitch).max(20_000);
        match self.random.whole(0, 9) {
            0..=4 => head * self.random.below(self.calm),
            5 => self.deadline(),
            6 => self.span(),
            7 => 3_000_000,
            _ => 700_000,
        }
    }

    /// How long until the box's next deadline, or beside it.
    fn deadline(&mut self) -> u64 {
        let due = self.monitor.next_deadline().map_or(self.now, Micros::get);
        let wait = due.saturating_sub(self.now);
        self.beside(if wait < 60_000_000 { wait } else { 1_000_000 })
    }

    /// A time that the plan knows, or the core.
    fn span(&mut self) -> u64 {
        let plan = &self.plan;
        let rank = self.random.below(Condition::COUNT as u64) as usize;
        let row = plan.row(rank);
        let slow = |count: u32| u64::from(count) << SLOW_SHIFT;
        let spans = [
            row.on_delay.into(),
            row.off_delay.into(),
            plan.drive.start_time.into(),
            plan.drive.coast_down.into(),
            plan.contacts.bridge.into(),
            plan.minimum_width.into(),
            u64::from(plan.drive.bypass_time).min(60_000_000),
            slow(plan.drive.inching_time).min(60_000_000),
            slow(plan.drive.start_window).min(100_000_000),
            5_000,
            100_000,
            800_000,
            2_000_000,
            3_000_000,
            5_000_000,
            10_000_000,
            60_000_000,
        ];
        let span = self.random.one_of(&spans);
        let span = if self.random.chance(0.01) { u64::from(self.random.one_of(&[SWEEP, FAR])) } else { span };
        self.beside(span)
    }

    fn edges(&mut self) {
        for index in 0..2 {
            if self.shafts[index].next.is_some_and(|next| next <= self.now) {
                self.edge(index);
            }
        }
    }

    fn edge(&mut self, index: usize) {
        let spans = if self.random.below(self.odd) == 0 { self.shafts[index].spans(&self.plan) } else { Vec::new() };
        let other = self.shafts[1 - index].next;
        let steps = &mut self.shafts[index];
        steps.last = self.now;
        let pitch = steps.pitch.saturating_add_signed(steps.longer);
        let there = if steps.longer < 0 { pitch <= steps.aim } else { pitch >= steps.aim };
        if steps.longer != 0 && there {
            steps.longer = 0;
            // One that gets slower and slower stands in the end.
            steps.pitch = if steps.aim > u64::from(steps.plan.rest) { 0 } else { steps.aim };
        } else {
            steps.pitch = pitch;
        }
        let (shaft, pitch, edges, lost) = (steps.shaft, steps.pitch, steps.plan.edges, steps.lost);
        steps.lost = lost.saturating_sub(1);
        steps.mark = (steps.mark + 1) % steps.plan.marks.max(1);
        let is_seen = lost == 0 && !steps.gone.contains(&Some(steps.mark));
        steps.next = (pitch > 0).then_some(self.now + pitch);
        let mut until = pitch.max(1_000);
        if !spans.is_empty() && pitch > 0 {
            until = match self.random.whole(0, 11) {
                0..=4 => self.random.one_of(&spans),
                5 => pitch + (pitch >> 6),
                6 => pitch - (pitch >> 6),
                7 => pitch + (pitch >> self.random.whole(1, 4)),
                8 => pitch - (pitch >> self.random.whole(1, 4)),
                9 => pitch * self.random.one_of(&[2, 3, 4]),
                10 => self.deadline(),
                // At the other shaft's own edge.
                _ => other.map_or(pitch, |other| other.saturating_sub(self.now)),
            };
            until = self.beside(until).clamp(1, 30_000_000);
            self.shafts[index].next = Some(self.now + until);
        }
        if !is_seen {
            return;
        }
        let counted = match edges {
            0 => true,
            1 => false,
            _ => !self.shafts[index].level,
        };
        self.shafts[index].level = counted;
        self.give(Signal::Edge(shaft, counted));
        if edges != 2 {
            let width = u64::from(self.plan.minimum_width);
            let width = if self.random.below(self.odd) == 0 {
                self.beside(width)
            } else {
                (until / 2).max(width + 1).min(until.saturating_sub(1))
            };
            self.say(width, Signal::Edge(shaft, !counted));
        }
    }

    /// Let a shaft turn by this pitch from now on, at once or within so many pitches.
    fn turn(&mut self, index: usize, pitch: u64, within: u64) {
        let steps = &mut self.shafts[index];
        if steps.plan.marks == 0 {
            return;
        }
        if within == 0 || steps.pitch == 0 {
            steps.pitch = pitch * if within > 0 { 3 } else { 1 };
            steps.longer = 0;
            steps.next = (pitch > 0).then_some(steps.last.max(self.now.saturating_sub(pitch)) + pitch);
        }
        steps.aim = pitch;
        if within > 0 {
            steps.longer = pitch.cast_signed().wrapping_sub(steps.pitch.cast_signed()) / within.cast_signed();
            if steps.longer == 0 {
                steps.pitch = pitch;
            }
        }
    }

    /// The head by a turn in so many microseconds, and the boot with it as the belt slips.
    fn turn_both(&mut self, turn: u64, within: u64) {
        let marks = [self.plan.head.marks, self.plan.boot.marks].map(|marks| u64::from(marks.max(1)));
        // By whole 64ths, so that parts of it are whole too.
        let pitch = (turn / marks[0]).max(64) & !63;
        let boot_turn = pitch * marks[0] * 1_000_000 / u64::from(self.plan.slip.ratio.max(1));
        let kept = (1_000_000 - self.slip_ppm).max(1).cast_unsigned();
        let boot = if kept < 1_000 { 0 } else { boot_turn * 1_000_000 / kept / marks[1] };
        self.turn(0, pitch, within);
        self.turn(1, boot, within);
    }

    fn act(&mut self) {
        let status = self.monitor.status();
        let turns = self.shafts[0].pitch != 0 || self.shafts[1].pitch != 0;
        if self.random.chance(0.25) {
            self.meddle();
        } else if !status.run_permit && turns && self.random.chance(0.4) {
            self.run_down();
        } else if !status.run_permit && self.random.chance(0.6) {
            self.clear_up();
        } else if !turns {
            self.start(status.phase);
        } else {
            self.change();
        }
    }

    fn start(&mut self, phase: Phase) {
        if phase != Phase::Standstill && self.random.chance(0.6) {
            return;
        }
        self.say(0, Signal::DriveRunning(true));
        self.slip_ppm = self.random.one_of(&[0, 5_000, 10_000]);
        let share = self.random.one_of(&[100, 100, 100, 97, 80, 50]);
        let turn = u64::from(self.plan.head.normal_turn.max(self.plan.boot.normal_turn / 4)) * 100 / share;
        let within = self.random.one_of(&[0, 3, 10, 30]);
        self.turn_both(turn, within);
    }

    /// The head's turn as it goes.
    fn head_turn(&self) -> u64 {
        let head = &self.shafts[0];
        if head.pitch == 0 { self.plan.head.normal_turn.into() } else { head.pitch * u64::from(head.plan.marks.max(1)) }
    }

    fn change(&mut self) {
        let within = self.random.one_of(&[0, 0, 4, 16]);
        match self.random.whole(0, 15) {
            0 | 1 => self.run_down(),
            2 => {
                let turns = turns(&self.plan, &self.plan.head);
                let turn = self.random.one_of(&turns);
                let turn = self.beside(turn.into());
                self.turn_both(turn.max(1_000), within);
            }
            3..=5 => {
                let limits = [
                    Condition::SlipHigh,
                    Condition::SlipVeryHigh,
                    Condition::SlipNegative,
                    Condition::SlipImpossible,
                    Condition::SlipMean,
                ];
                let condition = self.random.one_of(&limits);
                let limit = i64::from(self.plan.row(condition.rank()).limit);
                let sign =
                    if matches!(condition, Condition::SlipNegative | Condition::SlipImpossible) { -1 } else { 1 };
                self.slip_ppm = self
                    .random
                    .one_of(&[0, 0, limit * sign, limit * sign + 1, 8_000, 300_000])
                    .clamp(-400_000, 900_000);
                self.turn_both(self.head_turn(), within);
            }
            6 => {
                // A shaft stands or is not seen.
                let index = self.random.below(2) as usize;
                if self.random.chance(0.3) {
                    self.turn(index, 0, 0);
                } else {
                    self.shafts[index].lost = self.random.one_of(&[1, 1, 2, 3, 30]);
                }
            }
            7 => {
                let lost = self.random.one_of(&[1, 2]);
                self.shafts.iter_mut().for_each(|shaft| shaft.lost = lost);
            }
            14 | 15 => self.break_targets(),
            8 => {
                let (index, turn) = (self.random.below(2) as usize, self.random.below(10) as usize);
                let turns = turns(&self.plan, &self.shafts[index].plan);
                if self.shafts[index].plan.marks != 0 {
                    let pitch = self.shafts[index].share(turns[turn]);
                    self.turn(index, pitch.max(100), within);
                }
            }
            9 => {
                self.shafts.iter_mut().for_each(|shaft| {
                    shaft.pitch = 0;
                    shaft.next = None;
                });
            }
            10 => {
                let off = self.span();
                self.say(0, Signal::DriveRunning(false));
                self.say(off.min(12_000_000), Signal::DriveRunning(true));
            }
            _ => self.turn_both(self.head_turn(), 0),
        }
    }

    /// A target is gone from here on, or two, neighbours mostly; or all are there again.
    fn break_targets(&mut self) {
        let index = self.random.below(2) as usize;
        let marks = self.shafts[index].plan.marks;
        if marks < 2 {
            return;
        }
        let first = self.random.below(marks.into()) as u8;
        let second = if self.random.chance(0.7) { (first + 1) % marks } else { self.random.below(marks.into()) as u8 };
        self.shafts[index].gone = match self.random.whole(0, 3) {
            0 => [None; 2],
            1 => [Some(first), None],
            _ => [Some(first), Some(second)],
        };
    }

    fn run_down(&mut self) {
        self.say(0, Signal::DriveRunning(false));
        let turn = u64::from(self.plan.head.rest.max(self.plan.boot.rest)) * 64;
        let within = self.random.one_of(&[3, 8, 20, 60]);
        self.turn_both(turn, within);
    }

    fn clear_up(&mut self) {
        self.person(1, Command::Acknowledge);
        self.person(100_000, Command::BootCleared);
        if self.random.chance(0.5) {
            self.person(200_000, Command::Reset);
        } else {
            let held = self.random.one_of(&[100_000, 500_000, 3_000_000]);
            let held = self.beside(held);
            self.person(200_000, Command::ResetButton(true));
            self.person(200_000 + held, Command::ResetButton(false));
        }
    }

    /// Whatever else may be told to a box, at moments of its own.
    fn meddle(&mut self) {
        let at = if self.random.chance(0.5) { self.deadline() } else { 0 };
        let span = self.span().min(20_000_000);
        let (place, condition) = (self.random.one_of(&Place::ALL), self.random.one_of(&Condition::ALL));
        let shaft = if self.random.chance(0.5) { Shaft::Head } else { Shaft::Boot };
        let row = *self.plan.row(Condition::RubHot.rank());
        match self.random.whole(0, 14) {
            0 => {
                let tenths = self.random.one_of(&[row.limit, row.clear, row.limit - 1, row.clear - 1, 200]);
                self.say(at, Signal::Temperature(place, DeciCelsius::new(tenths as i16)));
            }
            1..=3 => {
                let bridge = u64::from(self.plan.contacts.bridge);
                let gap = self.beside(bridge);
                self.say(at, Signal::Contact(place, ContactState::Rubbing));
                self.say(at + span, Signal::Contact(place, ContactState::Clear));
                if self.random.chance(0.5) {
                    self.say(at + span + gap, Signal::Contact(place, ContactState::Rubbing));
                    self.say(at + span + gap + bridge, Signal::Contact(place, ContactState::Clear));
                }
            }
            4 => {
                let state = self.random.one_of(&[ContactState::Faulty, ContactState::Clear]);
                self.say(at, Signal::Contact(place, state));
            }
            5 => {
                let least = self.plan.drive.reference_minimum as i32;
                let share = self.random.one_of(&[least, least - 1, 1_000_000, 1_000_001, 800_000, 0, 1_300_000]);
                self.say(at, Signal::SpeedReference(Ppm::new(share)));
            }
            6 => {
                let watts = self.random.one_of(&[0, 1, self.rated, self.rated * 2, u32::MAX]);
                self.say(at, Signal::DrivePower(Watts::new(watts)));
            }
            7 => {
                self.person(at, Command::Key(true));
                let length = self.random.one_of(&[self.plan.drive.bypass_time, span as u32, 0]);
                self.person(at + 1, Command::Bypass(condition, Span::new(length)));
                let end = self.random.one_of(&[Command::Key(false), Command::EndBypass, Command::Acknowledge]);
                self.person(at + span, end);
            }
            8 => {
                self.person(at, Command::ProofTest(true));
                self.person(at + span, Command::ProofTest(false));
            }
            9 => {
                let state = self.random.one_of(&[LineState::Open, LineState::Shorted]);
                self.say(at, Signal::Line(shaft, state));
                self.say(at + span, Signal::Line(shaft, LineState::Sound));
            }
            10 => self.say(at, Signal::EdgesLost(shaft)),
            11 => {
                self.say(at, Signal::OutletPlugged(true));
                self.say(at + span, Signal::OutletPlugged(false));
            }
            12 => {
                self.person(at, Command::Key(true));
                self.person(at + 1, Command::Inch(true));
                self.say(at + 2, Signal::DriveRunning(true));
                self.person(at + span, Command::Inch(false));
                self.person(at + span + 1, Command::Key(false));
            }
            13 => {
                // Noise, as wide as it may be or less.
                let width = u64::from(self.plan.minimum_width);
                let wide = self.beside(width).max(1);
                let level = self.shafts[shaft as usize].level;
                self.say(at, Signal::Edge(shaft, !level));
                self.say(at + wide, Signal::Edge(shaft, level));
            }
            _ => self.say(at, Signal::Tick),
        }
    }
}
