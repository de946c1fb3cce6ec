//! Recordings: what goes in comes out, restores, and replays to the same verdicts and the same state.
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

use std::sync::Arc;

use leg::{BEGIN_US, Random, example, plan, plan_of, sound};
use proptest::prelude::*;
use slackside::input::{Command, ContactState, Input, Origin, Place, Shaft, Signal};
use slackside::record::{
    AFTER_TRIP, BEFORE_TRIP, Damage, Header, Opening, Reader, Record, Recorder, SLOTS, Segment, SegmentWriter,
};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

type Monitor<const MARKS: usize = 64> = slackside::Monitor<Arc<Plan>, MARKS>;

fn fresh<const MARKS: usize>(plan: &Arc<Plan>) -> Box<Monitor<MARKS>> {
    let mut monitor = Box::new(Monitor::new());
    monitor.configure(sound(plan), &Retained::default()).expect("room");
    monitor
}

fn tripped(verdict: &Verdict) -> bool {
    matches!(verdict.change, Change::Permit { permit: Permit::Run, allowed: false, .. })
}

/// A leg that starts, runs, slips more and more, and stands; with rubs, power and people.
fn eventful(seed: u64) -> Vec<Input> {
    let speed = |time: f64| match time {
        ..2.0 => 0.0,
        2.0..6.0 => 1.31 * (time - 2.0) / 4.0,
        6.0..80.0 => 1.31 + 0.004 * (time * 0.7).sin(),
        80.0..88.0 => 1.31 * (88.0 - time) / 8.0,
        _ => 0.0,
    };
    let slip = |time: f64| if time > 50.0 { ((time - 50.0) * 0.01).min(0.2) } else { 0.004 };
    let others = [
        (0.0, Signal::DriveRunning(false)),
        (0.5, Signal::Command(Origin::Leg, Command::Acknowledge)),
        (1.0, Signal::Command(Origin::Leg, Command::Reset)),
        (2.0, Signal::DriveRunning(true)),
        (20.0, Signal::Contact(Place::HeadLeft, ContactState::Rubbing)),
        (20.1, Signal::Contact(Place::HeadLeft, ContactState::Clear)),
        (20.2, Signal::Contact(Place::HeadLeft, ContactState::Rubbing)),
        (21.0, Signal::Contact(Place::HeadLeft, ContactState::Clear)),
        (30.0, Signal::EdgesLost(Shaft::Boot)),
        (40.0, Signal::Contact(Place::BootRight, ContactState::Faulty)),
        (44.0, Signal::Contact(Place::BootRight, ContactState::Clear)),
        (45.0, Signal::Command(Origin::Link, Command::Acknowledge)),
        (80.0, Signal::DriveRunning(false)),
        (89.5, Signal::Command(Origin::Leg, Command::Acknowledge)),
    ];
    leg::leg(4, leg::ratio(&example()), &speed, &slip, 90.0, seed, &others)
}

/// Whole segments, each with its bytes.
fn segments(bytes: &[u8]) -> Vec<Segment<'_>> {
    Reader::new(bytes)
        .map(|(segment, damage)| {
            assert_eq!(damage, None);
            segment.expect("whole")
        })
        .collect()
}

fn inputs(segment: &Segment<'_>) -> Vec<Input> {
    let inputs = segment.records().filter_map(|record| match record {
        Record::Input(input) => Some(input),
        _ => None,
    });
    inputs.collect()
}

/// Record in segments of `slot` bytes without a ring; the recording and the verdicts on the way.
fn record(plan: &Arc<Plan>, all: &[Input], slot: usize) -> (Vec<u8>, Vec<Verdict>) {
    let mut monitor = fresh::<64>(plan);
    let mut opening = Opening::first(1);
    let mut memory = vec![0; slot];
    let mut recording = Vec::new();
    let mut verdicts = Vec::new();
    let mut newest = Micros::new(BEGIN_US);
    let mut writer = SegmentWriter::open(&mut memory, &opening, newest, &monitor).expect("room");
    for input in all {
        if !writer.has_room(&memory) {
            let length = writer.close(&mut memory, newest, monitor.state_crc());
            recording.extend(&memory[..length]);
            opening = opening.next();
            writer = SegmentWriter::open(&mut memory, &opening, newest, &monitor).expect("room");
        }
        writer.push(&mut memory, input).expect("room");
        newest = newest.max(input.at);
        monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
    }
    let length = writer.close(&mut memory, newest, monitor.state_crc());
    recording.extend(&memory[..length]);
    (recording, verdicts)
}

#[test]
fn every_segment_restores_and_goes_on_as_if_uninterrupted() {
    let plan = plan();
    let all = eventful(7);
    let (recording, verdicts) = record(&plan, &all, 1_200);
    let segments = segments(&recording);
    assert!(segments.len() > 3, "{}", segments.len());
    let back: Vec<Input> = segments.iter().flat_map(inputs).collect();
    assert_eq!(back, all);
    let mut monitor = Box::new(Monitor::<64>::new());
    for (index, segment) in segments.iter().enumerate() {
        assert_eq!(segment.header.sequence as usize, index);
        monitor.restore(sound(&plan), &segment.header, segment.keyframe).expect("its own keyframe");
        // What it keeps it keeps to the last bit, and so it goes on to the very end, not only of its own segment.
        let mut replayed = Vec::new();
        for input in segments[index..].iter().flat_map(inputs) {
            monitor.observe(input, &mut |verdict| replayed.push(*verdict));
        }
        let tail = &verdicts[verdicts.len() - replayed.len()..];
        assert_eq!(replayed, tail, "from segment {index}");
        let end = segments[segments.len() - 1].end.expect("an end");
        assert_eq!(monitor.state_crc(), end.state, "from segment {index}");
    }
}

#[test]
fn the_state_at_the_end_of_a_segment_tells_a_replay_that_disagrees() {
    let plan = plan();
    let all = eventful(8);
    let (recording, _) = record(&plan, &all, 1_200);
    let segment = segments(&recording)[1];
    let end = segment.end.expect("an end");
    let mut monitor = Box::new(Monitor::<64>::new());
    let mut run = |change: Option<usize>| {
        monitor.restore(sound(&plan), &segment.header, segment.keyframe).expect("its own keyframe");
        for (index, mut input) in inputs(&segment).into_iter().enumerate() {
            if change == Some(index) {
                input.at = Micros::new(input.at.get() + 1);
            }
            monitor.observe(input, &mut |_| {});
        }
        monitor.observe(Input::new(end.newest, Signal::Tick), &mut |_| {});
        monitor.state_crc()
    };
    assert_eq!(run(None), end.state);
    // One microsecond in the last turns of one edge that counts.
    let last = inputs(&segment).iter().rposition(|input| matches!(input.signal, Signal::Edge(_, true)));
    assert_ne!(run(last), end.state);
}

#[test]
fn other_settings_and_other_cores_are_told() {
    let plan = plan();
    let (recording, _) = record(&plan, &eventful(9), 1_200);
    let segment = segments(&recording)[0];
    let mut monitor = Box::new(Monitor::<64>::new());
    let mut other = example();
    other.limits.starts.window = slackside::units::Span::new(other.limits.starts.window.get() - 10_000_000);
    let other = plan_of(other);
    let error = monitor.restore(sound(&other), &segment.header, segment.keyframe).expect_err("other settings");
    assert!(error.to_string().contains("plan"), "{error}");
    let mut header: Header = segment.header;
    header.core.patch += 1;
    let error = monitor.restore(sound(&plan), &header, segment.keyframe).expect_err("another core");
    assert!(error.to_string().contains("core"), "{error}");
    let mut keyframe = segment.keyframe.to_vec();
    keyframe[5] ^= 1;
    let error = monitor.restore(sound(&plan), &segment.header, &keyframe).expect_err("damaged");
    assert!(error.to_string().contains("damaged"), "{error}");
    let mut small = Box::new(Monitor::<2>::new());
    assert!(small.restore(sound(&plan), &segment.header, segment.keyframe).is_err());
}

#[test]
fn a_monitor_of_another_size_reads_the_same_keyframe() {
    let plan = plan();
    let (recording, verdicts) = record(&plan, &eventful(10), 1_200);
    let segments = segments(&recording);
    let mut monitor = Box::new(Monitor::<8>::new());
    monitor.restore(sound(&plan), &segments[2].header, segments[2].keyframe).expect("room for eight marks");
    let mut replayed = Vec::new();
    for input in segments[2..].iter().flat_map(inputs) {
        monitor.observe(input, &mut |verdict| replayed.push(*verdict));
    }
    assert_eq!(replayed, &verdicts[verdicts.len() - replayed.len()..]);
}

#[test]
fn every_cut_is_told_and_what_is_before_it_stays() {
    let plan = plan();
    let all = eventful(11);
    let (recording, _) = record(&plan, &all[..640], 900);
    let whole = segments(&recording);
    let last = whole[whole.len() - 1].begins_at;
    assert!(last > 0);
    for length in last + 1..recording.len() {
        let mut found: Vec<_> = Reader::new(&recording[..length]).collect();
        let (segment, damage) = found.pop().expect("something is left");
        assert_eq!(found.len(), whole.len() - 1, "length {length}");
        assert!(found.iter().all(|(segment, damage)| segment.is_some_and(|it| it.end.is_some()) && damage.is_none()));
        assert!(damage.is_some(), "length {length}");
        if let Some(segment) = segment {
            assert_eq!(segment.end, None);
            let before = inputs(&segment);
            assert_eq!(before, inputs(&whole[whole.len() - 1])[..before.len()], "length {length}");
            assert!(length - segment.good_until < 600, "a check confirms at least every 512 bytes and a record");
        }
    }
}

#[test]
fn every_bit_flip_is_told_and_what_is_before_it_stays() {
    let plan = plan();
    let all = eventful(12);
    // A slow search through every bit: two segments, one of them long enough for a check in its middle.
    let (recording, _) = record(&plan, &all[300..1_000], 1_000);
    let whole = segments(&recording);
    assert!(whole.len() >= 2);
    let mut kept = 0;
    let mut flipped = recording.clone();
    for bit in 0..recording.len() * 8 {
        flipped[bit / 8] ^= 1 << (bit % 8);
        let found: Vec<_> = Reader::new(&flipped).collect();
        assert!(found.iter().any(|(_, damage)| damage.is_some()), "bit {bit}");
        for (segment, damage) in &found {
            let Some(segment) = segment else { continue };
            let original =
                whole.iter().find(|it| it.begins_at == segment.begins_at).expect("a segment of the original");
            let (read, expected) = (inputs(segment), inputs(original));
            assert_eq!(read, expected[..read.len()], "bit {bit}");
            assert_eq!(segment.keyframe, original.keyframe);
            if damage.is_none() {
                assert_eq!(read, expected);
            } else {
                kept += read.len();
            }
            // Nothing is confirmed beyond the flip, and everything but the last stretch before it.
            if damage.is_some() {
                assert!(segment.good_until <= bit / 8 && bit / 8 - segment.good_until.min(bit / 8) < 600);
            }
        }
        flipped[bit / 8] ^= 1 << (bit % 8);
    }
    assert!(kept > 0, "damage in the middle of a segment leaves what a check confirmed");
}

#[test]
fn another_version_is_told_not_guessed() {
    let plan = plan();
    let (mut recording, _) = record(&plan, &eventful(13)[..50], 1_200);
    recording[4] = 3;
    let (segment, damage) = Reader::new(&recording).next().expect("something");
    assert_eq!((segment, damage), (None, Some((0, Damage::Version(3)))));
}

/// Ticks wherever they may come, the ring small enough to turn.
fn with_ticks(all: &[Input], seed: u64) -> Vec<Input> {
    let mut random = Random(seed);
    let mut ticked = Vec::new();
    for pair in all.windows(2) {
        ticked.push(pair[0]);
        let gap = pair[1].at.get() - pair[0].at.get();
        for _ in 0..random.next_u64() % 3 {
            let at = pair[0].at.get() + (random.unit() * gap as f64) as u64;
            let newest = ticked.last().map_or(0, |input: &Input| input.at.get());
            ticked.push(Input::new(Micros::new(at.max(newest)), Signal::Tick));
        }
    }
    ticked.extend(all.last());
    ticked
}

/// Everything a recorder holds, in one piece, released.
fn drain(recorder: &mut Recorder<'_>) -> Vec<u8> {
    let held: Vec<_> = recorder.held().map(|held| (held.sequence, held.bytes.to_vec())).collect();
    held.into_iter()
        .flat_map(|(sequence, bytes)| {
            recorder.release(sequence);
            bytes
        })
        .collect()
}

#[test]
fn ticks_need_not_be_recorded() {
    let plan = plan();
    for seed in 0..6 {
        let all = with_ticks(&eventful(20 + seed), seed);
        let mut memory = vec![0; 64 * 1_024];
        let mut recorder = Recorder::new(&mut memory);
        let mut monitor = Box::new(Monitor::<8>::new());
        recorder.configure(&mut monitor, sound(&plan), &Retained::default(), 3).expect("room");
        let mut verdicts = Vec::new();
        for input in &all {
            recorder.observe(&mut monitor, *input, &mut |verdict| verdicts.push(*verdict));
        }
        recorder.freeze(&monitor);
        let recording = drain(&mut recorder);
        let segments = segments(&recording);
        let recorded: usize = segments.iter().map(|segment| inputs(segment).len()).sum();
        assert!(recorded < all.len() / 2 + 600, "{recorded} of {}", all.len());
        let mut replayed = Vec::new();
        let mut fresh = Box::new(Monitor::<64>::new());
        fresh.restore(sound(&plan), &segments[0].header, segments[0].keyframe).expect("its own keyframe");
        for segment in &segments {
            for input in inputs(segment) {
                fresh.observe(input, &mut |verdict| replayed.push(*verdict));
            }
            let end = segment.end.expect("an end");
            fresh.observe(Input::new(end.newest, Signal::Tick), &mut |verdict| replayed.push(*verdict));
            assert_eq!(fresh.state_crc(), end.state, "segment {}", segment.header.sequence);
        }
        assert_eq!(replayed, verdicts);
    }
}

#[test]
fn a_late_input_replays_as_late() {
    let plan = plan();
    let edge = |at, level| Input::new(Micros::new(at), Signal::Edge(Shaft::Head, level));
    let tick = |at| Input::new(Micros::new(at), Signal::Tick);
    let all = [edge(1_000, true), edge(50_000, false), tick(90_000), edge(80_000, true), edge(120_000, false)];
    let mut memory = vec![0; 32 * 1_024];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<64>::new());
    recorder.configure(&mut monitor, sound(&plan), &Retained::default(), 0).expect("room");
    for input in &all {
        recorder.observe(&mut monitor, *input, &mut |_| {});
    }
    recorder.freeze(&monitor);
    let recording = drain(&mut recorder);
    assert_eq!(inputs(&segments(&recording)[0]), all, "this tick had to be recorded");
}

#[test]
fn new_settings_begin_a_new_segment_that_names_the_old() {
    let plan = plan();
    let mut other = example();
    other.limits.starts.window = slackside::units::Span::new(other.limits.starts.window.get() - 10_000_000);
    let other = plan_of(other);
    let mut memory = vec![0; 32 * 1_024];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<64>::new());
    let tick = |at| Input::new(Micros::new(at), Signal::Tick);
    recorder.configure(&mut monitor, sound(&plan), &Retained::default(), 5).expect("room");
    recorder.observe(&mut monitor, tick(10), &mut |_| {});
    let survivor = monitor.retained().expect("a plan");
    recorder.configure(&mut monitor, sound(&other), &survivor, 5).expect("room");
    recorder.observe(&mut monitor, tick(20), &mut |_| {});
    recorder.freeze(&monitor);
    let recording = drain(&mut recorder);
    let headers: Vec<Header> = segments(&recording).iter().map(|segment| segment.header).collect();
    assert_eq!(headers.len(), 2);
    assert!(headers[0].first && !headers[0].plan_changed && headers[0].plan == plan.identity());
    assert!(!headers[1].first && headers[1].plan_changed && headers[1].sequence == 1);
    assert_eq!((headers[1].previous_plan, headers[1].plan), (plan.identity(), other.identity()));
    assert_eq!(headers[1].session, 5);
}

#[test]
fn without_a_free_slot_inputs_are_counted_as_missed() {
    let plan = plan();
    let all = eventful(30);
    let mut memory = vec![0; SLOTS * 860];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<8>::new());
    recorder.configure(&mut monitor, sound(&plan), &Retained::default(), 0).expect("room");
    for input in &all[..500] {
        recorder.observe(&mut monitor, *input, &mut |_| {});
    }
    recorder.freeze(&monitor);
    assert_eq!(recorder.held().count(), SLOTS);
    for input in &all[500..510] {
        recorder.observe(&mut monitor, *input, &mut |_| {});
    }
    assert_eq!(recorder.missed(), 10);
    let first = drain(&mut recorder);
    for input in &all[510..530] {
        recorder.observe(&mut monitor, *input, &mut |_| {});
    }
    recorder.freeze(&monitor);
    let second = drain(&mut recorder);
    let (first, second) = (segments(&first), segments(&second));
    assert_eq!(first.iter().flat_map(inputs).next_back(), Some(all[499]));
    assert_eq!(second[0].header.missed, 10);
    assert_eq!(second[0].header.sequence, first[first.len() - 1].header.sequence + 1);
    assert_eq!(second.iter().flat_map(inputs).collect::<Vec<_>>(), &all[510..530]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Restore and continue equals an uninterrupted run, wherever it is broken off, whatever went in.
    #[test]
    fn restored_anywhere_it_goes_on_the_same(seed in 0_u64..1_000, cut in 0.0..1.0_f64, noise in 0_u64..40) {
        let plan = plan();
        let mut all = eventful(seed);
        let mut random = Random(seed);
        let end = all.last().expect("edges").at.get();
        for _ in 0..noise {
            // Narrow pulses and strays.
            let at = (random.unit() * end as f64) as u64;
            let shaft = if random.unit() < 0.5 { Shaft::Head } else { Shaft::Boot };
            let width = (random.unit() * 400.0) as u64;
            all.push(Input::new(Micros::new(at), Signal::Edge(shaft, true)));
            all.push(Input::new(Micros::new(at + width), Signal::Edge(shaft, false)));
        }
        all.sort_by_key(|input| input.at);
        let cut = (all.len() as f64 * cut) as usize;
        let mut whole = Box::new(Monitor::<64>::new());
        whole.configure(sound(&plan), &Retained::default()).expect("room");
        for input in &all[..cut] {
            whole.observe(*input, &mut |_| {});
        }
        let now = all[..cut].last().map_or(Micros::ZERO, |input| input.at);
        let mut memory = vec![0; 4_096];
        let opening = Opening::first(0);
        let writer = SegmentWriter::open(&mut memory, &opening, now, &whole).expect("room");
        let length = writer.close(&mut memory, now, whole.state_crc());
        let segment = segments(&memory[..length])[0];
        let mut restored = Box::new(Monitor::<64>::new());
        restored.restore(sound(&plan), &segment.header, segment.keyframe).expect("its own keyframe");
        prop_assert_eq!(restored.signals(), whole.signals());
        prop_assert_eq!(restored.status(), whole.status());
        prop_assert_eq!(restored.retained(), whole.retained());
        for input in &all[cut..] {
            let (mut one, mut other) = (Vec::new(), Vec::new());
            whole.observe(*input, &mut |verdict| one.push(*verdict));
            restored.observe(*input, &mut |verdict| other.push(*verdict));
            prop_assert_eq!(one, other);
            prop_assert_eq!(restored.signals(), whole.signals());
            prop_assert_eq!(restored.next_deadline(), whole.next_deadline());
        }
        prop_assert_eq!(restored.state_crc(), whole.state_crc());
    }

    #[test]
    fn any_bytes_can_be_read_as_segments(bytes in proptest::collection::vec(any::<u8>(), 0..400), magic in any::<bool>()) {
        let mut all = if magic { b"SLsg\x02\0\x08\x08".to_vec() } else { Vec::new() };
        all.extend(bytes);
        for (segment, damage) in Reader::new(&all) {
            prop_assert!(segment.is_some() || damage.is_some());
        }
    }
}

/// A flood after the trip, and one before it: what led to the trip is held, whatever comes after.
#[test]
fn a_flood_after_the_trip_never_overwrites_what_led_to_it() {
    let plan = plan();
    let mut memory = vec![0; 32 * 1_024];
    let mut recorder = Recorder::new(&mut memory);
    let mut monitor = Box::new(Monitor::<8>::new());
    recorder.configure(&mut monitor, sound(&plan), &Retained::default(), 0).expect("room");
    let mut tripped_at = None;
    // Without the edges lost at half time, which trip too soon.
    for input in eventful(50).into_iter().filter(|input| !matches!(input.signal, Signal::EdgesLost(_))) {
        recorder.observe(&mut monitor, input, &mut |verdict| {
            if tripped(verdict) && verdict.at.get() > BEGIN_US + 10_000_000 {
                tripped_at = Some(verdict.at);
            }
        });
        if tripped_at.is_some() {
            break;
        }
    }
    let tripped_at = tripped_at.expect("it trips");
    // Chatter of 4 kHz for fourteen seconds: more than the whole ring takes.
    for step in 0..56_000 {
        let at = Micros::new(tripped_at.get() + 250 * (step + 1));
        let edge = Signal::Edge(Shaft::Boot, step % 2 == 0);
        recorder.observe(&mut monitor, Input::new(at, edge), &mut |_| {});
    }
    recorder.observe(&mut monitor, Input::new(tripped_at.after(AFTER_TRIP), Signal::Tick), &mut |_| {});
    let recording = drain(&mut recorder);
    let segments = segments(&recording);
    let first = segments[0].header.at;
    let wanted = tripped_at.get().saturating_sub(u64::from(BEFORE_TRIP.get()));
    assert!(wanted > BEGIN_US && first.get() <= wanted, "held from {first:?}, wanted from {wanted}");
    assert!(segments.iter().flat_map(inputs).any(|input| input.at > tripped_at), "and some of what came after");
    assert!(recorder.missed() > 0 || recorder.kept_since().is_some(), "the rest is told as missed, or recorded after");
}
