//! The server and its frames against worked examples of the specifications.
#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::arithmetic_side_effects,
    reason = "a test that panics has failed"
)]

use std::collections::BTreeMap;

use slackside::units::{Micros, Span};
use slackside_modbus::rtu::{self, Receiver, checksum, silence};
use slackside_modbus::server::{Exception, MOST_PDU, Registers, answer};
use slackside_modbus::tcp;

/// The registers that the examples show.
struct Example(BTreeMap<u16, u16>);

impl Registers for Example {
    fn read(&mut self, register: u16) -> Result<u16, Exception> {
        self.0.get(&register).copied().ok_or(Exception::Address)
    }

    fn write(&mut self, register: u16, value: u16) -> Result<(), Exception> {
        self.0.insert(register, value);
        Ok(())
    }
}

fn asked(registers: &[(u16, u16)], request: &[u8]) -> (Vec<u8>, BTreeMap<u16, u16>) {
    let mut example = Example(registers.iter().copied().collect());
    let mut out = [0; MOST_PDU];
    let length = answer(request, &mut example, &mut out);
    (out[..length].to_vec(), example.0)
}

/// From memory: *MODBUS Application Protocol Specification V1.1b3*, section 6.3, "read registers 108 – 110": they lie at 107 to 109.
#[test]
fn read_holding_registers() {
    let registers = [(107, 0x022B), (108, 0), (109, 0x0064)];
    let (reply, _) = asked(&registers, &[0x03, 0x00, 0x6B, 0x00, 0x03]);
    assert_eq!(reply, [0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64]);
}

/// From memory: section 6.4, "read input register 9".
#[test]
fn read_input_registers() {
    let (reply, _) = asked(&[(8, 0x000A)], &[0x04, 0x00, 0x08, 0x00, 0x01]);
    assert_eq!(reply, [0x04, 0x02, 0x00, 0x0A]);
}

/// From memory: section 6.6, "write register 2 to 00 03 hex".
#[test]
fn write_single_register() {
    let request = [0x06, 0x00, 0x01, 0x00, 0x03];
    let (reply, registers) = asked(&[], &request);
    assert_eq!(reply, request);
    assert_eq!(registers[&1], 3);
}

/// After section 6.12, whose example writes two registers: this server writes one at a time and says so by exception 02.
#[test]
fn write_multiple_registers() {
    let (reply, registers) = asked(&[], &[0x10, 0x00, 0x01, 0x00, 0x01, 0x02, 0x00, 0x0A]);
    assert_eq!(reply, [0x10, 0x00, 0x01, 0x00, 0x01]);
    assert_eq!(registers[&1], 0x000A);
    let (reply, registers) = asked(&[], &[0x10, 0x00, 0x01, 0x00, 0x02, 0x04, 0x00, 0x0A, 0x01, 0x02]);
    assert_eq!(reply, [0x90, 0x02]);
    assert!(registers.is_empty(), "all or nothing");
}

/// Section 7: an exception has the function's highest bit set and one byte more. The order of what is looked at is that of the state
/// diagrams of section 6: function, quantity, address.
#[test]
fn exceptions() {
    let all: Vec<(u16, u16)> = (0..200).map(|register| (register, 0)).collect();
    let table: [(&[u8], &[u8]); 10] = [
        // Read coils is not served; nor is any function of the diagnostic kind.
        (&[0x01, 0x04, 0xA1, 0x00, 0x01], &[0x81, 0x01]),
        (&[0x2B, 0x0E, 0x01, 0x00], &[0xAB, 0x01]),
        (&[0x83], &[0x83, 0x01]),
        // 1 to 125 registers, section 6.3: 0 and 126 are too few and too many, whatever the address.
        (&[0x03, 0x00, 0x00, 0x00, 0x00], &[0x83, 0x03]),
        (&[0x03, 0xFF, 0xFF, 0x00, 0x7E], &[0x83, 0x03]),
        // The last address is 65535.
        (&[0x04, 0xFF, 0xFF, 0x00, 0x02], &[0x84, 0x02]),
        (&[0x04, 0x00, 0xC8, 0x00, 0x01], &[0x84, 0x02]),
        // Lengths that are not what they say.
        (&[0x04, 0x00, 0x08, 0x00], &[0x84, 0x03]),
        (&[0x10, 0x00, 0x01, 0x00, 0x01, 0x04, 0x00, 0x0A], &[0x90, 0x03]),
        (&[0x06, 0x00, 0x01, 0x00, 0x03, 0x00], &[0x86, 0x03]),
    ];
    for (request, reply) in table {
        assert_eq!(asked(&all, request).0, reply, "{request:02X?}");
    }
    let (most, _) = asked(&all, &[0x03, 0x00, 0x00, 0x00, 0x7D]);
    assert_eq!((most.len(), most[1]), (252, 250), "125 registers fit");
    assert!(asked(&all, &[]).0.is_empty());
}

/// From memory: *MODBUS over Serial Line V1.02*, appendix B, example of the CRC of the frame 02 07: 1241 hex, 41 before 12.
/// And the check value of CRC-16/MODBUS in the catalogue of parametrised CRC algorithms: 4B37 hex for the digits 1 to 9.
#[test]
fn the_checksum_of_the_guide() {
    assert_eq!(checksum(&[0x02, 0x07]), [0x41, 0x12]);
    assert_eq!(checksum(b"123456789"), [0x37, 0x4B]);
}

/// Section 2.5.1.1 of the serial guide: 3.5 characters, and 1.750 ms above 19,200 bits a second. At 9,600 a character of eleven bits takes
/// 1.146 ms.
#[test]
fn the_silence_of_the_guide() {
    assert_eq!(silence(19_201), Span::new(1_750));
    assert_eq!(silence(115_200), Span::new(1_750));
    // 3.5 * 11 / 19,200 s, in whole bits: 38.
    assert!((1_979..=2_006).contains(&silence(19_200).get()));
    assert!((3_958..=4_011).contains(&silence(9_600).get()));
}

#[test]
fn a_frame_ends_with_silence_and_not_before() {
    let mut receiver = Receiver::new();
    let silence = silence(115_200);
    let mut frame = vec![0x11, 0x03, 0x00, 0x6B, 0x00, 0x03];
    frame.extend(checksum(&frame));
    // From memory, common to many guides: this request to device 17 ends with 76 87.
    assert_eq!(frame[6..], [0x76, 0x87]);
    let mut now = Micros::new(10_000);
    for byte in &frame {
        receiver.take(*byte, now);
        now = now.after(Span::new(1_000));
        assert_eq!(receiver.frame(now, silence), None, "a pause below the silence ends nothing");
    }
    now = now.after(Span::new(749));
    assert_eq!(receiver.frame(now, silence), None);
    now = now.after(Span::new(1));
    assert_eq!(receiver.frame(now, silence), Some((0x11, &[0x03, 0x00, 0x6B, 0x00, 0x03][..])));
    assert_eq!(receiver.frame(now, silence), None, "once");
    // A bit turned anywhere in it is no frame.
    for bit in 0..frame.len() * 8 {
        let mut turned = frame.clone();
        turned[bit / 8] ^= 1 << (bit % 8);
        turned.iter().for_each(|byte| receiver.take(*byte, now));
        now = now.after(Span::new(2_000));
        assert_eq!(receiver.frame(now, silence), None, "bit {bit}");
    }
    // The longest is taken, one byte more is not.
    for (length, whole) in [(254, true), (255, false)] {
        let mut long = vec![0x11; length];
        long.extend(checksum(&long));
        long.iter().for_each(|byte| receiver.take(*byte, now));
        now = now.after(Span::new(2_000));
        assert_eq!(receiver.frame(now, silence).is_some(), whole, "{length}");
    }
    let mut out = [0; rtu::MOST_FRAME];
    out[1..6].copy_from_slice(&[0x03, 0x00, 0x6B, 0x00, 0x03]);
    assert_eq!(rtu::frame(0x11, 5, &mut out), 8);
    assert_eq!(out[..8], frame);
}

/// From memory: *MODBUS Application Protocol*, section 4.1, and *Messaging on TCP/IP V1.0b*, section 3.1.3 and its example of the header:
/// transaction 15 01, protocol 00 00, length 00 06, unit FF, then a read of one register.
#[test]
fn the_header_of_the_guide() {
    let frame = [0x15, 0x01, 0x00, 0x00, 0x00, 0x06, 0xFF, 0x03, 0x00, 0x04, 0x00, 0x01];
    let expected = tcp::Request { transaction: [0x15, 0x01], unit: 0xFF, message: &frame[7..], taken: 12 };
    assert_eq!(tcp::take(&frame), Ok(Some(expected)));
    for short in 0..frame.len() {
        assert_eq!(tcp::take(&frame[..short]), Ok(None), "{short}");
    }
    // The answer of the same example: length 5, function 03, two bytes.
    assert_eq!(tcp::header([0x15, 0x01], 0xFF, 4), [0x15, 0x01, 0x00, 0x00, 0x00, 0x05, 0xFF]);
    // Another protocol, no message, and one longer than any.
    for lie in [[0, 1, 0, 6], [1, 0, 0, 6], [0, 0, 0, 0], [0, 0, 0, 1], [0, 0, 0, 255], [0, 0, 255, 255]] {
        let mut lying = frame;
        lying[2..6].copy_from_slice(&lie);
        assert_eq!(tcp::take(&lying), Err(tcp::Lost), "{lie:?}");
    }
}
