//! A ring of marks: one number that changes often and must survive, in two pages of its own.
//!
//! A page begins with its number and the CRC of it; then marks follow, each a value and the CRC of the page's number, the mark's place
//! in the page and the value; all these are 4 bytes, low byte first, each pair filled up with FF to whole write units. Marks fill a
//! page, then the other one, which is erased ahead. The newest counts.
//!
//! A mark is never written over the newest one, so that whatever power interrupts, either the mark before or the new one is there.
//! What is unreadable behind the newest good mark was being written when power went, or was damaged since: [`Newest::Unknown`].

use embedded_storage::nor_flash::NorFlash;

use super::pages::{Pages, three_times};
use super::slots::{newer, read_any, write_padded};
use super::{CRC, StoreError, round_up};

/// The bytes of a mark, and of what a page begins with.
const PAIR: u32 = 8;
/// More marks of a page are not used, so that looking through them has a bound.
const MOST: u32 = 512;

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Newest {
    /// Nothing was ever written.
    Blank,
    /// The newest value.
    Value(u32),
    /// Something was written that cannot be read: behind this value, if there is any.
    Unknown(Option<u32>),
}

/// The ring.
#[derive(Clone, Copy, Debug)]
pub struct Marks {
    pages: Pages,
    /// The number of the page in use.
    number: u32,
}

/// A value and its sum, as they were read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pair {
    Blank,
    Bad,
    Good(u32),
}

/// What the marks of a page say.
struct Page {
    newest: Option<u32>,
    /// Behind the last that is not blank.
    next: u32,
    /// Something behind the newest good one cannot be read.
    doubt: bool,
}

impl Marks {
    /// Look through both pages, each of `page_length` bytes.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn open<F: NorFlash>(pages: [u32; 2], page_length: u32, flash: &mut F) -> Result<(Self, Newest), StoreError> {
        let room = page_length.checked_div(unit::<F>()).unwrap_or(0).saturating_sub(1).min(MOST);
        let mut it = Self { pages: Pages::new(pages, page_length, room), number: 0 };
        let heads = [it.head(flash, 0)?, it.head(flash, 1)?];
        it.pages.page = match heads {
            [Pair::Good(first), Pair::Good(second)] => usize::from(newer(second, first)),
            [Pair::Good(_), _] => 0,
            [_, Pair::Good(_)] => 1,
            _ => {
                let blank = it.is_blank(flash, 0)?;
                it.pages.other_is_blank = blank;
                let found = if blank && it.is_blank(flash, 1)? { Newest::Blank } else { Newest::Unknown(None) };
                return Ok((it, found));
            }
        };
        let [first, second] = heads;
        let (head, other) = if it.pages.page == 0 { (first, second) } else { (second, first) };
        if let Pair::Good(number) = head {
            it.number = number;
        }
        let Page { mut newest, next, mut doubt } = it.marks(flash, it.pages.page, it.number)?;
        it.pages.next = next;
        it.pages.other_is_blank = it.is_blank(flash, it.pages.other())?;
        // Behind a full page the next mark would have been there.
        doubt |= next >= room && other == Pair::Bad;
        if let (None, Pair::Good(before)) = (newest, other) {
            let page = it.marks(flash, it.pages.other(), before)?;
            newest = page.newest;
            doubt |= page.doubt;
        }
        let found = match newest {
            Some(value) if !doubt => Newest::Value(value),
            // A page was begun and nothing was ever written to it.
            None if !doubt && other == Pair::Blank => Newest::Blank,
            _ => Newest::Unknown(newest),
        };
        Ok((it, found))
    }

    /// Where a mark lies; its page's number lies before the first.
    fn address<F: NorFlash>(&self, page: usize, index: u32) -> u32 {
        self.pages.start(page).saturating_add(index.saturating_add(1).saturating_mul(unit::<F>()))
    }

    fn head<F: NorFlash>(&self, flash: &mut F, page: usize) -> Result<Pair, StoreError> {
        read_pair(flash, self.pages.start(page), head_sum)
    }

    fn mark<F: NorFlash>(&self, flash: &mut F, page: usize, number: u32, index: u32) -> Result<Pair, StoreError> {
        read_pair(flash, self.address::<F>(page, index), |value| sum(number, index, value))
    }

    fn marks<F: NorFlash>(&self, flash: &mut F, page: usize, number: u32) -> Result<Page, StoreError> {
        let mut found = Page { newest: None, next: 0, doubt: false };
        for index in 0..self.pages.room {
            match self.mark(flash, page, number, index)? {
                Pair::Blank => continue,
                Pair::Bad => found.doubt = true,
                Pair::Good(value) => (found.newest, found.doubt) = (Some(value), false),
            }
            found.next = index.saturating_add(1);
        }
        Ok(found)
    }

    fn is_blank<F: NorFlash>(&self, flash: &mut F, page: usize) -> Result<bool, StoreError> {
        let mut blank = self.head(flash, page)? == Pair::Blank;
        for index in 0..self.pages.room {
            blank = blank && self.mark(flash, page, 0, index)? == Pair::Blank;
        }
        Ok(blank)
    }

    /// How many marks can be written before a page must be erased.
    #[must_use]
    pub const fn left(&self) -> u32 {
        self.pages.left()
    }

    /// Whether it is time to erase the other page ahead.
    #[must_use]
    pub const fn wants_tidying(&self) -> bool {
        self.pages.wants_tidying()
    }

    /// Erase the other page ahead.
    ///
    /// # Errors
    /// [`StoreError::Flash`]; also where the newest mark still lies there.
    pub fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        self.pages.tidy(flash)
    }

    /// Write a mark and read it back. A place that does not hold it is skipped, three times at most. Erases only where no place is
    /// [left](Self::left).
    ///
    /// # Errors
    /// [`StoreError`]; what is found next time is the mark before, or [`Newest::Unknown`].
    pub fn append<F: NorFlash>(&mut self, flash: &mut F, value: u32) -> Result<(), StoreError> {
        three_times(|| self.append_once(flash, value))
    }

    fn append_once<F: NorFlash>(&mut self, flash: &mut F, value: u32) -> Result<(), StoreError> {
        if self.pages.is_full() {
            if !self.pages.other_is_blank {
                self.tidy(flash)?;
            }
            begin_next(&mut self.pages, &mut self.number, flash)?;
        }
        let (page, index) = self.pages.take();
        write_pair(flash, self.address::<F>(page, index), value, sum(self.number, index, value))?;
        if self.mark(flash, page, self.number, index)? == Pair::Good(value) { Ok(()) } else { Err(StoreError::Damaged) }
    }
}

/// Go over to the next page, which must be blank, and begin it with the number that follows.
pub(super) fn begin_next<F: NorFlash>(pages: &mut Pages, number: &mut u32, flash: &mut F) -> Result<(), StoreError> {
    pages.turn();
    *number = number.wrapping_add(1);
    write_pair(flash, pages.start(pages.page), *number, head_sum(*number))
}

/// What a pair takes.
pub(super) const fn unit<F: NorFlash>() -> u32 {
    round_up(PAIR, F::WRITE_SIZE as u32)
}

/// The sum of the number that a page begins with.
pub(super) fn head_sum(number: u32) -> u32 {
    sum(number, u32::MAX, 0)
}

fn sum(number: u32, index: u32, value: u32) -> u32 {
    let mut digest = CRC.digest();
    for word in [number, index, value] {
        digest.update(&word.to_le_bytes());
    }
    digest.finalize()
}

pub(super) fn read_pair<F: NorFlash>(flash: &mut F, at: u32, sum: impl Fn(u32) -> u32) -> Result<Pair, StoreError> {
    let mut bytes = [0; PAIR as usize];
    read_any(flash, at, &mut bytes)?;
    let [a, b, c, d, rest @ ..] = bytes;
    let (value, sealed) = (u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes(rest));
    Ok(if bytes == [0xFF; PAIR as usize] {
        Pair::Blank
    } else if sum(value) == sealed {
        Pair::Good(value)
    } else {
        Pair::Bad
    })
}

fn write_pair<F: NorFlash>(flash: &mut F, at: u32, value: u32, sum: u32) -> Result<(), StoreError> {
    let mut bytes = [0; PAIR as usize];
    for (slot, byte) in bytes.iter_mut().zip(value.to_le_bytes().into_iter().chain(sum.to_le_bytes())) {
        *slot = byte;
    }
    write_padded(flash, at, &bytes)
}
