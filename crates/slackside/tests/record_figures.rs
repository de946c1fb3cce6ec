//! What a recording costs, leg by leg. Print the table with
//! `cargo test -p slackside --features desk --test record_figures -- --nocapture`.
#![cfg(feature = "desk")]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod leg;

use std::sync::Arc;

use leg::{plan, plan_of, ratio, with_targets};
use slackside::Monitor;
use slackside::input::{Input, Signal};
use slackside::record::{Reader, Record, Recorder, SLOTS};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;

const MEMORY: usize = 32 * 1_024;

/// A leg that starts and then runs with a speed that wanders by 0.3 %, targets 2 % out of place and 5 µs of jitter.
fn run(targets: u8, turns_a_second: f64) {
    let settings = with_targets(targets, turns_a_second);
    let ratio = ratio(&settings);
    // What is recorded does not hang on the limits: legs with few targets are too slow to see for them.
    let plan = if targets < 4 { plan() } else { plan_of(settings) };
    let speed = |time: f64| match time {
        ..2.0 => 0.0,
        2.0..6.0 => turns_a_second * (time - 2.0) / 4.0,
        _ => turns_a_second * (1.0 + 0.003 * (time * 0.3).sin()),
    };
    // Long enough to fill the whole ring, and a little more.
    let seconds = 27_000.0 / (f64::from(targets) * turns_a_second * 4.0);
    let all = leg::leg(
        targets,
        ratio,
        &speed,
        &|_| 0.005,
        seconds,
        3,
        &[(0.0, Signal::DriveRunning(false)), (2.0, Signal::DriveRunning(true))],
    );
    let mut memory = vec![0; MEMORY];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<Arc<Plan>, 64>::new());
    let sound = Sound::new(plan).expect("sound");
    recorder.configure(&mut monitor, sound, &Retained::default(), 0).expect("room");
    let mut longest = 0;
    for (index, input) in all.iter().enumerate() {
        recorder.observe(&mut monitor, *input, &mut |_| {});
        if index % 97 == 0 {
            longest = longest.max(monitor.keyframe_length());
        }
    }
    recorder.freeze(&monitor);
    let held: Vec<u8> = recorder.held().flat_map(|segment| segment.bytes.to_vec()).collect();
    let (mut edges, mut keyframes, mut whole) = (0, 0, 0);
    for (segment, damage) in Reader::new(&held) {
        assert_eq!(damage, None);
        let segment = segment.expect("whole");
        // Not the last, which is not full, and not the first of a session, whose keyframe is of a monitor that knows nothing.
        if segment.good_until == held.len() || segment.header.first {
            continue;
        }
        let is_edge = |record: &Record| matches!(record, Record::Input(Input { signal: Signal::Edge(..), .. }));
        edges += segment.records().filter(is_edge).count();
        keyframes += segment.keyframe.len();
        whole += segment.good_until - segment.begins_at;
    }
    assert!(edges > 3_000, "{targets} targets: {edges} edges in full segments");
    let alone = (whole - keyframes) as f64 / edges as f64;
    let with = whole as f64 / edges as f64;
    let share = longest as f64 / (MEMORY / SLOTS) as f64;
    println!(
        "| {targets} | {:.0} | {alone:.2} | {with:.2} | {longest} | {:.1} % |",
        turns_a_second * 60.0,
        share * 100.0
    );
    assert!(with <= 1.8, "{targets} targets: {with} bytes an edge");
    assert!(share <= 0.14, "{targets} targets: a keyframe of {longest} bytes");
}

#[test]
fn what_a_recording_costs() {
    println!("The recorder takes {} bytes besides the ring.", size_of::<Recorder<'_>>());
    println!("| targets on each shaft | rpm | bytes an edge | with keyframes | longest keyframe | of a segment |");
    println!("|---|---|---|---|---|---|");
    for (targets, turns_a_second) in [(1, 1.31), (2, 1.31), (4, 1.31), (8, 1.31), (16, 1.31), (32, 1.31)] {
        run(targets, turns_a_second);
    }
}
