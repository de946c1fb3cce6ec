//! Days for wear, in a ring of pages: they are filled one after the other, and the oldest makes way.
//!
//! A page begins with its number and the CRC of it, as a ring of marks has it; then records follow, each the 24 bytes of a [`Summary`],
//! which say themselves whether they are sound. All are filled up with FF to whole write units. The page that is filled next is erased ahead.
//!
//! No place is written twice, so that whatever power interrupts, only what was being written is lost. Whether it was is told from what comes
//! next: nothing here counts for more than it says.

use embedded_storage::nor_flash::NorFlash;
use slackside::daily::Summary;

use super::marks::{Pair, begin_next, head_sum, read_pair, unit};
use super::pages::{Pages, three_times};
use super::slots::{newer, read_any, write_padded};
use super::{StoreError, round_up};

/// The bytes of a record.
pub(crate) const DAY: usize = Summary::LENGTH;
const BLANK: [u8; DAY] = [0xFF; DAY];
/// The next page is erased once so few places are left in that before, or half of them where they are fewer: the later, the more days are kept.
const SPARE: u32 = 32;

/// The ring.
#[derive(Clone, Copy, Debug)]
pub struct Days {
    pages: Pages,
    /// The number of the page in use.
    number: u32,
}

impl Days {
    /// Look through `count` pages from `start` on, each of `page_length` bytes. `see` is told of every record, oldest first.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn open<F: NorFlash>(
        start: u32,
        count: usize,
        page_length: u32,
        flash: &mut F,
        see: &mut dyn FnMut(&Summary),
    ) -> Result<Self, StoreError> {
        let room = page_length.saturating_sub(unit::<F>()).checked_div(record_length::<F>()).unwrap_or(0);
        let mut it = Self { pages: Pages::ring(start, count, page_length, room), number: 0 };
        let mut begun = false;
        for page in 0..count {
            if let Pair::Good(number) = it.head(flash, page)?
                && (!begun || newer(number, it.number))
            {
                begun = true;
                (it.pages.page, it.pages.next, it.number) = (page, 0, number);
            }
        }
        if begun {
            for index in 0..room {
                if it.record(flash, it.pages.page, index)? != BLANK {
                    it.pages.next = index.saturating_add(1);
                }
            }
        }
        let mut page = it.pages.other();
        it.pages.other_is_blank = it.is_blank(flash, page)?;
        for _ in 0..count {
            let is_known = matches!(it.head(flash, page)?, Pair::Good(_));
            for index in 0..room {
                if is_known && let Some(summary) = Summary::of_bytes(&it.record(flash, page, index)?) {
                    see(&summary);
                }
            }
            page = it.pages.after(page);
        }
        Ok(it)
    }

    #[inline(never)]
    fn head<F: NorFlash>(&self, flash: &mut F, page: usize) -> Result<Pair, StoreError> {
        read_pair(flash, self.pages.start(page), head_sum)
    }

    fn address<F: NorFlash>(&self, page: usize, index: u32) -> u32 {
        let records = self.pages.start(page).saturating_add(unit::<F>());
        records.saturating_add(index.saturating_mul(record_length::<F>()))
    }

    #[inline(never)]
    fn record<F: NorFlash>(&self, flash: &mut F, page: usize, index: u32) -> Result<[u8; DAY], StoreError> {
        let mut bytes = BLANK;
        read_any(flash, self.address::<F>(page, index), &mut bytes)?;
        Ok(bytes)
    }

    #[inline(never)]
    fn is_blank<F: NorFlash>(&self, flash: &mut F, page: usize) -> Result<bool, StoreError> {
        let mut blank = self.head(flash, page)? == Pair::Blank;
        for index in 0..self.pages.room {
            blank = blank && self.record(flash, page, index)? == BLANK;
        }
        Ok(blank)
    }

    /// How many records can be written before a page must be erased.
    #[must_use]
    pub const fn left(&self) -> u32 {
        self.pages.left()
    }

    /// Whether it is time to erase the next page ahead.
    #[must_use]
    pub const fn wants_tidying(&self) -> bool {
        let half = self.pages.room / 2;
        !self.pages.other_is_blank
            && self.pages.room.saturating_sub(self.pages.next) <= if half < SPARE { half } else { SPARE }
    }

    /// Erase the next page ahead: its days, the oldest, are given up.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        self.pages.tidy(flash)
    }

    /// Write a record and read it back. A place that does not hold it is skipped, three times at most. Erases nothing.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] where no place is [left](Self::left); [`StoreError`] otherwise.
    pub fn append<F: NorFlash>(&mut self, flash: &mut F, record: &[u8; DAY]) -> Result<(), StoreError> {
        three_times(|| self.append_once(flash, record))
    }

    fn append_once<F: NorFlash>(&mut self, flash: &mut F, record: &[u8; DAY]) -> Result<(), StoreError> {
        if self.pages.is_full() {
            if !self.pages.other_is_blank {
                return Err(StoreError::NotThere);
            }
            begin_next(&mut self.pages, &mut self.number, flash)?;
        }
        let (page, index) = self.pages.take();
        write_padded(flash, self.address::<F>(page, index), record)?;
        if self.record(flash, page, index)? == *record { Ok(()) } else { Err(StoreError::Damaged) }
    }

    /// All places as one window of 24 bytes each, in the order in which they lie: FF where nothing is. How many bytes were read from
    /// `offset` on; 0 at the end.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn read<F: NorFlash>(&self, flash: &mut F, offset: u32, into: &mut [u8]) -> Result<usize, StoreError> {
        const LENGTH: u32 = DAY as u32;
        let mut done = 0_usize;
        while let Some(rest) = into.get_mut(done..).filter(|rest| !rest.is_empty()) {
            let at = offset.saturating_add(done as u32);
            let Some(record) = self.place(flash, at / LENGTH)? else { break };
            let fresh = record.iter().skip((at % LENGTH) as usize);
            done = done.saturating_add(rest.iter_mut().zip(fresh).map(|(slot, byte)| *slot = *byte).count());
        }
        Ok(done)
    }

    /// What lies in a place, counted through all pages; `None` behind the last.
    fn place<F: NorFlash>(&self, flash: &mut F, place: u32) -> Result<Option<[u8; DAY]>, StoreError> {
        let room = self.pages.room;
        let (Some(page), Some(index)) = (place.checked_div(room), place.checked_rem(room)) else { return Ok(None) };
        let page = page as usize;
        if page >= self.pages.count() {
            return Ok(None);
        }
        // What a page without a number holds was there before the ring was.
        let is_known = matches!(self.head(flash, page)?, Pair::Good(_));
        Ok(Some(if is_known { self.record(flash, page, index)? } else { BLANK }))
    }
}

const fn record_length<F: NorFlash>() -> u32 {
    round_up(DAY as u32, F::WRITE_SIZE as u32)
}
