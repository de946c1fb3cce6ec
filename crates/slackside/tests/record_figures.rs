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

use leg::{plan_of, ratio, with_targets};
use slackside::Monitor;
use slackside::input::{Input, Signal};
use slackside::record::{BEFORE_TRIP, Reader, Record, Recorder, SLOTS};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;

const MEMORY: usize = 32 * 1_024;

/// A leg that starts and then runs with a speed that wanders by 0.3 %, targets 2 % out of place and 5 µs of jitter.
fn run(targets: u8, turns_a_second: f64) {
    let settings = with_targets(targets, turns_a_second);
    let ratio = ratio(&settings);
    let plan = plan_of(settings);
    let speed = |time: f64| match time {
        ..30.0 => 0.0,
        30.0..34.0 => turns_a_second * (time - 30.0) / 4.0,
        _ => turns_a_second * (1.0 + 0.003 * (time * 0.3).sin()),
    };
    // Long enough to fill the whole ring, and a little more.
    let seconds = 34.0 + 28_000.0 / (f64::from(targets) * turns_a_second * 4.0);
    let all = leg::leg(
        targets,
        ratio,
        &speed,
        &|_| 0.005,
        seconds,
        3,
        &[(0.0, Signal::DriveRunning(false)), (30.0, Signal::DriveRunning(true))],
    );
    let mut memory = vec![0; MEMORY];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<Arc<Plan>, 64>::new());
    // Legs with few targets are too slow to see for the limits of a leg; what they record is the same.
    let sound = Sound::for_bench(plan).expect("sound");
    recorder.configure(&mut monitor, sound, &Retained::default(), 0).expect("room");
    let mut longest = 0;
    // How far back the ring reaches once it has turned.
    let mut kept_us = u64::MAX;
    for (index, input) in all.iter().enumerate() {
        recorder.observe(&mut monitor, *input, &mut |_| {});
        let since = recorder.kept_since().expect("something");
        if since > all[0].at {
            kept_us = kept_us.min(input.at.get() - since.get());
        }
        if index % 97 == 0 {
            longest = longest.max(monitor.keyframe_length());
        }
    }
    assert!(monitor.status().run_permit, "{targets} targets: it tripped, and held what it had");
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
    let edges_a_second = f64::from(targets) * 2.0 * turns_a_second * (1.0 + ratio);
    let kept_s = kept_us as f64 * 1e-6;
    println!(
        "| {targets} | {:.0} | {edges_a_second:.1} | {alone:.2} | {with:.2} | {longest} bytes | {:.1} % | {kept_s:.0} s |",
        turns_a_second * 60.0,
        share * 100.0
    );
    assert!((1.0..10_000.0).contains(&kept_s), "{targets} targets: the ring never turned");
    if edges_a_second < 200.0 {
        assert!(kept_us >= u64::from(BEFORE_TRIP.get()), "{targets} targets: only {kept_s} s are kept");
    }
    assert!(with <= 1.8, "{targets} targets: {with} bytes an edge");
    assert!(share <= 0.14, "{targets} targets: a keyframe of {longest} bytes");
}

#[test]
fn what_a_recording_costs() {
    println!("The recorder takes {} bytes besides the ring.", size_of::<Recorder<'_>>());
    println!(
        "| targets on each shaft | head rpm | edges a second | bytes an edge | with keyframes | longest keyframe | of a segment | kept in 32 KiB, at least |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for (targets, turns_a_second) in [(1, 1.31), (2, 1.31), (4, 1.31), (8, 1.31), (16, 1.31), (32, 1.31), (32, 3.0)] {
        run(targets, turns_a_second);
    }
}
