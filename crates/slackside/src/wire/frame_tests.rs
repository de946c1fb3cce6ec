extern crate std;
use std::vec;
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::codec::message::{Bytes, Pen};

/// Bytes after how many there are.
impl Message for &[u8] {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.bytes(self);
    }
}

impl<'a> Readable<'a> for &'a [u8] {
    fn read(bytes: &'a [u8]) -> Option<Self> {
        let mut from = Bytes::new(bytes);
        let bytes = from.bytes();
        from.are_done().then_some(bytes)
    }
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
    let crc = checksum(&[3, 7, 2, 5, 0]).to_le_bytes();
    assert!(!crc.contains(&0));
    let expected = [&[5, 3, 7, 2, 5, 5][..], &crc, &[0]].concat();
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
    let mut out = [0; 20];
    let length = seal(&[1, 9, 0], &mut out).expect("room");
    assert_eq!(decode(&mut Decoder::new(), &out[..length]), [Err(FrameError::Version(1))]);
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
        #[cfg(feature = "desk")]
        let _ = frame.message::<crate::wire::Reply<'_>>();
    }
}
