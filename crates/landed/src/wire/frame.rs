//! Frames: where a message begins and ends, and whether it came through whole.

use cobs::{DecodeResult, DecoderState, EncoderState, PushResult};
use serde::{Deserialize, Serialize};

use crate::record::keep::CRC;

/// The version of the protocol.
pub const PROTOCOL_VERSION: u8 = 1;
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
    pub fn message<T: Deserialize<'a>>(&self) -> Option<T> {
        let (message, rest) = postcard::take_from_bytes(self.body).ok()?;
        rest.is_empty().then_some(message)
    }
}

/// Finds frames in a stream of bytes. Never stalls: every zero byte ends whatever was under way, and the memory is bounded. The
/// cost of a byte is bounded too; that of the zero that ends a frame is in proportion to its length.
pub struct Decoder {
    state: DecoderState,
    inside: [u8; MOST_INSIDE],
    length: usize,
    /// Any byte since the last zero.
    any: bool,
    too_long: bool,
    errors: u32,
}

impl Decoder {
    /// A decoder at the beginning of a frame.
    #[must_use]
    pub const fn new() -> Self {
        Self { state: DecoderState::Idle, inside: [0; MOST_INSIDE], length: 0, any: false, too_long: false, errors: 0 }
    }

    /// Take one byte. A frame, or why one was thrown away, once it has ended.
    pub fn feed(&mut self, byte: u8) -> Option<Result<Frame<'_>, FrameError>> {
        if byte != 0 {
            self.any = true;
            self.data(byte);
            return None;
        }
        // Zeros between frames say nothing.
        if !core::mem::take(&mut self.any) {
            return None;
        }
        let whole = matches!(self.state.feed(0), Ok(DecodeResult::DataComplete));
        self.state = DecoderState::Idle;
        let length = core::mem::take(&mut self.length);
        let error = if core::mem::take(&mut self.too_long) {
            FrameError::TooLong
        } else if whole {
            match self.open(length) {
                // Looked at twice because a reference that is returned in one branch is held in all.
                Ok(_) => return Some(self.open(length)),
                Err(error) => error,
            }
        } else {
            FrameError::Garbled
        };
        self.errors = self.errors.saturating_add(1);
        Some(Err(error))
    }

    fn data(&mut self, byte: u8) {
        if self.too_long {
            return;
        }
        if let Ok(DecodeResult::DataContinue(data)) = self.state.feed(byte) {
            match self.inside.get_mut(self.length) {
                Some(slot) => {
                    *slot = data;
                    self.length = self.length.saturating_add(1);
                }
                None => self.too_long = true,
            }
        }
    }

    fn open(&self, length: usize) -> Result<Frame<'_>, FrameError> {
        let inside = self.inside.get(..length).unwrap_or(&[]);
        let (covered, trailer) = inside.split_last_chunk::<TRAILER>().ok_or(FrameError::Garbled)?;
        if CRC.checksum(covered) != u32::from_le_bytes(*trailer) {
            return Err(FrameError::Crc);
        }
        match covered {
            [PROTOCOL_VERSION, number, body @ ..] => Ok(Frame { number: *number, body }),
            [version, ..] if *version != PROTOCOL_VERSION => Err(FrameError::Version(*version)),
            _ => Err(FrameError::Garbled),
        }
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

/// Write a message as a frame into the front of `out`; [`MOST_FRAME`] bytes are always enough. `None` if the message or the
/// frame has no room.
pub fn encode<'o>(number: u8, message: &impl Serialize, out: &'o mut [u8]) -> Option<&'o [u8]> {
    let mut inside = [0; MOST_INSIDE];
    let (header, rest) = inside.split_first_chunk_mut::<HEADER>()?;
    *header = [PROTOCOL_VERSION, number];
    let body = postcard::to_slice(message, rest.get_mut(..MOST_BODY)?).ok()?.len();
    let covered = HEADER.saturating_add(body);
    let crc = CRC.checksum(inside.get(..covered)?).to_le_bytes();
    let all = inside.get(..covered)?.iter().chain(&crc);
    let length = stuff(all.copied(), out)?;
    out.get(..length)
}

/// COBS with the zero at the end. How many bytes it took.
fn stuff(bytes: impl Iterator<Item = u8>, out: &mut [u8]) -> Option<usize> {
    let mut state = EncoderState::default();
    // A place for the first distance is there from the beginning.
    let mut at = 1_usize;
    // After 254 bytes without a zero a place is opened that the end may not need.
    let mut spare = false;
    let mut put = |at: usize, byte: u8| out.get_mut(at).map(|slot| *slot = byte);
    for byte in bytes {
        if core::mem::take(&mut spare) {
            at = at.checked_add(1)?;
        }
        match state.push(byte) {
            PushResult::AddSingle(data) => {
                put(at, data)?;
                at = at.checked_add(1)?;
            }
            PushResult::ModifyFromStartAndSkip((place, distance)) => {
                put(place, distance)?;
                at = at.checked_add(1)?;
            }
            PushResult::ModifyFromStartAndPushAndSkip((place, distance, data)) => {
                put(place, distance)?;
                put(at, data)?;
                at = at.checked_add(1)?;
                spare = true;
            }
        }
    }
    if !spare {
        let (place, distance) = state.finalize();
        put(place, distance)?;
    }
    put(at, 0)?;
    at.checked_add(1)
}

#[cfg(test)]
#[path = "frame_tests.rs"]
mod tests;
