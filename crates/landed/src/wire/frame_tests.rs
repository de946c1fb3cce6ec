extern crate std;
use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;

fn stuffed(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![0xAA; bytes.len() + bytes.len() / 254 + 2];
    let length = stuff(bytes.iter().copied(), &mut out).expect("room");
    out.truncate(length);
    assert_eq!(out.pop(), Some(0));
    assert!(!out.contains(&0));
    out
}

/// The table of examples in the encyclopedia's article on consistent overhead byte stuffing.
#[test]
fn published_examples_of_cobs() {
    let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let with = |parts: &[&[u8]]| parts.concat();
    let examples: [(Vec<u8>, Vec<u8>); 11] = [
        (vec![0], vec![1, 1]),
        (vec![0, 0], vec![1, 1, 1]),
        (vec![0, 0x11, 0], vec![1, 2, 0x11, 1]),
        (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![5, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
        (run(1, 0xFE), with(&[&[0xFF], &run(1, 0xFE)])),
        (run(0, 0xFE), with(&[&[1, 0xFF], &run(1, 0xFE)])),
        (run(1, 0xFF), with(&[&[0xFF], &run(1, 0xFE), &[2, 0xFF]])),
        (with(&[&run(2, 0xFF), &[0]]), with(&[&[0xFF], &run(2, 0xFF), &[1, 1]])),
        (with(&[&run(3, 0xFF), &[0, 1]]), with(&[&[0xFE], &run(3, 0xFF), &[2, 1]])),
    ];
    for (plain, expected) in examples {
        assert_eq!(stuffed(&plain), expected, "{plain:02X?}");
    }
}

/// From memory: the example packet of Cheshire and Baker, "Consistent Overhead Byte Stuffing" (1999).
#[test]
fn the_packet_of_the_paper() {
    let plain = [0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 6, 0x4F, 0x37];
    assert_eq!(stuffed(&plain), [2, 0x45, 1, 4, 0x2C, 0x4C, 0x79, 1, 5, 0x40, 6, 0x4F, 0x37]);
}

fn frame(number: u8, message: &[u8]) -> Vec<u8> {
    let mut out = [0; MOST_FRAME];
    encode(number, &message, &mut out).expect("room").to_vec()
}

/// Every frame or error in the stream.
fn decode(decoder: &mut Decoder, stream: &[u8]) -> Vec<Result<(u8, Vec<u8>), FrameError>> {
    let mut found = Vec::new();
    for byte in stream {
        if let Some(result) = decoder.feed(*byte) {
            found.push(result.map(|frame| (frame.number, frame.message::<&[u8]>().expect("bytes").to_vec())));
        }
    }
    found
}

#[test]
fn a_frame_has_these_bytes() {
    // Version, number, postcard bytes (length 2, 05, 00), CRC-32 of these five, stuffed.
    let crc = CRC.checksum(&[1, 7, 2, 5, 0]).to_le_bytes();
    assert!(!crc.contains(&0));
    let expected = [&[5, 1, 7, 2, 5, 5][..], &crc, &[0]].concat();
    assert_eq!(frame(7, &[5, 0]), expected);
}

#[test]
fn the_longest_message_fits_and_a_longer_one_is_refused() {
    let mut out = [0; MOST_FRAME];
    // Two bytes of length go before the bytes.
    let longest = [0xFF; MOST_BODY - 2];
    let wire = encode(1, &&longest[..], &mut out).expect("room").to_vec();
    assert_eq!(decode(&mut Decoder::new(), &wire), [Ok((1, longest.to_vec()))]);
    assert_eq!(encode(1, &&[0xFF; MOST_BODY - 1][..], &mut out), None);
    for short in 0..wire.len() {
        assert_eq!(encode(1, &&longest[..], &mut out[..short]), None);
    }
}

#[test]
fn every_single_bit_flip_is_rejected_and_the_next_frame_is_read() {
    let one = frame(1, b"edge latency");
    let next = frame(2, b"after");
    for bit in 0..one.len() * 8 {
        let mut stream = one.clone();
        stream[bit / 8] ^= 1 << (bit % 8);
        let mut decoder = Decoder::new();
        let mut found = decode(&mut decoder, &stream);
        // A flip in the zero at the end joins the two frames.
        found.extend(decode(&mut decoder, &next));
        found.extend(decode(&mut decoder, &next));
        assert!(!found.contains(&Ok((1, b"edge latency".to_vec()))), "bit {bit}");
        assert_eq!(found.last(), Some(&Ok((2, b"after".to_vec()))), "bit {bit}");
        assert!(decoder.errors() >= 1);
    }
}

#[test]
fn another_version_is_told() {
    let mut inside = vec![2, 9, 0];
    inside.extend(CRC.checksum(&inside).to_le_bytes());
    let mut wire = stuffed(&inside);
    wire.push(0);
    assert_eq!(decode(&mut Decoder::new(), &wire), [Err(FrameError::Version(2))]);
}

#[test]
fn an_endless_frame_is_told_once_and_ends_with_its_zero() {
    let mut decoder = Decoder::new();
    assert_eq!(decode(&mut decoder, &vec![0xFF; 100_000]), []);
    assert_eq!(decode(&mut decoder, &[0]), [Err(FrameError::TooLong)]);
    assert_eq!(decode(&mut decoder, &frame(3, b"on")), [Ok((3, b"on".to_vec()))]);
}

proptest! {
    #[test]
    fn any_bytes_come_back(number in any::<u8>(), message in proptest::collection::vec(any::<u8>(), 0..MOST_BODY - 2)) {
        let wire = frame(number, &message);
        prop_assert!(wire.len() <= MOST_FRAME);
        prop_assert_eq!(decode(&mut Decoder::new(), &wire), [Ok((number, message))]);
    }

    /// Garbage, floods, frames cut off: whatever came before, after the next zero a whole frame is read.
    #[test]
    fn it_finds_its_place_within_one_frame(
        garbage in proptest::collection::vec(prop_oneof![Just(0_u8), Just(0xFF), any::<u8>()], 0..2_000),
        cut in 0_usize..40,
    ) {
        let mut decoder = Decoder::new();
        let ended = garbage.iter().filter(|byte| **byte == 0).count();
        prop_assert!(decode(&mut decoder, &garbage).len() <= ended);
        let frame = frame(5, b"in place again");
        decode(&mut decoder, &frame[..cut.min(frame.len())]);
        decode(&mut decoder, &[0]);
        prop_assert_eq!(decode(&mut decoder, &frame), [Ok((5, b"in place again".to_vec()))]);
    }

    #[test]
    fn any_bytes_can_be_read_as_messages(bytes in proptest::collection::vec(any::<u8>(), 0..100)) {
        let frame = Frame { number: 0, body: &bytes };
        let _ = frame.message::<crate::wire::Request<'_>>();
        let _ = frame.message::<crate::wire::Reply<'_>>();
    }
}
