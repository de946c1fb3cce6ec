//! Settings in two slots: power lost at any byte leaves one of them good.
//!
//! A slot, from its first byte: a header of 16 bytes, filled up to whole write units (four letters `SLOT`; the sequence
//! number; the length of the image; the identity of the settings before, 0 if there were none; each 4 bytes, low byte
//! first), the image filled up with FF, and at the very end of the slot four words, each in write units of its own: the CRC
//! of header and image; the mark, which says that all before it is written; the erased word, which says that the other slot was
//! erased to take a successor; and the successor's word, which says that the other slot was whole once and newer than this one.
//!
//! The older slot is erased, upon which the slot before gets its erased word; written, its mark last; read back; and only then the
//! slot before gets its successor's word. So in whatever slot writing or erasing was broken off, the other one is good and counts.
//! Damage is told from that: a good slot with a successor's word had a sound successor; and behind an erased word the other slot has
//! a mark only if all of it was written. If it cannot be read then, that is a fault: the settings before were replaced for a reason.
//! Of a mark or a word a single bit is enough.
//!
//! Why not the library `sequential-storage`, which is made for such things and far better tested: it skips a damaged item
//! and hands out the one before without a word (`tests/why_own_store.rs` shows it), where this box must stop; and an item
//! of it must fit into one erase block, which on small parts is 1,024 bytes and less than a plan.

use embedded_storage::nor_flash::NorFlash;
use slackside::settings::plan::Plan;

use super::{CRC, Layout, StoreError, round_up};

/// The header's bytes.
pub(super) const HEADER: u32 = 16;
const LETTERS: [u8; 4] = *b"SLOT";
/// What a mark or a successor's word is written as.
const SET: [u8; 4] = [0; 4];

/// What is in the slots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// Nothing was ever written.
    Blank,
    /// An image, copied into the front of the buffer.
    Image {
        /// Its length.
        length: usize,
        /// The identity of the settings before it; `None` if there were none.
        before: Option<u32>,
    },
    /// Something was written and cannot be read.
    Damaged,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Slot {
    /// Nothing, or without its mark.
    Empty,
    /// Marked, but not sound.
    Bad,
    Good {
        number: u32,
        length: u32,
        before: u32,
        /// The other slot was erased for a successor.
        erased: bool,
        succeeded: bool,
    },
}

impl Slot {
    const fn number(self) -> Option<u32> {
        match self {
            Self::Good { number, .. } => Some(number),
            Self::Empty | Self::Bad => None,
        }
    }

    /// Whether `other`, which is not good, was a successor that has been damaged: not one that was never finished.
    const fn lost_its_successor(self, other: Self) -> bool {
        match self {
            Self::Good { erased, succeeded, .. } => succeeded || (erased && matches!(other, Self::Bad)),
            Self::Empty | Self::Bad => false,
        }
    }
}

/// The two slots.
#[derive(Clone, Copy, Debug)]
pub struct Slots {
    starts: [u32; 2],
    length: u32,
}

/// The largest write unit and buffer for one write.
pub(super) const CHUNK: usize = 64;

impl Slots {
    /// The slots of a layout.
    #[must_use]
    pub const fn new(layout: &Layout) -> Self {
        Self { starts: layout.slots, length: layout.slot_length }
    }

    /// The last words of a slot: 0 the CRC, 1 the mark, 2 the erased word, 3 the successor's word.
    const fn word_at<F: NorFlash>(&self, start: u32, word: u32) -> u32 {
        let from_end = 4_u32.saturating_sub(word).saturating_mul(word_length::<F>());
        start.saturating_add(self.length).saturating_sub(from_end)
    }

    /// Read one slot, its image into `buffer`.
    fn read<F: NorFlash>(&self, flash: &mut F, start: u32, buffer: &mut [u8]) -> Result<Slot, StoreError> {
        let mut header = [0; HEADER as usize];
        read_any(flash, start, &mut header)?;
        let mut words = [[0; 4]; 4];
        for (word, at) in words.iter_mut().zip(0..) {
            read_any(flash, self.word_at::<F>(start, at), word)?;
        }
        let [crc, mark, erased, successor] = words;
        if mark == [0xFF; 4] {
            return Ok(Slot::Empty);
        }
        let ([letters, number, length, before], []) = header.as_chunks::<4>() else { return Ok(Slot::Bad) };
        let [number, length, before] = [number, length, before].map(|bytes| u32::from_le_bytes(*bytes));
        let image = usize::try_from(length).ok().and_then(|length| buffer.get_mut(..length));
        let Some(image) = image.filter(|_| *letters == LETTERS) else { return Ok(Slot::Bad) };
        read_any(flash, start.saturating_add(header_length::<F>()), image)?;
        let sound = sum(&header, image) == u32::from_le_bytes(crc);
        let (erased, succeeded) = (erased != [0xFF; 4], successor != [0xFF; 4]);
        Ok(if sound { Slot::Good { number, length, before, erased, succeeded } } else { Slot::Bad })
    }

    /// Both slots, in order.
    fn both<F: NorFlash>(&self, flash: &mut F, buffer: &mut [u8]) -> Result<[Slot; 2], StoreError> {
        let [first, second] = self.starts;
        Ok([self.read(flash, first, buffer)?, self.read(flash, second, buffer)?])
    }

    /// The newest image, copied into `buffer`, which must have room for [`Plan::LENGTH`].
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn load<F: NorFlash>(&self, flash: &mut F, buffer: &mut [u8]) -> Result<Found, StoreError> {
        let [first_start, second_start] = self.starts;
        let [first, second] = self.both(flash, buffer)?;
        let start = match (first.number(), second.number()) {
            (Some(a), Some(b)) if newer(a, b) => first_start,
            (Some(_), Some(_)) => second_start,
            // What came after it cannot be read.
            (Some(_), None) if first.lost_its_successor(second) => return Ok(Found::Damaged),
            (None, Some(_)) if second.lost_its_successor(first) => return Ok(Found::Damaged),
            (Some(_), None) => first_start,
            (None, Some(_)) => second_start,
            (None, None) if first == Slot::Empty && second == Slot::Empty => return Ok(Found::Blank),
            (None, None) => return Ok(Found::Damaged),
        };
        Ok(match self.read(flash, start, buffer)? {
            Slot::Good { length, before, .. } => Found::Image {
                length: usize::try_from(length).unwrap_or(usize::MAX),
                before: if before == 0 { None } else { Some(before) },
            },
            Slot::Empty | Slot::Bad => Found::Damaged,
        })
    }

    /// Store an image over the older slot. `before` is the identity of the settings it replaces.
    ///
    /// # Errors
    /// [`StoreError::TooLong`] or [`StoreError::Flash`]: the settings before still stand then. [`StoreError::InDoubt`] if it does not
    /// read back, or what followed failed: which of the two count after the next power-up is not known.
    pub fn store<F: NorFlash>(
        &self,
        flash: &mut F,
        image: &[u8],
        before: Option<u32>,
        scratch: &mut [u8; Plan::LENGTH],
    ) -> Result<(), StoreError> {
        if image.len() > Plan::LENGTH {
            return Err(StoreError::TooLong);
        }
        let [first_start, second_start] = self.starts;
        let [first, second] = self.both(flash, scratch)?;
        // Over the one that is worth less.
        let over_first = match (first.number(), second.number()) {
            (Some(a), Some(b)) => newer(b, a),
            (Some(_), None) => false,
            (None, _) => true,
        };
        let (start, other_start, other) =
            if over_first { (first_start, second_start, second) } else { (second_start, first_start, first) };
        let number = other.number().map_or(0, |number| number.wrapping_add(1));
        flash.erase(start, start.saturating_add(self.length)).map_err(|_| StoreError::Flash)?;
        if matches!(other, Slot::Good { erased: false, .. }) {
            write_padded(flash, self.word_at::<F>(other_start, 2), &SET)?;
        }
        let length = u32::try_from(image.len()).map_err(|_| StoreError::TooLong)?;
        let mut header = [0; HEADER as usize];
        let words = [u32::from_le_bytes(LETTERS), number, length, before.unwrap_or(0)];
        for (slot, byte) in header.iter_mut().zip(words.into_iter().flat_map(u32::to_le_bytes)) {
            *slot = byte;
        }
        write_padded(flash, start, &header)?;
        write_padded(flash, start.saturating_add(header_length::<F>()), image)?;
        write_padded(flash, self.word_at::<F>(start, 0), &sum(&header, image).to_le_bytes())?;
        // From here on it may count.
        let in_doubt = |_| StoreError::InDoubt;
        write_padded(flash, self.word_at::<F>(start, 1), &SET).map_err(in_doubt)?;
        if self.read(flash, start, scratch).map_err(in_doubt)?.number() != Some(number) {
            return Err(StoreError::InDoubt);
        }
        if matches!(other, Slot::Good { succeeded: false, .. }) {
            write_padded(flash, self.word_at::<F>(other_start, 3), &SET).map_err(in_doubt)?;
        }
        Ok(())
    }
}

fn sum(header: &[u8], image: &[u8]) -> u32 {
    let mut digest = CRC.digest();
    digest.update(header);
    digest.update(image);
    digest.finalize()
}

/// Whether sequence number `a` comes after `b`, wrapping.
pub(super) const fn newer(a: u32, b: u32) -> bool {
    (a.wrapping_sub(b) as i32) > 0
}

pub(super) const fn header_length<F: NorFlash>() -> u32 {
    round_up(HEADER, F::WRITE_SIZE as u32)
}

/// A word that is written by itself.
pub(super) const fn word_length<F: NorFlash>() -> u32 {
    round_up(4, F::WRITE_SIZE as u32)
}

/// Write `bytes`, filled up with FF to whole write units.
pub(super) fn write_padded<F: NorFlash>(flash: &mut F, at: u32, bytes: &[u8]) -> Result<(), StoreError> {
    const {
        assert!(F::WRITE_SIZE <= CHUNK && CHUNK.is_multiple_of(F::WRITE_SIZE), "write unit must divide 64");
    }
    let mut at = at;
    for part in bytes.chunks(CHUNK) {
        let mut chunk = [0xFF; CHUNK];
        for (slot, byte) in chunk.iter_mut().zip(part) {
            *slot = *byte;
        }
        let length = part.len().checked_next_multiple_of(F::WRITE_SIZE).unwrap_or(CHUNK);
        flash.write(at, chunk.get(..length).unwrap_or(&chunk)).map_err(|_| StoreError::Flash)?;
        at = at.saturating_add(CHUNK as u32);
    }
    Ok(())
}

/// Read whatever length, whatever the read unit.
pub(super) fn read_any<F: NorFlash>(flash: &mut F, at: u32, bytes: &mut [u8]) -> Result<(), StoreError> {
    const {
        assert!(F::READ_SIZE <= CHUNK && CHUNK.is_multiple_of(F::READ_SIZE), "read unit must divide 64");
    }
    let mut at = at;
    for part in bytes.chunks_mut(CHUNK) {
        let mut chunk = [0; CHUNK];
        let length = part.len().checked_next_multiple_of(F::READ_SIZE).unwrap_or(CHUNK);
        let whole = chunk.get_mut(..length).ok_or(StoreError::Flash)?;
        flash.read(at, whole).map_err(|_| StoreError::Flash)?;
        for (slot, byte) in part.iter_mut().zip(chunk) {
            *slot = byte;
        }
        at = at.saturating_add(CHUNK as u32);
    }
    Ok(())
}
