//! A journal of what must survive a loss of power, in two pages.
//!
//! A record is 108 bytes, filled up with FF to whole write units: its number (4 bytes, low byte first), the length of its body (1), three
//! zeros, the body (session, faults, each 4 bytes, low byte first; the image of [`Retained`]), and the CRC of all that (4). Records fill
//! a page, then the other one, which is erased first. The newest counts.
//!
//! In the last write unit of a page lies its word. It is written where a record finds no erased place, before the other page is
//! erased for it: something is coming, most likely a trip. A page with its word and without a successor is not sure.
//!
//! A record that was being written when power went cannot be told from one that was damaged later, and it was written
//! because something had changed, most likely a trip. So whatever is unreadable after the newest good record counts as
//! latched; so does an empty journal. The price: a new box must be reset once.

use embedded_storage::nor_flash::NorFlash;
use slackside::retained::Retained;

use super::pages::{Pages, three_times};
use super::slots::{newer, read_any, word_length, write_padded};
use super::{CRC, Layout, StoreError, round_up};
use crate::fault::Faults;

const BODY_AT: usize = 8;
const CRC_AT: usize = BODY_AT.saturating_add(Kept::BYTES);
const RECORD: usize = CRC_AT.saturating_add(4);
/// What a page's word is written as.
const SET: [u8; 4] = [0; 4];

/// What is kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// How often the box was started, this time included.
    pub session: u32,
    /// The box's own latched faults.
    pub faults: Faults,
    /// What judge must remember.
    pub retained: Retained,
}

impl Kept {
    /// Its bytes in a record.
    const BYTES: usize = Retained::IMAGE.saturating_add(8);

    fn write(&self, body: &mut [u8]) {
        let words = self.session.to_le_bytes().into_iter().chain(self.faults.bits().to_le_bytes());
        for (slot, byte) in body.iter_mut().zip(words.chain(self.retained.to_image())) {
            *slot = byte;
        }
    }

    fn read(body: &[u8]) -> Option<Self> {
        let (session, rest) = body.split_first_chunk::<4>()?;
        let (faults, image) = rest.split_first_chunk::<4>()?;
        Some(Self {
            session: u32::from_le_bytes(*session),
            faults: Faults::from_bits(u32::from_le_bytes(*faults)),
            retained: Retained::from_image(image).ok()?,
        })
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The newest good record.
    pub kept: Option<Kept>,
    /// Whether it is known to be the last that was written. If not, the box counts as tripped.
    pub sure: bool,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Record {
    Blank,
    Bad,
    Good(u32),
}

/// The journal.
#[derive(Clone, Debug)]
pub struct Journal {
    pages: Pages,
    number: u32,
}

impl Journal {
    /// Look through both pages.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn open<F: NorFlash>(layout: &Layout, flash: &mut F) -> Result<(Self, Restored), StoreError> {
        let room = layout.page_length.saturating_sub(word_length::<F>());
        let room = room.checked_div(record_length::<F>()).unwrap_or(0);
        let mut journal = Self { pages: Pages::new(layout.pages, layout.page_length, room), number: 0 };
        let mut newest: Option<(usize, u32, u32)> = None;
        for page in [0, 1] {
            for index in 0..room {
                if let Record::Good(number) = journal.look(flash, page, index)?
                    && newest.is_none_or(|(_, _, best)| newer(number, best))
                {
                    newest = Some((page, index, number));
                }
            }
        }
        let Some((page, index, number)) = newest else {
            journal.pages.other_is_blank = journal.is_blank(flash, 0)?;
            return Ok((journal, Restored { kept: None, sure: false }));
        };
        journal.pages.page = page;
        journal.number = number.wrapping_add(1);
        journal.pages.next = index.saturating_add(1);
        let mut sure = true;
        if journal.pages.next >= room {
            sure = !journal.has_word(flash)?;
        }
        for later in journal.pages.next..room {
            if journal.look(flash, page, later)? != Record::Blank {
                sure = false;
                journal.pages.next = later.saturating_add(1);
            }
        }
        journal.pages.other_is_blank = true;
        for other in 0..room {
            match journal.look(flash, journal.pages.other(), other)? {
                Record::Blank => {}
                // Behind a full page the next record would have been here.
                Record::Bad if journal.pages.next == room => (sure, journal.pages.other_is_blank) = (false, false),
                Record::Bad | Record::Good(_) => journal.pages.other_is_blank = false,
            }
        }
        let kept = journal.read(flash, page, index)?.and_then(|(_, kept)| kept);
        Ok((journal, Restored { sure: sure && kept.is_some(), kept }))
    }

    fn is_blank<F: NorFlash>(&self, flash: &mut F, page: usize) -> Result<bool, StoreError> {
        for index in 0..self.pages.room {
            if self.look(flash, page, index)? != Record::Blank {
                return Ok(false);
            }
        }
        Ok(true)
    }

    fn address<F: NorFlash>(&self, page: usize, index: u32) -> u32 {
        self.pages.start(page).saturating_add(index.saturating_mul(record_length::<F>()))
    }

    /// Where the word of the page in use lies.
    fn word<F: NorFlash>(&self) -> u32 {
        self.pages.end(self.pages.page).saturating_sub(word_length::<F>())
    }

    fn has_word<F: NorFlash>(&self, flash: &mut F) -> Result<bool, StoreError> {
        let mut word = [0; 4];
        read_any(flash, self.word::<F>(), &mut word)?;
        Ok(word != [0xFF; 4])
    }

    fn look<F: NorFlash>(&self, flash: &mut F, page: usize, index: u32) -> Result<Record, StoreError> {
        let mut record = [0; RECORD];
        read_any(flash, self.address::<F>(page, index), &mut record)?;
        if record == [0xFF; RECORD] {
            return Ok(Record::Blank);
        }
        Ok(number_of(&record).map_or(Record::Bad, Record::Good))
    }

    /// A good record with its content; the content is `None` if another program wrote it.
    fn read<F: NorFlash>(
        &self,
        flash: &mut F,
        page: usize,
        index: u32,
    ) -> Result<Option<(u32, Option<Kept>)>, StoreError> {
        let mut record = [0; RECORD];
        read_any(flash, self.address::<F>(page, index), &mut record)?;
        Ok(number_of(&record).map(|number| (number, kept_of(&record))))
    }

    /// How many records can be written before a page must be erased.
    #[must_use]
    pub const fn left(&self) -> u32 {
        self.pages.left()
    }

    /// Whether it is time to erase the other page ahead.
    #[must_use]
    pub const fn wants_tidying(&self) -> bool {
        self.pages.wants_tidying()
    }

    /// Erase the other page ahead, so that the next switch of pages costs no time.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        self.pages.tidy(flash)
    }

    /// Write a record and read it back. A place that does not hold it is skipped, three times at most.
    ///
    /// # Errors
    /// [`StoreError`]; the record before then counts as the newest, or the box as tripped.
    pub fn append<F: NorFlash>(&mut self, flash: &mut F, kept: &Kept) -> Result<(), StoreError> {
        three_times(|| self.append_once(flash, kept))
    }

    fn append_once<F: NorFlash>(&mut self, flash: &mut F, kept: &Kept) -> Result<(), StoreError> {
        if self.pages.is_full() {
            if !self.pages.other_is_blank {
                if !self.has_word(flash)? {
                    write_padded(flash, self.word::<F>(), &SET)?;
                }
                self.tidy(flash)?;
            }
            self.pages.turn();
        }
        let mut record = [0; RECORD];
        let (body, crc) = record.split_at_mut(CRC_AT);
        let (head, body) = body.split_at_mut(BODY_AT);
        kept.write(body);
        for (slot, byte) in head.iter_mut().zip(self.number.to_le_bytes()) {
            *slot = byte;
        }
        if let Some(slot) = head.get_mut(4) {
            *slot = Kept::BYTES as u8;
        }
        let mut digest = CRC.digest();
        digest.update(head);
        digest.update(body);
        crc.copy_from_slice(&digest.finalize().to_le_bytes());
        let (page, index) = self.pages.take();
        write_padded(flash, self.address::<F>(page, index), &record)?;
        match self.read(flash, page, index)? {
            Some((number, Some(read))) if number == self.number && read == *kept => {
                self.number = self.number.wrapping_add(1);
                Ok(())
            }
            _ => Err(StoreError::Damaged),
        }
    }
}

const fn record_length<F: NorFlash>() -> u32 {
    round_up(RECORD as u32, F::WRITE_SIZE as u32)
}

fn number_of(record: &[u8; RECORD]) -> Option<u32> {
    let (content, crc) = record.split_last_chunk::<4>()?;
    let (number, _) = content.split_first_chunk::<4>()?;
    (CRC.checksum(content) == u32::from_le_bytes(*crc)).then(|| u32::from_le_bytes(*number))
}

fn kept_of(record: &[u8; RECORD]) -> Option<Kept> {
    let length = usize::from(*record.get(4)?);
    if length != Kept::BYTES {
        return None;
    }
    Kept::read(record.get(BODY_AT..BODY_AT.saturating_add(length))?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use slackside::conditions::Condition;
    use slackside::units::{Joules, Span};

    #[test]
    fn the_longest_comes_back() {
        let mut retained = Retained::default();
        Condition::ALL.into_iter().for_each(|condition| retained.put_alarm(condition, true, true));
        retained.put_first_out(Some(Condition::BypassActive));
        retained.put_boot_cleared_needed(true);
        (0..8).for_each(|_| retained.push_start(Span::MAX));
        retained.put_slip_heat(Joules::MAX);
        let kept = Kept { session: u32::MAX, faults: Faults::from_bits(u32::MAX), retained };
        let mut bytes = [0; Kept::BYTES];
        kept.write(&mut bytes);
        assert_eq!(Kept::read(&bytes), Some(kept));
    }
}
