//! Sensors that bounce as they let go of a target.
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
mod turning;

use leg::{Random, ratio, with_targets};
use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::Conditioning;
use slackside::signals::distrust;
use slackside::units::Micros;
use slackside::verdict::{Change, Verdict};
use turning::{Disc, all_raised, angle, at, levels, verdicts};

/// After each release the sensor bounces for `bounce_us`: levels of a tenth to half of that.
fn bouncing(edges: Vec<Input>, shaft: Shaft, bounce_us: u64, seed: u64) -> Vec<Input> {
    let mut random = Random(seed);
    let mut inputs = Vec::new();
    for edge in edges {
        inputs.push(edge);
        let Signal::Edge(_, false) = edge.signal else { continue };
        let (mut left, mut level) = (bounce_us, true);
        loop {
            let step = (bounce_us as f64 * (0.1 + 0.4 * random.unit())) as u64;
            if step >= left {
                break;
            }
            left -= step;
            inputs.push(Input::new(Micros::new(edge.at.get() + bounce_us - left), Signal::Edge(shaft, level)));
            level = !level;
        }
        if !level {
            inputs.push(Input::new(Micros::new(edge.at.get() + bounce_us), Signal::Edge(shaft, false)));
        }
    }
    inputs
}

fn play(targets: u8, bounce_us: u64, seed: u64) -> Vec<Verdict> {
    let mut settings = with_targets(targets, 1.31);
    settings.machine.conditioning = Conditioning::STARTING;
    let speed = |time: f64| 1.31 * ((time - 2.0) / 2.0).clamp(0.0, 1.0);
    let ratio = ratio(&settings);
    let head = levels(Shaft::Head, Disc::of(targets), &angle(speed, 60.0), 60.0);
    let boot = levels(
        Shaft::Boot,
        Disc { offset: 0.4, ..Disc::of(targets) },
        &angle(|time| speed(time) * ratio * 0.993, 60.0),
        60.0,
    );
    let mut inputs = bouncing(head, Shaft::Head, bounce_us, seed);
    inputs.extend(bouncing(boot, Shaft::Boot, bounce_us, seed + 1));
    inputs.extend([at(0.0, Signal::DriveRunning(false)), at(2.0, Signal::DriveRunning(true))]);
    verdicts(&settings, inputs, 60.0)
}

#[test]
fn two_milliseconds_of_bounce_at_release_are_borne_with_starting_settings() {
    for targets in [4, 8, 16, 24, 32] {
        for seed in 0..4 {
            assert_eq!(all_raised(&play(targets, 2_000, seed)), [], "{targets} targets");
        }
    }
}

#[test]
fn longer_bounce_is_a_sensor_fault_for_a_reason_that_names_the_minimum_width() {
    let found = play(4, 30_000, 1);
    let reasons = found.iter().find_map(|verdict| match verdict.change {
        Change::Alarm { condition: Condition::BootSensorFault | Condition::HeadSensorFault, detail, .. } => {
            Some(detail)
        }
        _ => None,
    });
    let named = distrust::HUM | distrust::REJECTS | distrust::TOO_FAST;
    assert!(reasons.is_some_and(|reasons| reasons & named != 0), "{reasons:?} {:?}", all_raised(&found));
}
