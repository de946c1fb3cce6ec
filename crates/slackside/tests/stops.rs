//! Ordinary stops, and what follows them: a belt that rocks as it comes to rest, one that rolls back, one that creeps.
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

use std::f64::consts::TAU;

use leg::{Random, ratio, with_targets};
use slackside::conditions::Condition;
use slackside::input::{Shaft, Signal};
use slackside::settings::Settings;
use slackside::units::Span;
use slackside::verdict::{Permit, Verdict};
use turning::{Disc, all_raised, at, levels, permits, raised, verdicts};

/// The drive comes on, goes off, and the belt has come to rest.
const ON: f64 = 2.0;
const OFF: f64 = 12.0;

/// A leg's head angle while it starts, runs, and comes to rest `coast` seconds after [`OFF`]; then what `after` adds, by the time since.
struct Stop<'a> {
    settings: &'a Settings,
    targets: (u8, u8),
    coast: f64,
    after: &'a dyn Fn(f64) -> f64,
    seed: u64,
}

impl Stop<'_> {
    /// When the belt has come to rest.
    fn rest(&self) -> f64 {
        OFF + self.coast
    }

    fn head(&self, time: f64) -> f64 {
        let speed = f64::from(self.settings.machine.normal_head.get()) / 1e6;
        let run_up = |time: f64| (time - ON).clamp(0.0, 2.0).powi(2) / 4.0 + (time - ON - 2.0).max(0.0);
        let down = (time - OFF).clamp(0.0, self.coast);
        let turns = run_up(time.min(OFF)) + down - down * down / (2.0 * self.coast);
        turns * speed + if time > self.rest() { (self.after)(time - self.rest()) } else { 0.0 }
    }

    fn play(&self, seconds: f64) -> Vec<Verdict> {
        let mut random = Random(self.seed);
        let mut disc =
            |targets| Disc { offset: random.unit(), filled: 0.25 + 0.3 * random.unit(), ..Disc::of(targets) };
        let (head, boot) = (disc(self.targets.0), disc(self.targets.1));
        let ratio = ratio(self.settings);
        let mut inputs = levels(Shaft::Head, head, &|time| self.head(time), seconds);
        inputs.extend(levels(Shaft::Boot, boot, &|time| self.head(time) * ratio, seconds));
        inputs.extend([(0.0, false), (ON, true), (OFF, false)].map(|(time, on)| at(time, Signal::DriveRunning(on))));
        verdicts(self.settings, inputs, seconds)
    }
}

/// A swing of so many degrees at the head that begins as the belt comes to rest and dies within `dies` seconds.
fn swing(degrees: f64, hertz: f64, dies: f64, evenly: bool) -> impl Fn(f64) -> f64 {
    move |time| {
        let left = if evenly { (1.0 - time / dies).max(0.0) } else { (-3.0 * time / dies).exp() };
        degrees / 360.0 * left * (TAU * hertz * time).sin()
    }
}

/// The strands of a tall leg swing the pulleys once in one to three seconds after a stop (common practice, no source).
#[test]
fn a_belt_that_rocks_as_it_comes_to_rest_is_left_alone() {
    let mut wrong = Vec::new();
    let mut tried = 0;
    for (degrees, dies) in [(20.0, 4.0), (10.0, 1.5), (14.0, 3.0)] {
        for targets in [(4, 4), (8, 8), (12, 12), (16, 16), (8, 16), (24, 16), (32, 32)] {
            for (speed, coast) in [(1.31, 3.0), (0.6, 2.0), (1.31, 12.0)] {
                for seed in 0..8 {
                    let hertz = [0.5, 0.4, 0.7][seed as usize % 3];
                    let mut settings = with_targets(targets.0, speed);
                    settings.machine.boot_targets.as_mut().expect("fitted").count = targets.1;
                    let after = swing(degrees, hertz, dies, seed % 2 == 0);
                    let stop = Stop { settings: &settings, targets, coast, after: &after, seed };
                    let verdicts = stop.play(40.0);
                    tried += 1;
                    if !all_raised(&verdicts).is_empty() || permits(&verdicts, Permit::Run).len() != 1 {
                        wrong.push((degrees, targets, speed, coast, seed, all_raised(&verdicts)));
                    }
                    // Without a drive contact an ordinary stop is seen as a loss of speed, but not as start after start.
                    settings.machine.drive_contact = false;
                    let stop = Stop { settings: &settings, targets, coast, after: &after, seed };
                    let verdicts = stop.play(40.0);
                    if !raised(&verdicts, Condition::TooManyStarts).is_empty() {
                        wrong.push((degrees, targets, speed, coast, seed, all_raised(&verdicts)));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {tried}: {:?}", wrong.len(), &wrong[..wrong.len().min(8)]);
}

/// A leg of few targets that stops within a turn gives its last edge soon after the drive goes off, after a pitch at speed: no failure of both
/// sensors, however its targets stood then. So a light leg with thick oil stops.
#[test]
fn a_stop_within_a_few_pitches_is_no_failure_of_both_sensors() {
    let mut wrong = Vec::new();
    let mut tried = 0;
    for targets in [(1, 1), (1, 4), (2, 4), (4, 4), (8, 8), (16, 16)] {
        for speed in [0.6, 1.31, 1.62] {
            for coast in [0.3, 0.45, 0.65, 0.9, 1.25, 1.8, 2.5, 3.5] {
                let mut settings = with_targets(targets.0, speed);
                settings.machine.boot_targets.as_mut().expect("fitted").count = targets.1;
                settings.limits.starts.shortest_coast_down = Span::from_millis((coast * 1e3) as u32);
                for seed in 0..24 {
                    let verdicts = Stop { settings: &settings, targets, coast, after: &|_| 0.0, seed }.play(20.0);
                    tried += 1;
                    if !raised(&verdicts, Condition::BothSilent).is_empty() {
                        wrong.push((targets, speed, coast, seed));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {tried}: {:?}", wrong.len(), &wrong[..wrong.len().min(8)]);
}

/// A loaded leg without its backstop: from the moment it has come to rest, or some time later, it runs back faster and faster.
#[test]
fn a_reversal_that_gains_speed_is_stopped_while_the_leg_settles() {
    let mut tried = 0;
    for targets in [2, 4, 8, 16, 32] {
        // Turns a second, each second; a belt at 0.1 to 1 m/s² on pulleys of 0.6 m.
        for gains in [0.05, 0.2, 0.5] {
            for stood in [0.0, 1.0, 3.0, 5.5, 15.0] {
                for (seed, rocks) in [(1, 0.0), (2, 8.0), (3, 15.0)] {
                    let settings = with_targets(targets, 1.31);
                    let rocking = swing(rocks, 0.5, 4.0, true);
                    let after = |time: f64| -gains / 2.0 * (time - stood).max(0.0).powi(2) + rocking(time);
                    let stop =
                        Stop { settings: &settings, targets: (targets, targets), coast: 3.0, after: &after, seed };
                    let verdicts = stop.play(45.0);
                    let found = raised(&verdicts, Condition::Rollback);
                    // A turn at the head, and what is not known of it before the first whole pitch.
                    let turns = (1.0_f64).max(3.0 / f64::from(targets)) + 3.0 / f64::from(targets);
                    let due = stop.rest() + stood + (2.0 * turns / gains).sqrt();
                    let what =
                        format!("{targets} targets, {gains}, stood {stood} s, rocks {rocks}: {found:?}, due {due}");
                    assert!(matches!(found[..], [at] if at <= due && at > stop.rest() + stood), "{what}");
                    assert!(!permits(&verdicts, Permit::Run).last().expect("given once").1, "{what}");
                    tried += 1;
                }
            }
        }
    }
    assert_eq!(tried, 225);
}

/// What creeps on steadily gains no speed: it is not hidden for longer than a belt takes to settle, and nobody may start it.
#[test]
fn a_steady_creep_past_the_settling_time_stops_and_bars_starting() {
    for targets in [4, 8, 16, 32] {
        for share in [0.03, 0.08, 0.15, 0.25] {
            let settings = with_targets(targets, 1.31);
            let after = |time: f64| 1.31 * share * (time - 1.0).max(0.0);
            let stop = Stop { settings: &settings, targets: (targets, targets), coast: 3.0, after: &after, seed: 5 };
            let verdicts = stop.play(120.0);
            let found = raised(&verdicts, Condition::Rollback);
            // From when it was proven to stand: six seconds, a quarter of a turn and two pitches more.
            let pitches = 0.25 + 2.0 / f64::from(targets);
            let due = stop.rest() + 3.0 + 6.0 + pitches / (1.31 * share);
            let what = format!("{targets} targets, {share} of normal speed: {found:?}, due {due}");
            assert!(matches!(found[..], [at, ..] if at <= due), "{what}, {:?}", all_raised(&verdicts));
            assert!(!permits(&verdicts, Permit::Run).last().expect("given once").1, "{what}");
        }
    }
}

/// A belt rocked by the wind for hours takes one target of one shaft to and fro before its sensor.
#[test]
fn a_standing_belt_that_the_wind_rocks_is_left_alone_and_chatter_is_not() {
    for targets in [2, 4, 8, 16, 32] {
        let settings = with_targets(targets, 1.31);
        let still = |_: f64| 0.0;
        let stop = Stop { settings: &settings, targets: (targets, targets), coast: 3.0, after: &still, seed: 7 };
        let boot = Disc::of(targets);
        let (rest, pitch) = (stop.rest(), 1.0 / f64::from(targets));
        // The head stands between two targets, the boot with one at the edge of its sensor.
        let rocked = |time: f64| boot.offset + 5.0 + 0.2 * pitch * (TAU * 0.5 * (time - rest)).sin();
        let rocked = |time: f64| if time < rest + 20.0 { boot.offset + 5.1 } else { rocked(time) };
        let drive = [(0.0, false), (ON, true), (OFF, false)].map(|(time, on)| at(time, Signal::DriveRunning(on)));
        let mut inputs = levels(Shaft::Head, Disc::of(targets), &|time| stop.head(time), rest);
        inputs.extend(levels(Shaft::Boot, boot, &|time| stop.head(time.min(rest)) * ratio(&settings), rest));
        inputs.extend(drive);
        let of_wind = levels(Shaft::Boot, boot, &rocked, 400.0);
        assert!(of_wind.len() > 300, "{targets} targets: {}", of_wind.len());
        let rocks = [inputs.clone(), of_wind].concat();
        assert_eq!(all_raised(&verdicts(&settings, rocks, 400.0)), [], "{targets} targets rocked");
        // A sensor that gives edges at 70 % of normal speed could hide a belt that stands.
        let period = pitch / 0.7 / (1.31 * ratio(&settings));
        let chatter = (0..40)
            .map(|half| at(rest + 20.0 + f64::from(half) * period / 2.0, Signal::Edge(Shaft::Boot, half % 2 == 0)));
        let chatters = [inputs, chatter.collect()].concat();
        let found = raised(&verdicts(&settings, chatters, rest + 60.0), Condition::EdgesAtRest);
        assert!(
            matches!(found[..], [at, ..] if at < rest + 20.0 + 5.5 * period),
            "{targets} targets chatter: {found:?}"
        );
    }
}
