//! Where a value turns: rises no more and begins to fall, or falls no more and begins to rise. What comes and goes within a deadband is
//! no turn.
//!
//! Between two turns a value passes a limit once at the most, and comes back within a deadband as wide as that once at the most: up to a
//! peak it cannot have come back, down to a trough it cannot have passed. So of all rows only those before a peak beyond the limit, or
//! before a trough within the deadband, need be looked at, and only while the condition is not so already.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::columns::unpack;
use super::store::Store;
use super::walk::{self, Shaft};

/// Widths of deadbands for which turns are kept: in ppm for slip, in microseconds a turn for speed. The first keeps every turn.
const WIDTHS: [i64; 7] = [0, 1 << 9, 1 << 10, 1 << 11, 1 << 12, 1 << 13, 1 << 14];
/// Shafts, and values that have turns.
const SHAFTS: usize = 2;
const COURSES: usize = 4;
/// To gather turns costs about as much as to find a crossing for each so many rows by looking at all: where fewer are found, it is not
/// worth it.
const ROWS_A_CROSSING: usize = if cfg!(debug_assertions) { 1 << 10 } else { 1 << 5 };

/// A value that has turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Course {
    /// Slip over one turn.
    Short,
    /// Slip over four.
    Long,
    /// The time of a turn of the head, silence counted.
    Head,
    /// The same of the boot.
    Boot,
}

/// One turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Point {
    pub row: usize,
    pub value: i64,
    pub is_peak: bool,
}

/// The turns of one value over a whole trace, for deadbands of some width or more: a peak, a trough, a peak and so on.
#[derive(Clone, Debug, Default)]
struct Turns {
    rows: Vec<u32>,
    values: Vec<i64>,
}

/// The time of a turn of one shaft at every row, silence counted: the longest limit that it is beyond, and the longest that it is not
/// within, both held at the end of the type.
#[derive(Clone, Debug, Default)]
pub(super) struct Paces {
    pub least: Vec<u32>,
    pub most: Vec<u32>,
}

/// All turns of a trace, as far as they were asked for.
#[derive(Debug, Default)]
pub(super) struct Swings {
    turns: [[OnceLock<Turns>; WIDTHS.len()]; COURSES],
    paces: [OnceLock<Paces>; SHAFTS],
    /// Crossings of each value that were found without.
    found: [AtomicUsize; COURSES],
}

/// A copy of a trace begins without.
impl Clone for Swings {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl Swings {
    /// The turns of a value from row `from` on that a deadband of that width asks for.
    pub fn from<'a>(
        &'a self,
        store: &Store,
        course: Course,
        deadband: i64,
        from: usize,
    ) -> impl Iterator<Item = Point> + use<'a> {
        let turns = self.turns(store, course, deadband);
        let first = turns.rows.partition_point(|row| (*row as usize) < from);
        (first..turns.rows.len()).map(|number| turns.point(number))
    }

    /// The same before row `to`, the last first.
    pub fn back<'a>(
        &'a self,
        store: &Store,
        course: Course,
        deadband: i64,
        to: usize,
    ) -> impl Iterator<Item = Point> + use<'a> {
        let turns = self.turns(store, course, deadband);
        let end = turns.rows.partition_point(|row| (*row as usize) < to);
        (0..end).rev().map(|number| turns.point(number))
    }

    fn turns(&self, store: &Store, course: Course, deadband: i64) -> &Turns {
        let level = WIDTHS.iter().rposition(|width| *width <= deadband).unwrap_or(0);
        self.turns[course as usize][level].get_or_init(|| Turns::of(store, course, WIDTHS[level]))
    }

    /// Whether so many crossings were found without that it is worth it.
    pub fn are_worth_it(&self, course: Course, rows: usize) -> bool {
        self.found[course as usize].load(Ordering::Relaxed) * ROWS_A_CROSSING >= rows
    }

    /// So many more were found without.
    pub fn found(&self, course: Course, crossings: usize) {
        self.found[course as usize].fetch_add(crossings, Ordering::Relaxed);
    }

    /// The time of a turn at every row.
    pub fn paces(&self, store: &Store, head: bool) -> &Paces {
        self.paces[usize::from(head)].get_or_init(|| Paces::of(store, head))
    }

    /// What they take, in bytes.
    pub fn bytes(&self) -> usize {
        let known = self.turns.iter().flatten().filter_map(OnceLock::get);
        let paces = self.paces.iter().filter_map(OnceLock::get);
        known.map(|turns| turns.rows.len() * (size_of::<u32>() + size_of::<i64>())).sum::<usize>()
            + paces.map(|paces| paces.least.len() * 2 * size_of::<u32>()).sum::<usize>()
    }
}

impl Turns {
    fn point(&self, number: usize) -> Point {
        Point { row: self.rows[number] as usize, value: self.values[number], is_peak: number.is_multiple_of(2) }
    }

    fn of(store: &Store, course: Course, width: i64) -> Self {
        let mut finder = Finder { turns: Self::default(), width, rises: true, row: 0, value: i64::MIN };
        match course {
            Course::Short => finder.slip(&store.short),
            Course::Long => finder.slip(&store.long),
            Course::Head => finder.speed(store.swings.paces(store, true)),
            Course::Boot => finder.speed(store.swings.paces(store, false)),
        }
        let mut turns = finder.turns;
        turns.rows.shrink_to_fit();
        turns.values.shrink_to_fit();
        turns
    }
}

/// Goes along a value.
struct Finder {
    turns: Turns,
    width: i64,
    /// Whether it rises; and how far it came, in which row.
    rises: bool,
    row: usize,
    value: i64,
}

impl Finder {
    /// In this row it is at least and at most so much.
    fn take(&mut self, row: usize, (least, most): (i64, i64)) {
        let (further, value) = if self.rises { (least > self.value, least) } else { (most < self.value, most) };
        if further {
            (self.row, self.value) = (row, value);
            return;
        }
        let back = if self.rises { most < self.value - self.width } else { least > self.value + self.width };
        if back {
            self.turns.rows.push(self.row as u32);
            self.turns.values.push(self.value);
            (self.row, self.value) = (row, if self.rises { most } else { least });
            self.rises = !self.rises;
        }
    }

    fn slip(&mut self, column: &[i32]) {
        for (row, packed) in column.iter().enumerate() {
            let reading = unpack(*packed);
            if reading.is_known() {
                self.take(row, (reading.least.into(), reading.least.into()));
            }
        }
    }

    fn speed(&mut self, paces: &Paces) {
        for (row, (least, most)) in paces.least.iter().zip(&paces.most).enumerate() {
            // What was so long in silence may at once be shorter.
            self.take(row, ((*least).into(), i64::MAX));
            self.take(row, (i64::MIN, if *most == u32::MAX { i64::MAX } else { (*most).into() }));
        }
    }
}

impl Paces {
    fn of(store: &Store, head: bool) -> Self {
        let mut paces = Self { least: Vec::with_capacity(store.len()), most: Vec::with_capacity(store.len()) };
        let mut shaft: Option<Shaft> = None;
        for row in 0..store.len() {
            let at = store.at(row);
            let (mut least, mut most) = (shaft.map_or(0, |shaft| shaft.silent(at)), u32::MAX.into());
            if let Some(known) = walk::edge_at(store, row, head) {
                let (slow, fast) = known.turn(at);
                (least, most) = (least.max(slow), fast);
                shaft = Some(known);
            }
            paces.least.push(least.clamp(0, u32::MAX.into()) as u32);
            paces.most.push(most.clamp(0, u32::MAX.into()) as u32);
        }
        paces
    }
}
