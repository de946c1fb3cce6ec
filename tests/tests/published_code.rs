//! The code's 20 %: 29 CFR 1910.272(q)(5) (as read in its state adoptions: Mich. R 408.17716(5); WAC 296-99-085(5)): motion
//! detection shuts the leg down when belt speed is reduced by no more than 20 % of normal operating speed.
//!
//! Settings promise a loss of belt speed at the stop (`Settings::promptness`). Here the monitor is run against belts that lose
//! 5 % of normal speed a second, and must keep the promise and the code.

use slackside::conditions::Condition;
use slackside::input::{Input, Signal};
use slackside::settings::{Checked, Field, LimitPart, Rule, Settings, Spacing, Targets};
use slackside::units::{Micros, Ppm};
use slackside::verdict::Permit;
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, merge, raised, verdicts};
use slackside_tests::wheels::{Wheel, Wheels};

/// Loss of belt speed a second, of normal.
const RAMP: f64 = 0.05;
/// The leg has been running steadily for so long, in seconds, that spacing is learned.
const STEADY: f64 = 30.0;

/// A leg with so many targets on both shafts, or on the boot alone.
fn leg(targets: u8, head_rpm: f64, boot_alone: bool) -> Settings {
    let mut settings = Settings::example();
    couple(&mut settings.machine, 1.0, head_rpm / 60.0);
    let change = |old: Option<Targets>| {
        old.map(|old| Targets {
            count: targets,
            spacing: Spacing::Even { tolerance: Ppm::new(10_000) },
            supervised: true,
            ..old
        })
    };
    settings.machine.boot_targets = change(settings.machine.boot_targets);
    settings.machine.head_targets = if boot_alone { None } else { change(settings.machine.head_targets) };
    settings
}

/// What a failing belt came to.
struct Outcome {
    /// Loss of belt speed when the condition was raised.
    raised: f64,
    /// Loss of belt speed when the run permit dropped.
    stopped: f64,
}

/// A belt that begins to lose speed `phase` seconds after `STEADY`.
fn fail(checked: &Checked, condition: Condition, targets: u8, head_rpm: f64, phase: f64) -> Outcome {
    let speed = head_rpm / 60.0;
    let begin = STEADY + phase;
    let boot = Wheel::with_spacing_error(u32::from(targets), 0.01, 5).jittered(5.0);
    let head = Wheel::with_spacing_error(u32::from(targets), 0.01, 6).jittered(5.0);
    let wheels = Wheels {
        head: checked.machine.head_targets.map(|_| head),
        boot: Some(boot),
        ratio: 1.0,
        head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * speed,
        slip: &|time| ((time - begin).max(0.0) * RAMP).min(0.6),
        begin_us: 0,
        seed: 11,
    };
    let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
    let end: [Input; 1] = [at(0, begin + 8.0, Signal::Tick)];
    let verdicts = verdicts(checked, &merge(&[&drive, &wheels.edges(begin + 7.9), &end]));
    let raised = raised(&verdicts);
    let what = || format!("{condition:?}, {targets} targets, {head_rpm} rpm: {raised:?}");
    let loss = |time: Option<Micros>| {
        let time = time.unwrap_or_else(|| panic!("never: {}", what()));
        let loss = (time.get() as f64 / 1e6 - begin) * RAMP;
        assert!(loss > 0.0, "before anything was wrong: {}", what());
        loss
    };
    Outcome {
        raised: loss(raised.iter().find(|(_, found)| *found == condition).map(|(time, _)| *time)),
        stopped: loss(dropped(&verdicts, Permit::Run)),
    }
}

/// Runs every leg that the check lets pass at several phases; gives how many, and the closest to the promise.
fn keeps_its_promise(condition: Condition, boot_alone: bool, window: impl Fn(f64, f64) -> f64) -> (usize, f64) {
    let mut runs = 0;
    let mut closest = f64::MAX;
    for targets in [1, 2, 3, 4, 8, 16] {
        for head_rpm in [40.0, 60.0, 90.0, 150.0] {
            // On a real leg these speeds need other pulleys, so the bench rules are used; whether the stops are prompt enough
            // is asked for here.
            let settings = leg(targets, head_rpm, boot_alone);
            let promptness = |condition| settings.promptness(condition).expect("fitted");
            if !promptness(Condition::DeepUnderspeed).keeps_the_code() {
                continue;
            }
            let promised = f64::from(promptness(condition).loss.get()) / 1e6;
            let bound = promised + window(60.0 / head_rpm, f64::from(targets)) * RAMP;
            let checked = settings.check_for_bench().expect("sound but for what legs are built like");
            for step in 0..5 {
                let phase = f64::from(step) / 5.0 * 60.0 / head_rpm;
                let Outcome { raised, stopped } = fail(&checked, condition, targets, head_rpm, phase);
                // On slow shafts the belt goes on losing speed while a pitch lasts, which lengthens it: some hundredths of a per cent that
                // the promise leaves out, and the code's 20 % below do not.
                assert!(
                    raised <= bound + 0.000_5,
                    "{condition:?}, {targets} targets, {head_rpm} rpm: {raised:.4} > {bound:.4}"
                );
                assert!(stopped <= 0.20, "{condition:?}, {targets} targets, {head_rpm} rpm: {stopped:.4}");
                closest = closest.min(bound - raised);
                runs += 1;
            }
        }
    }
    (runs, closest)
}

#[test]
fn a_failing_belt_is_stopped_before_it_has_lost_a_fifth_of_its_speed() {
    // The stop on belt speed promises everything. The stop on slip leaves its window out: half a boot turn and a pitch,
    // longer as the boot slows, and a head pitch.
    let nothing = |_, _| 0.0;
    let window = |turn: f64, targets: f64| turn * (0.5 + 1.01 / targets) / 0.8 + turn * 1.01 / targets;
    let report = |condition, boot_alone, (runs, closest): (usize, f64)| {
        println!(
            "{condition:?}, boot alone {boot_alone}: {runs} runs, closest to the bound by {:.2} %",
            closest * 100.0
        );
        assert!(runs >= 60, "the sweep has shrunk to {runs} runs");
        // A bound, and not one so wide that it says nothing.
        assert!(closest < 0.02, "{closest}");
    };
    for boot_alone in [false, true] {
        let condition = Condition::DeepUnderspeed;
        report(condition, boot_alone, keeps_its_promise(condition, boot_alone, nothing));
    }
    report(Condition::SlipVeryHigh, false, keeps_its_promise(Condition::SlipVeryHigh, false, window));
}

#[test]
fn settings_beyond_the_code_are_refused() {
    for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
        let refused = |setpoint| {
            let mut settings = Settings::example();
            settings.limits.change(condition, |limit| limit.setpoint = setpoint);
            settings.check().err().is_some_and(|violations| {
                violations.iter().any(|violation| {
                    violation.field == Field::Limit(condition, LimitPart::Setpoint)
                        && matches!(violation.rule, Rule::BeyondTheCode | Rule::StopsTooLate)
                })
            })
        };
        let allowed = Settings::example().limits.of(condition).setpoint;
        assert!(!refused(allowed));
        assert!(refused(200_001) && refused(250_000) && refused(1_000_000));
        // At 20 % with a delay, the code is broken by the time the delay runs out.
        assert!(refused(200_000));
    }
}

#[test]
fn one_shaft_alone_must_be_the_boot() {
    // World Grain, "Preventing a dust disaster", part 2: alarm at 10 %, stop at 20 %; with one shaft watched, the boot.
    let mut head_alone = Settings::example();
    head_alone.machine.boot_targets = None;
    assert!(head_alone.check().is_err());
    let mut boot_alone = Settings::example();
    boot_alone.machine.head_targets = None;
    let checked = boot_alone.check().expect("the boot alone is allowed");
    assert_eq!(checked.limits.of(Condition::Underspeed).setpoint, 100_000);
}

#[test]
fn alignment_is_always_an_alarm() {
    // (q)(6): a monitor that alarms employees when the belt does not track.
    let mut settings = Settings::example();
    settings.limits.change(Condition::Mistracking, |limit| limit.enabled = false);
    assert!(settings.check().is_err());
}
