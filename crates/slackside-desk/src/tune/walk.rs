//! One condition's delays over stored motion, row by row or from crossing to crossing: what judge's cells do, apart from judge.

use slackside::alone::leap::{BRISK_ENOUGH, LeaptCell};
use slackside::motion::{Pitch, speed as speed_of};
use slackside::signals::ShaftSignals;
use slackside::units::{Micros, MicroturnsPerSecond, Span, TurnFraction};

use super::columns::{BLOCK, ShaftKey, Told, Whole, edge_of, pitch_of};
use super::index::{Extremes, Pace, Sparse};
use super::store::Store;

/// The delays of one condition while they are followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Walk {
    pub beyond: bool,
    pub due: Micros,
    /// The first row by which the alarm turns; `usize::MAX` if it does not.
    pub turns: usize,
}

impl Walk {
    pub(super) const fn new(cell: &LeaptCell) -> Self {
        Self { beyond: cell.beyond, due: cell.due, turns: usize::MAX }
    }

    /// The value crosses at `at`, which is no later than `row`. Whether the alarm turns.
    pub(super) fn flip(&mut self, cell: &LeaptCell, at: Micros, row: usize) -> bool {
        self.beyond = !self.beyond;
        if self.beyond == cell.active {
            self.due = Micros::MAX;
        } else {
            self.due = at.after(if self.beyond { cell.on_delay } else { cell.off_delay });
            // What judge notes of it from here on it must see for itself.
            if self.due <= at || (self.beyond && cell.noted) {
                self.turns = row;
                return true;
            }
        }
        false
    }

    /// Whether the running delay has ended by `at`, which is no later than `row`. It may have done so in a block passed over.
    pub(super) fn ends(&mut self, store: &Store, at: Micros, (from, row): (usize, usize)) -> bool {
        if self.due <= at {
            self.turns = store.row_at(self.due).clamp(from, row);
            return true;
        }
        false
    }

    /// No crossing up to `to`: the delay may still end before.
    pub(super) fn rest(mut self, store: &Store, from: usize, to: usize) -> Self {
        if self.turns == usize::MAX && to > from && self.due <= store.at(to - 1) {
            self.turns = store.row_at(self.due).clamp(from, to);
        }
        self
    }
}

/// Follow a value given by `next`: the first row from `from` on, before `to`, at which it is beyond (`true`) or within.
pub(super) fn values(
    store: &Store,
    cell: &LeaptCell,
    from: usize,
    to: usize,
    mut next: impl FnMut(usize, bool) -> Option<usize>,
) -> Walk {
    let mut walk = Walk::new(cell);
    let mut row = from;
    while let Some(found) = next(row, !walk.beyond).filter(|found| *found < to) {
        let at = store.at(found);
        if walk.due <= at {
            break;
        }
        if walk.flip(cell, at, found) {
            return walk;
        }
        row = found + 1;
    }
    walk.rest(store, from, to)
}

/// The first row in `from..to` whose value is at `limit` or above (`above`), or below `clear`.
pub(super) fn dense(
    extremes: &Extremes,
    value: impl Fn(usize) -> Option<i64>,
    cell: &LeaptCell,
    (from, to): (usize, usize),
    above: bool,
) -> Option<usize> {
    let hit =
        |row: &usize| value(*row).is_some_and(|value| if above { value >= cell.limit } else { value < cell.clear });
    scan((from, to), hit, |first, last| {
        if above {
            extremes.most.first(first, last, |most| i64::from(most) >= cell.limit)
        } else {
            extremes.least.first(first, last, |least| i64::from(least) < cell.clear)
        }
    })
}

/// As [`dense`], of values upside down: `limit` and `clear` are held against the negative.
pub(super) fn dense_below(
    extremes: &Extremes,
    value: impl Fn(usize) -> Option<i64>,
    cell: &LeaptCell,
    (from, to): (usize, usize),
    beyond: bool,
) -> Option<usize> {
    let hit =
        |row: &usize| value(*row).is_some_and(|value| if beyond { -value >= cell.limit } else { -value < cell.clear });
    scan((from, to), hit, |first, last| {
        if beyond {
            extremes.least.first(first, last, |least| -i64::from(least) >= cell.limit)
        } else {
            extremes.most.first(first, last, |most| -i64::from(most) < cell.clear)
        }
    })
}

/// The first row in `from..to` that is hit, looked for only in the blocks that `next` names.
fn scan(
    (from, to): (usize, usize),
    hit: impl Fn(&usize) -> bool,
    next: impl Fn(usize, usize) -> Option<usize>,
) -> Option<usize> {
    let mut row = from;
    let last = to.div_ceil(BLOCK);
    while row < to {
        let block = next(row / BLOCK, last)?;
        row = row.max(block * BLOCK);
        let end = ((block + 1) * BLOCK).min(to);
        if let Some(found) = (row..end).find(&hit) {
            return Some(found);
        }
        row = end;
    }
    None
}

/// The same for a value that changes seldom.
pub(super) fn sparse(sparse: &Sparse, cell: &LeaptCell, (from, to): (usize, usize), above: bool) -> Option<usize> {
    let start = sparse.rows.partition_point(|row| (*row as usize) < from);
    sparse.rows[start..]
        .iter()
        .zip(&sparse.values[start..])
        .take_while(|(row, _)| (**row as usize) < to)
        .find(|(_, value)| {
            let value = i64::from(**value);
            if above { value >= cell.limit } else { value < cell.clear }
        })
        .map(|(row, _)| *row as usize)
}

/// What a speed condition knows of its shaft.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shaft {
    pub edge: Micros,
    pub next: TurnFraction,
    pub pitch: Pitch,
}

impl Shaft {
    pub(super) fn of(key: &ShaftKey) -> Option<Self> {
        Self::with_edge(key.last_edge?, &key.signals)
    }

    /// As it stands at `now`.
    pub(super) fn at(now: Micros, shaft: &ShaftSignals) -> Option<Self> {
        Self::with_edge(edge_of(shaft, now)?, shaft)
    }

    fn with_edge(edge: Micros, shaft: &ShaftSignals) -> Option<Self> {
        Some(Self { edge, next: TurnFraction::new(shaft.next_largest), pitch: pitch_of(shaft)? })
    }

    /// The largest speed the shaft can have at `now`: that of the last pitch, or less once the next edge is overdue.
    pub(super) fn speed_at_most(&self, now: Micros) -> MicroturnsPerSecond {
        let waited = now.since(self.edge);
        let measured = self.pitch.speed();
        if waited == Span::ZERO { measured } else { measured.min(speed_of(self.next, waited)) }
    }

    const fn crossing(&self, limit: i64) -> u64 {
        self.edge.get() + pitch_time(self.next, limit) + 1
    }
}

const fn pitch_time(angle: TurnFraction, turn: i64) -> u64 {
    (angle.get() as u64 * turn as u64) >> 32
}

/// Follow a speed condition of one shaft. `now` is what is known of it before row `from`.
pub(super) fn speed(
    store: &Store,
    cell: &LeaptCell,
    pace: &Pace,
    head: bool,
    now: Shaft,
    (from, to): (usize, usize),
) -> Walk {
    let mut walk = Walk::new(cell);
    let mut turned = false;
    let unknown = pass(store, cell, pace, head, (now, walk.beyond), (from, to), |at, row, crosses| {
        turned = walk.ends(store, at, (from, row)) || (crosses && walk.flip(cell, at, row));
        !turned
    });
    if let Some(row) = unknown {
        walk.turns = row;
    }
    if turned || unknown.is_some() { walk } else { walk.rest(store, from, to) }
}

/// Go along a speed condition of one shaft, told what is known of it before row `from` and whether it is beyond: `seen` gets every
/// row looked at and every crossing with its time, and says whether to go on. The row from which on nothing is known, if any.
fn pass(
    store: &Store,
    cell: &LeaptCell,
    pace: &Pace,
    head: bool,
    (now, beyond): (Shaft, bool),
    (from, to): (usize, usize),
    mut seen: impl FnMut(Micros, usize, bool) -> bool,
) -> Option<usize> {
    let (mut shaft, mut beyond) = (now, beyond);
    let mut row = from;
    let limit = u32::try_from(cell.limit).unwrap_or(u32::MAX);
    let clear = u32::try_from(cell.clear).unwrap_or(0);
    let last = to.div_ceil(BLOCK);
    while row < to {
        let block = row / BLOCK;
        let next = if beyond {
            pace.quick.first(block, last, |quick| quick <= clear)
        } else {
            pace.calm.first(block, last, |calm| calm > limit)
        }?;
        if next > block {
            row = next * BLOCK;
            let key = &store.keys[next];
            let Some(known) = Shaft::of(if head { &key.head } else { &key.boot }) else { return Some(row) };
            shaft = known;
        }
        let end = ((row / BLOCK + 1) * BLOCK).min(to);
        while row < end {
            let at = store.at(row);
            let crossing = Micros::new(shaft.crossing(cell.limit));
            if !beyond && crossing <= at {
                if !seen(crossing, row, true) {
                    return None;
                }
                beyond = true;
            }
            if !seen(at, row, false) {
                return None;
            }
            if let Some(known) = edge_at(store, row, head) {
                shaft = known;
                let now = if at.get() >= shaft.crossing(cell.limit) {
                    true
                } else {
                    let time = u64::from(shaft.pitch.time.get());
                    if time > pitch_time(shaft.pitch.largest, cell.limit) {
                        true
                    } else if time <= pitch_time(shaft.pitch.angle, cell.clear) {
                        false
                    } else {
                        beyond
                    }
                };
                if now != beyond {
                    if !seen(at, row, true) {
                        return None;
                    }
                    beyond = now;
                }
            }
            row += 1;
        }
    }
    None
}

/// The first row from `row` on, before `to`, at which a condition other than of speed is beyond (`above`) or within.
pub(super) fn next_value(
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    (row, to): (usize, usize),
    above: bool,
) -> Option<usize> {
    let index = &store.index;
    let range = (row, to);
    let long = |row: usize| {
        let value = store.long[row];
        (value != i32::MIN).then_some(i64::from(value))
    };
    let short = |row: usize| Some(i64::from(store.short[row]));
    match number {
        0 => dense(&index.short, short, cell, range, above),
        1 => dense(&index.long, long, cell, range, above),
        2 => dense_below(&index.short, short, cell, range, above),
        3 => dense_below(&index.long, long, cell, range, above),
        4 => dense(&index.since, |row| Some(i64::from(store.since[row])), cell, range, above),
        9 => sparse(&index.duty, cell, range, above),
        _ => sparse(&index.shift, cell, range, above),
    }
}

/// All crossings of a condition in `from..to`, with their times and rows, told whether it is beyond before. `from` begins a block.
pub(super) fn crossings(
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    mut beyond: bool,
    (from, to): (usize, usize),
    mut found: impl FnMut(Micros, usize),
) {
    let head = number == 8;
    if (5..=8).contains(&number) {
        let pace = if head { &store.index.head } else { &store.index.boot };
        let mut row = from;
        while row < to {
            let key = &store.keys[row / BLOCK];
            let Some(shaft) = Shaft::of(if head { &key.head } else { &key.boot }) else {
                row = (row / BLOCK + 1) * BLOCK;
                continue;
            };
            let unknown = pass(store, cell, pace, head, (shaft, beyond), (row, to), |at, row, crosses| {
                if crosses {
                    beyond = !beyond;
                    found(at, row);
                }
                true
            });
            row = unknown.unwrap_or(to);
        }
        return;
    }
    let mut row = from;
    while let Some(next) = next_value(store, number, cell, (row, to), !beyond).filter(|next| *next < to) {
        beyond = !beyond;
        found(store.at(next), next);
        row = next + 1;
    }
}

/// Boot pitches at speed since the last that was surely slow, after row `to - 1`. `cell` is that of underspeed, `now` what is known
/// of the boot before row `from`, and `brisk` the count there.
pub(super) fn brisk(store: &Store, cell: &LeaptCell, now: Shaft, brisk: u8, (from, to): (usize, usize)) -> u8 {
    let mut count = 0;
    let mut newest = None;
    for row in (from..to).rev() {
        let Some(shaft) = edge_at(store, row, false) else { continue };
        // A whole row repeats the newest edge of a shaft that it is not about.
        if shaft.edge == now.edge || newest == Some(shaft.edge) {
            continue;
        }
        newest = Some(shaft.edge);
        let time = u64::from(shaft.pitch.time.get());
        if time > pitch_time(shaft.pitch.largest, cell.limit) {
            return count;
        }
        count += u8::from(time <= pitch_time(shaft.pitch.angle, cell.clear));
        if count == BRISK_ENOUGH {
            return count;
        }
    }
    (count + brisk).min(BRISK_ENOUGH)
}

/// What `row` says of the shaft, if it is an edge of it.
fn edge_at(store: &Store, row: usize, head: bool) -> Option<Shaft> {
    if store.is_whole(row) {
        let found = store.whole.binary_search_by_key(&(row as u32), |whole| whole.row).ok()?;
        let Whole { at, told: Told::Motion(_, signals), .. } = &store.whole[found] else { return None };
        return Shaft::at(*at, if head { &signals.head } else { &signals.boot });
    }
    if store.is_head(row) != head {
        return None;
    }
    let shape = store.shape(row);
    let pitch = Pitch { time: Span::new(store.pitch[row]), angle: shape.angle, largest: shape.largest };
    let edge = Micros::new(store.at(row).get() - u64::from(store.lag[row]));
    Some(Shaft { edge, next: shape.next, pitch })
}
