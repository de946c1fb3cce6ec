//! A trip outlives the condition that told it.
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

use leg::{BEGIN_US, example, plan, plan_of, sound};
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Origin, Place, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::{Plan, act};
use slackside::units::{DeciCelsius, Micros};

/// Look at these inputs, a second apart.
fn observe(monitor: &mut Monitor<Arc<Plan>>, inputs: &[Signal]) {
    for input in inputs {
        let at = monitor.newest().get().max(BEGIN_US) + 1_000_000;
        monitor.observe(Input::new(Micros::new(at), *input), &mut |_| {});
    }
}

#[test]
fn what_was_latched_holds_the_permits_though_nothing_judges_it_any_more() {
    let mut settings = example();
    settings.machine.temperatures = [true; 4];
    let mut monitor = Box::new(Monitor::new());
    monitor.configure(sound(&plan_of(settings)), &Retained::default()).expect("room");
    let hot = Signal::Temperature(Place::ALL[0], DeciCelsius::new(1_500));
    observe(&mut monitor, &[Signal::DriveRunning(false), hot, Signal::Tick]);
    observe(&mut monitor, &[Signal::Tick; 120]);
    assert_eq!(monitor.alarm(Condition::RubHot), AlarmState::Unacknowledged);
    let kept = monitor.retained().expect("a plan");

    // The thermometers are taken out of the settings.
    let without = plan();
    assert_eq!(without.acts(Condition::RubHot.rank()) & (act::JUDGED | act::STOP), act::STOP);
    let mut monitor = Box::new(Monitor::new());
    monitor.configure(sound(&without), &kept).expect("room");
    observe(&mut monitor, &[Signal::DriveRunning(false), Signal::Tick]);
    observe(&mut monitor, &[Signal::Tick; 20]);
    assert!(!monitor.status().run_permit, "somebody has to look at it first");
    assert_eq!(monitor.status().first_out, Some(Condition::RubHot));

    let person = |command| Signal::Command(Origin::Leg, command);
    observe(&mut monitor, &[person(Command::BootCleared), person(Command::Acknowledge), person(Command::Reset)]);
    assert!(monitor.status().run_permit, "and then it is forgotten");
    assert_eq!(monitor.alarm(Condition::RubHot), AlarmState::OutOfService);
}
