extern crate std;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::input::{Command, ContactState, LineState, Origin, Place};
use crate::judge::Condition;
use crate::units::{DeciCelsius, Ppm, Watts};

fn input(at: u64, signal: Signal) -> Input {
    Input::new(Micros::new(at), signal)
}

fn write(begin: u64, inputs: &[Input]) -> Vec<u8> {
    let mut context = Context::new(Micros::new(begin), [8, 8]);
    inputs.iter().flat_map(|input| context.write(input).bytes().to_vec()).collect()
}

fn read(begin: u64, mut bytes: &[u8]) -> Vec<Input> {
    let mut context = Context::new(Micros::new(begin), [8, 8]);
    let mut inputs = Vec::new();
    while !bytes.is_empty() {
        let (item, rest) = context.read(bytes).expect("readable");
        let Item::Record(Record::Input(input)) = item else { panic!("{item:?} is no input") };
        inputs.push(input);
        bytes = rest;
    }
    inputs
}

/// The bytes of the table in the module's documentation, one input of each kind. They change only with the version of the
/// format.
#[test]
fn every_kind_of_input_has_these_bytes() {
    let golden: [(Signal, &[u8]); 22] = [
        // The low level is expected first to change: a fall needs the long form.
        (Signal::Edge(Shaft::Head, false), &[0x10, 0, 0]),
        (Signal::Edge(Shaft::Boot, false), &[0x10, 1, 0]),
        (Signal::Line(Shaft::Head, LineState::Sound), &[0x11, 0, 0]),
        (Signal::Line(Shaft::Boot, LineState::Shorted), &[0x11, 1, 2]),
        (Signal::EdgesLost(Shaft::Boot), &[0x12, 1]),
        (Signal::Contact(Place::BootRight, ContactState::Faulty), &[0x13, 3, 2]),
        (Signal::Temperature(Place::HeadRight, DeciCelsius::new(-1)), &[0x14, 1, 1]),
        (Signal::DriveRunning(true), &[0x15, 1]),
        (Signal::DrivePower(Watts::new(18_500)), &[0x16, 0xC4, 0x90, 0x01]),
        (Signal::SpeedReference(Ppm::new(-64)), &[0x17, 0x7F]),
        (Signal::OutletPlugged(false), &[0x18, 0]),
        (Signal::Command(Origin::Link, Command::Acknowledge), &[0x19, 1, 0]),
        (Signal::Command(Origin::Leg, Command::Reset), &[0x19, 0, 1]),
        (Signal::Command(Origin::Leg, Command::ResetButton(true)), &[0x19, 0, 2, 1]),
        (Signal::Command(Origin::Leg, Command::BootCleared), &[0x19, 0, 3]),
        (Signal::Command(Origin::Leg, Command::Key(true)), &[0x19, 0, 4, 1]),
        (
            Signal::Command(Origin::Leg, Command::Bypass(Condition::BypassActive, Span::new(128))),
            &[0x19, 0, 5, 33, 0x80, 0x01],
        ),
        (Signal::Command(Origin::Leg, Command::EndBypass), &[0x19, 0, 6]),
        (Signal::Command(Origin::Leg, Command::Inch(false)), &[0x19, 0, 7, 0]),
        (Signal::Command(Origin::Leg, Command::ProofTest(true)), &[0x19, 0, 8, 1]),
        (Signal::Contact(Place::HeadLeft, ContactState::Clear), &[0x13, 0, 0]),
        (Signal::Tick, &[0x1A]),
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
    // Residues: 7 (zigzag 14) in one byte; then the gap of two before is not known, so the whole gap of 1,000 (zigzag 2,000 =
    // 0x7D0) in two; then 7 expected and 40,000 come: 39,993 (zigzag 79,986 = 0x13872) in three; then 1,000 expected and
    // 7,000,000 come: zigzag 13,998,000 = 0xD597B0 in four.
    let inputs = [
        edge(1_007, Shaft::Boot, true),
        edge(2_007, Shaft::Boot, false),
        edge(42_007, Shaft::Boot, true),
        edge(7_042_007, Shaft::Boot, false),
        // The head, from the keyframe on: 7,041,000 (zigzag 14,082,000 = 0xD6DFD0).
        edge(7_042_000, Shaft::Head, true),
    ];
    let bytes = [0xCE, 0xD7, 0xD0, 0xE1, 0x38, 0x72, 0xF0, 0xD5, 0x97, 0xB0, 0xB0, 0xD6, 0xDF, 0xD0];
    assert_eq!(write(1_000, &inputs), bytes);
    assert_eq!(read(1_000, &bytes), inputs);
}

#[test]
fn a_turn_repeated_takes_a_byte_an_edge() {
    // Four targets of uneven width, twice the same turn: the second turn has no residue at all.
    let gaps = [40_000, 150_000, 41_000, 149_000, 39_000, 152_000, 40_500, 151_500];
    let mut at = 500_000;
    let mut inputs = Vec::new();
    for (index, gap) in gaps.iter().cycle().take(32).enumerate() {
        at += gap;
        inputs.push(input(at, Signal::Edge(Shaft::Head, index % 2 == 0)));
    }
    assert_eq!(write(500_000, &inputs[..]).len() - write(500_000, &inputs[..9]).len(), 23);
    assert_eq!(read(500_000, &write(500_000, &inputs)), inputs);
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
        prop_assert!(write(begin, &[input(at, signal)]).len() <= MOST_RECORD);
    }

    #[test]
    fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let mut context = Context::new(Micros::ZERO, [8, 64]);
        let mut rest: &[u8] = &bytes;
        while let Ok((_, after)) = context.read(rest) {
            prop_assert!(after.len() < rest.len());
            rest = after;
        }
    }
}
