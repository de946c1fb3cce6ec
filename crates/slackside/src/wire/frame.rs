//! Frames: where a message begins and ends, and whether it came through whole.

use super::cobs::{Unstuffer, stuff};
use super::written::Readable;
use crate::codec::crc::{checked, checksum};
use crate::codec::message::{self, Message};

/// The version of the protocol.
pub const PROTOCOL_VERSION: u8 = 3;
/// The most bytes of a message.
pub const MOST_BODY: usize = 288;
const HEADER: usize = 2;
const TRAILER: usize = 4;
const MOST_INSIDE: usize = HEADER + MOST_BODY + TRAILER;
/// The most bytes of a frame on the wire: one more for each 254, the first of them, and the zero.
pub const MOST_FRAME: usize = MOST_INSIDE + MOST_INSIDE / 254 + 2;

/// Why a frame was thrown away. The reader goes on with the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum FrameError {
    /// Cut off, or never a frame.
    Garbled,
    /// Longer than any frame is.
    TooLong,
    /// A byte was changed on the way.
    Crc,
    /// Of a version this program does not speak.
    Version(u8),
}

/// One frame that came through whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The number of the request.
    pub number: u8,
    body: &'a [u8],
}

impl<'a> Frame<'a> {
    /// The message in it; `None` if it is none of this type, or longer than one.
    #[must_use]
    pub fn message<T: Readable<'a>>(&self) -> Option<T> {
        T::read(self.body)
    }
}

/// Finds frames in a stream of bytes. Never stalls: every zero byte ends whatever was under way, and the memory is bounded. The
/// cost of a byte is bounded too; that of the zero that ends a frame is in proportion to its length.
pub struct Decoder {
    errors: u32,
    length: u16,
    unstuffer: Unstuffer,
    /// Any byte since the last zero.
    any: bool,
    inside: [u8; MOST_INSIDE],
}

impl Decoder {
    /// A decoder at the beginning of a frame.
    #[must_use]
    pub const fn new() -> Self {
        Self { errors: 0, length: 0, unstuffer: Unstuffer::NEW, any: false, inside: [0; MOST_INSIDE] }
    }

    /// Take one byte. A frame, or why one was thrown away, once it has ended.
    pub fn feed(&mut self, byte: u8) -> Option<Result<Frame<'_>, FrameError>> {
        if byte != 0 {
            self.any = true;
            if let Some(said) = self.unstuffer.take(byte) {
                if let Some(slot) = self.inside.get_mut(usize::from(self.length)) {
                    *slot = said;
                }
                self.length = self.length.saturating_add(1);
            }
            return None;
        }
        // Zeros between frames say nothing.
        if !core::mem::take(&mut self.any) {
            return None;
        }
        let length = usize::from(core::mem::take(&mut self.length));
        let whole = core::mem::take(&mut self.unstuffer).is_whole();
        let opened = match self.inside.get(..length) {
            None => Err(FrameError::TooLong),
            Some(inside) if whole => open(inside),
            Some(_) => Err(FrameError::Garbled),
        };
        self.errors = self.errors.saturating_add(opened.is_err().into());
        Some(opened)
    }

    /// Frames thrown away so far, held at the end of the type.
    #[must_use]
    pub const fn errors(&self) -> u32 {
        self.errors
    }
}

impl Default for Decoder {
    fn default() -> Self {
        Self::new()
    }
}

fn open(inside: &[u8]) -> Result<Frame<'_>, FrameError> {
    if inside.len() < TRAILER {
        return Err(FrameError::Garbled);
    }
    match checked(inside).ok_or(FrameError::Crc)? {
        [PROTOCOL_VERSION, number, body @ ..] => Ok(Frame { number: *number, body }),
        [version, ..] if *version != PROTOCOL_VERSION => Err(FrameError::Version(*version)),
        _ => Err(FrameError::Garbled),
    }
}

/// Write a message as a frame into the front of `out`; [`MOST_FRAME`] bytes are always enough. `None` if the message or the
/// frame has no room.
pub fn encode<'o>(number: u8, what: &dyn Message, out: &'o mut [u8]) -> Option<&'o [u8]> {
    let mut inside = [0; HEADER + MOST_BODY];
    let (header, rest) = inside.split_first_chunk_mut::<HEADER>()?;
    *header = [PROTOCOL_VERSION, number];
    let body = message::write(what, rest)?;
    let length = seal(inside.get(..HEADER.wrapping_add(body))?, out)?;
    out.get(..length)
}

/// With the sum, stuffed.
#[inline(never)]
fn seal(covered: &[u8], out: &mut [u8]) -> Option<usize> {
    stuff(covered.iter().chain(&checksum(covered).to_le_bytes()), out)
}

#[cfg(test)]
#[path = "frame_tests.rs"]
mod tests;
