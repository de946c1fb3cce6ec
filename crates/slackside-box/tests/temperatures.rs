//! Temperatures over days: one that follows the air is left alone, one that stands still or does not come is told and takes no permit away.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod rig;

use rig::{KEY, Rig, plan, settings};
use slackside_box::bench::Chip;
use slackside_box::fault::Fault;

/// Rounds so far apart, in microseconds: below what a box may stay away.
const ROUND_US: u64 = 40_000;

/// A box whose head's left rub point has a sensor.
fn switched_on(chip: Option<Chip>) -> Rig {
    let mut settings = settings();
    settings.machine.temperatures[0] = true;
    let mut rig = Rig::start(chip.unwrap_or_else(|| Rig::set_up(&KEY, &plan(&settings))));
    rig.temperature = Some(250);
    rig.run(8_000);
    rig.clear_up();
    rig.run(500);
    rig
}

/// So many minutes; whether the fault is there at their end.
fn minutes(rig: &mut Rig, minutes: u64) -> bool {
    for _ in 0..minutes * 60_000_000 / ROUND_US {
        rig.round_after(ROUND_US);
    }
    rig.sensor_box.faults().contains(Fault::TemperatureStill)
}

/// The leg runs for so many minutes and then stands.
fn runs_for(rig: &mut Rig, run: u64) -> bool {
    assert!(rig.start_up(), "it starts");
    let told = minutes(rig, run);
    rig.press_stop();
    told
}

#[test]
fn a_temperature_that_stands_still_for_a_day_is_told_until_it_moves() {
    // One that follows the air, for two days.
    let mut rig = switched_on(None);
    assert!(!runs_for(&mut rig, 62) && !minutes(&mut rig, 48 * 60) && rig.alarm_shows_well());
    // From now on it does not: nothing for a day less a minute, with an hour of running; told after a day.
    rig.temperature_stuck = Some(-7);
    assert!(!runs_for(&mut rig, 62) && !minutes(&mut rig, 24 * 60 - 63));
    assert!(minutes(&mut rig, 3) && !rig.alarm_shows_well());
    // It takes no permit away, and no reset is asked for once it moves.
    assert!(rig.panel.may_run() && rig.start_up());
    assert!(minutes(&mut rig, 1) && rig.panel.may_feed());
    rig.temperature_stuck = None;
    rig.run(1_000);
    assert!(!rig.sensor_box.faults().contains(Fault::TemperatureStill) && rig.alarm_shows_well());
}

#[test]
fn a_temperature_that_does_not_come_is_told_once_the_leg_has_run_for_an_hour() {
    let mut rig = switched_on(None);
    rig.temperature_lost = true;
    assert!(!minutes(&mut rig, 30 * 60), "a leg that never runs");
    assert!(!runs_for(&mut rig, 40) && !minutes(&mut rig, 60));
    assert!(runs_for(&mut rig, 25));
}

#[test]
fn a_day_begins_anew_with_a_loss_of_power() {
    let mut rig = switched_on(None);
    rig.temperature_stuck = Some(-7);
    assert!(!runs_for(&mut rig, 62) && !minutes(&mut rig, 24 * 60 - 65));
    let mut rig = switched_on(Some(rig.power_down()));
    rig.temperature_stuck = Some(-7);
    assert!(!runs_for(&mut rig, 62) && !minutes(&mut rig, 24 * 60 - 65));
    assert!(minutes(&mut rig, 5));
}
