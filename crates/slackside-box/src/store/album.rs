//! Recordings in flash, each in a place of its own; the oldest makes way.
//!
//! A recording's number says its place: the rest of its division by how many places there are. So a recording is found by reading one
//! header, however many places there are, and the places are looked through only when the box starts.
//!
//! A place begins with a header of 40 bytes, filled up to whole write units: four letters `RECD`; the recording's number; its
//! length; the CRC of its bytes; the identity of the settings; the session; when it tripped, lower and upper half; the position
//! of the first-out in the list of conditions, FFFFFFFF if there is none; and the CRC of these 36 bytes; each 4 bytes, low
//! byte first. The header is written last: a recording that power interrupted is not there.

use embedded_storage::nor_flash::NorFlash;
use slackside::conditions::Condition;
use slackside::units::Micros;

use super::slots::{CHUNK, newer, read_any, write_padded};
use super::{CRC, Layout, StoreError, round_up};

/// The header's bytes.
pub(super) const HEADER: u32 = 40;
const LETTERS: [u8; 4] = *b"RECD";
/// So many chunks are read back in one call.
const CHECKED_AT_ONCE: usize = 8;
/// More places are not used: which of them hold a recording is kept in as many bits.
pub(super) const MOST_PLACES: u32 = 64;

/// One recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Counts up with each recording; never used twice in a box's life, short of four thousand million.
    pub number: u32,
    /// Its length in bytes.
    pub length: u32,
    /// The CRC-32/ISO-HDLC of its bytes.
    pub crc: u32,
    /// What it is about.
    pub about: About,
    place: u32,
}

/// What a recording is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// The identity of the settings in force.
    pub settings: u32,
    /// The session it is from.
    pub session: u32,
    /// When the leg tripped, in that session's running time; zero if it did not.
    pub tripped_at: Micros,
    /// What tripped it first.
    pub first_out: Option<Condition>,
}

/// A recording being written.
#[derive(Clone, Debug)]
struct Writing {
    place: u32,
    erased: u32,
    written: u32,
    /// How much was read back, and its sum.
    read: u32,
    read_sum: Sum,
    sum: Sum,
    about: About,
    pending: heapless::Vec<u8, CHUNK>,
}

/// All recordings.
#[derive(Clone, Debug)]
pub struct Album {
    start: u32,
    place_length: u32,
    places: u32,
    /// The number of the next recording.
    number: u32,
    /// Which places hold one of the newest numbers: bit 0 stands for the first.
    there: u64,
    writing: Option<Writing>,
}

/// A running CRC that can be kept between calls (the library's digest borrows its table).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Sum(u32);

impl Sum {
    const fn new() -> Self {
        Self(u32::MAX)
    }

    /// CRC-32/ISO-HDLC, bit by bit; a test holds it against the library.
    fn update(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 ^= u32::from(*byte);
            for _ in 0..8 {
                self.0 = (self.0 >> 1) ^ if self.0 & 1 == 1 { 0xEDB8_8320 } else { 0 };
            }
        }
    }

    const fn finish(self) -> u32 {
        !self.0
    }
}

impl Album {
    /// Look through the places for the newest number.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn open<F: NorFlash>(layout: &Layout, flash: &mut F) -> Result<Self, StoreError> {
        let mut album = Self {
            start: layout.album,
            place_length: layout.place_length,
            places: layout.places,
            number: 0,
            there: 0,
            writing: None,
        };
        for place in 0..album.places {
            let Some(entry) = album.entry(flash, place)? else { continue };
            let after = entry.number.wrapping_add(1);
            if album.there == 0 || newer(after, album.number) {
                album.number = after;
            }
            album.put(place, true);
        }
        // What lies elsewhere than its number says was written with another number of places.
        for place in 0..album.places {
            let found = album.entry(flash, place)?.map(|entry| entry.number);
            album.put(place, found.is_some() && found == album.number_in(place));
        }
        Ok(album)
    }

    /// A recording is in that place, or none.
    const fn put(&mut self, place: u32, is: bool) {
        let bit = 1_u64.wrapping_shl(place);
        self.there = if is { self.there | bit } else { self.there & !bit };
    }

    /// The place of a number.
    const fn place_of(&self, number: u32) -> u32 {
        match number.checked_rem(self.places) {
            Some(place) => place,
            None => 0,
        }
    }

    /// The newest number that belongs into that place, of those given out.
    fn number_in(&self, place: u32) -> Option<u32> {
        let mut numbers = (1..=self.places).map_while(|back| self.number.checked_sub(back));
        numbers.find(|number| self.place_of(*number) == place)
    }

    /// The longest recording that fits.
    #[must_use]
    pub const fn capacity<F: NorFlash>(&self) -> u32 {
        self.place_length.saturating_sub(round_up(HEADER, F::WRITE_SIZE as u32))
    }

    /// How many recordings have a place.
    #[must_use]
    pub const fn places(&self) -> u32 {
        self.places
    }

    const fn address(&self, place: u32) -> u32 {
        self.start.saturating_add(place.saturating_mul(self.place_length))
    }

    const fn data<F: NorFlash>(&self, place: u32) -> u32 {
        self.address(place).saturating_add(round_up(HEADER, F::WRITE_SIZE as u32))
    }

    fn entry<F: NorFlash>(&self, flash: &mut F, place: u32) -> Result<Option<Entry>, StoreError> {
        let mut header = [0; HEADER as usize];
        read_any(flash, self.address(place), &mut header)?;
        let ([letters, words @ ..], []) = header.as_chunks::<4>() else { return Ok(None) };
        let Some(words) = words.first_chunk::<9>() else { return Ok(None) };
        let [number, length, crc, settings, session, low, high, first_out, sum] = words.map(u32::from_le_bytes);
        let covered = header.first_chunk::<36>().map_or(0, |covered| CRC.checksum(covered));
        let sound = *letters == LETTERS && covered == sum && length <= self.capacity::<F>();
        let tripped_at = Micros::new((u64::from(high) << 32) | u64::from(low));
        let first_out = u8::try_from(first_out).ok().and_then(Condition::from_id);
        let about = About { settings, session, tripped_at, first_out };
        Ok(sound.then_some(Entry { number, length, crc, about, place }))
    }

    /// The numbers of the recordings, newest first; without a look at the flash.
    pub fn numbers(&self) -> impl Iterator<Item = u32> {
        let numbers = (1..=self.places).map_while(|back| self.number.checked_sub(back));
        numbers.filter(|number| self.there & 1_u64.wrapping_shl(self.place_of(*number)) != 0)
    }

    /// The recording of that number.
    ///
    /// # Errors
    /// [`StoreError::NotThere`], [`StoreError::Flash`].
    pub fn find<F: NorFlash>(&self, flash: &mut F, number: u32) -> Result<Entry, StoreError> {
        let place = self.place_of(number);
        let entry = if self.numbers().any(|one| one == number) { self.entry(flash, place)? } else { None };
        entry.filter(|entry| entry.number == number).ok_or(StoreError::NotThere)
    }

    /// Read from a recording, from `offset` on: the number of bytes read, 0 at its end.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn read<F: NorFlash>(
        &self,
        flash: &mut F,
        entry: &Entry,
        offset: u32,
        buffer: &mut [u8],
    ) -> Result<usize, StoreError> {
        let left = usize::try_from(entry.length.saturating_sub(offset)).unwrap_or(usize::MAX);
        let count = left.min(buffer.len());
        // A flash may want reads to begin on its read unit.
        let unit = F::READ_SIZE.max(1) as u32;
        let skip = offset.checked_rem(unit).unwrap_or(0);
        let at = self.data::<F>(entry.place).saturating_add(offset).saturating_sub(skip);
        if skip == 0 {
            read_any(flash, at, buffer.get_mut(..count).ok_or(StoreError::TooLong)?)?;
            return Ok(count);
        }
        let mut chunk = [0; CHUNK];
        read_any(flash, at, &mut chunk)?;
        let fresh = chunk.iter().skip(skip as usize).take(count);
        Ok(buffer.iter_mut().zip(fresh).map(|(slot, byte)| *slot = *byte).count())
    }

    /// Begin a recording over the oldest. One that was being written is given up.
    pub fn begin(&mut self, about: About) {
        let place = self.place_of(self.number);
        self.put(place, false);
        self.writing = Some(Writing {
            place,
            erased: 0,
            written: 0,
            read: 0,
            read_sum: Sum::new(),
            sum: Sum::new(),
            about,
            pending: heapless::Vec::new(),
        });
    }

    /// Give up the recording being written: its place stays empty, and the next recording gets another.
    pub fn give_up(&mut self) {
        if self.writing.take().is_some() {
            self.number = self.number.wrapping_add(1);
        }
    }

    /// Whether a recording is being written.
    #[must_use]
    pub const fn is_writing(&self) -> bool {
        self.writing.is_some()
    }

    /// Erase one more block of the place begun. Whether all of it is erased: only then may bytes be added.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if none is begun, [`StoreError::Flash`].
    pub fn erase_on<F: NorFlash>(&mut self, flash: &mut F) -> Result<bool, StoreError> {
        let (start, length) = (self.start, self.place_length);
        let writing = self.writing.as_mut().ok_or(StoreError::NotThere)?;
        if writing.erased < length {
            let from = start.saturating_add(writing.place.saturating_mul(length)).saturating_add(writing.erased);
            let block = F::ERASE_SIZE as u32;
            flash.erase(from, from.saturating_add(block)).map_err(|_| StoreError::Flash)?;
            writing.erased = writing.erased.saturating_add(block);
        }
        Ok(writing.erased >= length)
    }

    /// Add bytes to the recording begun.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if none is begun or its place is not erased yet, [`StoreError::TooLong`],
    /// [`StoreError::Flash`].
    pub fn add<F: NorFlash>(&mut self, flash: &mut F, bytes: &[u8]) -> Result<(), StoreError> {
        let capacity = self.capacity::<F>();
        let (place_length, data) = (self.place_length, self.writing.as_ref().map(|w| self.data::<F>(w.place)));
        let (Some(writing), Some(data)) = (self.writing.as_mut(), data) else { return Err(StoreError::NotThere) };
        if writing.erased < place_length {
            return Err(StoreError::NotThere);
        }
        let total = u32::try_from(writing.pending.len().saturating_add(bytes.len())).unwrap_or(u32::MAX);
        if writing.written.saturating_add(total) > capacity {
            return Err(StoreError::TooLong);
        }
        writing.sum.update(bytes);
        for byte in bytes {
            // There is room: a full buffer is written and emptied below.
            let _ = writing.pending.push(*byte);
            if writing.pending.is_full() {
                write_padded(flash, data.saturating_add(writing.written), &writing.pending)?;
                writing.written = writing.written.saturating_add(CHUNK as u32);
                writing.pending.clear();
            }
        }
        Ok(())
    }

    /// Read some more of the recording begun back; the rest of what was added is written first. Whether all of it was read.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if none is begun, [`StoreError::Damaged`] if it does not read back, [`StoreError::Flash`].
    pub fn check_on<F: NorFlash>(&mut self, flash: &mut F) -> Result<bool, StoreError> {
        let data = self.writing.as_ref().map(|writing| self.data::<F>(writing.place));
        let (Some(writing), Some(data)) = (self.writing.as_mut(), data) else { return Err(StoreError::NotThere) };
        if !writing.pending.is_empty() {
            write_padded(flash, data.saturating_add(writing.written), &writing.pending)?;
            writing.written = writing.written.saturating_add(writing.pending.len() as u32);
            writing.pending.clear();
        }
        for _ in 0..CHECKED_AT_ONCE {
            let mut chunk = [0; CHUNK];
            let left = writing.written.saturating_sub(writing.read).min(CHUNK as u32);
            let Some(part) = chunk.get_mut(..left as usize).filter(|part| !part.is_empty()) else { break };
            read_any(flash, data.saturating_add(writing.read), part)?;
            writing.read_sum.update(part);
            writing.read = writing.read.saturating_add(left);
        }
        if writing.read < writing.written {
            return Ok(false);
        }
        if writing.read_sum == writing.sum { Ok(true) } else { Err(StoreError::Damaged) }
    }

    /// Finish the recording begun, once [all of it was read back](Self::check_on).
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if none is begun, [`StoreError::Damaged`] if it was not read back, [`StoreError::Flash`].
    pub fn finish<F: NorFlash>(&mut self, flash: &mut F) -> Result<Entry, StoreError> {
        let writing = self.writing.as_ref().ok_or(StoreError::NotThere)?;
        if writing.read_sum != writing.sum || writing.read != writing.written {
            return Err(StoreError::Damaged);
        }
        let (place, number) = (writing.place, self.number);
        let mut header = [0; HEADER as usize];
        let About { settings, session, tripped_at, first_out } = writing.about;
        let (low, high) = (tripped_at.get() as u32, (tripped_at.get() >> 32) as u32);
        let first_out = first_out.map_or(u32::MAX, |condition| condition.id().into());
        let sum = writing.sum.finish();
        let words =
            [u32::from_le_bytes(LETTERS), number, writing.written, sum, settings, session, low, high, first_out];
        let (covered, sum) = header.split_at_mut(36);
        for (slot, byte) in covered.iter_mut().zip(words.into_iter().flat_map(u32::to_le_bytes)) {
            *slot = byte;
        }
        sum.copy_from_slice(&CRC.checksum(covered).to_le_bytes());
        write_padded(flash, self.address(place), &header)?;
        let entry = self.entry(flash, place)?.filter(|entry| entry.number == number).ok_or(StoreError::Damaged)?;
        self.writing = None;
        self.number = number.wrapping_add(1);
        self.put(place, true);
        Ok(entry)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_running_sum_is_the_librarys() {
        let mut sum = Sum::new();
        sum.update(b"1234");
        sum.update(b"56789");
        // CRC-32/ISO-HDLC of "123456789", the catalogue's check value.
        assert_eq!(sum.finish(), 0xCBF4_3926);
        assert_eq!(CRC.checksum(b"123456789"), 0xCBF4_3926);
    }
}
