extern crate std;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::conditions::Condition;
use crate::input::{Command, ContactState, LineState, Origin, Place};
use crate::units::{DeciCelsius, Ppm, Watts};

fn input(at: u64, signal: Signal) -> Input {
    Input::new(Micros::new(at), signal)
}

/// Bytes, the last perhaps begun only.
#[derive(Default)]
struct Bytes {
    bytes: Vec<u8>,
    begun: bool,
}

impl Sink for Bytes {
    fn half(&mut self, half: u8) {
        assert!(half < 16);
        if self.begun {
            *self.bytes.last_mut().expect("begun") |= half;
        } else {
            self.bytes.push(half << 4);
        }
        self.begun = !self.begun;
    }

    fn bytes(&mut self, bytes: &[u8]) {
        if self.begun {
            self.half(0xF);
        }
        self.bytes.extend(bytes);
    }
}

fn write(begin: u64, inputs: &[Input]) -> Vec<u8> {
    let mut context = Context::new(Micros::new(begin));
    let mut sink = Bytes::default();
    inputs.iter().for_each(|input| context.write(input, &mut sink));
    sink.bytes(&[]);
    sink.bytes
}

fn read(begin: u64, bytes: &[u8]) -> Vec<Input> {
    let mut context = Context::new(Micros::new(begin));
    let mut halves = Halves::new(bytes);
    let mut inputs = Vec::new();
    while let Some(item) = context.read(&mut halves) {
        match item {
            Item::Record(Record::Input(input)) => inputs.push(input),
            Item::Moment => {}
            other => panic!("{other:?} is no input"),
        }
    }
    assert_eq!(halves.left(), 0);
    inputs
}

/// The bytes of the table in the module's documentation, one input of each kind. They change only with the version of the
/// format.
#[test]
fn every_kind_of_input_has_these_bytes() {
    let golden: [(Signal, &[u8]); 22] = [
        // The low level is expected first to change: a fall needs the long form.
        (Signal::Edge(Shaft::Head, false), &[0xF4, 0, 0]),
        (Signal::Edge(Shaft::Boot, false), &[0xF4, 1, 0]),
        (Signal::Line(Shaft::Head, LineState::Sound), &[0xF5, 0, 0]),
        (Signal::Line(Shaft::Boot, LineState::Shorted), &[0xF5, 1, 2]),
        (Signal::EdgesLost(Shaft::Boot), &[0xF6, 1]),
        (Signal::Contact(Place::BootRight, ContactState::Faulty), &[0xF7, 3, 2]),
        (Signal::Temperature(Place::HeadRight, DeciCelsius::new(-1)), &[0xF8, 1, 1]),
        (Signal::DriveRunning(true), &[0xF9, 1]),
        (Signal::DrivePower(Watts::new(18_500)), &[0xFA, 0xC4, 0x90, 0x01]),
        (Signal::SpeedReference(Ppm::new(-64)), &[0xFB, 0x7F]),
        (Signal::OutletPlugged(false), &[0xFC, 0]),
        (Signal::Command(Origin::Link, Command::Acknowledge), &[0xFD, 1, 0]),
        (Signal::Command(Origin::Leg, Command::Reset), &[0xFD, 0, 1]),
        (Signal::Command(Origin::Leg, Command::ResetButton(true)), &[0xFD, 0, 2, 1]),
        (Signal::Command(Origin::Leg, Command::BootCleared), &[0xFD, 0, 3]),
        (Signal::Command(Origin::Leg, Command::Key(true)), &[0xFD, 0, 4, 1]),
        (
            Signal::Command(Origin::Leg, Command::Bypass(Condition::BypassActive, Span::new(128))),
            &[0xFD, 0, 5, 33, 0x80, 0x01],
        ),
        (Signal::Command(Origin::Leg, Command::EndBypass), &[0xFD, 0, 6]),
        (Signal::Command(Origin::Leg, Command::Inch(false)), &[0xFD, 0, 7, 0]),
        (Signal::Command(Origin::Leg, Command::ProofTest(true)), &[0xFD, 0, 8, 1]),
        (Signal::Contact(Place::HeadLeft, ContactState::Clear), &[0xF7, 0, 0]),
        (Signal::Tick, &[0xFE]),
    ];
    for (signal, bytes) in golden {
        // Sixty-four microseconds after the keyframe: zigzag 128, varint 80 01.
        let mut expected = bytes.to_vec();
        expected.extend([0x80, 0x01]);
        assert_eq!(write(1_000, &[input(1_064, signal)]), expected, "{signal:?}");
        assert_eq!(read(1_000, &expected), [input(1_064, signal)]);
    }
}

#[test]
fn edges_have_these_bytes() {
    let edge = |at, shaft, level| input(at, Signal::Edge(shaft, level));
    for (residue, shaft, bytes) in [
        // Six bits: 7 is zigzag 14 = 00 1110; -32 is zigzag 63.
        (7, Shaft::Boot, &[0x8E][..]),
        (-32, Shaft::Head, &[0x3F]),
        // Nine bits: 32 is zigzag 64 = 0 0100 0000; -256 is zigzag 511. The last half is filled up.
        (32, Shaft::Head, &[0x44, 0x0F]),
        (-256, Shaft::Boot, &[0xDF, 0xFF]),
        // Twelve: zigzag 512 and 4,095.
        (256, Shaft::Head, &[0x62, 0x00]),
        (-2_048, Shaft::Boot, &[0xEF, 0xFF]),
        // Fourteen: zigzag 4,096 and 16,383.
        (2_048, Shaft::Head, &[0x71, 0x00, 0x0F]),
        (-8_192, Shaft::Boot, &[0x7B, 0xFF, 0xFF]),
        // Twenty: zigzag 16,384 = 04000.
        (8_192, Shaft::Head, &[0x74, 0x04, 0x00, 0x0F]),
        // Twenty-four: zigzag 14,000,000 = D59F80.
        (7_000_000, Shaft::Boot, &[0x7D, 0xD5, 0x9F, 0x80]),
        // Twenty-eight: zigzag 200,000,000 = BEBC200.
        (100_000_000, Shaft::Head, &[0x76, 0xBE, 0xBC, 0x20, 0x0F]),
        // Thirty-two: zigzag 4,000,000,000 = EE6B2800.
        (2_000_000_000, Shaft::Boot, &[0x7F, 0xEE, 0x6B, 0x28, 0x00]),
    ] {
        let begin = 3_000_000_000_u64;
        let inputs = [edge(begin.wrapping_add_signed(residue), shaft, true)];
        assert_eq!(write(begin, &inputs), bytes, "{residue}");
        assert_eq!(read(begin, bytes), inputs, "{residue}");
    }
}

#[test]
fn a_gap_is_expected_to_be_that_before_last() {
    // A target of 1,000 µs and a space of 3,000, three times: once the gaps are known nothing is left to tell but that it came.
    let mut at = 500;
    let mut inputs = Vec::new();
    for index in 0..10 {
        inputs.push(input(at, Signal::Edge(Shaft::Head, index % 2 == 0)));
        at += if index % 2 == 0 { 1_000 } else { 3_000 };
    }
    // The first from the keyframe on; the next two as they are, less the 500 for the third; then all are as expected.
    assert_eq!(write(0, &inputs)[..], [0x63, 0xE8, 0x67, 0xD0, 0x71, 0x38, 0x80, 0, 0, 0, 0, 0, 0, 0x0F][..]);
    assert_eq!(read(0, &write(0, &inputs)), inputs);
}

#[test]
fn what_32_bits_do_not_hold_begins_with_its_moment() {
    let hour = 3_600_000_000_u64;
    let moment = (1_000 + hour).to_le_bytes();
    let late = [input(1_000 + hour, Signal::Tick)];
    assert_eq!(write(1_000, &late), [&[0xF0][..], &moment, &[0xFE, 0]].concat());
    // And the edge is then told from where it was expected, in the low halves.
    let edge = [input(1_000 + hour, Signal::Edge(Shaft::Head, true))];
    let bytes = write(1_000, &edge);
    assert_eq!(bytes[..9], [&[0xF0][..], &moment].concat());
    assert_eq!(read(1_000, &bytes), edge);
    assert_eq!(read(1_000, &write(1_000, &late)), late);
}

fn signals() -> impl Strategy<Value = Signal> {
    let shaft = prop_oneof![Just(Shaft::Head), Just(Shaft::Boot)];
    prop_oneof![
        8 => (shaft.clone(), any::<bool>()).prop_map(|(shaft, level)| Signal::Edge(shaft, level)),
        1 => (0..Place::COUNT).prop_map(|place| Signal::Contact(Place::ALL[place], ContactState::Rubbing)),
        1 => any::<u32>().prop_map(|watts| Signal::DrivePower(Watts::new(watts))),
        1 => any::<i32>().prop_map(|ppm| Signal::SpeedReference(Ppm::new(ppm))),
        1 => shaft.prop_map(Signal::EdgesLost),
        1 => (0..Condition::COUNT, any::<u32>()).prop_map(|(index, span)| {
            Signal::Command(Origin::Link, Command::Bypass(Condition::ALL[index], Span::new(span)))
        }),
        1 => Just(Signal::Tick),
    ]
}

proptest! {
    #[test]
    fn any_inputs_come_back(
        begin in any::<u64>(),
        steps in proptest::collection::vec((signals(), prop_oneof![-300_i64..300_000, any::<i64>()]), 0..200),
    ) {
        let mut at = begin;
        let mut inputs = Vec::new();
        for (signal, step) in steps {
            at = at.wrapping_add(step as u64);
            inputs.push(input(at, signal));
        }
        prop_assert_eq!(read(begin, &write(begin, &inputs)), inputs);
    }

    #[test]
    fn no_record_is_longer_than_its_room(begin in any::<u64>(), at in any::<u64>(), signal in signals()) {
        let mut context = Context::new(Micros::new(begin));
        let mut sink = Bytes { bytes: std::vec![0], begun: true };
        context.write(&input(at, signal), &mut sink);
        sink.bytes(&[]);
        prop_assert!(sink.bytes.len() <= MOST_RECORD);
        let mut sink = Bytes { bytes: std::vec![0], begun: true };
        let anchor = Anchor { at: Micros::new(begin), desk_us: at as i64, uncertainty: Span::MAX };
        context.write_anchor(&anchor, &mut sink);
        prop_assert!(sink.bytes.len() <= MOST_RECORD);
        context.write_end(Micros::new(at), 7, &mut sink);
        prop_assert!(sink.bytes.len() <= 2 * MOST_RECORD);
    }

    #[test]
    fn any_bytes_can_be_read(bytes in proptest::collection::vec(prop_oneof![Just(0xF2_u8), any::<u8>()], 0..300)) {
        let mut context = Context::new(Micros::ZERO);
        let mut halves = Halves::new(&bytes);
        let mut steps = 0;
        while context.read(&mut halves).is_some() {
            steps += 1;
            prop_assert!(steps <= 2 * bytes.len());
        }
    }
}
