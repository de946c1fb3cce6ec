//! When the belt comes to speed and when it leaves it, as judge counts: boot pitches since the last that was surely slow.

use std::sync::Arc;

use slackside::alone::leap::{BRISK_ENOUGH, LeaptCell};
use slackside::units::Micros;

use super::flips::{CHUNK, Entry, Stretch, Table};
use super::moment::Moment;
use super::store::Store;
use super::walk::{self, Shaft, UNDERSPEED};

/// How far back it is looked for what the count of brisk pitches begins with.
const LOOK_BACK: usize = 1 << 12;

/// Judge's count of brisk pitches, row by row.
struct Count {
    /// Before the newest edge, which a whole row may tell again.
    before: u8,
    now: u8,
    last: bool,
    edge: Edge,
}

/// When an edge happened; or the ordinary row that tells it.
#[derive(Clone, Copy)]
enum Edge {
    At(Micros),
    Row(usize),
}

impl Count {
    /// Before row `to`, whatever was long before; `None` if that bears on it.
    fn known(store: &Store, cell: &LeaptCell, to: usize) -> Option<Self> {
        let first = to.saturating_sub(LOOK_BACK);
        let (mut count, mut newest) = (0, None);
        let begins = (first..to).rev().find(|row| {
            let edge = walk::edge_at(store, *row, false).filter(|shaft| newest != Some(shaft.edge));
            edge.is_some_and(|shaft| {
                newest = Some(shaft.edge);
                let (slow, fast) = shaft.paces(cell);
                count += u8::from(fast);
                slow || count == BRISK_ENOUGH
            })
        });
        let begins = begins.or((first == 0).then_some(0))?;
        let mut known = Self { before: 0, now: 0, last: false, edge: Edge::At(Micros::MAX) };
        (begins..to).for_each(|row| known.take(store, cell, row));
        Some(known)
    }

    fn take(&mut self, store: &Store, cell: &LeaptCell, row: usize) {
        let (slow, fast) = if let Some(pitch) = walk::boot_pitch(store, row) {
            (self.edge, self.before) = (Edge::Row(row), self.now);
            walk::paces(&pitch, cell)
        } else if let Some(shaft) = walk::edge_at(store, row, false) {
            let newest = match self.edge {
                Edge::At(at) => at,
                Edge::Row(row) => walk::edge_at(store, row, false).map_or(Micros::MAX, |shaft| shaft.edge),
            };
            if shaft.edge != newest {
                (self.edge, self.before) = (Edge::At(shaft.edge), self.now);
            }
            shaft.paces(cell)
        } else {
            return;
        };
        self.now = if slow { 0 } else { (self.before + u8::from(fast)).min(BRISK_ENOUGH) };
        self.last = fast;
    }

    const fn is_at_speed(&self) -> bool {
        self.last && self.now == BRISK_ENOUGH
    }
}

/// Whether the belt is at speed, asked at one moment after another within one leap.
#[derive(Debug)]
pub(super) struct Speeds {
    cell: LeaptCell,
    /// What settings with the same limit share; from the row of the leap on, if its count is judge's own there.
    shared: Option<Arc<Entry>>,
    from: usize,
    boot: Shaft,
    brisk: u8,
    /// The chunk of the table it stands in, and how many of its flips have come.
    place: (usize, usize),
}

impl Speeds {
    /// From row `from` on, before which that is known of the boot, and its count of brisk pitches. `cell`: that of underspeed.
    pub fn new(store: &Store, cell: &LeaptCell, (boot, brisk): (Shaft, u8), from: usize) -> Self {
        let entry = store.flips.entry((UNDERSPEED, cell.limit, cell.clear));
        let mut speeds = Self { cell: *cell, shared: None, from, boot, brisk, place: (from / CHUNK, 0) };
        // One list is not worth it, the same as for crossings.
        speeds.shared = entry.filter(|entry| entry.crossings.table.get().is_some());
        let at_speed = speeds.known_before(store, from);
        // At speed the count is full.
        let as_judge_has_it = match at_speed {
            Some(true) => brisk == BRISK_ENOUGH,
            _ => Count::known(store, cell, from).is_some_and(|count| count.now == brisk),
        };
        if !as_judge_has_it {
            speeds.shared = None;
        }
        speeds
    }

    /// Boot pitches at speed since the last that was surely slow, before row `to`; not before what was asked for last.
    pub fn brisk_before(&mut self, store: &Store, to: usize) -> u8 {
        if self.known_before(store, to) == Some(true) { BRISK_ENOUGH } else { self.brisk(store, to).0 }
    }

    /// Whether the belt is at speed before row `to`, if a table tells that is begun: for this alone none is. Not before what was asked for
    /// last.
    fn known_before(&mut self, store: &Store, to: usize) -> Option<bool> {
        self.shared.as_ref()?.speed.get()?;
        let chunk = to.checked_sub(1)? / CHUNK;
        let stretch = self.chunk(store, chunk)?;
        let flips = stretch.before_row(to, Moment::before_row(store, to));
        let at_speed = stretch.beyond_after(flips);
        self.place = (chunk, flips);
        Some(at_speed)
    }

    fn chunk(&self, store: &Store, chunk: usize) -> Option<&Stretch> {
        let table = self.shared.as_ref()?.speed.get_or_init(|| Table::new(store.len(), &store.flips));
        table.chunk(&store.flips, chunk, |_| self.gone_through(store, chunk))
    }

    /// The same, and whether the last was.
    fn brisk(&self, store: &Store, to: usize) -> (u8, bool) {
        walk::brisk(store, &self.cell, (self.boot, self.brisk), (self.from, to))
    }

    fn after_rows(&self, store: &Store, rows: usize) -> bool {
        let (count, last) = self.brisk(store, rows);
        last && count == BRISK_ENOUGH
    }

    /// Whether the belt is at speed by the end of the step of that moment; not before the last that was asked for.
    pub fn is_at_speed(&mut self, store: &Store, moment: Moment) -> bool {
        match self.flips(store, moment) {
            Some((stretch, flips)) => stretch.beyond_after(flips),
            None => self.after_rows(store, moment.rows(store)),
        }
    }

    /// The first moment, from one that was asked for up to `bound`, with which the belt is at speed.
    pub fn next(&mut self, store: &Store, moment: Moment, bound: Moment) -> Moment {
        let mut from = moment;
        while let Some((stretch, flips)) = self.flips(store, from) {
            if stretch.beyond_after(flips) {
                break;
            }
            if let Some(flip) = stretch.get(flips) {
                return if flip <= bound { flip } else { Moment::NEVER };
            }
            if stretch.end >= bound {
                return Moment::NEVER;
            }
            // At the beginning of a chunk it is as at the end of the one before.
            from = stretch.end.next();
        }
        let rows = from.rows(store)..bound.rows(store);
        let mut edges = rows.filter(|row| !store.is_head(*row));
        let found = edges.find(|row| self.after_rows(store, row + 1));
        found.map_or(Moment::NEVER, |row| Moment::row(store, row))
    }

    /// The chunk that tells of a moment, and how many of its flips have come by it.
    fn flips(&mut self, store: &Store, moment: Moment) -> Option<(&Stretch, usize)> {
        let (mut chunk, mut flips) = self.place;
        while moment.step() > self.chunk(store, chunk)?.end.step() && (chunk + 1) * CHUNK < store.len() {
            (chunk, flips) = (chunk + 1, 0);
        }
        flips = self.chunk(store, chunk)?.by(moment.end_of_step(), flips);
        self.place = (chunk, flips);
        self.chunk(store, chunk).map(|stretch| (stretch, flips))
    }

    fn gone_through(&self, store: &Store, chunk: usize) -> Option<Stretch> {
        let (first, end) = (chunk * CHUNK, ((chunk + 1) * CHUNK).min(store.len()));
        let mut count = Count::known(store, &self.cell, first)?;
        let mut stretch = Stretch::default();
        let mut now = count.is_at_speed();
        stretch.begin(first, now);
        for row in first..end {
            count.take(store, &self.cell, row);
            if count.is_at_speed() != now {
                now = !now;
                stretch.push(Moment::row(store, row), row);
            }
        }
        stretch.close(Moment::before_row(store, end));
        Some(stretch)
    }
}
