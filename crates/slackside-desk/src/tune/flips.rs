//! Where a value passes a limit and comes back: worked out once for each limit and deadband, and used by every setting that has them.
//!
//! A study tries few values of each limit, in many combinations. When a condition is beyond its limit depends on setpoint and
//! deadband alone, neither on its delays nor on the other conditions; so a crossing found for one setting is the same for all that
//! share the two. A table is begun when the third setting asks for it, and grows by chunks of [`CHUNK`] rows as they are
//! needed: settings that end early cost no more than they judge. The same holds for the turns of an alarm, of which limit, deadband and
//! delays decide.

use std::collections::HashMap;
use std::hash::Hash;
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
/// Rows from one mark to the next: there it is known how many crossings have come.
const MARK: usize = 512;

static ROOM: AtomicUsize = AtomicUsize::new(0);

/// The crossings of one stretch of rows: beyond, back, beyond, by turns.
#[derive(Debug)]
pub(super) struct Stretch {
    /// Beyond before its first row.
    pub start: bool,
    /// That of its last row.
    pub end: Moment,
    /// All crossings are listed; else those are left out that turn nothing.
    pub whole: bool,
    moments: Vec<Moment>,
    /// How long the value stays where each crossing brings it, in microseconds; for good as far as is known after the last.
    lasts: Vec<u32>,
    /// The longest of each group: of those with an even number, and of those with an odd one.
    longest: Vec<[u32; 2]>,
    /// Its first row.
    from: usize,
    /// Every [`MARK`] rows, how many crossings come before.
    marks: Vec<u32>,
}

impl Default for Stretch {
    fn default() -> Self {
        Self {
            start: false,
            end: Moment::FIRST,
            whole: true,
            moments: Vec::new(),
            lasts: Vec::new(),
            longest: Vec::new(),
            from: 0,
            marks: Vec::new(),
        }
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

    /// How many crossings have come before `row` is taken, the last of them by `moment`.
    pub fn before_row(&self, row: usize, moment: Moment) -> usize {
        let mark = row.saturating_sub(self.from) / MARK;
        let count = |mark: usize| self.marks.get(mark).map_or(self.moments.len(), |count| *count as usize);
        let (from, to) = (count(mark), count(mark + 1));
        from + self.moments[from..to].partition_point(|crossing| *crossing <= moment)
    }

    /// How many crossings have come by a moment; so many are known to have, and not many more are likely to: `from`.
    pub fn by(&self, moment: Moment, from: usize) -> usize {
        by(&self.moments, from, |crossing| *crossing <= moment)
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

    /// Empty it: its first row, and beyond before it or not.
    pub fn begin(&mut self, from: usize, start: bool) {
        (self.from, self.start) = (from, start);
        self.marks.clear();
        self.moments.clear();
        self.lasts.clear();
        self.longest.clear();
    }

    /// One crossing more, found with `row`.
    pub fn push(&mut self, moment: Moment, row: usize) {
        let mark = (row - self.from) / MARK;
        while self.marks.len() <= mark {
            self.marks.push(self.moments.len() as u32);
        }
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
}

/// A list of one stretch of rows.
pub(super) trait List {
    /// Take no more room than it must. How much that is, in bytes.
    fn settle(&mut self) -> usize;
}

impl List for Stretch {
    fn settle(&mut self) -> usize {
        self.moments.shrink_to_fit();
        self.moments.len() * (size_of::<Moment>() + size_of::<u32>())
            + size_of_val(self.longest.as_slice())
            + size_of_val(self.marks.as_slice())
    }
}

/// The turns of an alarm in one stretch of rows: raised, cleared, raised, by turns. Whichever way it stood before, it soon turns with
/// these: from a turn on nothing but that turn bears on the next.
#[derive(Debug)]
pub(super) struct Turns {
    moments: Vec<Moment>,
    /// The crossing that comes after each.
    nexts: Vec<u32>,
}

impl List for Arc<Turns> {
    fn settle(&mut self) -> usize {
        self.moments.len() * (size_of::<Moment>() + size_of::<u32>())
    }
}

impl Turns {
    /// None yet, with room for so many.
    pub fn with_room(turns: usize) -> Self {
        Self { moments: Vec::with_capacity(turns), nexts: Vec::with_capacity(turns) }
    }

    /// Take no more room than it must, and be shared.
    pub fn shared(mut self) -> Arc<Self> {
        self.moments.shrink_to_fit();
        self.nexts.shrink_to_fit();
        Arc::new(self)
    }

    /// One turn more, and the crossing that comes after it.
    pub fn push(&mut self, moment: Moment, next: usize) {
        self.moments.push(moment);
        self.nexts.push(next as u32);
    }

    /// A turn by its number.
    pub fn get(&self, number: usize) -> Option<Moment> {
        self.moments.get(number).copied()
    }

    /// Turns by their numbers.
    pub fn part(&self, from: usize, to: usize) -> &[Moment] {
        self.moments.get(from..to).unwrap_or_default()
    }

    /// How many turns come, if all before number `from` do and not many more are likely to.
    pub fn by(&self, from: usize, comes: impl Fn(Moment) -> bool) -> usize {
        by(&self.moments, from, |moment| comes(*moment))
    }

    /// The crossing that comes after it.
    pub fn crossing_after(&self, number: usize) -> usize {
        self.nexts.get(number).map_or(0, |next| *next as usize)
    }

    /// The number of the turn at that moment that raises the alarm or clears it.
    pub fn number(&self, moment: Moment, raises: bool) -> Option<usize> {
        self.moments.binary_search(&moment).ok().filter(|number| number.is_multiple_of(2) == raises)
    }
}

/// The lists of one limit over a whole trace, chunk by chunk, as far as they were asked for.
#[derive(Debug)]
pub(super) struct Table<L = Stretch> {
    chunks: Vec<OnceLock<Option<L>>>,
}

/// Something that may be asked for often enough to be worth a table.
#[derive(Debug)]
pub(super) struct Asked<L> {
    asked: AtomicU32,
    pub table: OnceLock<Table<L>>,
}

impl<L> Default for Asked<L> {
    fn default() -> Self {
        Self { asked: AtomicU32::new(0), table: OnceLock::new() }
    }
}

/// The turns under one limit and one pair of delays.
pub(super) type AskedTurns = Asked<Arc<Turns>>;

/// What was asked for of one limit.
#[derive(Debug, Default)]
pub(super) struct Entry {
    pub crossings: Asked<Stretch>,
    /// Where the belt comes to speed and leaves it, if the limit is that of underspeed.
    pub speed: OnceLock<Table>,
    /// The turns, for each on-delay and off-delay.
    turns: RwLock<HashMap<(u32, u32), Arc<AskedTurns>>>,
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
        remembered(&self.entries, key)
    }
}

impl Entry {
    /// What was asked for with these delays; `None` if too many are remembered.
    pub fn turns(&self, delays: (u32, u32)) -> Option<Arc<AskedTurns>> {
        remembered(&self.turns, delays)
    }
}

impl<L: List> Asked<L> {
    /// Ask for its table, over so many rows: it is begun when that has been asked `worth_it` times.
    pub fn ask(&self, worth_it: u32, rows: usize, flips: &Flips) -> Option<&Table<L>> {
        let asked = self.asked.fetch_add(1, Ordering::Relaxed) + 1;
        if asked < worth_it || (self.table.get().is_none() && full()) {
            return None;
        }
        Some(self.table.get_or_init(|| Table::new(rows, flips)))
    }
}

impl<L: List> Table<L> {
    /// A table for so many rows, nothing in it yet; it grows within the room of `flips`.
    pub fn new(rows: usize, flips: &Flips) -> Self {
        let chunks: Vec<_> = (0..rows.div_ceil(CHUNK)).map(|_| OnceLock::new()).collect();
        flips.take(chunks.len() * size_of::<OnceLock<Option<L>>>());
        Self { chunks }
    }

    /// One chunk, if it has been gone through.
    pub fn known(&self, number: usize) -> Option<&L> {
        self.chunks.get(number)?.get()?.as_ref()
    }

    /// One chunk. `fill` goes through it if it can, told the chunk before if that is known, the first time it is asked for.
    pub fn chunk(&self, flips: &Flips, number: usize, fill: impl FnOnce(Option<&L>) -> Option<L>) -> Option<&L> {
        let place = self.chunks.get(number)?;
        place
            .get_or_init(|| {
                if full() {
                    return None;
                }
                let mut list = fill(number.checked_sub(1).and_then(|before| self.known(before)))?;
                flips.take(list.settle());
                Some(list)
            })
            .as_ref()
    }
}

/// How many come, if all before number `from` do and not many more are likely to.
fn by(moments: &[Moment], from: usize, comes: impl Fn(&Moment) -> bool) -> usize {
    let rest = moments.get(from..).unwrap_or_default();
    let mut step = 1;
    while rest.get(step - 1).is_some_and(&comes) {
        step *= 2;
    }
    let (known, end) = (step / 2, step.min(rest.len()));
    from + known + rest[known..end].partition_point(comes)
}

/// What is remembered of `key`, from now on at the least; `None` if too much is.
fn remembered<K: Copy + Eq + Hash, V: Default>(map: &RwLock<HashMap<K, Arc<V>>>, key: K) -> Option<Arc<V>> {
    // What a panic elsewhere left is whole: entries are only ever added.
    if let Some(entry) = map.read().unwrap_or_else(PoisonError::into_inner).get(&key) {
        return Some(Arc::clone(entry));
    }
    let mut map = map.write().unwrap_or_else(PoisonError::into_inner);
    (map.len() < MOST_ASKED || map.contains_key(&key)).then(|| Arc::clone(map.entry(key).or_default()))
}

/// Whether all tables together have taken their room.
pub(super) fn full() -> bool {
    ROOM.load(Ordering::Relaxed) >= MOST_ROOM
}
