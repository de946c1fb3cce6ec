//! Starting again while the leg still runs down.
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
use slackside::settings::Settings;
use slackside::verdict::{Change, Permit, Phase, Verdict};
use turning::{Disc, all_raised, angle, at, levels, permits, raised, verdicts};

/// Share of normal speed by time, going straight from point to point.
fn along(points: &'static [(f64, f64)]) -> impl Fn(f64) -> f64 {
    move |time: f64| {
        let after = points.iter().position(|(at, _)| *at > time).unwrap_or(points.len());
        match (after.checked_sub(1).map(|before| points[before]), points.get(after)) {
            (Some((from, one)), Some((to, other))) => one + (other - one) * (time - from) / (to - from),
            (Some((_, last)), None) => last,
            (None, _) => 0.0,
        }
    }
}

/// Head and belt turn so; the drive comes on and goes off at these times.
fn play(
    settings: &Settings,
    head: impl Fn(f64) -> f64,
    belt: impl Fn(f64) -> f64,
    drive: &[f64],
    seconds: f64,
) -> Vec<Verdict> {
    let targets = settings.machine.boot_targets.expect("fitted").count;
    let ratio = ratio(settings);
    let of_head = angle(|time| 1.31 * head(time), seconds);
    let of_boot = angle(|time| 1.31 * ratio * 0.993 * belt(time), seconds);
    let mut inputs = levels(Shaft::Head, Disc::of(targets), &of_head, seconds);
    inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(targets) }, &of_boot, seconds));
    inputs.push(at(0.0, Signal::DriveRunning(false)));
    inputs.extend(drive.iter().enumerate().map(|(n, time)| at(*time, Signal::DriveRunning(n % 2 == 0))));
    verdicts(settings, inputs, seconds)
}

fn phases(verdicts: &[Verdict]) -> Vec<Phase> {
    let phase = |verdict: &Verdict| if let Change::Phase(phase) = verdict.change { Some(phase) } else { None };
    verdicts.iter().filter_map(phase).collect()
}

/// Off at 15 s, on again at half speed, and up within two seconds.
const COAST: &[(f64, f64)] = &[(2.0, 0.0), (4.0, 1.0), (15.0, 1.0), (18.0, 0.5), (20.0, 1.0)];

#[test]
fn a_start_while_the_belt_still_runs_down_and_follows_is_a_start() {
    for targets in [4, 8, 16] {
        let settings = with_targets(targets, 1.31);
        let verdicts = play(&settings, along(COAST), along(COAST), &[2.0, 15.0, 18.0], 40.0);
        assert_eq!(all_raised(&verdicts), [], "{targets} targets");
        assert_eq!(permits(&verdicts, Permit::Run).len(), 1);
        let all =
            [Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Starting, Phase::Running];
        assert_eq!(phases(&verdicts)[phases(&verdicts).len() - 5..], all[1..], "{targets} targets");
    }
}

/// One shaft says nothing of the other: the belt slips, or does not follow at all.
#[test]
fn a_start_while_the_belt_does_not_follow_is_stopped_as_before() {
    const BELT: &[(f64, f64)] = &[(2.0, 0.0), (4.0, 1.0), (15.0, 1.0), (18.0, 0.4), (20.0, 0.4)];
    const STANDS: &[(f64, f64)] = &[(2.0, 0.0), (4.0, 1.0), (15.0, 1.0), (16.0, 0.0)];
    for belt in [BELT, STANDS] {
        let settings = with_targets(8, 1.31);
        let verdicts = play(&settings, along(COAST), along(belt), &[2.0, 15.0, 18.0], 40.0);
        let stopped = permits(&verdicts, Permit::Run).get(1).map(|stop| stop.0);
        // Half a second after the drive is on underspeed stops it, unless belt not following did before.
        assert!(stopped.is_some_and(|at| at < 18.6), "{stopped:?}, {:?}", all_raised(&verdicts));
    }
}

/// The start time is given once: a belt that does not come to speed is stopped when it is up, however often the drive is switched.
#[test]
fn starting_again_and_again_never_renews_the_suppression_of_underspeed() {
    const HALF: &[(f64, f64)] = &[(2.0, 0.0), (4.0, 1.0), (15.0, 1.0), (18.0, 0.5), (60.0, 0.5)];
    let settings = with_targets(8, 1.31);
    let drive = [2.0, 15.0, 18.0, 24.0, 24.5, 27.0, 27.2, 33.0, 33.5, 40.0, 41.0];
    let found = play(&settings, along(HALF), along(HALF), &drive, 60.0);
    let stopped = permits(&found, Permit::Run).get(1).map(|stop| stop.0);
    assert!(stopped.is_some_and(|at| (28.0..28.6).contains(&at)), "{stopped:?}, {:?}", all_raised(&found));
    // Alone too: it is a start that failed.
    let found = play(&settings, along(HALF), along(HALF), &drive[..3], 60.0);
    assert_eq!(raised(&found, Condition::StartFailed), [28.0], "{:?}", all_raised(&found));
}

/// 29 CFR 1910.272(q)(1): jogging. The fifth start within the window is refused, from rest or not.
#[test]
fn each_counts_as_a_start() {
    const OFTEN: &[(f64, f64)] = &[
        (2.0, 0.0),
        (4.0, 1.0),
        (15.0, 1.0),
        (18.0, 0.5),
        (20.0, 1.0),
        (30.0, 1.0),
        (33.0, 0.5),
        (35.0, 1.0),
        (45.0, 1.0),
        (48.0, 0.5),
        (50.0, 1.0),
        (60.0, 1.0),
        (63.0, 0.5),
        (65.0, 1.0),
    ];
    let settings = with_targets(8, 1.31);
    let drive = [2.0, 15.0, 18.0, 30.0, 33.0, 45.0, 48.0, 60.0, 63.0];
    let found = play(&settings, along(OFTEN), along(OFTEN), &drive, 80.0);
    assert_eq!(raised(&found, Condition::TooManyStarts), [63.0], "{:?}", all_raised(&found));
    assert_eq!(all_raised(&found)[0], Condition::TooManyStarts);
}
