//! Frames on a serial line: *MODBUS over Serial Line Specification and Implementation Guide V1.02*, section 2.5.1.
//!
//! ```text
//! silence | address | function and data | CRC, low byte first | silence
//! ```
//! Where a frame ends only silence tells: 3.5 characters, or 1.75 ms above 19,200 bits a second. A pause of 1.5 characters *within* a frame
//! is borne: a frame torn by it has a CRC that does not fit.

use crc::{CRC_16_MODBUS, Crc};
use slackside::arith::mul_div;
use slackside::units::{Micros, Span};

use crate::server::MOST_PDU;

/// The longest frame: address, message, CRC.
pub const MOST_FRAME: usize = MOST_PDU + 3;
/// The address that means everybody; nobody answers it.
pub const BROADCAST: u8 = 0;
/// A character: start, eight data bits, parity or a second stop bit, stop.
pub const BITS_A_CHARACTER: u32 = 11;

/// Without a table: the line is slow and flash is dear.
const CRC: Crc<u16, crc::NoTable> = Crc::<u16, crc::NoTable>::new(&CRC_16_MODBUS);

/// What the two last bytes of a frame must be: low byte first.
#[must_use]
pub fn checksum(bytes: &[u8]) -> [u8; 2] {
    CRC.checksum(bytes).to_le_bytes()
}

/// The silence that ends a frame.
#[must_use]
pub const fn silence(bits_a_second: u32) -> Span {
    // Section 2.5.1.1: "for baud rates greater than 19200 bps, fixed values … 1.750 ms for t3.5".
    Span::new(if bits_a_second > 19_200 { 1_750 } else { mul_div(1_000_000, BITS_A_CHARACTER * 7 / 2, bits_a_second) })
}

/// How long `characters` take on the line.
#[must_use]
pub const fn on_the_line(characters: u32, bits_a_second: u32) -> Span {
    Span::new(mul_div(1_000_000, characters.saturating_mul(BITS_A_CHARACTER), bits_a_second).saturating_add(1))
}

/// Puts frames together from bytes and silence. All zeros at first, so that a static one takes no flash.
#[derive(Clone, Debug)]
pub struct Receiver {
    bytes: [u8; MOST_FRAME],
    /// Bytes that came since the last silence, those without room among them.
    came: usize,
    newest: Micros,
}

impl Default for Receiver {
    fn default() -> Self {
        Self::new()
    }
}

impl Receiver {
    /// Nothing came yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: [0; MOST_FRAME], came: 0, newest: Micros::ZERO }
    }

    /// A byte came.
    pub fn take(&mut self, byte: u8, now: Micros) {
        if let Some(slot) = self.bytes.get_mut(self.came) {
            *slot = byte;
        }
        self.came = self.came.saturating_add(1);
        self.newest = now;
    }

    /// The frame that this much [`silence`] has ended: the address it is for, and its message. Whatever it was, it is gone afterwards.
    pub fn frame(&mut self, now: Micros, silence: Span) -> Option<(u8, &[u8])> {
        if self.came == 0 || now.since(self.newest) < silence {
            return None;
        }
        let came = core::mem::take(&mut self.came);
        let (covered, sum) = self.bytes.get(..came)?.split_last_chunk::<2>()?;
        let (address, message) = covered.split_first()?;
        (*sum == checksum(covered)).then_some((*address, message))
    }

    /// What came so far is none of it for us.
    pub const fn forget(&mut self) {
        self.came = 0;
    }
}

/// Frame the message of `length` bytes that lies in `out` behind its first byte: the frame's length, 0 if there is no room for it.
pub fn frame(address: u8, length: usize, out: &mut [u8; MOST_FRAME]) -> usize {
    let [first, ..] = out;
    *first = address;
    let end = length.saturating_add(1);
    let Some((covered, rest)) = out.split_at_mut_checked(end) else { return 0 };
    let Some(place) = rest.first_chunk_mut::<2>() else { return 0 };
    *place = checksum(covered);
    end.saturating_add(2)
}
