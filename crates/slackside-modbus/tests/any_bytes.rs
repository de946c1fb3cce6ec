//! Any bytes at all: no panic, no answer that is not one, nothing written but the one word.
#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::arithmetic_side_effects,
    reason = "a test that panics has failed"
)]

use proptest::prelude::*;
use slackside::units::{Micros, Span};
use slackside_modbus::leg::may_write;
use slackside_modbus::rtu::{MOST_FRAME, Receiver, checksum, frame, silence};
use slackside_modbus::server::{Exception, MOST_PDU, Registers, answer};
use slackside_modbus::tcp;

/// Registers 0 to 143, and the rules of a leg for writing.
#[derive(Default)]
struct Watched {
    written: Vec<(u16, u16)>,
}

impl Registers for Watched {
    fn read(&mut self, register: u16) -> Result<u16, Exception> {
        (register <= 143).then_some(register).ok_or(Exception::Address)
    }

    fn write(&mut self, register: u16, value: u16) -> Result<(), Exception> {
        may_write(register, value)?;
        self.written.push((register, value));
        Ok(())
    }
}

/// Requests that are nearly right, and noise.
fn requests() -> impl Strategy<Value = Vec<u8>> {
    let nearly =
        (prop_oneof![Just(3_u8), Just(4), Just(6), Just(16), any::<u8>()], 0..300_u16, 0..130_u16, any::<Vec<u8>>());
    let nearly = nearly.prop_map(|(function, first, second, rest)| {
        [&[function][..], &first.to_be_bytes(), &second.to_be_bytes(), &rest].concat()
    });
    let acknowledging = (any::<u16>(), prop_oneof![Just(256_u16), any::<u16>()]).prop_map(|(word, register)| {
        let word = if word % 2 == 0 { 0xAC4B } else { word };
        [&[6][..], &register.to_be_bytes(), &word.to_be_bytes()].concat()
    });
    let noise = proptest::collection::vec(any::<u8>(), 0..300);
    let cut = (nearly.clone(), 0..8_usize).prop_map(|(mut bytes, keep)| {
        bytes.truncate(keep);
        bytes
    });
    prop_oneof![nearly, acknowledging, noise, cut]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    #[test]
    fn every_request_has_its_answer_or_its_exception(request in requests()) {
        let mut watched = Watched::default();
        let mut out = [0xEE; MOST_PDU];
        let length = answer(&request, &mut watched, &mut out);
        let Some(function) = request.first() else {
            prop_assert_eq!(length, 0);
            return Ok(());
        };
        let reply = &out[..length];
        if reply[0] & 0x80 != 0 {
            prop_assert_eq!(length, 2);
            prop_assert_eq!(reply[0], function | 0x80);
            prop_assert!(matches!(reply[1], 1..=3));
            prop_assert!(watched.written.is_empty());
        } else {
            prop_assert_eq!(reply[0], *function);
            match function {
                3 | 4 => {
                    let quantity = usize::from(u16::from_be_bytes([request[3], request[4]]));
                    prop_assert_eq!(length, 2 + quantity * 2);
                    let first = u16::from_be_bytes([request[1], request[2]]);
                    for (pair, register) in reply[2..].chunks(2).zip(first..) {
                        prop_assert_eq!(pair, register.to_be_bytes());
                    }
                }
                6 => prop_assert_eq!(reply, &request[..]),
                16 => prop_assert_eq!(reply, &request[..5]),
                _ => prop_assert!(false, "function {} is not served", function),
            }
        }
        prop_assert!(watched.written.iter().all(|it| *it == (256, 0xAC4B)));
    }

    #[test]
    fn a_frame_goes_through_whatever_came_before(noise in proptest::collection::vec(any::<u8>(), 0..600), message in proptest::collection::vec(any::<u8>(), 1..=MOST_PDU), address: u8) {
        let mut receiver = Receiver::new();
        let mut now = Micros::new(1);
        noise.iter().for_each(|byte| receiver.take(*byte, now));
        now = now.after(Span::new(5_000));
        let _ = receiver.frame(now, silence(9_600));
        let mut out = [0; MOST_FRAME];
        out[1..=message.len()].copy_from_slice(&message);
        let length = frame(address, message.len(), &mut out);
        prop_assert_eq!(length, message.len() + 3);
        prop_assert_eq!(checksum(&out[..length]), [0, 0], "the CRC of a frame with its own is 0");
        out[..length].iter().for_each(|byte| receiver.take(*byte, now));
        now = now.after(Span::new(5_000));
        prop_assert_eq!(receiver.frame(now, silence(9_600)), Some((address, &message[..])));
    }

    #[test]
    fn a_stream_is_taken_apart_wherever_it_was_cut(messages in proptest::collection::vec(proptest::collection::vec(any::<u8>(), 1..=MOST_PDU), 1..5), cuts in proptest::collection::vec(1..40_usize, 1..200)) {
        let mut stream = Vec::new();
        for (number, message) in messages.iter().enumerate() {
            stream.extend(tcp::header([0, number as u8], 9, message.len()));
            stream.extend(message);
        }
        let (mut came, mut found, mut cuts) = (Vec::new(), Vec::new(), cuts.into_iter().cycle());
        let mut rest = &stream[..];
        while !rest.is_empty() {
            let (piece, after) = rest.split_at(cuts.next().unwrap().min(rest.len()));
            came.extend_from_slice(piece);
            rest = after;
            while let Some(request) = tcp::take(&came).unwrap() {
                prop_assert_eq!((request.transaction, request.unit), ([0, found.len() as u8], 9));
                found.push(request.message.to_vec());
                let taken = request.taken;
                came.drain(..taken);
            }
        }
        prop_assert_eq!(found, messages);
        prop_assert!(came.is_empty());
    }

    #[test]
    fn noise_on_a_stream_asks_no_more_than_it_holds(noise in proptest::collection::vec(any::<u8>(), 0..600)) {
        if let Ok(Some(request)) = tcp::take(&noise) {
            prop_assert!(request.taken <= noise.len() && request.message.len() <= MOST_PDU);
        }
    }
}
