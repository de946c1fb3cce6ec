//! One setting's way from crossing to crossing through the tables.

use std::sync::Arc;

use slackside::alone::leap::LeaptCell;
use slackside::units::Micros;

use super::flips::{Entry, Key, STRETCH, Stretch, Table, full};
use super::store::Store;
use super::walk::{self, Walk};

/// Settings that ask for a table before it is begun.
const WORTH_IT: u32 = 3;

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
            let worth = entry.ask() >= WORTH_IT && (entry.table.get().is_some() || !full());
            if worth {
                entry.table.get_or_init(|| Table::new(store.len(), &store.flips));
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
            let stretch = stretch(table, store, number, cell, self.key.0)?;
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
                let at = Micros::new(store.at(row).get() - u64::from(lag));
                if walk.ends(store, at, (from, row)) || walk.flip(cell, at, row) {
                    return Some(walk);
                }
                next += 1;
            }
        }
        Some(walk.rest(store, from, to))
    }
}

/// One stretch of a table, filled the first time it is asked for.
fn stretch<'t>(
    table: &'t Table,
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    condition: usize,
) -> Option<&'t Stretch> {
    table.stretch(&store.flips, number, |stretch| {
        let (from, to) = (number * STRETCH, ((number + 1) * STRETCH).min(store.len()));
        walk::crossings(store, condition, cell, stretch.start, (from, to), |at, row| {
            let lag = store.at(row).get().saturating_sub(at.get());
            stretch.rows.push((row - from) as u16);
            stretch.lags.push(u32::try_from(lag).unwrap_or(u32::MAX));
        });
    })
}
