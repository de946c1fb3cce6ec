//! Questions of the findings that are reckoned from both shafts' edges, on made traces: what each must come to follows from the speeds that
//! the trace was made with.

use slackside::conditions::Condition;
use slackside::diagnose::Gather;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::{Checked, Settings};
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Verdict};
use slackside_desk::findings::evidence::{Clue, Evidence, Witness};

/// How long the traces are, in microseconds.
const END_US: u64 = 30_000_000;

/// The leg at steady speed, head and boot so many times as fast as normal by their targets; `asked`: by the speed reference, in ppm.
fn evidence(settings: &Checked, [head, boot]: [f64; 2], asked: Option<i32>) -> Evidence {
    let machine = &settings.machine;
    let mut inputs = vec![Input::new(Micros::ZERO, Signal::DriveRunning(true))];
    if let Some(asked) = asked {
        inputs.push(Input::new(Micros::ZERO, Signal::SpeedReference(Ppm::new(asked))));
    }
    for (shaft, targets, normal, times) in [
        (Shaft::Head, machine.head_targets, machine.normal_head, head),
        (Shaft::Boot, machine.boot_targets, machine.normal_boot, boot),
    ] {
        let Some(targets) = targets else { continue };
        let pitch_us = 1e12 / (f64::from(normal.get()) * times * f64::from(targets.count));
        let mut at_us = 0.0;
        while (at_us as u64) < END_US {
            inputs.push(Input::new(Micros::new(at_us as u64), Signal::Edge(shaft, true)));
            inputs.push(Input::new(Micros::new((at_us + 0.3 * pitch_us) as u64), Signal::Edge(shaft, false)));
            at_us += pitch_us;
        }
    }
    inputs.sort_by_key(|input| input.at);
    let mut witness = Witness::new(settings);
    for input in &inputs {
        witness.input(input);
    }
    witness.evidence(&Gather::new(settings).evidence())
}

fn near(answer: Option<i32>, figure: i32, by: i32) -> bool {
    answer.is_some_and(|answer| answer.abs_diff(figure) <= by.unsigned_abs())
}

#[test]
fn a_leg_at_its_normal_speed_while_less_is_asked_for_is_told_from_one_that_follows() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let stays = evidence(&settings, [1.0, 1.0], Some(800_000));
    assert!(near(stays.get(Clue::HeadOfNormal), 1_000_000, 500), "{:?}", stays.get(Clue::HeadOfNormal));
    assert!(near(stays.get(Clue::HeadCounted), 1_250_000, 500), "{:?}", stays.get(Clue::HeadCounted));
    let follows = evidence(&settings, [0.8, 0.8], Some(800_000));
    assert!(near(follows.get(Clue::HeadOfNormal), 800_000, 500), "{:?}", follows.get(Clue::HeadOfNormal));
    assert!(near(follows.get(Clue::HeadCounted), 1_000_000, 500), "{:?}", follows.get(Clue::HeadCounted));
}

#[test]
fn swapped_wires_leave_what_both_speeds_make_together_and_a_wrong_normal_speed_does_not() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let times = |speeds: [f64; 2]| evidence(&settings, speeds, None).get(Clue::SpeedsTimes);
    // One looks as much faster as the other looks slower.
    assert!(near(times([1.1, 1.0 / 1.1]), 1_000, 1), "{:?}", times([1.1, 1.0 / 1.1]));
    assert!(near(times([0.9, 0.9]), 810, 1), "{:?}", times([0.9, 0.9]));
    let mut alone = Settings::example();
    alone.machine.head_targets = None;
    let alone = alone.check().expect("a boot sensor alone is enough");
    assert_eq!(evidence(&alone, [1.0, 1.0], None).get(Clue::SpeedsTimes), None);
}

#[test]
fn targets_are_told_as_many_as_there_are_and_none_where_no_sensor_is() {
    let mut settings = Settings::example();
    settings.machine.head_targets.as_mut().expect("a head sensor").count = 6;
    settings.machine.boot_targets.as_mut().expect("a boot sensor").count = 3;
    let told = |settings: &Settings| {
        let settings = settings.clone().check().expect("a sound leg");
        let evidence = evidence(&settings, [1.0, 1.0], None);
        [Clue::HeadPerTurn, Clue::BootPerTurn].map(|clue| evidence.get(clue))
    };
    assert_eq!(told(&settings), [Some(6), Some(3)]);
    settings.machine.head_targets = None;
    assert_eq!(told(&settings), [None, Some(3)]);
}

/// The leg at its normal speed, but that its boot runs faster and slower by `uneven` with each turn of the head, and that one boot target lies
/// late by so much of a pitch; stopped for its targets at the end. The motor is on from `on_us`.
fn stopped(settings: &Checked, uneven: f64, late: f64, on_us: u64) -> Evidence {
    let machine = &settings.machine;
    let [head, boot] = [machine.normal_head, machine.normal_boot].map(|speed| f64::from(speed.get()) * 1e-12);
    let [of_head, of_boot] =
        [machine.head_targets, machine.boot_targets].map(|targets| targets.expect("both sensors").count);
    let tau = core::f64::consts::TAU;
    let mut inputs = vec![Input::new(Micros::new(on_us), Signal::DriveRunning(true))];
    let mut edge = |shaft: Shaft, at_us: f64| {
        inputs.push(Input::new(Micros::new(at_us as u64), Signal::Edge(shaft, true)));
        inputs.push(Input::new(Micros::new(at_us as u64 + 2_000), Signal::Edge(shaft, false)));
    };
    for target in 0..(END_US as f64 * head * f64::from(of_head)) as u32 {
        edge(Shaft::Head, f64::from(target) / f64::from(of_head) / head);
    }
    for target in 0..(END_US as f64 * boot * f64::from(of_boot)) as u32 {
        let off = if target % u32::from(of_boot) == 1 { late } else { 0.0 };
        let turned = (f64::from(target) + off) / f64::from(of_boot);
        // Turned by the integral of the speed: solved for the time, step by step.
        let mut at_us = turned / boot;
        for _ in 0..40 {
            at_us = (turned - uneven * boot / head / tau * (tau * head * at_us).sin()) / boot;
        }
        edge(Shaft::Boot, at_us);
    }
    inputs.sort_by_key(|input| input.at);
    let mut witness = Witness::new(settings);
    for input in &inputs {
        witness.input(input);
    }
    witness.verdict(&Verdict { at: Micros::new(END_US), change: Change::FirstOut(Some(Condition::BootTargets)) });
    witness.evidence(&Gather::new(settings).evidence())
}

#[test]
fn a_head_out_of_round_shows_in_the_boots_speed_and_a_boot_target_out_of_place_does_not() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let with_head = |uneven: f64, late: f64| stopped(&settings, uneven, late, 0).get(Clue::BootWithHead);
    // Half of it and more is seen, whatever the ratio: part is lost over a pitch, and to the turns it is held against.
    let told = with_head(0.04, 0.0).expect("known");
    assert!((20_000..=60_000).contains(&told), "{told}");
    assert!(with_head(0.0, 0.0).is_some_and(|with_head| with_head < 500), "{:?}", with_head(0.0, 0.0));
    assert!(with_head(0.0, 0.1).is_some_and(|with_head| with_head < 2_000), "{:?}", with_head(0.0, 0.1));
    // Four times as uneven is told as four times as much.
    let less = with_head(0.01, 0.0).expect("known");
    assert!((3 * less..=5 * less).contains(&told), "{less} {told}");
}

#[test]
fn how_far_shafts_have_turned_is_counted_from_the_start_of_the_motor() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let turned = |on_us: u64| {
        let evidence = stopped(&settings, 0.0, 0.0, on_us);
        [Clue::HeadTurned, Clue::BootTurned].map(|clue| evidence.get(clue).expect("known"))
    };
    let speeds =
        [settings.machine.normal_head, settings.machine.normal_boot].map(|speed| f64::from(speed.get()) * 1e-6);
    for (told, speed) in turned(END_US - 10_000_000).into_iter().zip(speeds) {
        // A target more or less at either end.
        assert!((f64::from(told) - speed * 10.0 * 100.0).abs() <= 60.0, "{told} {speed}");
    }
    assert!(turned(END_US - 1).into_iter().all(|turned| turned <= 60));
}
