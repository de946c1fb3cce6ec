//! A belt that follows with few targets: between two boot edges of a healthy leg lies more than one head turn.
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

use leg::with_targets;
use slackside::conditions::Condition;
use slackside::input::{Shaft, Signal};
use slackside::settings::AcceptedRatio;
use slackside::units::{MicroturnsPerSecond, Ppm, Ratio};
use turning::{Disc, all_raised, angle, at, levels, raised, verdicts};

#[test]
fn one_target_at_any_ratio_is_not_taken_for_a_belt_that_does_not_follow() {
    for (ratio, targets) in [(0.5, 1), (0.45, 1), (0.25, 2), (0.25, 1), (1.04, 1), (2.0, 1)] {
        let mut settings = with_targets(1, 1.31);
        let machine = &mut settings.machine;
        machine.boot_targets.as_mut().expect("fitted").count = targets;
        machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new((ratio * 1e6) as u32), spread: Ppm::ZERO });
        machine.normal_boot = MicroturnsPerSecond::new((1.31 * ratio * 1e6) as u32);
        // As in a recording that begins while the wheels turn.
        let speed = |_: f64| 1.31;
        let play = |stalls: f64| {
            let boot = |time: f64| if time < stalls { speed(time) * ratio * 0.993 } else { 0.0 };
            let mut inputs = levels(Shaft::Head, Disc::of(1), &angle(speed, 300.0), 300.0);
            inputs.extend(levels(Shaft::Boot, Disc { offset: 0.4, ..Disc::of(targets) }, &angle(boot, 300.0), 300.0));
            inputs.push(at(0.0, Signal::DriveRunning(true)));
            verdicts(&settings, inputs, 300.0)
        };
        assert_eq!(all_raised(&play(1e9)), [], "ratio {ratio}, {targets} targets");
        // It still stands behind everything else: a quarter more than the angle between two edges and one head pitch, or two turns.
        let due = 100.0 + (2.0_f64.max(1.25 / ratio / f64::from(targets)) + 1.0) / 1.31;
        let found = raised(&play(100.0), Condition::BeltNotFollowing);
        assert!(matches!(found[..], [at, ..] if at > 100.0 && at < due), "ratio {ratio}: {found:?}, due {due}");
    }
}
