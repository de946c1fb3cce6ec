//! Two sensors are told apart by the edges that have none beside them.
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

use leg::{BEGIN_US, example, observed, plan_of, sound};
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::Targets;
use slackside::signals::distrust;
use slackside::units::Micros;

/// Whether the boot is held to have no sensor of its own after so many turns of both shafts at the same speed, each edge of the boot on one of
/// the head's, which has so many to each of the boot's.
fn is_bridged(head_to_boot: u64, turns: u64) -> bool {
    let mut settings = example();
    let machine = &mut settings.machine;
    machine.normal_boot = machine.normal_head;
    machine.head_targets = machine.head_targets.map(|targets| Targets { count: 4 * head_to_boot as u8, ..targets });
    machine.boot_targets = machine.boot_targets.map(|targets| Targets { count: 4, ..targets });
    let pitch = 1_000_000_000_000 / u64::from(machine.normal_head.get()) / (4 * head_to_boot);
    let mut inputs = vec![(0, Signal::DriveRunning(true))];
    for edge in 0..4 * head_to_boot * turns {
        let at = 1_000_000 + edge * pitch;
        for (after, level) in [(0, true), (pitch / 3, false)] {
            inputs.push((at + after, Signal::Edge(Shaft::Head, level)));
            if edge % head_to_boot == 0 {
                inputs.push((at + after + 5, Signal::Edge(Shaft::Boot, level)));
            }
        }
    }
    let inputs: Vec<Input> =
        inputs.into_iter().map(|(at, signal)| Input::new(Micros::new(BEGIN_US + at), signal)).collect();
    let (monitor, _) = observed(sound(&plan_of(settings)), &inputs);
    monitor.signals().boot.distrust & distrust::BRIDGED != 0
}

#[test]
fn a_head_edge_with_no_boot_edge_beside_it_parts_the_two() {
    assert!(is_bridged(1, 12), "all edges in pairs are one signal");
    assert!(!is_bridged(2, 40), "the head has a sensor of its own");
    assert!(!is_bridged(4, 40));
}
