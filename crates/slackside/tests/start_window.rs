//! How long ago a start opened is never mistaken for a start to come, however long the leg runs down.
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

use leg::{plan, sound};
use slackside::Monitor;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::units::Micros;
use slackside::verdict::{Change, Phase};

/// The phase after the last of these, on a box just switched on.
fn phase_at_the_end(inputs: impl IntoIterator<Item = Input>) -> Phase {
    let plan = plan();
    let mut monitor = Box::new(Monitor::<_, 8>::new());
    monitor.configure(sound(&plan), &Retained::default()).expect("room");
    let mut phase = Phase::Unsure;
    for input in inputs {
        monitor.observe(input, &mut |verdict| {
            if let Change::Phase(now) = verdict.change {
                phase = now;
            }
        });
    }
    phase
}

/// The drive contact falls off while the leg starts, the leg turns on, and later the contact is back: the phase then.
fn phase_after(seconds: u64) -> Phase {
    let mut inputs = Vec::new();
    let start = 60_000_000;
    let back = start + seconds * 1_000_000;
    // Half a pitch of four targets, at about half of normal speed.
    for (count, at) in (start + 100_000..back + 1_000_000).step_by(200_000).enumerate() {
        for (shaft, lag) in [(Shaft::Head, 0), (Shaft::Boot, 1_000)] {
            inputs.push(Input::new(Micros::new(at + lag), Signal::Edge(shaft, count % 2 == 0)));
        }
    }
    for (at, on) in [(0, false), (start, true), (start + 300_000, false), (back, true)] {
        inputs.push(Input::new(Micros::new(at), Signal::DriveRunning(on)));
    }
    inputs.sort_by_key(|input| input.at);
    phase_at_the_end(inputs.into_iter().filter(|input| input.at.get() <= back))
}

#[test]
fn a_drive_that_comes_back_late_does_not_start_again() {
    // Within the start time it goes on starting; after it, whatever wraps meanwhile, the leg runs.
    assert_eq!(phase_after(1), Phase::Starting);
    for minutes in [1, 20, 34, 36, 40, 46, 60, 71, 80] {
        assert_eq!(phase_after(60 * minutes), Phase::Running, "{minutes} minutes");
    }
}

/// The drive comes on soon after power-up, before the leg is known to stand: the phase it is in then. `before` are edges of both shafts
/// before, at so many microseconds.
fn phase_of_an_early_start(before: &[u64]) -> Phase {
    let mut inputs = vec![Input::new(Micros::ZERO, Signal::DriveRunning(false))];
    for at in before {
        inputs.extend([Shaft::Head, Shaft::Boot].map(|shaft| Input::new(Micros::new(*at), Signal::Edge(shaft, true))));
        inputs.extend(
            [Shaft::Head, Shaft::Boot].map(|shaft| Input::new(Micros::new(*at + 50_000), Signal::Edge(shaft, false))),
        );
    }
    inputs.push(Input::new(Micros::new(1_000_000), Signal::DriveRunning(true)));
    phase_at_the_end(inputs)
}

#[test]
fn a_target_before_its_sensor_at_power_up_does_not_turn() {
    // Whoever stands is given time to start; whoever was seen to turn is judged at once.
    assert_eq!(phase_of_an_early_start(&[]), Phase::Starting);
    assert_eq!(phase_of_an_early_start(&[1]), Phase::Starting);
    assert_eq!(phase_of_an_early_start(&[1, 400_000, 800_000]), Phase::Running);
}
