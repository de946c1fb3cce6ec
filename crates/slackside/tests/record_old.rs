//! Recordings of the core before this one: what went into them is still read.
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

use leg::BEGIN_US;
use slackside::input::{ContactState, Input, LineState, Place, Shaft, Signal};
use slackside::record::{Anchor, Damage, Reader, Record};
use slackside::units::{Micros, Ppm, Span, Watts};
use slackside_landed::input as old;

/// An input, said in the old core's words: both have the same wire format.
fn in_old_words(input: &Input) -> old::Input {
    let mut room = [0; 64];
    postcard::from_bytes(postcard::to_slice(input, &mut room).expect("room")).expect("the same words")
}

fn inputs() -> Vec<Input> {
    let speed = |time: f64| 1.31 * (time / 4.0).min(1.0) + 0.004 * (time * 0.7).sin();
    let others = [
        (0.5, Signal::DriveRunning(true)),
        (3.0, Signal::Contact(Place::BootRight, ContactState::Faulty)),
        (5.0, Signal::DrivePower(Watts::new(18_500))),
        (6.0, Signal::SpeedReference(Ppm::new(-5))),
        (7.0, Signal::Line(Shaft::Boot, LineState::Open)),
        (8.0, Signal::EdgesLost(Shaft::Head)),
        (9.0, Signal::Tick),
    ];
    leg::leg(4, 1.02, &speed, &|_| 0.004, 60.0, 5, &others)
}

/// Written by the old core itself.
fn recording(inputs: &[Input]) -> (Vec<u8>, u32) {
    let settings = slackside_landed::settings::Settings::example().check().expect("sound");
    let mut monitor = Box::new(slackside_landed::Monitor::new());
    monitor.configure(&settings, &slackside_landed::survivor::Survivor::default());
    let opening = slackside_landed::record::Opening::first(&settings, 7);
    let mut memory = vec![0; 16_384];
    let begin = slackside_landed::units::Micros::new(BEGIN_US);
    let mut writer =
        slackside_landed::record::SegmentWriter::open(&mut memory, &opening, begin, &monitor).expect("room");
    for input in inputs {
        writer.push(&mut memory, &in_old_words(input)).expect("room");
    }
    let anchor = slackside_landed::record::Anchor {
        at: slackside_landed::units::Micros::new(BEGIN_US + 60_000_000),
        desk_us: 1_700_000_000_000_000,
        uncertainty: slackside_landed::units::Span::new(900),
    };
    writer.push_anchor(&mut memory, &anchor).expect("room");
    let newest = slackside_landed::units::Micros::new(BEGIN_US + 61_000_000);
    let length = writer.close(&mut memory, newest, 0xABCD_EF01);
    memory.truncate(length);
    (memory, settings.identity())
}

#[test]
fn what_went_in_comes_out() {
    let all = inputs();
    let (recording, settings) = recording(&all);
    let found: Vec<_> = Reader::new(&recording).collect();
    let [(Some(segment), None)] = found[..] else { panic!("{found:?}") };
    assert_eq!((segment.format, segment.header.plan, segment.header.session), (1, settings, 7));
    assert_eq!((segment.header.at, segment.good_until), (Micros::new(BEGIN_US), recording.len()));
    let end = segment.end.expect("whole");
    assert_eq!((end.newest, end.state), (Micros::new(BEGIN_US + 61_000_000), 0xABCD_EF01));
    let mut records: Vec<Record> = segment.records().collect();
    let anchor =
        Anchor { at: Micros::new(BEGIN_US + 60_000_000), desk_us: 1_700_000_000_000_000, uncertainty: Span::new(900) };
    assert_eq!(records.pop(), Some(Record::Anchor(anchor)));
    assert_eq!(records, all.into_iter().map(Record::Input).collect::<Vec<_>>());
}

#[test]
fn every_cut_and_a_flip_in_every_byte_is_told_and_what_a_check_confirms_stays() {
    let all = inputs();
    let (recording, _) = recording(&all[..400]);
    for length in 1..recording.len() {
        let mut cut = recording[..length].to_vec();
        let mut flipped = recording.clone();
        flipped[length] ^= 1 << (length % 8);
        for bytes in [&mut cut, &mut flipped] {
            let (segment, damage) = Reader::new(bytes).next().expect("something");
            assert!(damage.is_some(), "length {length}");
            if let Some(segment) = segment {
                let read: Vec<Record> = segment.records().collect();
                assert_eq!(read, all[..read.len()].iter().map(|input| Record::Input(*input)).collect::<Vec<_>>());
                assert!(segment.good_until <= length && length - segment.good_until < 1_000);
            }
        }
    }
    assert_eq!(Reader::new(b"SLsg\x01").next(), Some((None, Some((0, Damage::Opening)))));
}
