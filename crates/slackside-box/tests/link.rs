//! The link at the whole box: what it brings, what it may not do, and that no flood of it changes a permit.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod desk;
mod rig;

use desk::{ask, refused, write_settings};
use proptest::prelude::*;
use rig::{Rig, plan, set_up, settings};
use slackside::alarm::AlarmState;
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::record::Record;
use slackside::units::Ppm;
use slackside::verdict::{Change, Phase, Refusal};
use slackside::wire::{CHUNK, MOST_FRAME, ProofTests, Reason, Reply, Request, Window, encode};
use slackside_box::bench::{Line, every_request, kinds_missing};
use slackside_box::fault::{Fault, Faults};

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

/// The answer that a desk prints for the file.
#[test]
fn a_box_says_by_the_link_when_its_stop_was_proven() {
    let mut rig = Rig::start(set_up());
    let line = rig.connect();
    rig.run(10);
    let request = Request::Read { window: Window::ProofTests, offset: 0 };
    let said = ask(&mut rig, &line, request, |reply| match reply {
        Reply::Piece { offset: 0, bytes } => bytes.first_chunk::<8>().copied(),
        other => panic!("{other:?}"),
    });
    let said = ProofTests::from_bytes(said.expect("as many bytes as are agreed"));
    assert_eq!(said, rig.sensor_box.proof_tests());
    assert_eq!((said.passed_min, said.every_days), (None, 366));
}

#[test]
fn settings_go_in_and_come_out_again() {
    let mut rig = Rig::start(rig::new_box());
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
            assert!(reason.is_some() || command == Command::Acknowledge, "{command:?}");
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

/// What is flooded with below is all there is: the protocol itself is asked.
#[test]
fn no_kind_of_request_is_missing_from_the_floods() {
    let plan = plan(&settings());
    let all = every_request(plan.bytes());
    assert_eq!(kinds_missing(&all), Vec::<String>::new());
    // And each one that is left out is missed, but for those that are there twice.
    for left_out in 0..all.len() {
        let mut fewer = all.clone();
        let gone = fewer.remove(left_out);
        let twice = matches!(
            gone,
            Request::Command(Command::ResetButton(_) | Command::Key(_) | Command::Inch(_) | Command::ProofTest(_))
        );
        assert_eq!(kinds_missing(&fewer).len(), usize::from(!twice), "{gone:?}");
    }
}

/// Every kind of request, every window from its beginning to its end: four bytes of the key after one another are in no answer. The leg's name
/// is, so the look can find what is there.
#[test]
fn nothing_that_the_link_answers_shows_the_key() {
    // No words that a box may say by chance.
    let key: [u8; 16] = core::array::from_fn(|at| 0x9D ^ (at as u8).wrapping_mul(0x3B));
    let mut rig = Rig::start(Rig::set_up(&key, &plan(&settings())));
    let line = rig.connect();
    rig.make_ready();
    rig.run_up();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    let number = rig.sensor_box.recordings().last().expect("the trip is filed").number;
    let plan = plan(&settings());
    let mut requests = every_request(plan.bytes());
    for window in [Window::Plan, Window::ProofTests, Window::Days, Window::Today, Window::Recording(number)] {
        // Far beyond the end, where the key would lie were flash read on.
        requests.extend((0..256).map(|piece| Request::Read { window, offset: piece * CHUNK as u32 }));
    }
    requests.extend([1 << 16, 1 << 31, u32::MAX].map(|offset| Request::Read { window: Window::Plan, offset }));
    let mut said = Vec::new();
    for request in requests {
        let mut frame = [0; MOST_FRAME];
        line.put(encode(9, &request, &mut frame).expect("it fits"));
        rig.run(30);
        said.extend(line.take());
    }
    let shows = |what: &[u8]| what.windows(4).any(|part| said.windows(4).any(|seen| seen == part));
    assert!(shows(b"Millbrook"));
    assert!(!shows(&key));
}

/// What a recording holds besides anchors: the inputs with their times, as the replay sees them.
fn recorded(rig: &mut Rig) -> (Vec<Input>, usize, usize) {
    let number = rig.sensor_box.recordings().last().expect("the trip is filed").number;
    let (mut bytes, mut buffer) = (Vec::new(), [0; 256]);
    loop {
        let count = rig.sensor_box.read_recording(number, bytes.len() as u32, &mut buffer).expect("readable");
        if count == 0 {
            break;
        }
        bytes.extend_from_slice(&buffer[..count]);
    }
    let (mut inputs, mut anchors, mut segments) = (Vec::new(), 0, 0);
    for (segment, damage) in slackside::record::Reader::new(&bytes) {
        assert_eq!(damage, None);
        segments += 1;
        for record in segment.expect("whole").records() {
            match record {
                Record::Input(input) => inputs.push(input),
                Record::Anchor(_) => anchors += 1,
                _ => {}
            }
        }
    }
    (inputs, anchors, segments)
}

/// As many requests of every kind as the line carries, before a trip and after it: recording and log are those of a quiet run.
#[test]
fn a_flood_of_every_request_kind_washes_no_evidence_away() {
    let plan = plan(&settings());
    let run = |flood: bool| {
        let (mut rig, line) = running();
        rig.changes.clear();
        let kinds = every_request(plan.bytes());
        let begun = rig.now;
        let log = rig.sensor_box.verdicts().newest();
        for millis in 0..100_000_usize {
            if flood {
                for turn in 0..2 {
                    let mut frame = [0; MOST_FRAME];
                    line.put(encode(1, &kinds[(2 * millis + turn) % kinds.len()], &mut frame).expect("it fits"));
                }
                drop(line.take());
            }
            if millis == 60_000 {
                rig.turn(Shaft::Boot, 0);
            }
            if millis == 63_000 {
                rig.turn(Shaft::Head, 0);
            }
            rig.run(1);
        }
        drop(line);
        rig.link = None;
        let changes: Vec<_> = rig.changes.iter().map(|(at, change)| (at - begun, *change)).collect();
        let told = rig.sensor_box.verdicts().newest() - log;
        let (inputs, anchors, segments) = recorded(&mut rig);
        (changes, told, inputs, anchors, segments, rig.panel.heartbeat.writes())
    };
    let (quiet, flooded) = (run(false), run(true));
    // An acknowledgement is taken once there is something to acknowledge: a command more, and what it does.
    let is_acknowledged = |change: &Change| {
        matches!(change, Change::Accepted(Origin::Link, Command::Acknowledge))
            || matches!(change, Change::Alarm { to: AlarmState::Acknowledged | AlarmState::LatchedAcknowledged, .. })
    };
    let of_leg = |changes: &[(u64, Change)]| {
        let kept = changes.iter().filter(|(_, change)| !is_acknowledged(change));
        kept.map(|(at, change)| (*at, std::mem::discriminant(change))).collect::<Vec<_>>()
    };
    assert!(quiet.0.len() > 3, "it tripped meanwhile");
    assert!(of_leg(&flooded.0).starts_with(&of_leg(&quiet.0)[..4]), "{:?}\n{:?}", quiet.0, flooded.0);
    assert!(flooded.1 <= quiet.1 + 16, "{} verdicts instead of {}", flooded.1, quiet.1);
    let by_link = |input: &&Input| matches!(input.signal, Signal::Command(Origin::Link, _));
    let commands = flooded.2.iter().filter(by_link).count();
    println!(
        "{} inputs recorded, {commands} of them by the link; {} anchors in {} segments",
        flooded.2.len(),
        flooded.3,
        flooded.4
    );
    assert!(commands <= 8);
    let without: Vec<_> = flooded.2.iter().filter(|input| !by_link(input)).collect();
    assert!(without.into_iter().eq(quiet.2.iter()), "every other input is recorded, and nothing else");
    assert!(flooded.3 <= flooded.4, "one anchor a segment");
    assert_eq!(quiet.5, flooded.5, "the heart beats on");
}

/// Whatever happens on the leg: a box answers, and says nothing of itself.
#[test]
fn a_box_never_speaks_unasked() {
    let (mut rig, line) = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    rig.clear_up();
    assert_eq!(line.take(), []);
}

/// However many come. And none of them is lost: what is not answered yet waits in the line.
#[test]
fn two_hundred_requests_a_second_are_answered_at_the_most() {
    let (mut rig, line) = running();
    let (mut answers, seconds) = (0, 5);
    for _ in 0..seconds * 1_000 {
        for _ in 0..2 {
            let mut frame = [0; MOST_FRAME];
            line.put(encode(1, &Request::Challenge, &mut frame).expect("it fits"));
        }
        rig.run(1);
        // A frame ends with a zero, and has none within.
        answers += line.take().iter().filter(|byte| **byte == 0).count();
    }
    assert!((190 * seconds..=200 * seconds + 1).contains(&answers), "{answers} in {seconds} s");
}

#[test]
fn what_is_refused_is_counted_with_its_first_and_last_time() {
    let (mut rig, line) = running();
    let log = rig.sensor_box.verdicts().newest();
    let tally = |rig: &mut Rig| {
        ask(rig, &line, Request::Box, |reply| match reply {
            Reply::Box(status) => status.refused,
            other => panic!("{other:?}"),
        })
    };
    assert_eq!(tally(&mut rig).count, 0);
    let refused_at = rig.now;
    for (command, why) in [
        (Command::Acknowledge, Reason::Monitor(Refusal::NothingToDo)),
        (Command::Reset, Reason::OnlyAtTheLeg),
        (Command::ProofTest(true), Reason::KeyOff),
    ] {
        assert_eq!(ask(&mut rig, &line, Request::Command(command), refused), Some(why));
        rig.run(2_000);
    }
    let found = tally(&mut rig);
    assert_eq!(found.count, 3);
    assert!(found.first.get() - refused_at < 10_000 && found.last.get() - found.first.get() >= 4_000_000, "{found:?}");
    assert_eq!(rig.sensor_box.verdicts().newest(), log, "the log knows nothing of it");
}

#[test]
fn commands_by_the_link_are_taken_four_at_once_and_then_seldom() {
    let (mut rig, line) = running();
    rig.panel.key.set(true);
    rig.run(50);
    let mut taken = Vec::new();
    for test in 0..40 {
        let request = Request::Command(Command::ProofTest(taken.len() % 2 == 0));
        if ask(&mut rig, &line, request, refused).is_none() {
            taken.push(test);
        }
        rig.run(500);
    }
    assert!(taken.len() >= 4 && taken.len() <= 6, "{taken:?}");
}

#[test]
fn a_key_left_on_for_a_quarter_of_an_hour_is_told() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.panel.key.set(true);
    rig.run(899_000);
    assert!(rig.sensor_box.faults().is_empty());
    rig.run(2_000);
    assert!(rig.sensor_box.faults().contains(Fault::KeyLeftOn));
    assert!(!rig.panel.alarm.get() && rig.panel.may_run(), "an alarm, no stop");
    rig.panel.key.set(false);
    rig.run(100);
    assert!(rig.sensor_box.faults().is_empty());
    // While it is used it is not left on.
    rig.panel.key.set(true);
    rig.run(100);
    let bypass =
        Command::Bypass(slackside::conditions::Condition::SlipHigh, slackside::units::Span::from_millis(600_000));
    assert!(rig.sensor_box.command(Origin::Leg, bypass));
    rig.run(1_400_000);
    assert!(rig.sensor_box.faults().is_empty());
    rig.run(110_000);
    assert!(rig.sensor_box.faults().contains(Fault::KeyLeftOn), "a quarter of an hour after the bypass has ended");
}

/// Inching needs the key: for as long as somebody inches it is not left on.
#[test]
fn a_key_that_inching_needs_is_not_left_on() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.panel.key.set(true);
    rig.run(100);
    // Somebody inches, looks until the leg is known to stand, and inches again.
    for _ in 0..30 {
        rig.panel.inching.set(true);
        rig.run(20_000);
        assert_eq!(rig.phase(), Phase::Inching);
        rig.panel.inching.set(false);
        rig.run(12_000);
        assert!(rig.sensor_box.faults().is_empty(), "{:?}", rig.sensor_box.faults().iter().collect::<Vec<_>>());
    }
    rig.run(880_000);
    assert!(rig.sensor_box.faults().is_empty());
    rig.run(15_000);
    assert!(rig.sensor_box.faults().contains(Fault::KeyLeftOn), "a quarter of an hour after the last of it");
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
