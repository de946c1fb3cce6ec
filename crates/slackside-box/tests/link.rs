//! The link at the whole box: what it brings, what it may not do, and that no flood of it changes a permit.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod rig;

use proptest::prelude::*;
use rig::{Chip, Rig, plan, set_up, settings};
use slackside::input::{Command, Shaft};
use slackside::settings::Settings;
use slackside::units::Ppm;
use slackside::verdict::Phase;
use slackside::wire::{CHUNK, Decoder, MOST_FRAME, Reason, Reply, Request, Window, encode};
use slackside_box::bench::Line;
use slackside_box::fault::{Fault, Faults};

/// Ask and wait for the answer, the leg running on meanwhile.
fn ask<T>(rig: &mut Rig, line: &Line, request: Request<'_>, take: impl Fn(Reply<'_>) -> T) -> T {
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

fn refused(reply: Reply<'_>) -> Option<Reason> {
    match reply {
        Reply::Refused(reason) => Some(reason),
        _ => None,
    }
}

fn write_settings(rig: &mut Rig, line: &Line, settings: &Settings) -> Option<Reason> {
    let plan = plan(settings);
    for (piece, offset) in plan.bytes().chunks(CHUNK).zip((0..).step_by(CHUNK)) {
        let request = Request::Stage { offset, bytes: piece };
        if let Some(reason) = ask(rig, line, request, refused) {
            return Some(reason);
        }
    }
    let request = Request::Arm { leg: settings.machine.leg.as_bytes(), identity: plan.identity() };
    ask(rig, line, request, refused)
}

fn running() -> (Rig, Line) {
    let mut rig = Rig::start(set_up());
    let line = rig.connect();
    rig.make_ready();
    rig.run_up();
    (rig, line)
}

#[test]
fn a_box_says_who_it_is() {
    let mut rig = Rig::start(set_up());
    let line = rig.connect();
    rig.run(10);
    let said = ask(&mut rig, &line, Request::Hello, |reply| match reply {
        Reply::Hello(hello) => (hello.leg.to_owned(), hello.serial.to_owned(), hello.plan, hello.session),
        other => panic!("{other:?}"),
    });
    let settings = settings();
    assert_eq!(said, (settings.machine.leg.as_bytes().to_vec(), "BENCH-1".to_owned(), plan(&settings).identity(), 1));
    let faults = ask(&mut rig, &line, Request::Box, |reply| match reply {
        Reply::Box(status) => Faults::from_bits(status.faults),
        other => panic!("{other:?}"),
    });
    assert!(faults.contains(Fault::StateUnreadable));
}

#[test]
fn settings_go_in_and_come_out_again() {
    let mut rig = Rig::start(Chip::new(128));
    let line = rig.connect();
    rig.run(1_500);
    let mut settings = settings();
    assert_eq!(write_settings(&mut rig, &line, &settings), Some(Reason::KeyOff));
    rig.panel.key.set(true);
    rig.run(50);
    assert_eq!(write_settings(&mut rig, &line, &settings), None);
    assert_eq!(rig.sensor_box.settings_identity(), Some(plan(&settings).identity()));
    let mut read = Vec::new();
    loop {
        let request = Request::Read { window: Window::Plan, offset: read.len() as u32 };
        let piece = ask(&mut rig, &line, request, |reply| match reply {
            Reply::Piece { bytes, .. } => bytes.to_vec(),
            other => panic!("{other:?}"),
        });
        if piece.is_empty() {
            break;
        }
        read.extend(piece);
    }
    assert_eq!(read, plan(&settings).bytes());
    // Another leg's settings are not for this box.
    settings.machine.leg = "Millbrook leg 4".try_into().expect("short");
    assert_eq!(write_settings(&mut rig, &line, &settings), Some(Reason::OtherLeg));
}

#[test]
fn settings_do_not_go_into_a_leg_that_turns() {
    let (mut rig, line) = running();
    rig.panel.key.set(true);
    rig.run(50);
    let mut settings = settings();
    settings.machine.service_factor = Ppm::new(1_100_000);
    assert_eq!(write_settings(&mut rig, &line, &settings), Some(Reason::LegTurns));
    assert!(rig.panel.may_run() && rig.panel.may_feed());
}

#[test]
fn a_recording_is_fetched_piece_by_piece() {
    let (mut rig, line) = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    let info = ask(&mut rig, &line, Request::Recording { position: 0 }, |reply| match reply {
        Reply::Recording(info) => info,
        other => panic!("{other:?}"),
    });
    assert_eq!(ask(&mut rig, &line, Request::Recording { position: 1 }, refused), Some(Reason::NoSuchRecording));
    let mut bytes = Vec::new();
    while bytes.len() < info.length as usize {
        let request = Request::Read { window: Window::Recording(info.number), offset: bytes.len() as u32 };
        bytes.extend(ask(&mut rig, &line, request, |reply| match reply {
            Reply::Piece { bytes, .. } => bytes.to_vec(),
            other => panic!("{other:?}"),
        }));
    }
    let mut segments = slackside::record::Reader::new(&bytes);
    assert!(segments.all(|(segment, damage)| damage.is_none() && segment.is_some_and(|segment| segment.end.is_some())));
}

/// Everything that could give a permit back, tried by the link with the key on and off, after a trip.
#[test]
fn nothing_by_the_link_gives_a_permit_back() {
    let (mut rig, line) = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    assert_eq!(rig.phase(), Phase::Standstill);
    let commands = [
        Command::Acknowledge,
        Command::BootCleared,
        Command::Reset,
        Command::ResetButton(true),
        Command::ResetButton(false),
        Command::Key(true),
        Command::Inch(true),
        Command::EndBypass,
        Command::Bypass(slackside::conditions::Condition::SlipHigh, slackside::units::Span::from_millis(1_000)),
    ];
    for key in [false, true] {
        rig.panel.key.set(key);
        rig.run(50);
        for command in commands {
            let reason = ask(&mut rig, &line, Request::Command(command), refused);
            assert_eq!(reason.is_none(), command == Command::Acknowledge, "{command:?}");
            rig.run(300);
            assert!(!rig.panel.may_run(), "{command:?}");
        }
    }
}

#[test]
fn a_flood_changes_no_permit_no_verdict_and_no_heartbeat() {
    let run = |flood: bool| {
        let (mut rig, line) = running();
        rig.changes.clear();
        let (begun, beats) = (rig.now, rig.panel.heartbeat.writes());
        let mut seed = 1_u32;
        for millis in 0..3_000_u32 {
            if flood {
                // As much as fits: noise, half frames, and whole requests that are refused or change nothing.
                for _ in 0..64 {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    line.put(&[(seed >> 24) as u8]);
                }
                let mut frame = [0; MOST_FRAME];
                let request = if millis % 2 == 0 { Request::Status } else { Request::Command(Command::Reset) };
                line.put(encode(1, &request, &mut frame).expect("it fits"));
                drop(line.take());
            }
            if millis == 1_000 {
                rig.turn(Shaft::Boot, 0);
            }
            rig.run(1);
        }
        let changes: Vec<_> = rig.changes.iter().map(|(at, change)| (at - begun, *change)).collect();
        assert!(rig.sensor_box.faults().is_empty());
        (changes, rig.panel.heartbeat.writes() - beats, rig.panel.may_run())
    };
    let (quiet, flooded) = (run(false), run(true));
    assert!(quiet.0.len() > 3, "it tripped meanwhile");
    assert_eq!(quiet, flooded);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever comes in, the next whole request is answered.
    #[test]
    fn no_noise_stalls_the_link(noise in prop::collection::vec(any::<u8>(), 0..900)) {
        let mut rig = Rig::start(set_up());
        let line = rig.connect();
        rig.run(5);
        line.put(&noise);
        line.put(&[0]);
        rig.run(100);
        drop(line.take());
        let answered = ask(&mut rig, &line, Request::Hello, |reply| matches!(reply, Reply::Hello(_)));
        prop_assert!(answered);
    }
}
