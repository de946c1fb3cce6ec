//! Recordings in flash, each in a place of its own; the oldest makes way.
//!
//! A recording's number says its place: the rest of its division by how many places there are. So a recording is found by reading one
//! header, however many places there are, and the places are looked through only when the box starts.
//!
//! A place begins with the recording's [label](super::label), filled up to whole write units, written last. Behind it the bytes. At the
//! end of the place lies the label of what was begun there, written first: a recording that power interrupted is found by it
//! when the box starts, and [labelled](Album::salvaged) as far as its bytes go. Before that label lie up to 63 bytes that waited for
//! a whole chunk when there was nothing more to add for a while: where they belong and how many, each 4 bytes, low byte first; 64
//! bytes, filled up with FF; and the CRC of these 72.
//!
//! The place of the next recording is [erased ahead](Album::erase_ahead), so that a recording can be written while nothing may be erased.
//! Where there is only one place, it is not: nothing would be left.

use embedded_storage::nor_flash::NorFlash;

use super::label::{About, BEGUN, LABEL, Label, WHOLE};
use super::slots::{CHUNK, newer, read_any, write_padded};
use super::{CRC, Layout, StoreError, round_up};

/// What is kept of bytes that wait: where, how many, a chunk, and their sum.
const TAIL: u32 = CHUNK as u32 + 12;
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

/// A recording being written.
#[derive(Clone, Debug)]
struct Writing {
    place: u32,
    erased: u32,
    /// The label of what is begun is there; and the bytes that wait were kept.
    labelled: bool,
    tail_kept: bool,
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
    /// So many bytes of the next recording's place are erased ahead.
    ahead: u32,
    salvaged: Option<u32>,
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
    /// Look through the places for the newest number, and label what power interrupted.
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
            ahead: 0,
            salvaged: None,
        };
        let mut begun: Option<Label> = None;
        for place in 0..album.places {
            let Some(entry) = album.entry(flash, place)? else {
                let at = album.begun_at::<F>(place);
                let label = Label::read(flash, at, BEGUN)?.filter(|label| album.place_of(label.number) == place);
                if let Some(label) = label
                    && begun.is_none_or(|before| newer(label.number, before.number))
                {
                    begun = Some(label);
                }
                continue;
            };
            let after = entry.number.wrapping_add(1);
            if album.there == 0 || newer(after, album.number) {
                album.number = after;
            }
            album.put(place, true);
        }
        let is_next = |label: &Label| album.there == 0 || !newer(album.number, label.number);
        if let Some(label) = begun.filter(is_next) {
            album.number = label.number;
            album.salvage(flash, label)?;
        }
        // What lies elsewhere than its number says was written with another number of places.
        for place in 0..album.places {
            let found = album.entry(flash, place)?.map(|entry| entry.number);
            album.put(place, found.is_some() && found == album.number_in(place));
        }
        if album.places > 1 && album.is_blank(flash, album.place_of(album.number))? {
            album.ahead = album.place_length;
        }
        Ok(album)
    }

    /// Label what was begun, as far as its bytes go.
    fn salvage<F: NorFlash>(&mut self, flash: &mut F, label: Label) -> Result<(), StoreError> {
        let place = self.place_of(label.number);
        let (data, capacity) = (self.data::<F>(place), self.capacity::<F>());
        let mut length = 0;
        for offset in (0..capacity).step_by(CHUNK) {
            let chunk = self.chunk(flash, data, offset, capacity)?;
            if let Some(last) = chunk.iter().rposition(|byte| *byte != 0xFF) {
                length = offset.saturating_add(last as u32).saturating_add(1);
            }
        }
        length = self.put_tail(flash, place, length)?;
        let mut sum = Sum::new();
        for offset in (0..length).step_by(CHUNK) {
            sum.update(&self.chunk(flash, data, offset, length)?);
        }
        // Nothing but the label: the place is erased again before it is used.
        let whole = Label { length, crc: sum.finish(), ..label };
        if length > 0 && whole.write(flash, self.address(place), WHOLE).is_ok() {
            self.salvaged = self.entry(flash, place)?.map(|entry| entry.number);
        }
        self.number = label.number.wrapping_add(u32::from(self.salvaged.is_some()));
        Ok(())
    }

    /// Put the bytes that waited where they belong, behind `length` others, unless more was written there since. How many there are then.
    fn put_tail<F: NorFlash>(&self, flash: &mut F, place: u32, length: u32) -> Result<u32, StoreError> {
        let mut tail = [0; TAIL as usize];
        read_any(flash, self.tail_at::<F>(place), &mut tail)?;
        let Some((covered, sum)) = tail.split_last_chunk::<4>() else { return Ok(length) };
        let words = covered.first_chunk::<8>().map_or(0, |words| u64::from_le_bytes(*words));
        let (offset, count) = (words as u32, (words >> 32) as usize);
        let Some(bytes) = covered.get(8..).and_then(|bytes| bytes.get(..count)) else { return Ok(length) };
        if CRC.checksum(covered) != u32::from_le_bytes(*sum) || length > offset {
            return Ok(length);
        }
        write_padded(flash, self.data::<F>(place).saturating_add(offset), bytes)?;
        Ok(offset.saturating_add(count as u32))
    }

    /// Bytes of a place from `offset` on, a chunk at the most.
    fn chunk<F: NorFlash>(
        &self,
        flash: &mut F,
        data: u32,
        offset: u32,
        end: u32,
    ) -> Result<heapless::Vec<u8, CHUNK>, StoreError> {
        let mut chunk = heapless::Vec::new();
        let count = end.saturating_sub(offset).min(CHUNK as u32) as usize;
        chunk.resize(count, 0).map_err(|_| StoreError::TooLong)?;
        read_any(flash, data.saturating_add(offset), &mut chunk)?;
        Ok(chunk)
    }

    fn is_blank<F: NorFlash>(&self, flash: &mut F, place: u32) -> Result<bool, StoreError> {
        let (from, length) = (self.address(place), self.place_length);
        for offset in (0..length).step_by(CHUNK) {
            if self.chunk(flash, from, offset, length)?.iter().any(|byte| *byte != 0xFF) {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The recording that power had interrupted, found when the box started.
    #[must_use]
    pub const fn salvaged(&self) -> Option<u32> {
        self.salvaged
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
        self.place_length.saturating_sub(around::<F>())
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
        self.address(place).saturating_add(label_length::<F>())
    }

    /// Where the label of what was begun lies.
    const fn begun_at<F: NorFlash>(&self, place: u32) -> u32 {
        self.address(place).saturating_add(self.place_length).saturating_sub(label_length::<F>())
    }

    /// Where the bytes that waited lie.
    const fn tail_at<F: NorFlash>(&self, place: u32) -> u32 {
        self.begun_at::<F>(place).saturating_sub(round_up(TAIL, F::WRITE_SIZE as u32))
    }

    fn entry<F: NorFlash>(&self, flash: &mut F, place: u32) -> Result<Option<Entry>, StoreError> {
        let label = Label::read(flash, self.address(place), WHOLE)?;
        let label = label.filter(|label| label.length <= self.longest::<F>());
        Ok(label.map(|Label { number, length, crc, about }| Entry { number, length, crc, about, place }))
    }

    /// What can lie in a place of one that knew no second label.
    const fn longest<F: NorFlash>(&self) -> u32 {
        self.place_length.saturating_sub(label_length::<F>())
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
            erased: core::mem::take(&mut self.ahead),
            labelled: false,
            tail_kept: false,
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
        self.ahead = 0;
        if self.writing.take().is_some() {
            self.number = self.number.wrapping_add(1);
        }
    }

    /// Whether a recording is being written.
    #[must_use]
    pub const fn is_writing(&self) -> bool {
        self.writing.is_some()
    }

    /// Whether the place of the next recording is to be erased ahead.
    #[must_use]
    pub const fn wants_erasing_ahead(&self) -> bool {
        self.places > 1 && self.writing.is_none() && self.ahead < self.place_length
    }

    /// Whether a recording begun now needs no erasing, or the one that is being written needs none any more.
    #[must_use]
    pub fn is_erased(&self) -> bool {
        self.writing.as_ref().map_or(self.ahead, |writing| writing.erased) >= self.place_length
    }

    /// Erase one more block of the next recording's place; the oldest recording makes way.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn erase_ahead<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let place = self.place_of(self.number);
        self.put(place, false);
        let from = self.address(place).saturating_add(self.ahead);
        let block = F::ERASE_SIZE as u32;
        flash.erase(from, from.saturating_add(block)).map_err(|_| StoreError::Flash)?;
        self.ahead = self.ahead.saturating_add(block);
        Ok(())
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
        let (place_length, number) = (self.place_length, self.number);
        let places = self.writing.as_ref().map(|w| (self.data::<F>(w.place), self.begun_at::<F>(w.place)));
        let (Some(writing), Some((data, begun_at))) = (self.writing.as_mut(), places) else {
            return Err(StoreError::NotThere);
        };
        if writing.erased < place_length {
            return Err(StoreError::NotThere);
        }
        let total = u32::try_from(writing.pending.len().saturating_add(bytes.len())).unwrap_or(u32::MAX);
        if writing.written.saturating_add(total) > capacity {
            return Err(StoreError::TooLong);
        }
        if !core::mem::replace(&mut writing.labelled, true) {
            Label { number, length: 0, crc: 0, about: writing.about }.write(flash, begun_at, BEGUN)?;
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

    /// Whether bytes wait for a whole chunk that power would take away.
    #[must_use]
    pub fn has_tail(&self) -> bool {
        self.writing.as_ref().is_some_and(|writing| !writing.tail_kept && !writing.pending.is_empty())
    }

    /// Nothing more is to be added for a while: keep the bytes that wait for a whole chunk. Once a recording.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if none is begun, [`StoreError::Flash`].
    pub fn keep_tail<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let at = self.writing.as_ref().map(|writing| self.tail_at::<F>(writing.place));
        let (Some(writing), Some(at)) = (self.writing.as_mut(), at) else { return Err(StoreError::NotThere) };
        if core::mem::replace(&mut writing.tail_kept, true) {
            return Ok(());
        }
        let mut tail = [0xFF; TAIL as usize];
        let words = u64::from(writing.written) | (writing.pending.len() as u64) << 32;
        for (slot, byte) in tail.iter_mut().zip(words.to_le_bytes().into_iter().chain(writing.pending.iter().copied()))
        {
            *slot = byte;
        }
        if let Some((covered, sum)) = tail.split_last_chunk_mut::<4>() {
            *sum = CRC.checksum(covered).to_le_bytes();
        }
        write_padded(flash, at, &tail)
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
        let label = Label { number, length: writing.written, crc: writing.sum.finish(), about: writing.about };
        label.write(flash, self.address(place), WHOLE)?;
        let entry = self.entry(flash, place)?.filter(|entry| entry.number == number).ok_or(StoreError::Damaged)?;
        self.writing = None;
        self.number = number.wrapping_add(1);
        self.put(place, true);
        Ok(entry)
    }
}

/// Bytes of a place that are not the recording's.
pub(super) const fn around<F: NorFlash>() -> u32 {
    label_length::<F>().saturating_mul(2).saturating_add(round_up(TAIL, F::WRITE_SIZE as u32))
}

const fn label_length<F: NorFlash>() -> u32 {
    round_up(LABEL, F::WRITE_SIZE as u32)
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
