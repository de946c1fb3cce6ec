//! One condition's two delays, followed along the list of its crossings: what judge's cells do, apart from judge.

use std::sync::Arc;

use slackside::alone::leap::LeaptCell;
use slackside::units::Micros;

use super::flips::{Entry, Key, STRETCH, Stretch, Table, full};
use super::store::Store;
use super::walk::{self, Shaft};

/// Settings that ask for a table before it is begun.
const WORTH_IT: u32 = 3;

/// A moment within the order in which judge takes steps: at one time first what falls due by itself, then each row; in one step
/// first delays that end, then what turns at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Moment(u64);

impl Moment {
    /// None comes.
    pub const NEVER: Self = Self(u64::MAX);
    /// More rows at one time than steps can be told apart.
    const STEPS: u64 = 1 << 11;

    /// A delay ends.
    pub const fn due(at: u64) -> Self {
        Self(at << 12)
    }

    /// A value crosses its limit by itself.
    const fn silent(at: u64) -> Self {
        Self(at << 12 | 1)
    }

    /// With a row.
    pub fn row(store: &Store, row: usize) -> Self {
        let at = store.at(row);
        let before = (0..row).rev().take_while(|before| store.at(*before) == at).count() as u64;
        Self(at.get() << 12 | (before + 1).min(Self::STEPS - 1) << 1 | 1)
    }

    /// When it is.
    pub const fn at(self) -> Micros {
        Micros::new(self.0 >> 12)
    }

    /// The same for all that is one step.
    pub const fn step(self) -> u64 {
        self.0 >> 1
    }

    /// Whether it turns without a delay.
    pub const fn is_at_once(self) -> bool {
        self.0 & 1 != 0
    }

    /// How many rows have been taken by the end of its step.
    pub fn rows(self, store: &Store) -> usize {
        store.row_at(self.at()) + (self.step() % Self::STEPS) as usize
    }

    /// How many rows have been taken before its step.
    pub fn rows_before(self, store: &Store) -> usize {
        self.rows(store) - usize::from(!self.step().is_multiple_of(Self::STEPS))
    }
}

/// How far the rows may be gone through.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bound {
    /// Before this row.
    pub row: usize,
    /// When the last row before it is known.
    pub at: u64,
}

/// Where it stands in the list of crossings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    stretch: usize,
    /// The crossing to come.
    next: usize,
    /// The row from which the stretch was gone through for this setting alone, if it was.
    own: Option<(usize, bool)>,
    beyond: bool,
    active: bool,
    due: u64,
}

/// The delays of one condition under one setting.
#[derive(Debug)]
pub(super) struct Delays {
    number: usize,
    cell: LeaptCell,
    entry: Option<Arc<Entry>>,
    /// A stretch gone through for this setting alone: where from, and what was found.
    own: (Option<(usize, bool)>, Stretch),
    /// The row before which it was started, and what was known of the shaft there.
    began: Option<(usize, Shaft)>,
    now: Place,
    /// After the last turn that was taken.
    kept: Place,
    next: Moment,
}

impl Delays {
    /// Of a condition by its place among the leapt ones; where it stands is not known yet.
    pub fn new(store: &Store, number: usize, cell: &LeaptCell) -> Self {
        let key: Key = (number, cell.limit, cell.clear);
        let entry = store.flips.entry(key).filter(|entry| {
            let worth = entry.ask() >= WORTH_IT && (entry.table.get().is_some() || !full());
            if worth {
                entry.table.get_or_init(|| Table::new(store.len(), &store.flips));
            }
            worth
        });
        let place = Place { stretch: 0, next: 0, own: None, beyond: false, active: false, due: u64::MAX };
        Self {
            number,
            cell: *cell,
            entry,
            own: Default::default(),
            began: None,
            now: place,
            kept: place,
            next: Moment::NEVER,
        }
    }

    /// Whether it is still about this limit.
    pub fn is_of(&self, cell: &LeaptCell) -> bool {
        (self.cell.limit, self.cell.clear, self.cell.on_delay, self.cell.off_delay)
            == (cell.limit, cell.clear, cell.on_delay, cell.off_delay)
    }

    /// It stands so before row `from`.
    pub fn start(&mut self, store: &Store, cell: &LeaptCell, shaft: Shaft, from: usize) {
        self.cell = *cell;
        self.began = Some((from, shaft));
        let stretch = from / STRETCH;
        let (beyond, active, due) = (cell.beyond, cell.active, cell.due.get());
        self.now = Place { stretch, next: 0, own: None, beyond, active, due };
        let shared = self.shared(store, stretch).and_then(|shared| {
            let next = shared.rows.partition_point(|row| Stretch::place(*row) < from % STRETCH);
            (shared.beyond_after(next) == beyond).then_some(next)
        });
        match shared {
            Some(next) => self.now.next = next,
            None => self.now.own = Some((from, beyond)),
        }
        self.fill(store);
        self.kept = self.now;
        self.next = Moment::NEVER;
    }

    fn shared(&self, store: &Store, number: usize) -> Option<&Stretch> {
        let table = self.entry.as_ref()?.table.get()?;
        table.stretch(&store.flips, number, |stretch| {
            let from = number * STRETCH;
            find(store, self.number, &self.cell, stretch, (from, None), number)
        })
    }

    /// Go through the stretch for this setting alone, if that is what it stands on.
    fn fill(&mut self, store: &Store) {
        let Some((from, beyond)) = self.now.own.filter(|_| self.own.0 != self.now.own) else { return };
        self.own.0 = self.now.own;
        self.own.1.begin(beyond);
        let shaft = self.began.filter(|(row, _)| *row == from).map(|(_, shaft)| shaft);
        find(store, self.number, &self.cell, &mut self.own.1, (from, shaft), self.now.stretch);
    }

    /// The turn to come.
    pub const fn next(&self) -> Moment {
        self.next
    }

    /// The turn to come has come. Look for the one after it.
    pub fn take(&mut self, store: &Store, bound: Bound) {
        self.kept = self.now;
        self.look(store, bound);
    }

    /// Nothing has turned since the last that was taken: go again as far as `bound`, where nothing turns either.
    pub fn go_back(&mut self, store: &Store, bound: Bound) {
        self.now = self.kept;
        self.fill(store);
        self.look(store, bound);
        debug_assert_eq!(self.next, Moment::NEVER);
    }

    /// How it stands: beyond, and when the running delay ends.
    pub const fn stands(&self) -> (bool, Micros) {
        (self.now.beyond, Micros::new(self.now.due))
    }

    /// Look for the next turn, or go as far as `bound`.
    pub fn look(&mut self, store: &Store, bound: Bound) {
        self.next = Moment::NEVER;
        loop {
            let number = self.now.stretch;
            let end = ((number + 1) * STRETCH).min(store.len());
            let found = if self.now.own.is_some() {
                along(&mut self.now, &self.cell, &self.own.1, store, bound)
            } else {
                let table = self.entry.as_ref().and_then(|entry| entry.table.get());
                let Some(stretch) = table.and_then(|table| table.known(number)) else { return };
                along(&mut self.now, &self.cell, stretch, store, bound)
            };
            if let Some(moment) = found {
                self.next = moment;
                return;
            }
            if end >= bound.row {
                return;
            }
            let (number, beyond) = (number + 1, self.now.beyond);
            let shared = self.shared(store, number).is_some_and(|shared| shared.start == beyond);
            self.now.stretch = number;
            self.now.next = 0;
            self.now.own = (!shared).then_some((number * STRETCH, beyond));
            self.fill(store);
        }
    }
}

/// Go along one stretch: the first turn before its end and `bound`.
fn along(place: &mut Place, cell: &LeaptCell, stretch: &Stretch, store: &Store, bound: Bound) -> Option<Moment> {
    let first = place.stretch * STRETCH;
    let end = (first + STRETCH).min(store.len());
    let whole = end <= bound.row;
    let last = if whole {
        stretch.rows.len()
    } else {
        stretch.rows.partition_point(|row| first + Stretch::place(*row) < bound.row)
    };
    let (on, off) = (u64::from(cell.on_delay.get()), u64::from(cell.off_delay.get()));
    let Place { mut next, mut beyond, mut due, active, .. } = *place;
    let mut found = None;
    while next < last {
        let at = stretch.base + u64::from(stretch.times[next]);
        if due <= at {
            break;
        }
        beyond = !beyond;
        next += 1;
        due = u64::MAX;
        if beyond != active {
            let delay = if beyond { on } else { off };
            due = at + delay;
            if delay == 0 {
                let row = stretch.rows[next - 1];
                let silent = Stretch::is_silent(row);
                let moment = if silent { Moment::silent(at) } else { Moment::row(store, first + Stretch::place(row)) };
                found = Some(moment);
                break;
            }
        }
    }
    if found.is_none() {
        let known = if next < last {
            u64::MAX
        } else if whole {
            // Further on a crossing may come first.
            stretch.base + u64::from(stretch.end)
        } else {
            bound.at
        };
        found = (due <= known && due != u64::MAX).then(|| Moment::due(due));
    }
    *place = Place { next, beyond, due, ..*place };
    if found.is_some() {
        place.active = !active;
        place.due = u64::MAX;
    }
    found
}

/// All crossings of one stretch from a row on. Whether their times could be told.
fn find(
    store: &Store,
    condition: usize,
    cell: &LeaptCell,
    stretch: &mut Stretch,
    (from, shaft): (usize, Option<Shaft>),
    number: usize,
) -> bool {
    let (first, end) = (number * STRETCH, ((number + 1) * STRETCH).min(store.len()));
    // What a value crosses by silence lies between its row and the one before.
    let base = store.at(from.saturating_sub(1)).get();
    let since = |at: Micros| u32::try_from(at.get().saturating_sub(base));
    let whole = since(store.at(end - 1));
    (stretch.base, stretch.end) = (base, whole.unwrap_or(u32::MAX));
    let start = stretch.start;
    walk::crossings(store, condition, cell, (start, shaft), (from, end), |at, row, silent| {
        stretch.push(row - first, silent, since(at).unwrap_or(u32::MAX));
    });
    whole.is_ok()
}
