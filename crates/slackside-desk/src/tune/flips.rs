//! Where a value passes a limit and comes back: worked out once for each limit and deadband, and used by every setting that has them.
//!
//! A study tries few values of each limit, in many combinations. When a condition is beyond its limit depends on setpoint and
//! deadband alone, neither on its delays nor on the other conditions; so a crossing found for one setting is the same for all that
//! share the two. A table is begun when the third setting asks for it, and grows by chunks of [`CHUNK`] rows as they are
//! needed: settings that end early cost no more than they judge.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

use super::moment::Moment;

/// Rows in one chunk of a table: hours of a leg. Few where assertions are on, so that tests go from chunk to chunk.
pub(super) const CHUNK: usize = if cfg!(debug_assertions) { 1 << 11 } else { 1 << 17 };
/// Limits remembered before their tables are begun.
const MOST_ASKED: usize = 100_000;
/// All tables of all traces together may take so much, in bytes; beyond it crossings are looked for each time.
const MOST_ROOM: usize = 1 << 30;
/// Crossings that are passed over at once where none of them lasts.
const GROUP: usize = 64;

static ROOM: AtomicUsize = AtomicUsize::new(0);

/// The crossings of one stretch of rows: beyond, back, beyond, by turns.
#[derive(Debug)]
pub(super) struct Stretch {
    /// Beyond before its first row.
    pub start: bool,
    /// That of its last row.
    pub end: Moment,
    moments: Vec<Moment>,
    /// How long the value stays where each crossing brings it, in microseconds; for good as far as is known after the last.
    lasts: Vec<u32>,
    /// The longest of each group: of those with an even number, and of those with an odd one.
    longest: Vec<[u32; 2]>,
}

impl Default for Stretch {
    fn default() -> Self {
        Self { start: false, end: Moment::FIRST, moments: Vec::new(), lasts: Vec::new(), longest: Vec::new() }
    }
}

impl Stretch {
    /// Beyond after so many crossings.
    pub const fn beyond_after(&self, crossings: usize) -> bool {
        self.start != (crossings % 2 == 1)
    }

    /// How many crossings there are.
    pub const fn len(&self) -> usize {
        self.moments.len()
    }

    /// A crossing by its number.
    pub fn get(&self, number: usize) -> Option<Moment> {
        self.moments.get(number).copied()
    }

    /// How many crossings have come by a moment; so many are known to have: `from`.
    pub fn by(&self, moment: Moment, from: usize) -> usize {
        from + self.moments.get(from..).unwrap_or_default().partition_point(|crossing| *crossing <= moment)
    }

    /// The first crossing of `from`, `from + 2` and so on after which the value stays for `delay`, or longer than is known here.
    pub fn staying(&self, from: usize, delay: u32) -> Option<usize> {
        let parity = from % 2;
        let mut number = from;
        while number < self.lasts.len() {
            let group = number / GROUP;
            let end = (group + 1) * GROUP;
            if self.longest[group][parity] >= delay {
                let part = &self.lasts[number..end.min(self.lasts.len())];
                if let Some(found) = part.iter().step_by(2).position(|lasts| *lasts >= delay) {
                    return Some(number + 2 * found);
                }
            }
            number = end + parity;
        }
        None
    }

    /// Empty it: beyond before its first row or not.
    pub fn begin(&mut self, start: bool) {
        self.start = start;
        self.moments.clear();
        self.lasts.clear();
        self.longest.clear();
    }

    /// One crossing more.
    pub fn push(&mut self, moment: Moment) {
        self.moments.push(moment);
    }

    /// All crossings up to the moment of its last row are there.
    pub fn close(&mut self, end: Moment) {
        self.end = end;
        let lasts = |pair: &[Moment]| pair[1].at().since(pair[0].at()).get();
        self.lasts.extend(self.moments.windows(2).map(lasts));
        self.lasts.extend(self.moments.last().map(|_| u32::MAX));
        let longest = |group: &[u32], parity| group.iter().skip(parity).step_by(2).copied().max().unwrap_or(0);
        self.longest.extend(self.lasts.chunks(GROUP).map(|group| [longest(group, 0), longest(group, 1)]));
    }

    fn room(&self) -> usize {
        self.moments.len() * (size_of::<Moment>() + size_of::<u32>()) + size_of_val(self.longest.as_slice())
    }
}

/// The crossings of one limit over a whole trace, as far as they were asked for.
#[derive(Debug)]
pub(super) struct Table {
    chunks: Vec<OnceLock<Option<Stretch>>>,
}

/// What was asked for of one limit.
#[derive(Debug, Default)]
pub(super) struct Entry {
    asked: AtomicU32,
    pub table: OnceLock<Table>,
    /// Where the belt comes to speed and leaves it, if the limit is that of underspeed.
    pub speed: OnceLock<Table>,
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
        let chunks: Vec<_> = (0..rows.div_ceil(CHUNK)).map(|_| OnceLock::new()).collect();
        flips.take(chunks.len() * size_of::<OnceLock<Option<Stretch>>>());
        Self { chunks }
    }

    /// One chunk, if it has been gone through.
    pub fn known(&self, number: usize) -> Option<&Stretch> {
        self.chunks.get(number)?.get()?.as_ref()
    }

    /// One chunk. `fill` goes through it if it can, told how the chunk before ended if that is known, the first time it is asked for.
    pub fn chunk(
        &self,
        flips: &Flips,
        number: usize,
        fill: impl FnOnce(Option<bool>) -> Option<Stretch>,
    ) -> Option<&Stretch> {
        let place = self.chunks.get(number)?;
        place
            .get_or_init(|| {
                if full() {
                    return None;
                }
                let before = number.checked_sub(1).and_then(|before| self.known(before));
                let mut stretch = fill(before.map(|before| before.beyond_after(before.len())))?;
                stretch.moments.shrink_to_fit();
                flips.take(stretch.room());
                Some(stretch)
            })
            .as_ref()
    }
}

/// Whether all tables together have taken their room.
pub(super) fn full() -> bool {
    ROOM.load(Ordering::Relaxed) >= MOST_ROOM
}
