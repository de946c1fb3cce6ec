//! Rubs told apart by where on the belt they happen, from trace to finding.
//!
//! No published recording of rub contacts is known; these traces are made by hand, with the loop length wrong on purpose.

use std::io::Cursor;

use slackside::diagnose::{Cause, findings};
use slackside::input::{ContactState, Input, Place, Shaft, Signal};
use slackside::settings::{Checked, Settings};
use slackside::units::Micros;
use slackside_desk::replay::{Job, Outcome, replay};
use slackside_desk::report::Story;
use slackside_desk::report::words as words_of;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::settings::{Commissioned, settings_for};
use slackside_desk::trace::{HEADER, Reader, write_row};
use slackside_simulator::disk::Disk;
use slackside_simulator::heard::heard;

/// How long the traces are.
const SECONDS: u64 = 900;

/// The example leg at steady speed, its boot so many times as fast as without slip, and the rubs at these times, 60 ms each, at the head on
/// the left.
fn trace(settings: &Checked, boot_times: f64, rubs_us: &[u64]) -> Vec<u8> {
    let end = SECONDS * 1_000_000;
    let mut inputs = vec![Input::new(Micros::ZERO, Signal::DriveRunning(false))];
    inputs.push(Input::new(Micros::new(3_000_000), Signal::DriveRunning(true)));
    for (shaft, turns_a_second) in [
        (Shaft::Head, f64::from(settings.machine.normal_head.get()) / 1e6),
        (
            Shaft::Boot,
            boot_times * f64::from(settings.machine.normal_head.get()) / 1e6 * f64::from(settings.ratio().get()) / 1e6,
        ),
    ] {
        let pitch_us = 1e6 / turns_a_second / 4.0;
        let mut at = 3_200_000.0;
        while (at as u64) < end {
            inputs.push(Input::new(Micros::new(at as u64), Signal::Edge(shaft, true)));
            inputs.push(Input::new(Micros::new((at + 0.3 * pitch_us) as u64), Signal::Edge(shaft, false)));
            at += pitch_us;
        }
    }
    for rub in rubs_us {
        let rubbing = Signal::Contact(Place::HeadLeft, ContactState::Rubbing);
        let clear = Signal::Contact(Place::HeadLeft, ContactState::Clear);
        inputs.push(Input::new(Micros::new(*rub), rubbing));
        inputs.push(Input::new(Micros::new(*rub + 60_000), clear));
    }
    inputs.sort_by_key(|input| input.at);
    let mut bytes = format!("{HEADER}\n").into_bytes();
    for input in &inputs {
        write_row(input, &mut bytes);
    }
    bytes
}

fn run(settings: &Checked, rubs_us: &[u64]) -> Outcome {
    replayed(settings, trace(settings, 1.0, rubs_us))
}

fn replayed(settings: &Checked, trace: Vec<u8>) -> Outcome {
    let reader = Reader::from_read("rubs.csv", Cursor::new(trace)).expect("a trace");
    replay(Job::new(reader, settings, "leg")).expect("a whole trace")
}

fn has_belt_fault(outcome: &Outcome) -> bool {
    findings(&outcome.evidence).iter().any(|finding| finding.cause == Cause::BeltFault(Place::HeadLeft))
}

#[test]
fn a_splice_that_brushes_past_once_a_loop_is_found() {
    let settings = Settings::example().check().expect("the example leg is sound");
    // The true loop is 1.7 % longer than the settings say.
    let loop_us = f64::from(settings.machine.loop_time().get()) * 1.017;
    let belt = f64::from(settings.machine.normal_belt_speed().get());
    let turning = f64::from(settings.machine.normal_head.get()) * f64::from(settings.ratio().get()) / 1e6;
    let runs = f64::from(settings.machine.belt_speed(slackside::units::MicroturnsPerSecond::new(turning as u32)).get());
    let loop_us = loop_us * belt / runs;
    let rubs: Vec<u64> = (1..)
        .map(|turn: u32| 10_000_000 + (f64::from(turn) * loop_us) as u64 + u64::from(turn * 7919 % 13) * 9_000)
        .take_while(|at| *at < (SECONDS - 5) * 1_000_000)
        .collect();
    assert!(rubs.len() > 30);
    let outcome = run(&settings, &rubs);
    assert!(outcome.first_outs.is_empty(), "a splice stops nothing: {:?}", outcome.first_outs);
    assert!(has_belt_fault(&outcome), "{:?}", outcome.evidence.rubs);
}

#[test]
fn a_belt_that_wanders_is_not_called_a_splice() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let mut state = 99_u64;
    let mut at = 10_000_000;
    let mut rubs = Vec::new();
    while at < (SECONDS - 20) * 1_000_000 {
        rubs.push(at);
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        at += 4_000_000 + (state >> 33) % 43_000_000;
    }
    assert!(rubs.len() > 20);
    let outcome = run(&settings, &rubs);
    assert!(!has_belt_fault(&outcome), "{:?}", outcome.evidence.rubs);
}

/// Material on the head pulley makes the belt faster than the settings have it: what slip and heat read then is too little, and the report
/// must not let it pass for known.
#[test]
fn slip_against_a_ratio_that_is_off_is_told_as_not_known() {
    let settings = Settings::example().check().expect("the example leg is sound");
    let unknown = |times: f64| {
        let outcome = replayed(&settings, trace(&settings, times, &[]));
        let story = Story::of(&outcome, 100);
        story.unknown.iter().map(|told| told.words.clone()).collect::<Vec<_>>().join("\n")
    };
    let healthy = unknown(1.0);
    assert!(!healthy.contains("ratio was off") && !healthy.contains("below zero"), "{healthy}");
    let built_up = unknown(1.042);
    assert!(built_up.contains("the no-slip ratio was off by 4.2 %. Slip read too low"), "{built_up}");
    assert!(built_up.contains("slip read below zero: how much the belt slipped then is not known"), "{built_up}");
    let worn = unknown(0.97);
    assert!(worn.contains("the no-slip ratio was off by 3.0 %, or the belt slipped"), "{worn}");
}

/// The scenarios are invented; what is true of them is what the plant was told to do.
#[test]
fn where_the_belt_runs_off_centre_the_report_says_which_shaft_or_the_casing_to_look_at_first() {
    for (name, words) in [
        ("boot-end-loose", "check that the boot shaft is level"),
        ("head-shaft-out-of-level", "check that the head shaft is level and square"),
        ("casing-out-of-plumb", "hang a plumb line"),
        ("crown-missing", "check that the shaft is level"),
    ] {
        let path = format!("{}/../scenarios/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let scenario = Scenario::read(&Disk, path.as_ref()).expect("a scenario");
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = settings_for(&scenario.leg, &commissioned).check().expect("sound settings");
        let mut bytes = format!("{HEADER}\n").into_bytes();
        for input in &heard(&scenario, &commissioned, &settings).expect("a run") {
            write_row(input, &mut bytes);
        }
        let said = words_of(&replayed(&settings, bytes), &[]);
        let first = said.split("  1. ").nth(1).expect("something to look at first");
        let first = first.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(first.starts_with("The belt may run off centre"), "{name}: {first}");
        assert!(first.find(words).is_some_and(|at| at < 150), "{name}: {first}");
    }
}
