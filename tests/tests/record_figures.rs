//! What a recording costs and how far back it reaches, leg by leg. Print the table of the integrator's page with
//! `cargo test -p slackside-tests --test record_figures -- --nocapture`.

use slackside_desk::monitor::monitor;
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::record::{AFTER_TRIP, BEFORE_TRIP, Reader, Record, Recorder, SLOTS};
use slackside::retained::Retained;
use slackside::settings::{Checked, CountedEdges, Settings, Targets};
use slackside::units::Micros;
use slackside_tests::session::{at, merge};
use slackside_tests::wheels::{Wheel, Wheels};

const MEMORY: usize = 32 * 1_024;
const BEGIN_US: u64 = 1_000_000;
/// The belt stops following here.
const FAILS_S: f64 = 700.0;
const SECONDS: f64 = 725.0;

struct Figures {
    edges_a_second: f64,
    bytes_an_edge: f64,
    keyframe: usize,
    keyframe_most: usize,
    least_kept_s: f64,
    before_s: f64,
    after_s: f64,
    turns_a_minute: f64,
}

fn leg(targets: u8, edges: CountedEdges, turns_a_second: f64) -> Checked {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    for targets_of in [&mut machine.head_targets, &mut machine.boot_targets] {
        *targets_of = targets_of.map(|fitted| Targets { count: targets, edges, ..fitted });
    }
    let ratio = f64::from(machine.normal_boot.get()) / f64::from(machine.normal_head.get());
    machine.normal_head = slackside::units::MicroturnsPerSecond::new((turns_a_second * 1e6) as u32);
    machine.normal_boot = slackside::units::MicroturnsPerSecond::new((turns_a_second * ratio * 1e6) as u32);
    // Legs with one target a turn are too slow to see for the limits of a leg; what they record is the same.
    settings.check_for_bench().unwrap_or_else(|violations| panic!("{targets} targets: {violations:?}"))
}

/// A leg that starts, runs with a speed that wanders by 0.3 %, targets 2 % out of place and 5 µs of jitter, and whose belt
/// then stops following.
fn inputs(settings: &Checked, targets: u8, turns_a_second: f64, seconds: f64) -> Vec<Input> {
    let speed = |time: f64| match time {
        ..2.0 => 0.0,
        2.0..6.0 => turns_a_second * (time - 2.0) / 4.0,
        _ => turns_a_second * (1.0 + 0.003 * (time * 0.3).sin()),
    };
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(targets.into(), 0.02, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(targets.into(), 0.02, 2).jittered(5.0)),
        ratio: f64::from(settings.ratio().get()) * 1e-6,
        head_speed: &speed,
        slip: &|time| if time > FAILS_S { 1.0 } else { 0.005 },
        begin_us: BEGIN_US,
        seed: 3,
    };
    let people = [
        at(BEGIN_US, 0.2, Signal::Command(Origin::Leg, Command::Acknowledge)),
        at(BEGIN_US, 0.5, Signal::Command(Origin::Leg, Command::Reset)),
        at(BEGIN_US, 2.0, Signal::DriveRunning(true)),
    ];
    merge(&[&wheels.edges(seconds), &people])
}

/// Twelve minutes of such a leg.
fn run(settings: &Checked, targets: u8, turns_a_second: f64) -> Figures {
    let all = inputs(settings, targets, turns_a_second, SECONDS);
    let mut memory = vec![0; MEMORY];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<64>::with_room());
    recorder.configure(&mut monitor, settings, &Retained::default(), 0).expect("room");
    let mut least_kept = u64::MAX;
    let mut trip = None;
    let mut trips = 0;
    let mut full = false;
    let mut keyframes = Vec::new();
    for input in &all {
        recorder.observe(&mut monitor, *input, &mut |_| {});
        let since = recorder.kept_since().expect("something").get();
        full |= since > BEGIN_US;
        // Now and then, over everything that learning and windows go through; only once the leg has run a while.
        if input.at.get() % 97 == 0 && input.at.get() > BEGIN_US + 60_000_000 && trip.is_none() {
            keyframes.push(monitor.keyframe_length(input.at));
        }
        // Only once the ring has turned, and until the trip protects it.
        if full && trip.is_none() {
            least_kept = least_kept.min(input.at.get() - since);
        }
        if recorder.trips() > trips && input.at.get() > BEGIN_US + (FAILS_S * 1e6) as u64 {
            trip.get_or_insert(input.at);
        }
        trips = recorder.trips();
    }
    let trip = trip.unwrap_or_else(|| panic!("{targets} targets: the belt stopped following and nothing tripped"));
    let mut held: Vec<u8> = Vec::new();
    recorder.held().for_each(|segment| held.extend(segment.bytes));
    let (mut edges, mut edge_bytes) = (0, 0);
    let (mut first, mut last) = (Micros::MAX, Micros::ZERO);
    for (segment, damage) in Reader::new(&held) {
        assert_eq!(damage, None);
        let segment = segment.expect("whole");
        let inputs: Vec<Input> = segment
            .records()
            .filter_map(|record| match record {
                Record::Input(input) => Some(input),
                _ => None,
            })
            .collect();
        let length = segment.good_until - segment.begins_at;
        edges +=
            inputs.iter().filter(|input| matches!(input.signal, Signal::Edge(Shaft::Head | Shaft::Boot, _))).count();
        edge_bytes += length - segment.keyframe.len();
        first = first.min(segment.header.at);
        last = last.max(inputs.last().expect("inputs").at);
    }
    let edges_a_second = all.iter().filter(|input| matches!(input.signal, Signal::Edge(..))).count() as f64 / FAILS_S;
    Figures {
        edges_a_second,
        bytes_an_edge: edge_bytes as f64 / edges as f64,
        keyframe: keyframes.iter().sum::<usize>() / keyframes.len(),
        keyframe_most: keyframes.into_iter().max().expect("keyframes"),
        least_kept_s: least_kept as f64 * 1e-6,
        before_s: (trip.get() - first.get()) as f64 * 1e-6,
        after_s: last.get().saturating_sub(trip.get()) as f64 * 1e-6,
        turns_a_minute: turns_a_second * 60.0,
    }
}

#[test]
fn what_a_recording_costs() {
    println!("The recorder takes {} bytes besides the ring.", size_of::<Recorder<'_>>());
    println!(
        "| targets on each shaft | rpm | edges a second | bytes an edge | keyframe, mean and most | mean of a segment | kept in 32 KiB, at least | held before a trip | after |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    for (targets, turns_a_second) in [(1, 1.31), (4, 1.31), (8, 1.31), (32, 1.31), (32, 3.0)] {
        let settings = leg(targets, CountedEdges::Rising, turns_a_second);
        let figures = run(&settings, targets, turns_a_second);
        let share = figures.keyframe as f64 / (MEMORY / SLOTS) as f64;
        let kept =
            if figures.least_kept_s > 1e6 { "all of 700 s".into() } else { format!("{:.0} s", figures.least_kept_s) };
        println!(
            "| {targets} | {:.0} | {:.1} | {:.2} | {} and {} bytes | {:.1} % | {kept} | {:.0} s | {:.1} s |",
            figures.turns_a_minute,
            figures.edges_a_second,
            figures.bytes_an_edge,
            figures.keyframe,
            figures.keyframe_most,
            share * 100.0,
            figures.before_s,
            figures.after_s,
        );
        assert!(figures.bytes_an_edge <= 3.0, "{targets} targets: {} bytes an edge", figures.bytes_an_edge);
        assert!(figures.keyframe_most * 10 <= MEMORY / SLOTS, "{targets} targets: {} bytes", figures.keyframe_most);
        if turns_a_second < 2.0 {
            let (before, after) = (f64::from(BEFORE_TRIP.get()) * 1e-6, f64::from(AFTER_TRIP.get()) * 1e-6);
            assert!(figures.before_s >= before, "{targets} targets: {}", figures.before_s);
            // The last edge within it; pitches are shorter than a second.
            assert!(figures.after_s > after - 1.0, "{targets} targets: {}", figures.after_s);
        }
    }
}

/// The longest keyframe there can be on the way through starting and everything that learning goes through, at whatever input a
/// segment may open.
fn longest_keyframe(targets: u8, edges: CountedEdges) -> usize {
    let settings = leg(targets, edges, 1.31);
    let mut monitor = monitor(&settings, &Retained::default());
    let mut longest = 0;
    for input in inputs(&settings, targets, 1.31, 60.0) {
        longest = longest.max(monitor.keyframe_length(input.at));
        monitor.observe(input, &mut |_| {});
    }
    longest
}

/// With both edges counted a shaft has twice as many marks; up to 16 targets are then as good as 32 with one edge.
#[test]
fn no_keyframe_takes_more_than_a_tenth_of_its_segment() {
    let segment = MEMORY / SLOTS;
    for (edges, most) in [(CountedEdges::Rising, 32), (CountedEdges::Both, 16)] {
        let longest = (1..=most).map(|targets| (longest_keyframe(targets, edges), targets)).max();
        let (longest, targets) = longest.expect("targets");
        println!("{edges:?}, {targets} targets: {longest} of {segment} bytes");
        assert!(longest * 10 <= segment, "{edges:?}, {targets} targets: {longest} of {segment} bytes");
    }
}
