//! Recordings of format 1, of the core before this one: what went into them is still read.
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

/// A recording of the inputs below, of session 7, as the core of that time wrote it.
const RECORDING: &[u8] = include_bytes!("golden/format-1.slk");
/// The identity of its settings, which were the example leg's.
const SETTINGS: u32 = 0x14DF_175D;

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

#[test]
fn what_went_in_comes_out() {
    let all = inputs();
    let found: Vec<_> = Reader::new(RECORDING).collect();
    let [(Some(segment), None)] = found[..] else { panic!("{found:?}") };
    assert_eq!((segment.format, segment.header.plan, segment.header.session), (1, SETTINGS, 7));
    assert_eq!((segment.header.at, segment.good_until), (Micros::new(BEGIN_US), RECORDING.len()));
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
    let whole = Reader::new(RECORDING).next().and_then(|(segment, _)| segment).expect("whole");
    let all: Vec<Record> = whole.records().collect();
    for length in 1..RECORDING.len() {
        let mut cut = RECORDING[..length].to_vec();
        let mut flipped = RECORDING.to_vec();
        flipped[length] ^= 1 << (length % 8);
        for bytes in [&mut cut, &mut flipped] {
            let (segment, damage) = Reader::new(bytes).next().expect("something");
            assert!(damage.is_some(), "length {length}");
            if let Some(segment) = segment {
                let read: Vec<Record> = segment.records().collect();
                assert_eq!(read, all[..read.len()]);
                assert!(segment.good_until <= length && length - segment.good_until < 1_000);
            }
        }
    }
    assert_eq!(Reader::new(b"SLsg\x01").next(), Some((None, Some((0, Damage::Opening)))));
}
