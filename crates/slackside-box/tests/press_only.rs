//! The build without the tag: the press alone arms, and nothing but a press.
#![cfg(not(feature = "tag"))]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::Ppm;
use slackside::wire::{CHUNK, Decoder, MOST_FRAME, Reason, Reply, Request, encode};
use slackside_box::bench::{Line, Rig};
use slackside_box::fault::Fault;

fn plan(factor: i32) -> Plan {
    let mut settings = Settings::example();
    settings.machine.service_factor = Ppm::new(factor);
    settings.check().expect("sound").plan()
}

/// Ask; why it was refused, if it was.
fn ask(rig: &mut Rig, line: &Line, request: Request<'_>) -> Option<Reason> {
    let mut frame = [0; MOST_FRAME];
    line.put(encode(7, &request, &mut frame).expect("it fits"));
    let mut decoder = Decoder::new();
    for _ in 0..200 {
        rig.run(1);
        for byte in line.take() {
            if let Some(frame) = decoder.feed(byte) {
                return match frame.expect("whole").message().expect("understood") {
                    Reply::Refused(reason) => Some(reason),
                    _ => None,
                };
            }
        }
    }
    panic!("no answer to {request:?}");
}

fn stage(rig: &mut Rig, line: &Line, plan: &Plan) {
    for (piece, offset) in plan.bytes().chunks(CHUNK).zip((0..).step_by(CHUNK)) {
        assert_eq!(ask(rig, line, Request::Stage { offset, bytes: piece }), None);
    }
}

fn send(rig: &mut Rig, line: &Line, plan: &Plan) -> Option<Reason> {
    stage(rig, line, plan);
    rig.run(1_000);
    assert_eq!(ask(rig, line, Request::Challenge), None);
    let leg = plan.leg_name().as_bytes();
    ask(rig, line, Request::Arm { leg, identity: plan.identity(), tag: &[0; 16] })
}

fn at_rest() -> (Rig, Line) {
    let mut rig = Rig::start(Rig::set_up(&[0; 16], &Settings::example().check().expect("sound").plan()));
    let line = rig.connect();
    rig.make_ready();
    rig.panel.key.set(true);
    rig.run(100);
    (rig, line)
}

#[test]
fn the_press_alone_arms_and_it_is_told_until_a_reset() {
    let (mut rig, line) = at_rest();
    let (before, new) = (rig.sensor_box.settings_identity(), plan(1_100_000));
    assert_eq!(send(&mut rig, &line, &new), None);
    rig.press(|panel| &panel.acknowledge, 3_000);
    assert_eq!(rig.sensor_box.settings_identity(), before, "no press that acknowledges does it");
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), Some(new.identity()));
    assert!(rig.sensor_box.faults().contains(Fault::PlanArmed) && !rig.panel.alarm.get());
}

#[test]
fn with_the_switch_off_or_nobody_there_nothing_is_armed() {
    let (mut rig, line) = at_rest();
    let before = rig.sensor_box.settings_identity();
    rig.panel.key.set(false);
    rig.run(100);
    assert_eq!(send(&mut rig, &line, &plan(1_100_000)), Some(Reason::KeyOff));
    rig.panel.key.set(true);
    rig.run(100);
    assert_eq!(send(&mut rig, &line, &plan(1_100_000)), None);
    rig.run(61_000);
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), before);
}

/// Whatever is staged while a plan waits ends the wait, though it were the same bytes.
#[test]
fn what_is_staged_meanwhile_ends_the_wait() {
    for factor in [1_100_000, 1_200_000] {
        let (mut rig, line) = at_rest();
        let before = rig.sensor_box.settings_identity();
        assert_eq!(send(&mut rig, &line, &plan(1_100_000)), None);
        stage(&mut rig, &line, &plan(factor));
        rig.press(|panel| &panel.acknowledge, 5_000);
        assert_eq!(rig.sensor_box.settings_identity(), before, "{factor}");
    }
}

/// What this build leaves open, as the book says: who stages and arms another plan in that minute has it armed by the press that was meant for
/// the first. The identity told afterwards is the other's.
#[test]
fn another_plan_armed_in_the_same_minute_takes_the_place_of_the_first() {
    let (mut rig, line) = at_rest();
    assert_eq!(send(&mut rig, &line, &plan(1_100_000)), None);
    assert_eq!(send(&mut rig, &line, &plan(1_200_000)), None);
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), Some(plan(1_200_000).identity()));
    assert!(rig.sensor_box.faults().contains(Fault::PlanArmed));
}
