//! A desk at the end of the line: asks and waits.
#![allow(dead_code, reason = "not every test uses all of it")]

use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::wire::{CHUNK, Challenge, Decoder, MOST_FRAME, Reason, Reply, Request, encode};
use slackside_box::arming::tag;
use slackside_box::bench::Line;

use crate::rig::{KEY, Rig, plan};

/// Ask and wait for the answer, the leg running on meanwhile.
pub fn ask<T>(rig: &mut Rig, line: &Line, request: Request<'_>, take: impl Fn(Reply<'_>) -> T) -> T {
    let mut frame = [0; MOST_FRAME];
    let frame = encode(7, &request, &mut frame).expect("it fits");
    assert_eq!(line.put(frame), frame.len());
    let mut decoder = Decoder::new();
    for _ in 0..200 {
        rig.run(1);
        for byte in line.take() {
            if let Some(frame) = decoder.feed(byte) {
                let frame = frame.expect("whole");
                assert_eq!(frame.number, 7);
                return take(frame.message().expect("understood"));
            }
        }
    }
    panic!("no answer to {request:?}");
}

pub fn refused(reply: Reply<'_>) -> Option<Reason> {
    match reply {
        Reply::Refused(reason) => Some(reason),
        _ => None,
    }
}

/// Send a plan piece by piece.
pub fn stage(rig: &mut Rig, line: &Line, plan: &Plan) {
    for (piece, offset) in plan.bytes().chunks(CHUNK).zip((0..).step_by(CHUNK)) {
        assert_eq!(ask(rig, line, Request::Stage { offset, bytes: piece }, refused), None);
    }
}

pub fn challenge(rig: &mut Rig, line: &Line) -> Result<Challenge, Reason> {
    ask(rig, line, Request::Challenge, |reply| match reply {
        Reply::Challenge(challenge) => Ok(challenge),
        Reply::Refused(reason) => Err(reason),
        other => panic!("{other:?}"),
    })
}

/// Send settings with the right tag; `None` if they now wait for a person at the box.
pub fn send_settings(rig: &mut Rig, line: &Line, settings: &Settings) -> Option<Reason> {
    let plan = plan(settings);
    let leg = settings.machine.leg.as_bytes();
    stage(rig, line, &plan);
    rig.run(1_000);
    let challenge = challenge(rig, line).expect("given");
    let tag = tag(&KEY, challenge, &plan, "BENCH-1", leg).expect("short names");
    ask(rig, line, Request::Arm { leg, identity: plan.identity(), tag: &tag }, refused)
}

/// The same, and confirm it.
pub fn write_settings(rig: &mut Rig, line: &Line, settings: &Settings) -> Option<Reason> {
    let refused = send_settings(rig, line, settings);
    if refused.is_none() {
        rig.press(|panel| &panel.acknowledge, 5_000);
    }
    refused
}
