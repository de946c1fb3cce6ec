//! A monitor, and what it is told of.

use slackside::Monitor;
use slackside::alarm::{AlarmState, bits};
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::judge::Status;
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::{Plan, act};
use slackside::settings::plan_check::Sound;
use slackside::units::{Micros, Span};
use slackside::verdict::Change;

use super::event::Event;
use super::promise::{self, Moves};

/// What the test's legs have room for.
const MARKS: usize = 8;
/// Slip heat is told in quarters of its budget, in ppm.
const HEAT_STEP: i32 = 250_000;
/// Steps of a wheel in a turn: four targets, on and off.
const STEPS: u64 = 8;

/// What can be seen of a monitor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct View {
    /// Permits, phase, first-out.
    pub status: Status,
    alarms: [AlarmState; Condition::COUNT],
    stops: u64,
}

impl View {
    fn of(monitor: &Monitor<&'static Plan, MARKS>, stops: u64) -> Self {
        let alarms = Condition::ALL.map(|condition| monitor.alarm(condition));
        Self { status: monitor.status(), alarms, stops }
    }

    /// The state of an alarm.
    pub fn alarm(&self, condition: Condition) -> AlarmState {
        self.alarms[condition.rank()]
    }

    /// Whether it is a stop that holds.
    pub fn stops(&self, condition: Condition) -> bool {
        self.stops >> condition.rank() & 1 != 0 && self.alarm(condition).holds()
    }
}

/// What judge keeps to itself, as far as it can matter for a promise: read from the state's own bytes.
#[derive(Clone, Debug)]
struct Inside {
    /// Marks of the leg, the one for its short way taken out.
    marks: u32,
    /// Starts and returns of the feed that still count.
    counts: [u8; 2],
    /// The bits of each alarm, running delays among them.
    alarms: Vec<u8>,
}

impl Inside {
    fn of(monitor: &Monitor<&'static Plan, MARKS>) -> Self {
        // The mark of the short way: the same in all else, as a property of the core holds.
        const QUIET: u32 = 1 << 24;
        let mut parts = Vec::new();
        monitor.parts(&mut |part| parts.push(part.to_vec()));
        // Judge's come last: the leg, ends of delays, bits, what was noted, its clock.
        let [.., leg, _, alarms, _, _] = &parts[..] else { panic!("judge has five parts") };
        let marks = u32::from_le_bytes(leg[8..12].try_into().expect("four bytes")) & !QUIET;
        Self { marks, counts: [leg[5], leg[leg.len() - 4]], alarms: alarms.clone() }
    }
}

/// What the leg and its people do at the moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Outside {
    key: bool,
    reset_down: bool,
    drive: bool,
    plugged: bool,
    boot_line_cut: bool,
    rub: u8,
    proof: bool,
}

/// The world.
#[derive(Clone)]
pub struct World {
    monitor: Monitor<&'static Plan, MARKS>,
    plan: &'static Plan,
    /// What each alarm does.
    acts: &'static [u8],
    now: u64,
    /// Steps of each wheel, and how much of the step under way is left, in parts per million.
    wheels: [u64; 2],
    left: [u64; 2],
    outside: Outside,
    view: View,
}

impl World {
    /// A leg whose box has just been switched on, for the first time: it counts as tripped.
    ///
    /// # Panics
    /// If the settings break a rule.
    #[must_use]
    pub fn switched_on(settings: &Settings) -> Self {
        let plan: &'static Plan = Box::leak(Box::new(settings.clone().check().expect("sound").plan()));
        let stops = Condition::ALL.into_iter().filter(|one| plan.acts(one.rank()) & act::STOP != 0);
        let stops = stops.fold(0, |bits, one| bits | 1_u64 << one.rank());
        let monitor = Monitor::new();
        let mut it = Self {
            view: View::of(&monitor, stops),
            monitor,
            plan,
            acts: acts_of(plan),
            now: 0,
            wheels: [0; 2],
            left: [1_000_000; 2],
            outside: Outside::default(),
        };
        it.begin(&Retained::unreadable());
        it
    }

    fn begin(&mut self, retained: &Retained) {
        self.monitor = Monitor::new();
        self.monitor.configure(Sound::new(self.plan).expect("sound"), retained).expect("room");
        let Outside { key, drive, plugged, boot_line_cut, rub, .. } = self.outside;
        // What the box tells at its first look.
        let line = if boot_line_cut { LineState::Open } else { LineState::Sound };
        for signal in [
            Signal::Line(Shaft::Boot, line),
            Signal::Contact(Place::HeadLeft, contact(rub)),
            Signal::Command(Origin::Leg, Command::Key(key)),
            Signal::DriveRunning(drive),
            Signal::OutletPlugged(plugged),
        ] {
            self.monitor.observe(Input::new(Micros::new(self.now), signal), &mut |_| {});
        }
        (self.outside.reset_down, self.outside.proof) = (false, false);
        self.look();
    }

    /// What tells this state from others: what the monitor shows, and what goes on outside.
    #[must_use]
    pub fn seen(&self) -> impl std::hash::Hash + use<> {
        let View { status, alarms, .. } = &self.view;
        let alarms = alarms.map(|state| state as u8);
        let status = (
            status.run_permit,
            status.feed_permit,
            status.phase,
            status.first_out.map(Condition::id),
            status.boot_cleared_needed,
            status.bypassed.map(Condition::id),
        );
        (status, alarms, self.outside)
    }

    /// A state of a turning leg, seen as the promises see it: permits, phase, first-out, bypass, whether the boot must be looked into, what
    /// goes on outside; and of the alarms whether there is one among those that stop that is beyond its limit, wrong, latched, or not
    /// acknowledged, and whether one keeps feed away. Which it is, is not seen but for the first-out; neither are delays, slip heat and what
    /// measure knows.
    ///
    /// And what each alarm is within, delays as running or not, with judge's own marks and slip heat in quarters: for telling apart what looks
    /// the same.
    #[must_use]
    pub fn sight(&self) -> (impl std::hash::Hash + use<>, impl std::hash::Hash + use<>) {
        let Inside { marks, counts, alarms } = Inside::of(&self.monitor);
        let status = &self.view.status;
        let among = |does: u8| {
            let these = alarms.iter().zip(self.acts).filter(|(_, acts)| **acts & does != 0);
            these.fold(0, |all, (bits, _)| all | bits)
        };
        let stops = among(act::STOP) & (bits::BEYOND | bits::ACTIVE | bits::LATCHED | bits::UNACKNOWLEDGED);
        let hinders = among(act::DROP_FEED) & (bits::ACTIVE | bits::LATCHED) != 0;
        let seen = (
            (status.run_permit, status.feed_permit, status.phase, status.boot_cleared_needed),
            (status.first_out.map(Condition::id), status.bypassed.map(Condition::id), stops, hinders),
            // A rub alone neither stops nor keeps feed away, and a proof test changes no permit.
            Outside { rub: 0, proof: false, ..self.outside },
        );
        let heat = self.monitor.slip_heat_at(Micros::new(self.now)).get() / HEAT_STEP;
        (seen, (alarms, marks, counts, heat))
    }

    /// Look at the monitor anew: what it showed before.
    fn look(&mut self) -> View {
        let stops = self.view.stops;
        core::mem::replace(&mut self.view, View::of(&self.monitor, stops))
    }

    /// One input, and every promise after it.
    fn tell(&mut self, signal: Signal, moves: &mut Moves) -> Result<(), String> {
        let mut wrong = Ok(());
        let mut proof = self.outside.proof;
        let mut told = false;
        self.monitor.observe(Input::new(Micros::new(self.now), signal), &mut |verdict| {
            told = true;
            match verdict.change {
                Change::Alarm { condition, from, to, .. } => {
                    if let Err(why) = moves.add(condition, from, to) {
                        wrong = Err(why);
                    }
                }
                Change::Accepted(_, Command::ProofTest(begun)) => proof = begun,
                _ => {}
            }
        });
        self.outside.proof = proof;
        wrong?;
        if !told && matches!(signal, Signal::Edge(..)) {
            // Nothing was told: that nothing moved either is looked at once the event is over.
            return Ok(());
        }
        let before = self.look();
        promise::of_a_state(&self.view)?;
        promise::of_a_step(&before, signal, &self.view)
    }

    fn tell_all(&mut self, signals: &[Signal], moves: &mut Moves) -> Result<(), String> {
        signals.iter().try_for_each(|signal| self.tell(*signal, moves))
    }

    /// Nothing, for so many milliseconds, looked at every so often.
    fn wait(&mut self, millis: u64, every: u64, moves: &mut Moves) -> Result<(), String> {
        for _ in 0..millis / every {
            self.now += every * 1_000;
            self.tell(Signal::Tick, moves)?;
        }
        Ok(())
    }

    /// The shafts turn for so many milliseconds at so many per mille of normal speed.
    fn turn(&mut self, millis: u64, per_mille: [u64; 2], moves: &mut Moves) -> Result<(), String> {
        let until = self.now + millis * 1_000;
        let turns = [self.plan.head.normal_turn, self.plan.boot.normal_turn];
        let step = |shaft: usize| (u64::from(turns[shaft]) * 1_000).checked_div(per_mille[shaft] * STEPS);
        let left = self.left;
        let mut next =
            [0, 1].map(|shaft| step(shaft).map_or(u64::MAX, |step| self.now + step * left[shaft] / 1_000_000));
        loop {
            let shaft = usize::from(next[1] < next[0]);
            if next[shaft] > until {
                break;
            }
            self.now = next[shaft];
            next[shaft] += step(shaft).unwrap_or(u64::MAX);
            self.wheels[shaft] += 1;
            let high = self.wheels[shaft] % 2 == 1;
            self.tell(Signal::Edge([Shaft::Head, Shaft::Boot][shaft], high), moves)?;
        }
        for (shaft, left) in self.left.iter_mut().enumerate() {
            *left = step(shaft).map_or(*left, |step| next[shaft].saturating_sub(until) * 1_000_000 / step);
        }
        let before = self.look();
        if before != self.view {
            return Err(format!("{:?} became {:?} untold", before.status, self.view.status));
        }
        self.now = until;
        self.tell(Signal::Tick, moves)
    }

    /// It happens, and every promise holds after every input of it.
    ///
    /// # Errors
    /// The promise that is broken.
    pub fn happens(&mut self, event: Event, moves: &mut Moves) -> Result<(), String> {
        const BYPASS: Span = Span::from_millis(60_000);
        self.now += 1_000;
        let command = Signal::Command;
        match event {
            Event::Acknowledge(origin) => self.tell(command(origin, Command::Acknowledge), moves),
            Event::Reset(Origin::Leg) => self.press(500, moves),
            Event::Reset(Origin::Link) => self.tell_all(
                &[Command::Reset, Command::ResetButton(true), Command::ResetButton(false)]
                    .map(|one| command(Origin::Link, one)),
                moves,
            ),
            Event::ResetTooShort => self.press(50, moves),
            Event::ResetTooLong => self.press(3_500, moves),
            Event::ResetDown => {
                self.outside.reset_down = true;
                self.tell(command(Origin::Leg, Command::ResetButton(true)), moves)
            }
            Event::BootCleared(origin) => self.tell(command(origin, Command::BootCleared), moves),
            Event::Key(on) => {
                self.outside.key = on;
                self.tell(command(Origin::Leg, Command::Key(on)), moves)
            }
            Event::Bypass(origin) => {
                self.tell(command(origin, Command::Bypass(Condition::OutletPlugged, BYPASS)), moves)
            }
            Event::EndBypass(origin) => self.tell(command(origin, Command::EndBypass), moves),
            Event::Inch(origin, on) => self.tell(command(origin, Command::Inch(on)), moves),
            Event::ProofTest(origin, on) => self.tell(command(origin, Command::ProofTest(on)), moves),
            Event::Drive(on) => {
                self.outside.drive = on;
                self.tell(Signal::DriveRunning(on), moves)
            }
            Event::Outlet(plugged) => {
                self.outside.plugged = plugged;
                self.tell(Signal::OutletPlugged(plugged), moves)
            }
            Event::BootLine(cut) => {
                self.outside.boot_line_cut = cut;
                let line = if cut { LineState::Open } else { LineState::Sound };
                self.tell(Signal::Line(Shaft::Boot, line), moves)
            }
            Event::Rub(rubs) => self.rub(u8::from(rubs), moves),
            Event::RubCut => self.rub(2, moves),
            Event::EdgesLost => self.tell(Signal::EdgesLost(Shaft::Boot), moves),
            Event::Wait => self.wait(1_000, 500, moves),
            Event::WaitLong => self.wait(12_000, 2_000, moves),
            Event::WaitMinute => self.wait(62_000, 10_000, moves),
            Event::Turn => self.turn(4_000, [1_000, 1_000], moves),
            Event::BeltStands => self.turn(4_000, [1_000, 0], moves),
            Event::Slip => self.turn(4_000, [1_000, 920], moves),
            Event::Slow => self.turn(4_000, [700, 700], moves),
            Event::PowerCycle => self.power_cycle(),
        }
    }

    fn press(&mut self, millis: u64, moves: &mut Moves) -> Result<(), String> {
        self.tell(Signal::Command(Origin::Leg, Command::ResetButton(true)), moves)?;
        self.wait(millis, millis.min(500), moves)?;
        self.outside.reset_down = false;
        self.tell(Signal::Command(Origin::Leg, Command::ResetButton(false)), moves)
    }

    fn rub(&mut self, rub: u8, moves: &mut Moves) -> Result<(), String> {
        self.outside.rub = rub;
        self.tell(Signal::Contact(Place::HeadLeft, contact(rub)), moves)
    }

    fn power_cycle(&mut self) -> Result<(), String> {
        let image = self.monitor.retained().ok_or("nothing is retained")?.to_image();
        let retained = Retained::from_image(&image).map_err(|why| format!("what was kept is unreadable: {why:?}"))?;
        self.now += 5_000_000;
        let before = self.view.clone();
        self.begin(&retained);
        promise::of_a_state(&self.view)?;
        promise::of_a_power_cycle(&before, &self.view)
    }
}

/// What each alarm does: as the plan has it, and those that keep feed away whatever it says.
fn acts_of(plan: &Plan) -> &'static [u8] {
    const HINDER: [Condition; 3] = [Condition::SlipVeryHigh, Condition::SlipHigh, Condition::Underspeed];
    let of = |condition: Condition| {
        plan.acts(condition.rank()) | if HINDER.contains(&condition) { act::DROP_FEED } else { 0 }
    };
    Box::leak(Condition::ALL.map(of).to_vec().into_boxed_slice())
}

const fn contact(rub: u8) -> ContactState {
    match rub {
        0 => ContactState::Clear,
        1 => ContactState::Rubbing,
        _ => ContactState::Faulty,
    }
}
