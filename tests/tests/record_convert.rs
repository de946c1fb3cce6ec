//! Recordings at the desk: files, traces and back, replay to the last bit, what-if, and old versions.

use slackside::conditions::{Action, Condition};
use slackside::input::{Command, Input, Origin, Signal};
use slackside::record::{Anchor, CoreVersion, Recorder, SLOTS, STATE_LAYOUT};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::units::{Micros, Span};
use slackside::verdict::{Change, Permit, Verdict};
use slackside_desk::crew::Alone;
use slackside_desk::monitor::{Monitor, monitor, plan_of};
use slackside_desk::recording::{
    About, Divergence, Kind, MadeUnder, Prepared, Recording, Source, from_csv, kind_of, prove, record, to_csv, what_if,
};
use slackside_desk::replay::{Job, replay, replay_from};
use slackside_desk::trace;
use slackside_simulator::convert::convert;
use slackside_tests::session::{at, merge};
use slackside_tests::wheels::{Wheel, Wheels};

fn example() -> Checked {
    Settings::example().check().expect("sound")
}

/// A leg that starts, runs for two minutes, and whose belt then slips more and more.
fn slipping_leg() -> Vec<Input> {
    let speed = |time: f64| if time < 2.0 { 0.0 } else { 1.31 * ((time - 2.0) / 4.0).min(1.0) };
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(4, 0.02, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(4, 0.02, 2).jittered(5.0)),
        ratio: f64::from(example().ratio().get()) * 1e-6,
        head_speed: &speed,
        slip: &|time| if time > 120.0 { ((time - 120.0) * 0.01).min(0.4) } else { 0.004 },
        begin_us: 1_000_000,
        seed: 3,
    };
    let people = [
        at(1_000_000, 0.2, Signal::Command(Origin::Leg, Command::Acknowledge)),
        at(1_000_000, 0.5, Signal::Command(Origin::Leg, Command::Reset)),
        at(1_000_000, 1.9, Signal::DriveRunning(true)),
    ];
    merge(&[&wheels.edges(160.0), &people])
}

/// What a box keeps of it when it trips: a ring that has turned, held and fetched. With every verdict it gave.
fn fetched() -> (Recording, Vec<Verdict>) {
    let settings = example();
    let mut memory = vec![0; SLOTS * 1_600];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::new());
    recorder.configure(&mut monitor, plan_of(&settings), &Retained::default(), 12).expect("room");
    let anchor = Anchor { at: Micros::new(500), desk_us: 1_700_000_000_000_000, uncertainty: Span::new(1_500) };
    recorder.anchor(anchor);
    let mut verdicts = Vec::new();
    for input in slipping_leg() {
        recorder.observe(&mut monitor, input, &mut |verdict| verdicts.push(*verdict));
    }
    assert!(!monitor.status().run_permit, "it tripped");
    let segments: Vec<u8> = recorder.held().flat_map(|held| held.bytes.to_vec()).collect();
    let about = About {
        source: Source::Box,
        serial: "SN-0042".to_owned(),
        firmware: "0.1.0".to_owned(),
        // Each segment says it.
        anchor: None,
        segments: 0,
    };
    (Recording::new("fetched.slk", about, MadeUnder::of(&settings), segments), verdicts)
}

#[test]
fn the_desk_reproduces_the_trip_to_the_last_bit() {
    let (recording, in_the_box) = fetched();
    assert!(recording.parts[0].header.sequence > 0, "the ring had turned: the beginning is a keyframe, not power-up");
    let again = Recording::from_bytes("again.slk", &recording.to_bytes().expect("small")).expect("whole");
    assert!(again.damage.is_empty(), "{:?}", again.damage);
    assert_eq!((&again.parts, &again.made_under), (&recording.parts, &recording.made_under));
    let settings = again.settings().expect("sound").expect("it came with its settings");
    assert_eq!(settings, example());
    let run = again.runs().last().expect("a run");
    let proof = prove(run, &plan_of(&settings));
    assert_eq!((proof.agreed, proof.disagreed, proof.open, proof.no_claim), (run.len(), None, 0, None));
    assert!(!proof.verdicts.is_empty());
    let end = run.last().and_then(|part| part.end).expect("an end").newest;
    let heard: Vec<_> = in_the_box.into_iter().filter(|it| run[0].header.at < it.at && it.at <= end).collect();
    assert_eq!(proof.verdicts, heard);
}

/// A replay of it, with nothing written.
fn job<'a>(prepared: &Prepared, settings: &'a Checked) -> Job<'a> {
    Job::new(prepared.reader().expect("a trace"), settings, "leg")
}

#[test]
fn the_replay_driver_begins_where_the_box_was() {
    let (recording, _) = fetched();
    let settings = example();
    let prepared = Prepared::new(&recording, &settings);
    assert!(prepared.origin.iter().any(|note| note.starts_with("Bit for bit the same")), "{:?}", prepared.origin);
    assert!(prepared.cautions.is_empty() && prepared.notes.is_empty(), "{:?} {:?}", prepared.cautions, prepared.notes);
    let job = || job(&prepared, &settings);
    let outcome = replay_from(job(), prepared.monitor(), &Alone).expect("replayed");
    // 2023-11-14 22:13:20 UTC is 1,700,000,000 s after the epoch.
    let begins = outcome.clock().at(outcome.first());
    assert!(begins.starts_with("2023-11-14 22:1"), "{begins}");
    let fresh = replay(job()).expect("replayed");
    let first_outs = |outcome: &slackside_desk::replay::Outcome| {
        outcome.first_outs.iter().map(|first_out| (first_out.at, first_out.condition)).collect::<Vec<_>>()
    };
    let proof = prove(recording.runs().last().expect("a run"), &plan_of(&settings));
    let expected: Vec<_> = proof
        .verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::FirstOut(Some(condition)) => Some((verdict.at, condition)),
            _ => None,
        })
        .collect();
    assert!(!expected.is_empty());
    assert_eq!(first_outs(&outcome), expected);
    let dropped = proof.verdicts.iter().find_map(|verdict| {
        let is = matches!(verdict.change, Change::Permit { permit: Permit::Run, allowed: false, .. });
        is.then_some(verdict.at)
    });
    assert_eq!((outcome.run_dropped, outcome.run_dropped.is_some()), (dropped, true));
    // From power-up the same inputs make another story: slip is not known before the windows are full.
    assert_ne!(format!("{:?}", fresh.raised), format!("{:?}", outcome.raised));
}

#[test]
fn another_core_is_told_and_nothing_is_claimed() {
    let (mut recording, _) = fetched();
    for part in &mut recording.parts {
        part.header.core.minor += 1;
    }
    let settings = example();
    let prepared = Prepared::new(&recording, &settings);
    assert!(prepared.notes.iter().any(|note| note.starts_with("Nothing is claimed")), "{:?}", prepared.notes);
}

#[test]
fn a_changed_input_is_found_out() {
    let (mut recording, _) = fetched();
    let part = &mut recording.parts[1];
    let sequence = part.header.sequence;
    let edge = part.records.iter_mut().rev().find_map(|record| match record {
        slackside::record::Record::Input(input) if matches!(input.signal, Signal::Edge(_, true)) => Some(input),
        _ => None,
    });
    let edge = edge.expect("an edge");
    edge.at = Micros::new(edge.at.get() + 1);
    let proof = prove(recording.runs().last().expect("a run"), &plan_of(&example()));
    assert_eq!(proof.disagreed.map(|(sequence, _)| sequence), Some(sequence));
    assert!(proof.to_string().contains("DISAGREES"));
}

#[test]
fn what_if_is_known_only_up_to_where_the_permits_part() {
    let (recording, _) = fetched();
    let settings = example();
    let run = recording.runs().last().expect("a run");
    let proof = prove(run, &plan_of(&settings));
    let dropped = proof
        .verdicts
        .iter()
        .find(|verdict| matches!(verdict.change, Change::Permit { permit: Permit::Run, allowed: false, .. }));
    let dropped = dropped.expect("it tripped").at;
    // A tighter limit on slip would have stopped the leg sooner.
    let mut tighter = Settings::example();
    tighter.limits.change(Condition::SlipVeryHigh, |limit| limit.setpoint = 90_000);
    let tighter = tighter.check().expect("sound");
    let (divergence, _) = what_if(run, &plan_of(&settings), &plan_of(&tighter), &proof);
    let Divergence::At { from, at, permit: Permit::Run, allowed: false } = divergence else {
        panic!("{divergence:?}, dropped at {dropped:?}")
    };
    assert!(from < at && at < dropped, "{divergence:?}, dropped at {dropped:?}");
    assert!(divergence.to_string().contains("NOT KNOWN"));
    let prepared = Prepared::new(&recording, &tighter);
    assert!(prepared.notes.iter().any(|note| note.contains("What if")), "{:?}", prepared.notes);
    let both = [plan_of(&settings).identity(), plan_of(&tighter).identity()].map(|identity| format!("{identity:08X}"));
    let warned = prepared.cautions.iter().any(|caution| both.iter().all(|identity| caution.contains(identity)));
    assert!(warned, "{:?}", prepared.cautions);
}

#[test]
fn a_recording_becomes_a_trace_and_the_same_recording_again() {
    let (recording, _) = fetched();
    let csv = to_csv(&recording).expect("whole");
    assert_eq!(kind_of(&csv), Kind::RecordingAsTrace);
    let again = from_csv("again.csv", csv.clone()).expect("as written");
    assert_eq!(again.to_bytes().expect("small"), recording.to_bytes().expect("small"));
    // Any program that reads traces reads it too.
    let mut reader = trace::Reader::from_read("plain", std::io::Cursor::new(csv)).expect("a trace");
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch).expect("rows") {
        all.append(&mut batch);
    }
    assert_eq!(all, recording.parts.iter().flat_map(|part| part.inputs()).collect::<Vec<_>>());
}

#[test]
fn a_trace_becomes_a_recording_and_the_same_rows_again() {
    let settings = example();
    let inputs = slipping_leg();
    let recording = record("trace.csv", &settings, inputs.iter().copied()).expect("room");
    let file = recording.to_bytes().expect("small");
    assert_eq!(kind_of(&file), Kind::Recording);
    let again = Recording::from_bytes("again.slk", &file).expect("whole");
    assert_eq!(again.parts.iter().flat_map(|part| part.inputs()).collect::<Vec<_>>(), inputs);
    let proof = prove(again.runs().last().expect("a run"), &plan_of(&settings));
    assert_eq!((proof.agreed, proof.disagreed), (again.parts.len(), None));
}

#[test]
fn damage_is_told_and_what_is_confirmed_is_kept() {
    let (recording, _) = fetched();
    let file = recording.to_bytes().expect("small");
    let inputs = |recording: &Recording| recording.parts.iter().flat_map(|part| part.inputs()).collect::<Vec<_>>();
    let whole = inputs(&recording);
    for length in (1..file.len()).step_by(37) {
        match Recording::from_bytes("cut.slk", &file[..length]) {
            Ok(cut) => {
                assert!(!cut.damage.is_empty(), "length {length}");
                let kept = inputs(&cut);
                assert_eq!(kept, whole[..kept.len()], "length {length}");
            }
            Err(error) => assert!(length < 2_500, "length {length}: {error:#}"),
        }
    }
    let mut shorter = recording.clone();
    shorter.parts.pop();
    assert_ne!(shorter.parts.len(), recording.parts.len());
    // Damaged recordings convert there and back with what is left.
    let cut = Recording::from_bytes("cut.slk", &file[..file.len() - 700]).expect("something");
    let again = from_csv("cut.csv", to_csv(&cut).expect("written")).expect("as written");
    assert_eq!(again.parts, cut.parts);
    for bit in (0..file.len() * 8).step_by(101) {
        let mut flipped = file.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        if let Ok(flipped) = Recording::from_bytes("flipped.slk", &flipped) {
            assert!(!flipped.damage.is_empty(), "bit {bit}");
        }
    }
}

#[test]
fn a_damaged_recording_never_says_that_there_was_no_stop() {
    let (recording, _) = fetched();
    let file = recording.to_bytes().expect("small");
    let settings = example();
    let story = |recording: &Recording| {
        let prepared = Prepared::new(recording, &settings);
        let job = job(&prepared, &settings);
        let mut outcome = replay_from(job, prepared.monitor(), &Alone).expect("replayed");
        prepared.mark(&mut outcome);
        slackside_desk::report::words(&outcome, &[])
    };
    assert!(story(&recording).contains("STOPPED"));
    // Cut off before the trip.
    let cut = Recording::from_bytes("cut.slk", &file[..file.len() / 4]).expect("something is left");
    assert!(!cut.damage.is_empty());
    let told = story(&cut);
    assert!(!told.contains("NO STOP") && !told.contains("STOPPED"), "{told}");
    assert!(told.contains("PART OF THE RECORDING IS DAMAGED, A STOP MAY BE MISSING"), "{told}");
    assert!(told.contains("that could be read"), "{told}");
}

#[test]
fn files_convert_by_their_content_and_appear_whole_or_not_at_all() {
    let directory = std::env::temp_dir().join(format!("slackside-convert-{}", std::process::id()));
    std::fs::create_dir_all(&directory).expect("a directory");
    let path = |name: &str| directory.join(name);
    let (recording, _) = fetched();
    std::fs::write(path("a.dat"), recording.to_bytes().expect("small")).expect("written");
    convert(&path("a.dat"), &path("b.dat"), None).expect("to a trace");
    convert(&path("b.dat"), &path("c.dat"), None).expect("back");
    assert_eq!(std::fs::read(path("a.dat")).expect("there"), std::fs::read(path("c.dat")).expect("there"));
    let plain = "time_us,channel,value\n1000,head,1\n2000,head,0\n3000,boot,1\n4000,boot,0\n5000,tick,0\n";
    std::fs::write(path("plain.csv"), plain).expect("written");
    let refused = convert(&path("plain.csv"), &path("d.dat"), None).expect_err("no settings");
    assert!(refused.to_string().contains("--settings"), "{refused}");
    assert!(!path("d.dat").exists());
    convert(&path("plain.csv"), &path("d.dat"), Some(&example())).expect("a recording");
    convert(&path("d.dat"), &path("e.csv"), None).expect("a trace");
    let rows: String = std::fs::read_to_string(path("e.csv"))
        .expect("there")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| format!("{line}\n"))
        .collect();
    assert_eq!(rows, plain, "ticks included");
    assert!(convert(&path("d.dat"), &path("d.dat"), None).is_err(), "never over itself");
    std::fs::remove_dir_all(&directory).expect("removed");
}

/// A file of version 1 as it was first written. It stays readable for good: its inputs, whatever becomes of keyframes.
#[test]
fn a_file_of_version_1_stays_readable() {
    let recording = Recording::from_bytes("version 1", include_bytes!("../golden/recording-1.slk")).expect("readable");
    assert!(recording.damage.is_empty(), "{:?}", recording.damage);
    assert_eq!(recording.about, About { source: Source::Trace, segments: 1, ..About::default() });
    let inputs: Vec<Input> = recording.parts.iter().flat_map(|part| part.inputs()).collect();
    assert_eq!(inputs, golden_inputs());
    // The settings came with it; its keyframe is of another core, so nothing is claimed.
    let settings = recording.settings().expect("readable").expect("they came with it");
    // Then no motion stopped without a delay, slip below zero dropped no feed, and two starting values were others.
    let mut then = Settings::example();
    then.machine.conditioning.rejects_a_turn = 16;
    then.limits.change(Condition::DeepUnderspeed, |limit| limit.setpoint = 150_000);
    then.limits.change(Condition::NoMotion, |limit| limit.on_delay = Span::ZERO);
    then.limits.change(Condition::SlipNegative, |limit| limit.action = Action::Alarm);
    assert_eq!(settings, then.check().expect("sound"));
    assert_eq!(recording.parts[0].header.plan, settings.image_identity());
    let notes = Prepared::new(&recording, &settings).notes;
    assert!(notes.iter().any(|note| note.starts_with("Nothing is claimed")), "{notes:?}");
    // But what was seen then is judged today as if it were seen today.
    let prepared = Prepared::new(&recording, &settings);
    let story = replay_from(job(&prepared, &settings), prepared.monitor(), &Alone).expect("replayed");
    assert_eq!(story.verdicts, slackside_tests::session::verdicts(&settings, &inputs));
    assert!(story.verdicts.len() > 1, "{:?}", story.verdicts);
}

fn golden_inputs() -> Vec<Input> {
    let mut inputs = slipping_leg();
    inputs.truncate(40);
    inputs.push(Input::new(Micros::new(9_000_000), Signal::Tick));
    inputs
}

/// The layout of the keyframe is what a freshly configured monitor's says. It changes when a part of the state is added, left out or
/// moved; then the number has to be raised, so that no keyframe is read by a core that would misread it.
#[test]
fn the_layout_of_the_keyframe_has_not_changed_unnoticed() {
    assert_eq!(CoreVersion::THIS.layout, STATE_LAYOUT);
    assert_eq!(
        (STATE_LAYOUT, fresh_keyframe()),
        LAYOUT,
        "the state that a keyframe holds has changed. Raise its layout: \
         `cargo test -p slackside-tests --test record_convert raise_the_layout -- --ignored`, and commit what that writes"
    );
}

/// Layout, and length and CRC of the keyframe of a monitor fresh under the example leg's settings.
const LAYOUT: (u8, (usize, u32)) = (9, (34, 1_554_082_280));

fn fresh_keyframe() -> (usize, u32) {
    let monitor = monitor(&example(), &Retained::default());
    (monitor.keyframe_length(), monitor.state_crc())
}

/// Raises the layout in the core, and sets the figures here.
#[test]
#[ignore = "writes into the sources"]
fn raise_the_layout() {
    let (length, crc) = fresh_keyframe();
    if LAYOUT == (STATE_LAYOUT, (length, crc)) {
        return;
    }
    let here = env!("CARGO_MANIFEST_DIR");
    let raised = STATE_LAYOUT.checked_add(1).expect("below 255");
    set_line(
        &format!("{here}/../crates/slackside/src/record/header.rs"),
        "pub const STATE_LAYOUT: u8 = ",
        &format!("{raised};"),
    );
    let digits = crc.to_string();
    let grouped: Vec<_> = digits.as_bytes().rchunks(3).rev().map(String::from_utf8_lossy).collect();
    set_line(
        &format!("{here}/tests/record_convert.rs"),
        "const LAYOUT: (u8, (usize, u32)) = ",
        &format!("({raised}, ({length}, {}));", grouped.join("_")),
    );
}

/// Put `value` behind `begin` on the one line of a file that begins so.
fn set_line(path: &str, begin: &str, value: &str) {
    let text = std::fs::read_to_string(path).expect("a source file");
    assert_eq!(text.lines().filter(|line| line.starts_with(begin)).count(), 1, "{path}: {begin:?}");
    let lines: String = text
        .lines()
        .map(|line| if line.starts_with(begin) { format!("{begin}{value}\n") } else { format!("{line}\n") })
        .collect();
    std::fs::write(path, lines).expect("written");
}

/// Writes the golden file anew: only for a new version, beside the old one.
#[test]
#[ignore = "writes a file"]
fn write_the_golden_file() {
    let recording = record("golden", &example(), golden_inputs()).expect("room");
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/golden/recording-2.slk");
    std::fs::write(path, recording.to_bytes().expect("small")).expect("written");
}
