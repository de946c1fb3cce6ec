//! The feed permit hunts: it is not given back for ever to what drops it again.
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

use leg::{ratio, with_targets};
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::settings::Settings;
use slackside::verdict::{Change, Permit, Verdict};
use turning::{Disc, angle, at, levels, permits, raised, verdicts};

/// A healthy leg whose belt slips by 6 to 7 % for eight seconds in every `every`, as when it is overfed a little too often.
fn slipping(settings: &Settings, every: f64, seconds: f64, besides: &[Input]) -> Vec<Verdict> {
    let speed = |time: f64| 1.31 * ((time - 2.0) / 2.0).clamp(0.0, 1.0);
    let slips = move |time: f64| {
        let into = (time - 20.0).rem_euclid(every);
        if time > 20.0 { 0.007 + 0.058 * (into.min(9.0 - into)).clamp(0.0, 1.0) } else { 0.007 }
    };
    let ratio = ratio(settings);
    let mut inputs = levels(Shaft::Head, Disc::of(8), &angle(speed, seconds), seconds);
    let boot = angle(|time| speed(time) * ratio * (1.0 - slips(time)), seconds);
    inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(8) }, &boot, seconds));
    inputs.extend([at(0.0, Signal::DriveRunning(false)), at(2.0, Signal::DriveRunning(true))]);
    inputs.extend(besides);
    verdicts(settings, inputs, seconds)
}

fn settings() -> Settings {
    let mut settings = with_targets(8, 1.31);
    // So that the heat of it does not stop the leg first.
    settings.limits.slip_heat.budget = slackside::units::Joules::new(50_000_000);
    settings
}

fn given(verdicts: &[Verdict]) -> Vec<f64> {
    permits(verdicts, Permit::Feed).into_iter().filter(|(_, allowed)| *allowed).map(|(at, _)| at).collect()
}

#[test]
fn feed_comes_back_three_times_in_half_an_hour_and_then_waits_for_a_person() {
    let found = slipping(&settings(), 48.0, 2_400.0, &[]);
    // Once at the start, and three times again.
    let gives = given(&found);
    assert_eq!(gives.len(), 4, "{gives:?}");
    let hunts = raised(&found, Condition::FeedHunting);
    assert!(matches!(hunts[..], [at] if at > gives[3] && at < gives[3] + 60.0), "{hunts:?} {gives:?}");
    assert_eq!(permits(&found, Permit::Run).len(), 1, "the leg runs on");
    assert!(!permits(&found, Permit::Feed).last().expect("given").1);
}

#[test]
fn a_person_who_acknowledges_gives_it_back_and_it_counts_anew() {
    let acknowledge = at(300.0, Signal::Command(Origin::Leg, Command::Acknowledge));
    let found = slipping(&settings(), 48.0, 900.0, &[acknowledge]);
    let gives = given(&found);
    let hunts = raised(&found, Condition::FeedHunting);
    assert_eq!(hunts.len(), 2, "{hunts:?} {gives:?}");
    assert!(gives.len() == 4 + 3, "{gives:?}");
    assert!((300.0..360.0).contains(&gives[4]), "{gives:?}");
    let ended = found.iter().any(|verdict| {
        matches!(verdict.change, Change::Alarm { condition: Condition::FeedHunting, to: AlarmState::Normal, .. })
    });
    assert!(ended, "the alarm is gone with it");
}

#[test]
fn once_in_a_quarter_of_an_hour_is_no_hunting_and_neither_are_starts() {
    let found = slipping(&settings(), 900.0, 5_400.0, &[]);
    assert_eq!(raised(&found, Condition::FeedHunting), []);
    assert_eq!(given(&found).len(), 7);
}
