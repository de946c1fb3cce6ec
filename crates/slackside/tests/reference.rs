//! A speed reference that is the speed asked of the drive, which ramps to it; and references that lie.
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
use slackside::conditions::Condition;
use slackside::input::{Shaft, Signal};
use slackside::settings::{Settings, SpeedReference};
use slackside::units::Ppm;
use slackside::verdict::{Permit, Verdict};
use turning::{Disc, all_raised, angle, at, levels, permits, raised, verdicts};

const SPEED: f64 = 1.31;

fn variable(targets: u8, ramp_ppm: i32) -> Settings {
    let mut settings = with_targets(targets, SPEED);
    settings.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(ramp_ppm) });
    settings
}

/// What a drive does that is asked for these speeds: from rest at two seconds, `rate` a second to each, the last asked since its time.
fn drive(asked: &[(f64, f64)], rate: f64, seconds: f64) -> Vec<f64> {
    let (step, mut speed) = (0.001, 0.0_f64);
    let mut speeds = Vec::new();
    for n in 0..(seconds / step) as usize + 3 {
        let time = n as f64 * step;
        let target = if time < 2.0 {
            0.0
        } else {
            asked.iter().rev().find(|(from, _)| *from <= time).expect("from the start").1
        };
        speed += (target - speed).clamp(-rate * step, rate * step);
        speeds.push(speed);
    }
    speeds
}

/// A leg whose head turns at these shares of normal speed, its belt by `belt` of that, and whose reference says `told`.
fn play(
    settings: &Settings,
    head: &[f64],
    belt: impl Fn(f64) -> f64,
    told: &[(f64, f64)],
    seconds: f64,
) -> Vec<Verdict> {
    let targets = settings.machine.head_targets.expect("fitted").count;
    let share = |time: f64| head[(time / 0.001) as usize];
    let ratio = ratio(settings);
    let of_head = angle(|time| SPEED * share(time), seconds);
    let of_boot = angle(|time| SPEED * ratio * share(time) * belt(time), seconds);
    let mut inputs = levels(Shaft::Head, Disc::of(targets), &of_head, seconds);
    inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(targets) }, &of_boot, seconds));
    inputs.extend([(0.0, false), (2.0, true)].map(|(time, on)| at(time, Signal::DriveRunning(on))));
    inputs.extend(told.iter().map(|(time, share)| at(*time, Signal::SpeedReference(Ppm::new((share * 1e6) as i32)))));
    verdicts(settings, inputs, seconds)
}

/// What was asked, told as it changes and repeated every so many seconds.
fn repeated(asked: &[(f64, f64)], every: f64, at_once: bool, seconds: f64) -> Vec<(f64, f64)> {
    let mut told: Vec<(f64, f64)> = if at_once { asked.to_vec() } else { Vec::new() };
    for n in 0..(seconds / every) as usize {
        let time = n as f64 * every + 0.013;
        told.push((time, asked.iter().rev().find(|(from, _)| *from <= time).expect("from the start").1));
    }
    told.sort_by(|one, other| one.0.total_cmp(&other.0));
    told
}

const SECONDS: f64 = 110.0;

/// The speed asked goes from 100 to 60 % at once and back, and lower, and the drive takes its time: as it was set, or a tenth more or less.
#[test]
fn a_step_of_the_speed_asked_is_no_loss_of_speed_at_any_ramp() {
    let asked = [(0.0, 1.0), (35.0, 0.6), (55.0, 1.0), (75.0, 0.5), (92.0, 0.7)];
    let mut wrong = Vec::new();
    for ramp in [0.04, 0.08, 0.125, 0.25, 0.5, 1.0] {
        for off in [0.9, 1.0, 1.1] {
            for targets in [4, 8, 16] {
                for (every, at_once) in [(5.0, true), (1.0, true), (0.5, true)] {
                    let settings = {
                        let mut settings = variable(targets, (ramp * 1e6) as i32);
                        // A slow ramp takes more than the ten seconds of the starting value.
                        settings.limits.change(Condition::StartFailed, |limit| limit.setpoint = 40_000);
                        settings
                    };
                    let head = drive(&asked, ramp * off, SECONDS);
                    let told = repeated(&asked, every, at_once, SECONDS);
                    let verdicts = play(&settings, &head, |_| 0.993, &told, SECONDS);
                    if !all_raised(&verdicts).is_empty() || permits(&verdicts, Permit::Run).len() != 1 {
                        let first =
                            all_raised(&verdicts).iter().map(|c| (*c, raised(&verdicts, *c))).collect::<Vec<_>>();
                        wrong.push((ramp, off, targets, every, at_once, first));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}: {:#?}", wrong.len(), &wrong[..wrong.len().min(8)]);
}

/// References that are themselves ramps, told once in a while, are no steps; and steps told up to a second late.
#[test]
fn a_reference_sent_once_a_second_is_no_loss_of_speed() {
    let asked = [(0.0, 1.0), (35.0, 0.6), (55.0, 1.0), (75.0, 0.5), (92.0, 0.7)];
    for (ramp, late) in [(0.04, true), (0.08, true), (0.08, false), (0.1, false)] {
        for targets in [4, 8, 16] {
            let mut settings = variable(targets, (ramp * 1e6) as i32);
            settings.limits.change(Condition::StartFailed, |limit| limit.setpoint = 40_000);
            let head = drive(&asked, ramp, SECONDS);
            let told = if late {
                repeated(&asked, 1.0, false, SECONDS)
            } else {
                (0..107)
                    .map(f64::from)
                    .map(|time| (time, if time < 20.0 { 1.0 } else { head[(time * 1e3) as usize] }))
                    .collect()
            };
            let verdicts = play(&settings, &head, |_| 0.993, &told, SECONDS);
            assert_eq!(all_raised(&verdicts), [], "{ramp} a second, {targets} targets, late {late}");
            assert_eq!(permits(&verdicts, Permit::Run).len(), 1);
        }
    }
}

/// 29 CFR 1910.272(q)(5): the belt loses 5 % of what is asked a second, with the head (a weak drive) or without it, before, in and after a
/// change of speed: the leg stops before a fifth is lost of what the drive has reached.
#[test]
fn the_twenty_per_cent_hold_before_in_and_after_a_ramp() {
    let ramp = 0.125;
    for asked in [[(0.0, 1.0), (35.0, 0.6)], [(0.0, 0.6), (35.0, 1.0)]] {
        let head = drive(&asked, ramp, SECONDS);
        for begins in [30.0, 34.0, 35.0, 36.0, 37.0, 38.0, 40.0, 50.0] {
            for weak in [false, true] {
                let settings = variable(8, (ramp * 1e6) as i32);
                let left = |time: f64| 1.0 - (0.05 * (time - begins)).clamp(0.0, 1.0);
                let weakened: Vec<f64> =
                    head.iter().enumerate().map(|(n, share)| share * left(n as f64 * 0.001)).collect();
                let told = repeated(&asked, 5.0, true, SECONDS);
                let verdicts = if weak {
                    play(&settings, &weakened, |_| 0.993, &told, SECONDS)
                } else {
                    play(&settings, &head, |time| 0.993 * left(time), &told, SECONDS)
                };
                let stopped = permits(&verdicts, Permit::Run).get(1).map(|stop| stop.0);
                let what = format!("{asked:?}, from {begins} s, weak {weak}: {stopped:?}, {:?}", all_raised(&verdicts));
                assert!(matches!(stopped, Some(at) if at > begins && left(at) * 0.993 >= 0.8), "{what}");
            }
        }
    }
}

/// What is told or asked: from which second on, which share of normal speed.
type Course = &'static [(f64, f64)];

/// A reference that is stuck, or half of what is asked, is no speed to hold a belt against.
#[test]
fn a_reference_that_the_head_contradicts_after_its_ramp_falls_back_to_nameplate() {
    let settings = variable(8, 125_000);
    let lies: [(&str, Course, Course); 4] = [
        ("stuck low", &[(0.0, 0.6), (35.0, 1.0)], &[(0.0, 0.6)]),
        ("half from the start", &[(0.0, 0.9)], &[(0.0, 0.45)]),
        ("half from then on", &[(0.0, 1.0)], &[(0.0, 1.0), (35.0, 0.5)]),
        ("doubled", &[(0.0, 0.5)], &[(0.0, 1.0)]),
    ];
    for (what, asked, told) in lies {
        let head = drive(asked, 0.125, SECONDS);
        // From 60 s on the belt loses speed at 5 % a second, down to three quarters of nameplate speed.
        let left = |time: f64| (1.0 - 0.05 * (time - 60.0).max(0.0)).max(0.75);
        let verdicts = play(&settings, &head, |time| 0.993 * left(time), &repeated(told, 5.0, true, SECONDS), SECONDS);
        let fault = raised(&verdicts, Condition::ReferenceFault);
        let lie = if told.len() > 1 || asked.len() > 1 { 35.0 } else { 2.0 };
        assert!(
            matches!(fault[..], [at, ..] if at > lie && at < lie + 12.0),
            "{what}: {fault:?}, {:?}",
            all_raised(&verdicts)
        );
        let stopped = permits(&verdicts, Permit::Run).get(1).map(|stop| stop.0);
        if what == "half from then on" {
            assert!(
                stopped.is_some_and(|at| at > 60.0 && left(at) >= 0.8),
                "{what}: {stopped:?}, {:?}",
                all_raised(&verdicts)
            );
        } else {
            // A belt slower than nameplate speed counts as too slow as soon as the reference is not believed.
            assert!(stopped.is_some_and(|at| at > 2.0 && at < 40.0), "{what}: {stopped:?}");
        }
    }
}
