//! Pages that are filled in turn, the next one erased ahead: what the journal, the rings of marks and the rings of days have in common.

use embedded_storage::nor_flash::NorFlash;

use super::StoreError;

/// The pages, and how far they are filled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pages {
    first: u32,
    /// From where a page begins to where the next one does.
    step: u32,
    count: usize,
    length: u32,
    /// Places in a page.
    pub(super) room: u32,
    /// The page in use, counted from 0.
    pub(super) page: usize,
    /// The next free place in it.
    pub(super) next: u32,
    pub(super) other_is_blank: bool,
}

impl Pages {
    /// Two of them, before anything is known: as if the second page were full, so that the first is erased before it is used.
    pub(super) const fn new(starts: [u32; 2], length: u32, room: u32) -> Self {
        let [first, second] = starts;
        Self {
            first,
            step: second.wrapping_sub(first),
            count: 2,
            length,
            room,
            page: 1,
            next: room,
            other_is_blank: false,
        }
    }

    /// So many of them behind one another, likewise.
    pub(super) const fn ring(first: u32, count: usize, length: u32, room: u32) -> Self {
        let page = count.saturating_sub(1);
        Self { first, step: length, count, length, room, page, next: room, other_is_blank: false }
    }

    pub(super) const fn count(&self) -> usize {
        self.count
    }

    /// The page that is filled after this one.
    pub(super) const fn after(&self, page: usize) -> usize {
        let next = page.saturating_add(1);
        if next < self.count { next } else { 0 }
    }

    /// The page that is filled next.
    pub(super) const fn other(&self) -> usize {
        self.after(self.page)
    }

    pub(super) const fn start(&self, page: usize) -> u32 {
        self.first.wrapping_add(self.step.wrapping_mul(page as u32))
    }

    /// Where a page ends.
    pub(super) const fn end(&self, page: usize) -> u32 {
        self.start(page).saturating_add(self.length)
    }

    /// How much can be written before a page must be erased.
    pub(super) const fn left(&self) -> u32 {
        let other = if self.other_is_blank { self.room } else { 0 };
        self.room.saturating_sub(self.next).saturating_add(other)
    }

    /// Whether it is time to erase the next page ahead.
    pub(super) const fn wants_tidying(&self) -> bool {
        !self.other_is_blank && self.next.saturating_mul(2) >= self.room
    }

    /// Erase the next page ahead, so that the switch of pages costs no time.
    pub(super) fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let other = self.other();
        flash.erase(self.start(other), self.end(other)).map_err(|_| StoreError::Flash)?;
        self.other_is_blank = true;
        Ok(())
    }

    /// Whether the page in use is full.
    pub(super) const fn is_full(&self) -> bool {
        self.next >= self.room
    }

    /// Go over to the next page.
    pub(super) const fn turn(&mut self) {
        self.page = self.other();
        self.next = 0;
        self.other_is_blank = false;
    }

    /// Take the next free place: its page, and its place there. Whatever becomes of it, it is not used again.
    pub(super) const fn take(&mut self) -> (usize, u32) {
        let index = self.next;
        self.next = index.saturating_add(1);
        (self.page, index)
    }
}

/// A place that does not hold what was written to it is skipped: three are tried at most.
pub(super) fn three_times(mut write: impl FnMut() -> Result<(), StoreError>) -> Result<(), StoreError> {
    let mut outcome = Err(StoreError::Flash);
    for _ in 0..3 {
        outcome = write();
        if outcome.is_ok() {
            break;
        }
    }
    outcome
}
