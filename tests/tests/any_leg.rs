//! Each kind of healthy and sick trace at legs drawn at random: 1 to 64 targets, alike or not, ratios of 0.3 to 3, 10 to 300 rpm, as far as
//! the rules take them. What is to be said stands beside each kind, written beforehand.
//!
//! A part of it runs by itself; `SLACKSIDE_LEGS=1000 cargo test --release -p slackside-tests --test any_leg` tries so many.

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::{Checked, Settings};
use slackside::verdict::Permit;
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, merge, raised, verdicts};
use slackside_tests::wheels::{Random, Wheel, Wheels};

/// Speeds here change within seconds.
const STEP_S: f64 = 0.004;
const COUNTS: [u8; 13] = [1, 2, 3, 4, 5, 6, 8, 12, 16, 24, 32, 48, 64];

/// A leg, how it runs while it is healthy, and when something befalls it.
struct Leg {
    seed: u64,
    settings: Checked,
    head: u8,
    boot: u8,
    /// Turns a second of the head.
    speed: f64,
    ratio: f64,
    /// It runs up within so many seconds.
    up: f64,
    creep: f64,
    error: f64,
    fault: f64,
}

/// What happens to the leg.
struct Life<'a> {
    /// The head's speed as a share of normal, and the belt's slip, by time in seconds.
    speed: &'a dyn Fn(f64) -> f64,
    slip: &'a dyn Fn(f64) -> f64,
    others: Vec<Input>,
    until: f64,
}

/// What the monitor said.
struct Said {
    names: Vec<Condition>,
    first: Vec<(f64, Condition)>,
    stopped: Option<f64>,
}

impl Leg {
    /// The leg of a seed, as the rules take one.
    fn drawn(seed: u64) -> Self {
        let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        loop {
            let head = random.one_of(&COUNTS);
            let boot = if random.chance(0.4) { head } else { random.one_of(&COUNTS) };
            let ratio = if random.chance(0.3) { 1.0 } else { random.log_between(0.3, 3.0) };
            let speed = random.log_between(10.0, 300.0) / 60.0;
            let mut settings = Settings::example();
            let machine = &mut settings.machine;
            for (targets, count) in [(&mut machine.head_targets, head), (&mut machine.boot_targets, boot)] {
                targets.as_mut().expect("fitted").count = count;
            }
            couple(machine, ratio, speed);
            if let Ok(settings) = settings.check() {
                let (up, creep, error) =
                    (random.between(1.5, 4.0), random.between(0.002, 0.015), random.between(0.0, 0.015));
                let fault = 5.0 + 30.0 / speed * f64::max(1.0, 1.0 / ratio);
                return Self { seed, settings, head, boot, speed, ratio, up, creep, error, fault };
            }
        }
    }

    fn count(&self, shaft: Shaft) -> u8 {
        match shaft {
            Shaft::Head => self.head,
            Shaft::Boot => self.boot,
        }
    }

    /// How long a turn and a pitch of a shaft take at normal speed, in seconds.
    fn turn(&self, shaft: Shaft) -> f64 {
        1.0 / match shaft {
            Shaft::Head => self.speed,
            Shaft::Boot => self.speed * self.ratio,
        }
    }

    fn pitch(&self, shaft: Shaft) -> f64 {
        self.turn(shaft) / f64::from(self.count(shaft))
    }

    /// Whether lost edges can be told from a belt that stands for as long: see *slip by angle* in the book.
    fn tells_lost_edges(&self, shaft: Shaft) -> bool {
        let rim = self.settings.machine.boot_circumference().get() as f64 / 1e6;
        let regains = self.speed * self.ratio * rim / 10.0;
        match shaft {
            // What takes longer than the delay of a slow head is told as one.
            Shaft::Head => self.head >= 3 && 2.0 * self.pitch(Shaft::Head) < 2.0,
            Shaft::Boot => self.boot >= 3 && self.pitch(Shaft::Boot) < regains,
        }
    }

    /// Run up, and on with what a motor does by its load.
    fn runs(&self, time: f64) -> f64 {
        ((time - 0.5) / self.up).clamp(0.0, 1.0) * (1.0 + 0.008 * (time * 0.31).sin())
    }

    fn creeps(&self, time: f64) -> f64 {
        self.creep + 0.002 * (time * 0.7).sin()
    }

    fn edges(&self, life: &Life<'_>) -> Vec<Input> {
        let wheel = |count: u8, seed| Some(Wheel::with_spacing_error(count.into(), self.error, seed).jittered(5.0));
        let wheels = Wheels {
            head: wheel(self.head, 2 * self.seed + 1),
            boot: wheel(self.boot, 2 * self.seed + 2),
            ratio: self.ratio,
            head_speed: &|time| self.speed * (life.speed)(time),
            slip: life.slip,
            begin_us: 0,
            seed: self.seed,
        };
        let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 0.5, Signal::DriveRunning(true))];
        merge(&[&drive, &wheels.edges_by(STEP_S, life.until), &life.others, &[at(0, life.until, Signal::Tick)]])
    }

    fn says(&self, inputs: &[Input]) -> Said {
        let verdicts = verdicts(&self.settings, inputs);
        let seconds = |micros: slackside::units::Micros| micros.get() as f64 / 1e6;
        let first: Vec<_> = raised(&verdicts).into_iter().map(|(at, condition)| (seconds(at), condition)).collect();
        let mut names: Vec<_> = first.iter().map(|(_, condition)| *condition).collect();
        names.sort();
        names.dedup();
        Said { names, first, stopped: dropped(&verdicts, Permit::Run).map(seconds) }
    }

    fn lives(&self, life: &Life<'_>) -> Said {
        self.says(&self.edges(life))
    }

    fn healthy(&self, seconds: f64) -> Vec<Input> {
        let life = Life {
            speed: &|time| self.runs(time),
            slip: &|time| self.creeps(time),
            others: vec![],
            until: self.fault + seconds,
        };
        self.edges(&life)
    }

    /// The belt slips by so much from the fault on, for so many seconds.
    fn slips(&self, slip: f64, seconds: f64, others: Vec<Input>) -> Said {
        let life = Life {
            speed: &|time| self.runs(time),
            slip: &|time| if time > self.fault { slip } else { self.creeps(time) },
            others,
            until: self.fault + seconds,
        };
        self.lives(&life)
    }

    #[track_caller]
    fn expect(&self, kind: &str, said: &Said, holds: bool) {
        let Self { seed, head, boot, speed, ratio, fault, .. } = self;
        assert!(
            holds,
            "{kind}: leg {seed}, {head} and {boot} targets, ratio {ratio:.3}, {:.1} rpm, from {fault:.1} s on: stopped {:?}, {:?}",
            speed * 60.0,
            said.stopped,
            said.first
        );
    }
}

fn each(try_leg: impl Fn(&Leg)) {
    let legs = std::env::var("SLACKSIDE_LEGS").ok().and_then(|legs| legs.parse().ok()).unwrap_or(12);
    (0..legs).map(Leg::drawn).for_each(|leg| try_leg(&leg));
}

fn only(said: &Said, allowed: &[Condition]) -> bool {
    said.names.iter().all(|name| allowed.contains(name))
}

fn targets_of(shaft: Shaft) -> Condition {
    match shaft {
        Shaft::Head => Condition::HeadTargets,
        Shaft::Boot => Condition::BootTargets,
    }
}

const BOTH: [Shaft; 2] = [Shaft::Head, Shaft::Boot];

#[test]
fn a_healthy_leg_is_left_alone() {
    each(|leg| {
        let said = leg.says(&leg.healthy(120.0));
        leg.expect("healthy", &said, said.names.is_empty());
    });
}

/// Its first turn takes longer than the delay of a slow head, and has the run-up in it.
#[test]
fn a_slow_head_of_one_target_starts_without_a_word() {
    let slow = (0..3_000).map(Leg::drawn).filter(|leg| leg.head == 1 && leg.speed < 0.34);
    for leg in slow {
        let said = leg.says(&leg.healthy(20.0));
        leg.expect("slow head", &said, said.names.is_empty());
    }
}

#[test]
fn an_ordinary_stop_is_left_alone() {
    each(|leg| {
        let takes = 3.0 + (leg.seed % 17) as f64;
        let life = Life {
            speed: &|time| leg.runs(time) * (1.0 - (time - leg.fault) / takes).clamp(0.0, 1.0),
            slip: &|time| leg.creeps(time),
            others: vec![at(0, leg.fault, Signal::DriveRunning(false))],
            until: leg.fault + takes + 30.0,
        };
        let said = leg.lives(&life);
        leg.expect("stop", &said, said.names.is_empty());
    });
}

/// The belt stands at once: half a second after its silence says so, which takes two pitches and a half at the limit.
#[test]
fn a_belt_that_stands_is_a_stop_in_time() {
    each(|leg| {
        let said = leg.slips(1.0, 10.0, vec![]);
        let most = leg.fault + 0.8 + 2.5 * leg.pitch(Shaft::Boot) / 0.8;
        leg.expect("belt stands", &said, said.stopped.is_some_and(|stopped| stopped > leg.fault && stopped < most));
    });
}

#[test]
fn a_quarter_of_slip_is_a_stop_that_says_slip_or_speed() {
    use Condition::{DeepUnderspeed, SlipHeat, SlipHigh, SlipMean, SlipVeryHigh, Underspeed};
    each(|leg| {
        let turn = leg.turn(Shaft::Boot);
        let pitch = leg.pitch(Shaft::Boot).max(leg.pitch(Shaft::Head));
        let said = leg.slips(0.25, 15.0 + 4.0 * turn, vec![]);
        let most = leg.fault + 1.5 + 1.3 * turn + 3.0 * pitch;
        let named = only(&said, &[SlipVeryHigh, SlipHigh, DeepUnderspeed, Underspeed, SlipMean, SlipHeat]);
        leg.expect("slip 25 %", &said, named && said.stopped.is_some_and(|stopped| stopped < most));
    });
}

/// Slip that does not vary at all, as here, shows as a shifted ratio too, after 64 turns.
#[test]
fn nine_per_cent_of_slip_is_an_alarm_that_says_slip() {
    use Condition::{RatioShifted, SlipHeat, SlipHigh, SlipMean, Underspeed};
    each(|leg| {
        let turn = leg.turn(Shaft::Boot);
        let said = leg.slips(0.09, 30.0 + 8.0 * turn, vec![]);
        let most = leg.fault + 3.5 + 5.0 * turn + 2.0 * leg.pitch(Shaft::Head);
        let told = said.first.iter().any(|(at, name)| *name == SlipHigh && *at > leg.fault && *at < most);
        leg.expect("slip 9 %", &said, told && only(&said, &[SlipHigh, SlipMean, Underspeed, SlipHeat, RatioShifted]));
    });
}

#[test]
fn slip_is_judged_though_the_contact_lies_open() {
    each(|leg| {
        let turn = leg.turn(Shaft::Boot);
        let open = at(0, leg.fault - 1.0, Signal::DriveRunning(false));
        let said = leg.slips(0.22, 15.0 + 4.0 * turn, vec![open]);
        let most = leg.fault + 2.5 + 1.3 * turn + 3.0 * leg.pitch(Shaft::Boot).max(leg.pitch(Shaft::Head));
        let stops = said.stopped.is_some_and(|stopped| stopped < most);
        leg.expect("contact open", &said, stops && said.names.contains(&Condition::SlipVeryHigh));
    });
}

#[test]
fn a_bridged_wire_is_a_stop() {
    each(|leg| {
        let whole = leg.healthy(10.0 + 20.0 * leg.turn(Shaft::Head).max(leg.turn(Shaft::Boot)));
        let bridged = whole.iter().flat_map(|input| {
            let then = input.at.get() as f64 / 1e6 > leg.fault;
            let twin = |level| Input::new(input.at, Signal::Edge(Shaft::Boot, level));
            match input.signal {
                Signal::Edge(Shaft::Boot, _) if then => vec![],
                Signal::Edge(Shaft::Head, level) if then => vec![*input, twin(level)],
                _ => vec![*input],
            }
        });
        let said = leg.says(&bridged.collect::<Vec<_>>());
        let turns = 5.0 * leg.turn(Shaft::Head).max(leg.turn(Shaft::Boot));
        let most = leg.fault + 1.0 + turns + 18.0 * leg.pitch(Shaft::Head);
        leg.expect("bridged", &said, said.stopped.is_some_and(|stopped| stopped < most));
    });
}

#[test]
fn swapped_sensors_on_equal_wheels_are_a_stop_that_says_so() {
    each(|leg| {
        if leg.ratio != 1.0 || leg.head != leg.boot {
            return;
        }
        let turn = leg.turn(Shaft::Head);
        let life = Life {
            speed: &|time| leg.runs(time),
            slip: &|time| if time > leg.fault { 0.07 } else { leg.creeps(time) },
            others: vec![],
            until: leg.fault + 20.0 + 115.0 * turn,
        };
        let mut inputs = leg.edges(&life);
        for input in &mut inputs {
            if let Signal::Edge(shaft, level) = input.signal {
                let other = if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
                input.signal = Signal::Edge(other, level);
            }
        }
        let said = leg.says(&inputs);
        let stops = said.stopped.is_some_and(|stopped| stopped < leg.fault + 5.0 + 110.0 * turn);
        leg.expect("swapped", &said, stops && said.names.contains(&Condition::RatioOrWiring));
    });
}

#[test]
fn a_leg_faster_than_normal_is_an_alarm_that_says_so() {
    each(|leg| {
        let life = Life {
            speed: &|time| 1.14 * leg.runs(time),
            slip: &|time| leg.creeps(time),
            others: vec![],
            until: leg.fault + 90.0,
        };
        let said = leg.lives(&life);
        leg.expect("faster", &said, said.names == [Condition::FasterThanNormal] && said.stopped.is_none());
    });
}

/// What is left where the sensor does not see the targets for which `loses` holds: number from the start and time in seconds.
fn losing(inputs: &[Input], of: Shaft, loses: &mut dyn FnMut(u64, f64) -> bool) -> Vec<Input> {
    let (mut number, mut lost) = (0, false);
    let keeps = |input: &&Input| match input.signal {
        Signal::Edge(shaft, level) if shaft == of => {
            if level {
                lost = loses(number, input.at.get() as f64 / 1e6);
                number += 1;
            }
            !lost
        }
        _ => true,
    };
    inputs.iter().filter(keeps).copied().collect()
}

#[test]
fn a_target_lost_for_good_is_named_and_stops_nothing() {
    each(|leg| {
        for shaft in BOTH.into_iter().filter(|shaft| leg.tells_lost_edges(*shaft)) {
            let whole = leg.healthy(30.0 + 30.0 * leg.turn(shaft));
            let count = u64::from(leg.count(shaft));
            let said = leg.says(&losing(&whole, shaft, &mut |number, time| time > leg.fault && number % count == 1));
            leg.expect("target lost", &said, said.names == [targets_of(shaft)] && said.stopped.is_none());
        }
    });
}

/// Three targets have no time to tell two lost with one between, and up to five none for three in a row before the sensor is named.
#[test]
fn edges_lost_at_random_stop_nothing() {
    each(|leg| {
        for shaft in BOTH.into_iter().filter(|shaft| leg.tells_lost_edges(*shaft) && leg.count(*shaft) > 5) {
            let whole = leg.healthy(1_500.0 * leg.pitch(shaft));
            let mut random = Random(leg.seed);
            let lossy = losing(&whole, shaft, &mut |_, time| time > leg.fault && random.chance(0.01));
            let said = leg.says(&lossy);
            leg.expect("edges lost", &said, only(&said, &[targets_of(shaft)]) && said.stopped.is_none());
        }
    });
}

/// One pulse too many, once, within the gap behind a target.
#[test]
fn one_pulse_too_many_is_borne() {
    each(|leg| {
        for shaft in BOTH.into_iter().filter(|shaft| leg.count(*shaft) >= 3) {
            let mut inputs = leg.healthy(10.0 + 10.0 * leg.turn(shaft));
            let falls =
                |input: &&Input| input.signal == Signal::Edge(shaft, false) && input.at.get() as f64 / 1e6 > leg.fault;
            let behind = inputs.iter().find(falls).map(|input| input.at.get() as f64 / 1e6).expect("it turns");
            for (part, level) in [(0.2, true), (0.4, false)] {
                inputs.push(at(0, behind + part * leg.pitch(shaft), Signal::Edge(shaft, level)));
            }
            inputs.sort_by_key(|input| input.at);
            let said = leg.says(&inputs);
            leg.expect("a pulse too many", &said, said.names.is_empty());
        }
    });
}
