//! Where a value passes a limit and comes back: worked out once for each limit and deadband, and used by every setting that has them.
//!
//! A study tries few values of each limit, in many combinations. When a condition is beyond its limit depends on setpoint and
//! deadband alone, neither on its delays nor on the other conditions; so a crossing found for one setting is the same for all that
//! share the two. A table is begun when the third setting asks for it, and grows by stretches of [`STRETCH`] rows as they are
//! needed: settings that end early cost no more than they judge.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

/// Rows in one stretch of a table.
pub(super) const STRETCH: usize = 1 << 10;
/// Limits remembered before their tables are begun.
const MOST_ASKED: usize = 100_000;
/// All tables of all traces together may take so much, in bytes; beyond it crossings are looked for each time.
const MOST_ROOM: usize = 1 << 30;

static ROOM: AtomicUsize = AtomicUsize::new(0);

/// The crossings of one stretch of rows.
#[derive(Debug, Default)]
pub(super) struct Stretch {
    /// Beyond before its first row.
    pub start: bool,
    /// The time from which its times count.
    pub base: u64,
    /// When its last row is known.
    pub end: u32,
    /// Counted from its first; see [`Stretch::push`].
    pub rows: Vec<u16>,
    /// When each of them is.
    pub times: Vec<u32>,
}

/// Marks a crossing that came by itself before its row.
const SILENT: u16 = 1 << 15;

impl Stretch {
    const fn end(&self) -> bool {
        self.beyond_after(self.rows.len())
    }

    /// Whether it is beyond after so many crossings.
    pub const fn beyond_after(&self, crossings: usize) -> bool {
        self.start != (crossings % 2 == 1)
    }

    /// Empty it: beyond before its first row or not.
    pub fn begin(&mut self, start: bool) {
        self.start = start;
        self.rows.clear();
        self.times.clear();
    }

    /// One more: its row counted from the first, whether it came by itself before that row, and when.
    pub fn push(&mut self, row: usize, silent: bool, time: u32) {
        self.rows.push(row as u16 | if silent { SILENT } else { 0 });
        self.times.push(time);
    }

    /// Which row of the stretch it is.
    pub const fn place(row: u16) -> usize {
        (row & !SILENT) as usize
    }

    /// Whether it came by itself before that row.
    pub const fn is_silent(row: u16) -> bool {
        row & SILENT != 0
    }
}

/// The crossings of one limit over a whole trace, as far as they were asked for.
#[derive(Debug)]
pub(super) struct Table {
    stretches: Vec<OnceLock<Option<Stretch>>>,
}

/// What was asked for of one limit.
#[derive(Debug, Default)]
pub(super) struct Entry {
    asked: AtomicU32,
    pub table: OnceLock<Table>,
}

/// Condition by its place among the leapt ones, setpoint and deadband in its own unit.
pub(super) type Key = (usize, i64, i64);

/// All tables of a trace.
#[derive(Debug, Default)]
pub(super) struct Flips {
    entries: RwLock<HashMap<Key, Arc<Entry>>>,
    /// What they take, in bytes.
    room: AtomicUsize,
}

impl Drop for Flips {
    fn drop(&mut self) {
        ROOM.fetch_sub(*self.room.get_mut(), Ordering::Relaxed);
    }
}

/// A copy of a trace begins without.
impl Clone for Flips {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl Flips {
    fn take(&self, room: usize) {
        self.room.fetch_add(room, Ordering::Relaxed);
        ROOM.fetch_add(room, Ordering::Relaxed);
    }

    /// What was asked for of a limit so far; `None` if too many are remembered.
    pub fn entry(&self, key: Key) -> Option<Arc<Entry>> {
        // What a panic elsewhere left is whole: entries are only ever added.
        if let Some(entry) = self.entries.read().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Some(Arc::clone(entry));
        }
        let mut entries = self.entries.write().unwrap_or_else(PoisonError::into_inner);
        (entries.len() < MOST_ASKED || entries.contains_key(&key)).then(|| Arc::clone(entries.entry(key).or_default()))
    }
}

impl Entry {
    /// How often it was asked for, this time included.
    pub fn ask(&self) -> u32 {
        self.asked.fetch_add(1, Ordering::Relaxed) + 1
    }
}

impl Table {
    /// A table for so many rows, nothing in it yet; it grows within the room of `flips`.
    pub fn new(rows: usize, flips: &Flips) -> Self {
        let stretches: Vec<_> = (0..rows.div_ceil(STRETCH)).map(|_| OnceLock::new()).collect();
        flips.take(stretches.len() * size_of::<OnceLock<Option<Stretch>>>());
        Self { stretches }
    }

    /// One stretch, if it has been gone through.
    pub fn known(&self, number: usize) -> Option<&Stretch> {
        self.stretches.get(number)?.get()?.as_ref()
    }

    /// One stretch. `fill` adds its crossings, given whether it begins beyond the limit, the first time it is asked for, and says
    /// whether they can be kept.
    pub fn stretch(&self, flips: &Flips, number: usize, fill: impl FnOnce(&mut Stretch) -> bool) -> Option<&Stretch> {
        let place = self.stretches.get(number)?;
        place
            .get_or_init(|| {
                if full() {
                    return None;
                }
                let before = number.checked_sub(1).and_then(|before| self.known(before));
                let mut stretch = Stretch { start: before.is_some_and(Stretch::end), ..Stretch::default() };
                if !fill(&mut stretch) {
                    return None;
                }
                stretch.rows.shrink_to_fit();
                stretch.times.shrink_to_fit();
                flips.take(2 * stretch.rows.len() + 4 * stretch.times.len());
                Some(stretch)
            })
            .as_ref()
    }
}

/// Whether all tables together have taken their room.
pub(super) fn full() -> bool {
    ROOM.load(Ordering::Relaxed) >= MOST_ROOM
}
