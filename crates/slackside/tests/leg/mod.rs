//! A leg for tests: exact edges of two coupled wheels, and the example's plan.
#![allow(dead_code, reason = "each test uses a part")]

use std::f64::consts::TAU;
use std::sync::Arc;

use slackside::Monitor;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::settings::{CountedEdges, Settings, Targets};
use slackside::units::Micros;
use slackside::verdict::Verdict;

/// Two months of running time lie before each trace, so that no half of it is near zero.
pub const BEGIN_US: u64 = 5_184_000_000_000;

/// The example leg.
pub fn example() -> Settings {
    Settings::example()
}

/// The plan of these settings.
pub fn plan_of(settings: Settings) -> Arc<Plan> {
    let checked = settings.check_for_bench().unwrap_or_else(|violations| panic!("{violations:?}"));
    Arc::new(checked.plan())
}

/// The plan of the example leg.
pub fn plan() -> Arc<Plan> {
    plan_of(example())
}

/// Found sound.
pub fn sound(plan: &Arc<Plan>) -> Sound<Arc<Plan>> {
    Sound::new(Arc::clone(plan)).expect("it keeps every rule")
}

/// A monitor with this plan that has seen these inputs, and what it said.
pub fn observed(sound: Sound<Arc<Plan>>, inputs: &[Input]) -> (Box<Monitor<Arc<Plan>>>, Vec<Verdict>) {
    let mut monitor = Box::new(Monitor::new());
    monitor.configure(sound, &Retained::default()).expect("room");
    let mut verdicts = Vec::new();
    for input in inputs {
        monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
    }
    (monitor, verdicts)
}

/// The example leg with so many targets on each shaft.
pub fn with_targets(targets: u8, turns_a_second: f64) -> Settings {
    let mut settings = example();
    let machine = &mut settings.machine;
    for targets_of in [&mut machine.head_targets, &mut machine.boot_targets] {
        *targets_of = targets_of.map(|fitted| Targets { count: targets, edges: CountedEdges::Rising, ..fitted });
    }
    let ratio = f64::from(machine.normal_boot.get()) / f64::from(machine.normal_head.get());
    machine.normal_head = slackside::units::MicroturnsPerSecond::new((turns_a_second * 1e6) as u32);
    machine.normal_boot = slackside::units::MicroturnsPerSecond::new((turns_a_second * ratio * 1e6) as u32);
    settings
}

/// Boot turns for each head turn.
pub fn ratio(settings: &Settings) -> f64 {
    f64::from(settings.machine.normal_boot.get()) / f64::from(settings.machine.normal_head.get())
}

/// A small generator of random numbers, the same everywhere (SplitMix64).
pub struct Random(pub u64);

impl Random {
    /// The next 64 bits.
    pub fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Evenly between 0 and 1.
    pub fn unit(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal, of standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (TAU * self.unit()).cos()
    }
}

/// The edges of one shaft with `targets`, each out of place by up to a hundredth of the pitch either way (so that a pitch is wrong by up
/// to 2 %) and a third of it wide, while it turns by `speed` (turns a second, by time in seconds) for `seconds`; each edge is off by
/// 5 µs (standard deviation).
pub fn turning(shaft: Shaft, targets: u8, speed: &dyn Fn(f64) -> f64, seconds: f64, seed: u64) -> Vec<Input> {
    const STEP_S: f64 = 0.000_5;
    let mut random = Random(seed);
    let pitch = 1.0 / f64::from(targets);
    let mut marks = Vec::new();
    for target in 0..targets {
        // Not before the beginning.
        let begin = (pitch * (f64::from(target) + 0.02 * (random.unit() - 0.5)) + 0.001).max(0.000_1);
        marks.extend([(begin, true), (begin + pitch / 3.0, false)]);
    }
    marks.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut edges = Vec::new();
    let (mut angle, mut next) = (0.0, 0_usize);
    for step in 0..(seconds / STEP_S) as u64 {
        let time = step as f64 * STEP_S;
        let turned = (speed(time) + speed(time + STEP_S)) / 2.0 * STEP_S;
        loop {
            let (share, level) = marks[next % marks.len()];
            let mark = (next / marks.len()) as f64 + share;
            if turned <= 0.0 || mark > angle + turned {
                break;
            }
            let at = time + (mark - angle) / turned * STEP_S;
            let at = (at * 1e6 + 5.0 * random.normal()).max(0.0) as u64;
            edges.push(Input::new(Micros::new(BEGIN_US + at), Signal::Edge(shaft, level)));
            next += 1;
        }
        angle += turned;
    }
    edges
}

/// Both shafts, and other inputs at their seconds, in order of time.
pub fn leg(
    targets: u8,
    ratio: f64,
    speed: &dyn Fn(f64) -> f64,
    slip: &dyn Fn(f64) -> f64,
    seconds: f64,
    seed: u64,
    others: &[(f64, Signal)],
) -> Vec<Input> {
    let mut all = turning(Shaft::Head, targets, speed, seconds, seed);
    let boot = |time: f64| speed(time) * ratio * (1.0 - slip(time));
    all.extend(turning(Shaft::Boot, targets, &boot, seconds, seed + 1_000));
    all.extend(others.iter().map(|(at, signal)| Input::new(Micros::new(BEGIN_US + (at * 1e6) as u64), *signal)));
    all.sort_by_key(|input| input.at);
    all
}
