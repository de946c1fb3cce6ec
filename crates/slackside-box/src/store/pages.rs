//! Two pages that are filled in turn, the other one erased ahead: what the journal and the rings of marks have in common.

use embedded_storage::nor_flash::NorFlash;

use super::StoreError;

/// The pages, and how far they are filled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pages {
    starts: [u32; 2],
    length: u32,
    /// Places in a page.
    pub(super) room: u32,
    /// The page in use, 0 or 1.
    pub(super) page: usize,
    /// The next free place in it.
    pub(super) next: u32,
    pub(super) other_is_blank: bool,
}

impl Pages {
    /// Before anything is known of them: as if the second page were full, so that the first is erased before it is used.
    pub(super) const fn new(starts: [u32; 2], length: u32, room: u32) -> Self {
        Self { starts, length, room, page: 1, next: room, other_is_blank: false }
    }

    pub(super) const fn other(&self) -> usize {
        1_usize.saturating_sub(self.page)
    }

    pub(super) const fn start(&self, page: usize) -> u32 {
        let [first, second] = self.starts;
        if page == 0 { first } else { second }
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

    /// Whether it is time to erase the other page ahead.
    pub(super) const fn wants_tidying(&self) -> bool {
        !self.other_is_blank && self.next.saturating_mul(2) >= self.room
    }

    /// Erase the other page ahead, so that the next switch of pages costs no time.
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

    /// Go over to the other page.
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
