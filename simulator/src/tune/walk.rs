//! One condition's delays over stored motion, row by row or from crossing to crossing: what judge's cells do, apart from judge.

use slackside::judge::leap::{BRISK_ENOUGH, LeaptCell};
use slackside::motion::Pitch;
use slackside::units::{Micros, TurnFraction};

use super::index::{Extremes, Pace, Sparse};
use super::store::{BLOCK, ShaftKey, Store, Told};

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
    fn flip(&mut self, cell: &LeaptCell, at: Micros, row: usize) -> bool {
        self.beyond = !self.beyond;
        if self.beyond == cell.active {
            self.due = Micros::MAX;
        } else {
            self.due = at.after(if self.beyond { cell.on_delay } else { cell.off_delay });
            if self.due <= at {
                self.turns = row;
                return true;
            }
        }
        false
    }

    /// Whether the running delay has ended by `at`, which is no later than `row`. It may have done so in a block passed over.
    fn ends(&mut self, store: &Store, at: Micros, (from, row): (usize, usize)) -> bool {
        if self.due <= at {
            self.turns = store.row_at(self.due).clamp(from, row);
            return true;
        }
        false
    }

    /// No crossing up to `to`: the delay may still end before.
    fn rest(mut self, store: &Store, from: usize, to: usize) -> Self {
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

/// The first row in `from..to` whose value is at `limit` or above (`above`), or below `clear`. `scale`: what the extremes' unit is in
/// that of the value; they are rounded outwards.
pub(super) fn dense(
    extremes: &Extremes,
    scale: i64,
    value: impl Fn(usize) -> Option<i64>,
    cell: &LeaptCell,
    (from, to): (usize, usize),
    above: bool,
) -> Option<usize> {
    // Where the unit is coarser the smallest is not known to be that small, so any block may be within.
    let within = |least: i32| scale > 1 || i64::from(least) < cell.clear;
    let hit =
        |row: &usize| value(*row).is_some_and(|value| if above { value >= cell.limit } else { value < cell.clear });
    scan((from, to), hit, |first, last| {
        if above {
            extremes.most.first(first, last, |most| i64::from(most) * scale >= cell.limit)
        } else {
            extremes.least.first(first, last, within)
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
        Some(Self { edge: key.last_edge?, next: key.next, pitch: key.pitch? })
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
    let mut shaft = now;
    let mut row = from;
    while row < to {
        let block = row / BLOCK;
        let limit = u32::try_from(cell.limit).unwrap_or(u32::MAX);
        let clear = u32::try_from(cell.clear).unwrap_or(0);
        let last = to.div_ceil(BLOCK);
        let next = if walk.beyond {
            pace.quick.first(block, last, |quick| quick <= clear)
        } else {
            pace.calm.first(block, last, |calm| calm > limit)
        };
        let Some(next) = next else { return walk.rest(store, from, to) };
        if next > block {
            row = next * BLOCK;
            let key = &store.keys[next];
            let Some(known) = Shaft::of(if head { &key.head } else { &key.boot }) else {
                walk.turns = row;
                return walk;
            };
            shaft = known;
        }
        let end = ((row / BLOCK + 1) * BLOCK).min(to);
        while row < end {
            let at = store.at(row);
            let crossing = Micros::new(shaft.crossing(cell.limit));
            let crosses = !walk.beyond && crossing <= at;
            if crosses && (walk.ends(store, crossing, (from, row)) || walk.flip(cell, crossing, row)) {
                return walk;
            }
            if walk.ends(store, at, (from, row)) {
                return walk;
            }
            if let Some(known) = edge_at(store, row, head) {
                shaft = known;
                let beyond = if at.get() >= shaft.crossing(cell.limit) {
                    true
                } else {
                    let time = u64::from(shaft.pitch.time.get());
                    if time > pitch_time(shaft.pitch.largest, cell.limit) {
                        true
                    } else if time <= pitch_time(shaft.pitch.angle, cell.clear) {
                        false
                    } else {
                        walk.beyond
                    }
                };
                if beyond != walk.beyond && walk.flip(cell, at, row) {
                    return walk;
                }
            }
            row += 1;
        }
    }
    walk.rest(store, from, to)
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
        let Told::Motion(motion) = &store.whole[found].told else { return None };
        let shaft = if head { &motion.head } else { &motion.boot };
        return Some(Shaft { edge: shaft.last_edge?, next: shaft.next_largest, pitch: shaft.pitch? });
    }
    if store.is_head(row) != head {
        return None;
    }
    let shape = store.shape(row);
    let pitch =
        Pitch { time: slackside::units::Span::new(store.pitch[row]), angle: shape.angle, largest: shape.largest };
    let edge = Micros::new(store.at(row).get() - u64::from(store.lag[row]));
    Some(Shaft { edge, next: shape.next, pitch })
}
