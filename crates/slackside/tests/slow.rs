//! Slow legs that empty by buckets lying one on the other, and gear wheels for targets.
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

use leg::{ratio, sound, with_targets};
use slackside::conditions::Condition;
use slackside::input::{Shaft, Signal};
use slackside::settings::{CountedEdges, Field, LimitPart, Mend, Rule, Settings};
use slackside::units::{Micrometres, MicroturnsPerSecond, Span};
use slackside::verdict::Permit;
use std::sync::Arc;
use turning::{Disc, all_raised, angle, at, levels, permits, verdicts};

/// A belt at 0.5 m/s over pulleys of 0.95 m: 10 turns a minute.
fn slow(targets: u8) -> Settings {
    let mut settings = with_targets(targets, 1.0 / 6.0);
    let machine = &mut settings.machine;
    for pulley in [&mut machine.head_pulley, &mut machine.boot_pulley] {
        pulley.bare_diameter = Micrometres::new(950_000);
        pulley.lagging = Micrometres::ZERO;
    }
    machine.normal_head = MicroturnsPerSecond::new(166_667);
    machine.normal_boot = MicroturnsPerSecond::new(166_667);
    settings
}

#[test]
fn a_slow_leg_is_taken_with_as_many_targets_as_the_twenty_per_cent_need() {
    let found = slow(4).check().expect_err("too few to know in time");
    let late = found.iter().find(|violation| violation.rule == Rule::StopsTooLate).expect("refused for that");
    assert_eq!(late.field, Field::Limit(Condition::DeepUnderspeed, LimitPart::Setpoint));
    let Mend::StopSooner { boot_targets: Some(needed), .. } = late.mend else { panic!("{late:?}") };
    // By hand: 3.33 % left of 20 after 14 % set, 0.17 % error and 2.5 % delay: 666 ms for one and a half pitches at 86 %, so 382 ms a pitch
    // of 1.02/n turns of 6 s.
    assert_eq!(needed, 17);
    assert!(slow(needed - 1).check().is_err());
    // Whoever fits as many is taken, by the box too, and watched.
    let settings = slow(needed);
    let plan = Arc::new(settings.clone().check().expect("sound").plan());
    let _ = sound(&plan);
    let speed = |time: f64| ((time - 2.0) / 4.0).clamp(0.0, 1.0) / 6.0;
    let play = |fails: f64| {
        let ratio = ratio(&settings);
        let boot = |time: f64| speed(time) * ratio * 0.993 * (1.0 - 0.05 * (time - fails).clamp(0.0, 20.0));
        let mut inputs = levels(Shaft::Head, Disc::of(needed), &angle(speed, 240.0), 240.0);
        inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(needed) }, &angle(boot, 240.0), 240.0));
        inputs.extend([at(0.0, Signal::DriveRunning(false)), at(2.0, Signal::DriveRunning(true))]);
        verdicts(&settings, inputs, 240.0)
    };
    assert_eq!(all_raised(&play(1e9)), []);
    let stopped = permits(&play(120.0), Permit::Run).get(1).map(|stop| stop.0);
    assert!(stopped.is_some_and(|at| at > 121.0 && at < 124.0), "29 CFR 1910.272(q)(5): {stopped:?}");
}

#[test]
fn gear_wheels_of_up_to_64_teeth_are_taken_and_watched() {
    for (teeth, edges) in
        [(36, CountedEdges::Rising), (48, CountedEdges::Falling), (64, CountedEdges::Rising), (33, CountedEdges::Both)]
    {
        let mut settings = with_targets(teeth, 1.31);
        let machine = &mut settings.machine;
        for targets in [&mut machine.head_targets, &mut machine.boot_targets] {
            let targets = targets.as_mut().expect("fitted");
            (targets.edges, targets.supervised) = (edges, true);
        }
        if edges == CountedEdges::Both {
            let found = settings.check().expect_err("66 marks");
            assert!(found.iter().any(|violation| violation.rule == Rule::Range && violation.bound == 32), "{found:?}");
            continue;
        }
        let plan = Arc::new(settings.clone().check().expect("sound").plan());
        let _ = sound(&plan);
        let speed = |time: f64| 1.31 * ((time - 2.0) / 2.0).clamp(0.0, 1.0);
        let ratio = ratio(&settings);
        let play = |stalls: f64| {
            let boot = |time: f64| if time < stalls { speed(time) * ratio * 0.993 } else { 0.0 };
            let mut inputs = levels(Shaft::Head, Disc::of(teeth), &angle(speed, 120.0), 120.0);
            inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(teeth) }, &angle(boot, 120.0), 120.0));
            inputs.extend([at(0.0, Signal::DriveRunning(false)), at(2.0, Signal::DriveRunning(true))]);
            verdicts(&settings, inputs, 120.0)
        };
        assert_eq!(all_raised(&play(1e9)), [], "{teeth} teeth");
        let stopped = permits(&play(60.0), Permit::Run).get(1).map(|stop| stop.0);
        assert!(stopped.is_some_and(|at| at > 60.0 && at < 60.6), "{teeth} teeth: {stopped:?}");
    }
}

/// 64 marks on the fastest head that the rules take, with the minimum width of 2 ms that a plain contact needs and with one at which only the
/// speed of the belt bounds it:
/// healthy for two minutes, and a belt that stands is a stop at once.
#[test]
fn gear_wheels_of_64_teeth_are_watched_at_the_fastest_head_the_rules_take() {
    for (width_us, at_least, at_most) in [(2_000, 1.3, 1.33), (500, 2.0, 3.0)] {
        let with = |turns_a_second: f64| {
            let mut settings = with_targets(64, turns_a_second);
            settings.machine.conditioning.minimum_width = Span::new(width_us);
            for targets in [&mut settings.machine.head_targets, &mut settings.machine.boot_targets] {
                targets.as_mut().expect("fitted").supervised = true;
            }
            settings
        };
        let (mut fastest, mut refused) = (0.5, 100.0);
        while refused - fastest > 0.001 {
            let middle = (fastest + refused) / 2.0;
            if with(middle).check().is_ok() { fastest = middle } else { refused = middle }
        }
        assert!(fastest > at_least && fastest < at_most, "{width_us} µs: {fastest} turns a second");
        let settings = with(fastest);
        let plan = Arc::new(settings.clone().check().expect("sound").plan());
        let speed = |time: f64| fastest * ((time - 2.0) / 2.0).clamp(0.0, 1.0);
        let drive = [(0.0, Signal::DriveRunning(false)), (2.0, Signal::DriveRunning(true))];
        let play = |stands: f64| {
            let slip = |time: f64| if time < stands { 0.007 } else { 1.0 };
            leg::observed(sound(&plan), &leg::leg(64, ratio(&settings), &speed, &slip, 120.0, 3, &drive)).1
        };
        assert_eq!(all_raised(&play(1e9)), [], "{fastest} turns a second");
        let stopped = permits(&play(60.0), Permit::Run).get(1).map(|stop| stop.0 - leg::BEGIN_US as f64 / 1e6);
        assert!(stopped.is_some_and(|at| at > 60.0 && at < 60.6), "{fastest} turns a second: {stopped:?}");
    }
}
