//! Where a value passes a limit and comes back: worked out once for each limit and deadband, and used by every setting that has them.
//!
//! A study tries few values of each limit, in many combinations. When a condition is beyond its limit depends on setpoint and
//! deadband alone, neither on its delays nor on the other conditions; so a crossing found for one setting is the same for all that
//! share the two. A table is begun when the third setting asks for it, and grows by stretches of [`STRETCH`] rows as they are
//! needed: settings that end early cost no more than they judge.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

use slackside::judge::leap::LeaptCell;

use super::store::Store;
use super::walk::{self, Walk};

/// Rows in one stretch of a table.
pub(super) const STRETCH: usize = 1 << 10;
/// Settings that ask for a table before it is begun.
const WORTH_IT: u32 = 3;
/// Limits remembered before their tables are begun.
const MOST_ASKED: usize = 100_000;
/// All tables of all traces together may take so much, in bytes; beyond it crossings are looked for each time.
const MOST_ROOM: usize = 1 << 30;

static ROOM: AtomicUsize = AtomicUsize::new(0);

/// The crossings of one stretch of rows.
#[derive(Debug)]
struct Stretch {
    /// Beyond before its first row.
    start: bool,
    /// Counted from its first.
    rows: Vec<u16>,
    /// How long before the row the crossing was, in microseconds; empty if at no row it was before.
    lags: Vec<u32>,
}

impl Stretch {
    const fn end(&self) -> bool {
        self.start != (self.rows.len() % 2 == 1)
    }

    /// The row of its crossing number `next`; `number` is that of the stretch.
    fn row(&self, number: usize, next: usize) -> Option<usize> {
        self.rows.get(next).map(|row| number * STRETCH + usize::from(*row))
    }
}

/// The crossings of one limit over a whole trace, as far as they were asked for.
#[derive(Debug)]
pub(super) struct Table {
    stretches: Vec<OnceLock<Option<Stretch>>>,
}

#[derive(Debug, Default)]
struct Entry {
    asked: AtomicU32,
    table: OnceLock<Table>,
}

/// Condition by its place among the leapt ones, setpoint and deadband in its own unit.
type Key = (usize, i64, i64);

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

    fn entry(&self, key: Key) -> Option<Arc<Entry>> {
        // What a panic elsewhere left is whole: entries are only ever added.
        if let Some(entry) = self.entries.read().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Some(Arc::clone(entry));
        }
        let mut entries = self.entries.write().unwrap_or_else(PoisonError::into_inner);
        (entries.len() < MOST_ASKED || entries.contains_key(&key)).then(|| Arc::clone(entries.entry(key).or_default()))
    }
}

/// One setting's way through the table of one condition.
#[derive(Debug)]
pub(super) struct Follower {
    key: Key,
    entry: Option<Arc<Entry>>,
    /// The stretch last looked at, and how many of its crossings are past.
    place: (usize, usize),
}

impl Follower {
    /// Ask for the table of a condition.
    pub(super) fn new(store: &Store, number: usize, cell: &LeaptCell) -> Self {
        let key = (number, cell.limit, cell.clear);
        let entry = store.flips.entry(key).filter(|entry| {
            let worth = entry.asked.fetch_add(1, Ordering::Relaxed) + 1 >= WORTH_IT
                && (entry.table.get().is_some() || ROOM.load(Ordering::Relaxed) < MOST_ROOM);
            if worth {
                entry.table.get_or_init(|| {
                    let stretches: Vec<_> = (0..store.len().div_ceil(STRETCH)).map(|_| OnceLock::new()).collect();
                    let room = stretches.len() * size_of::<OnceLock<Option<Stretch>>>();
                    store.flips.take(room);
                    Table { stretches }
                });
            }
            worth
        });
        Self { key, entry, place: (0, 0) }
    }

    /// Whether it is still about this limit.
    pub(super) fn is_of(&self, cell: &LeaptCell) -> bool {
        (self.key.1, self.key.2) == (cell.limit, cell.clear)
    }

    /// Follow the delays from crossing to crossing; `None` where no table says where they are.
    pub(super) fn follow(&mut self, store: &Store, cell: &LeaptCell, from: usize, to: usize) -> Option<Walk> {
        let table = self.entry.as_ref()?.table.get()?;
        let mut walk = Walk::new(cell);
        let first = from / STRETCH;
        for number in first..to.div_ceil(STRETCH) {
            let stretch = table.stretch(store, number, cell, self.key.0)?;
            let mut next = if number == first {
                if self.place.0 != number {
                    self.place = (number, 0);
                }
                let past = self.place.1;
                let begun = from - number * STRETCH;
                self.place.1 = past + stretch.rows.get(past..)?.partition_point(|row| usize::from(*row) < begun);
                self.place.1
            } else {
                0
            };
            if (stretch.start != (next % 2 == 1)) != walk.beyond {
                // Held from before in the deadband, with another past than the table's.
                return None;
            }
            while let Some(row) = stretch.row(number, next).filter(|row| *row < to) {
                let lag = stretch.lags.get(next).copied().unwrap_or(0);
                let at = slackside::units::Micros::new(store.at(row).get() - u64::from(lag));
                if walk.ends(store, at, (from, row)) || walk.flip(cell, at, row) {
                    return Some(walk);
                }
                next += 1;
            }
        }
        Some(walk.rest(store, from, to))
    }
}

impl Table {
    fn stretch(&self, store: &Store, number: usize, cell: &LeaptCell, condition: usize) -> Option<&Stretch> {
        let place = self.stretches.get(number)?;
        place
            .get_or_init(|| {
                if ROOM.load(Ordering::Relaxed) >= MOST_ROOM {
                    return None;
                }
                let before = number.checked_sub(1).and_then(|before| self.stretches.get(before)?.get()?.as_ref());
                let start = before.is_some_and(Stretch::end);
                let (from, to) = (number * STRETCH, ((number + 1) * STRETCH).min(store.len()));
                let mut stretch = Stretch { start, rows: Vec::new(), lags: Vec::new() };
                walk::crossings(store, condition, cell, start, (from, to), |at, row| {
                    let lag = store.at(row).get().saturating_sub(at.get());
                    stretch.rows.push((row - from) as u16);
                    stretch.lags.push(u32::try_from(lag).unwrap_or(u32::MAX));
                });
                if stretch.lags.iter().all(|lag| *lag == 0) {
                    stretch.lags = Vec::new();
                }
                stretch.rows.shrink_to_fit();
                stretch.lags.shrink_to_fit();
                store.flips.take(2 * stretch.rows.len() + 4 * stretch.lags.len());
                Some(stretch)
            })
            .as_ref()
    }
}
