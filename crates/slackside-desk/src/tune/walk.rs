//! Stored motion gone along by the limits of one condition: where its value passes them and comes back.

use slackside::alone::leap::{BRISK_ENOUGH, LeaptCell, Outlook};
use slackside::motion::{Pitch, speed as speed_of};
use slackside::signals::ShaftSignals;
use slackside::units::{Micros, MicroturnsPerSecond, Span, TurnFraction, Watts};

use super::columns::{BLOCK, ShaftKey, Told, Whole, edge_of, pitch_of, unpack};
use super::index::{Extremes, Pace, Sparse};
use super::store::Store;
use super::swings::{Course, Point};

/// Where underspeed and head underspeed stand among the leapt conditions.
pub(super) const UNDERSPEED: usize = 6;
pub(super) const HEAD_UNDERSPEED: usize = 8;

/// The first row in `from..to` whose value is at `limit` or above (`above`), or below `clear`.
fn dense(
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
fn dense_below(
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
fn sparse(sparse: &Sparse, cell: &LeaptCell, range: (usize, usize), above: bool) -> Option<usize> {
    sparse.first(range, |value| {
        let value = i64::from(value);
        if above { value >= cell.limit } else { value < cell.clear }
    })
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

    /// Whether the last pitch was surely slow, and whether it was at speed, by the limit of underspeed.
    pub(super) fn paces(&self, cell: &LeaptCell) -> (bool, bool) {
        paces(&self.pitch, cell)
    }

    const fn crossing(&self, limit: i64) -> u64 {
        self.edge.get() + pitch_time(self.next, limit) + 1
    }

    /// The longest limit, in microseconds a turn, that its silence is beyond by `now`.
    pub(super) fn silent(&self, now: Micros) -> i64 {
        longest(now.since(self.edge).get(), self.next)
    }

    /// The longest limit that its last edge is beyond, known at `now`, and the longest that it is not within.
    pub(super) fn turn(&self, now: Micros) -> (i64, i64) {
        let time = self.pitch.time.get();
        let within = (u64::from(time) << 32).div_ceil(self.pitch.angle.get().max(1).into());
        (longest(time, self.pitch.largest).max(self.silent(now)), within.cast_signed() - 1)
    }
}

/// Whether a pitch was surely slow, and whether it was at speed, by the limit of underspeed.
pub(super) fn paces(pitch: &Pitch, cell: &LeaptCell) -> (bool, bool) {
    let time = u64::from(pitch.time.get());
    let slow = time > pitch_time(pitch.largest, cell.limit);
    (slow, !slow && time <= pitch_time(pitch.angle, cell.clear))
}

/// The longest limit, in microseconds a turn, by which so long for that part of a turn is too long: the other way round of [`pitch_time`].
fn longest(time: u32, angle: TurnFraction) -> i64 {
    match (u64::from(time) << 32).checked_sub(1) {
        Some(less) => (less / u64::from(angle.get().max(1))).cast_signed(),
        None => -1,
    }
}

const fn pitch_time(angle: TurnFraction, turn: i64) -> u64 {
    (angle.get() as u64 * turn as u64) >> 32
}

/// Go along a speed condition of one shaft, told what is known of it before row `from` and whether it is beyond: `found` gets
/// every crossing with its time and row, and whether it came by silence. The row from which on nothing is known, if any.
fn pass(
    store: &Store,
    cell: &LeaptCell,
    pace: &Pace,
    head: bool,
    (now, beyond): (Shaft, bool),
    (from, to): (usize, usize),
    mut found: impl FnMut(Micros, usize, bool),
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
                found(crossing, row, true);
                beyond = true;
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
                    found(at, row, false);
                    beyond = now;
                }
            }
            row += 1;
        }
    }
    None
}

/// Whether a condition, by its place among the leapt ones, is one of speed.
fn is_of_speed(number: usize) -> bool {
    (5..=HEAD_UNDERSPEED).contains(&number)
}

/// The first row from `row` on, before `to`, at which a condition other than of speed is beyond (`above`) or within.
fn next_value(store: &Store, number: usize, cell: &LeaptCell, (row, to): (usize, usize), above: bool) -> Option<usize> {
    let index = &store.index;
    let range = (row, to);
    let known = |packed: i32| {
        let reading = unpack(packed);
        reading.is_known().then_some(i64::from(reading.least))
    };
    let long = |row: usize| known(store.long[row]);
    let short = |row: usize| known(store.short[row]);
    match number {
        0 => dense(&index.short, short, cell, range, above),
        1 => dense(&index.long, long, cell, range, above),
        2 => dense_below(&index.short, short, cell, range, above),
        3 => dense_below(&index.long, long, cell, range, above),
        4 => dense(&index.since, |row| Some(i64::from(store.since[row])), cell, range, above),
        9 => sparse(&index.duty, cell, range, above),
        10 => sparse(&index.shift, cell, range, above),
        11 => sparse(&index.mean, cell, range, above),
        _ => index.mean.first(range, |mean| {
            let below = i64::from(mean.saturating_neg());
            if above { below >= cell.limit } else { below < cell.clear }
        }),
    }
}

/// How an alarm stands while its value goes along: what turns, and when, follows from the crossings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Standing {
    pub beyond: bool,
    pub active: bool,
    /// When the running delay ends; `u64::MAX` if none runs.
    pub due: u64,
}

impl Standing {
    /// The value has crossed.
    fn crossed(&mut self, cell: &LeaptCell, at: Micros) {
        if self.due <= at.get() {
            self.active = !self.active;
        }
        self.beyond = !self.beyond;
        let delay = if self.beyond { cell.on_delay } else { cell.off_delay };
        self.due = if self.beyond == self.active { u64::MAX } else { at.get() + u64::from(delay.get()) };
    }

    /// How long the value must stay away to turn the alarm, in microseconds, if it is where its alarm is.
    fn away(&self, cell: &LeaptCell) -> Option<u64> {
        let delay = if self.beyond { cell.off_delay } else { cell.on_delay };
        (self.beyond == self.active && self.due == u64::MAX).then_some(delay.get().into())
    }
}

/// The value by whose turns a condition's crossings may be found, and whether it is that upside down.
const fn course_of(number: usize) -> Option<(Course, bool)> {
    match number {
        0 => Some((Course::Short, false)),
        1 => Some((Course::Long, false)),
        2 => Some((Course::Short, true)),
        3 => Some((Course::Long, true)),
        HEAD_UNDERSPEED => Some((Course::Head, false)),
        5..HEAD_UNDERSPEED => Some((Course::Boot, false)),
        _ => None,
    }
}

/// To which side a turn brings a condition for certain: beyond or within; `None` where it stays as it was.
fn brings(point: &Point, cell: &LeaptCell, upside_down: bool) -> Option<bool> {
    let value = if upside_down { -point.value } else { point.value };
    if point.is_peak == upside_down {
        (value < cell.clear).then_some(false)
    } else {
        (value >= cell.limit).then_some(true)
    }
}

/// Goes along a condition up to row `to`.
struct Along<'a, F> {
    store: &'a Store,
    number: usize,
    cell: &'a LeaptCell,
    to: usize,
    standing: Standing,
    found: F,
}

impl<F: FnMut(Micros, usize, bool)> Along<'_, F> {
    /// Look at all of these rows.
    fn all(&mut self, shaft: Option<Shaft>, rows: (usize, usize)) {
        let Self { store, number, cell, standing, found, .. } = self;
        row_by_row(store, *number, cell, (standing.beyond, shaft), rows, &mut |at, row, silent| {
            standing.crossed(cell, at);
            found(at, row, silent);
        });
    }

    /// From row `row` on up to this turn it crosses, once. The row from which to go on.
    fn cross(&mut self, row: usize, point: &Point) -> usize {
        let end = self.to.min(point.row + 1);
        // The row in which it does, and no further.
        let first = first_across(self.store, self.number, self.cell, self.standing.beyond, (row, end));
        self.all(None, (first, end.min(first + 1)));
        (first + 1).max(point.row).min(self.to)
    }
}

/// The crossings of a condition in `from..to`: when, with which row, and whether by silence before it. Told how it stands before, and
/// what is then known of its shaft, unless `from` begins a block. Those by which its value leaves its alarm and comes back too soon
/// to turn it are left out, if it `spares` them. Whether none were.
pub(super) fn crossings(
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    (standing, shaft, spares): (Standing, Option<Shaft>, bool),
    (from, to): (usize, usize),
    mut found: impl FnMut(Micros, usize, bool),
) -> bool {
    let course = course_of(number);
    let Some((course, upside_down)) = course.filter(|(course, _)| store.swings.are_worth_it(*course, store.len()))
    else {
        let mut count = 0;
        row_by_row(store, number, cell, (standing.beyond, shaft), (from, to), &mut |at, row, silent| {
            count += 1;
            found(at, row, silent);
        });
        if let Some((course, _)) = course {
            store.swings.found(course, count);
        }
        return true;
    };
    let mut along = Along { store, number, cell, to, standing, found };
    let (mut row, mut whole) = (from, true);
    // The turn with which it left, where it may come back too soon.
    let mut left: Option<Point> = None;
    for point in store.swings.from(store, course, cell.limit - cell.clear, from) {
        let beyond = along.standing.beyond;
        let side = brings(&point, cell, upside_down);
        if row == from {
            // It may have been anything before the first turn.
            row = to.min(point.row + 1);
            along.all(shaft, (from, row));
        } else if let Some(leaves) = left {
            if side == Some(beyond) {
                left = None;
                let took = || store.at(point.row).get() - store.at(row.saturating_sub(1)).get();
                if point.row < to && along.standing.away(cell).is_some_and(|delay| took() < delay) {
                    // A trough is the last of its row; where a peak comes before one, the row is not yet gone through.
                    (row, whole) = (row.max(point.row + usize::from(!beyond)), false);
                } else {
                    row = along.cross(row, &leaves);
                    // Both may have been in one row.
                    if row < to && along.standing.beyond != beyond {
                        row = along.cross(row, &point);
                    }
                }
            } else if point.row >= to {
                along.cross(row, &leaves);
                return whole;
            }
        } else if side == Some(!beyond) {
            if spares && point.row < to && along.standing.away(cell).is_some() {
                left = Some(point);
            } else {
                row = along.cross(row, &point);
            }
        } else {
            // Of its last row only what came first is known to change nothing; but where a peak and a trough share a row, it was gone
            // through with the first of them.
            row = row.max(point.row).min(to);
        }
        if row == to {
            return whole;
        }
    }
    if let Some(leaves) = left {
        row = along.cross(row, &leaves);
    }
    along.all(shaft.filter(|_| row == from), (row, to));
    whole
}

/// Whether a condition is beyond before `row` is taken, at `now`, and when it last crossed, if it did from row `from` on: before that it
/// was beyond or not, and so much was known of its shaft.
pub(super) fn stands_before(
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    (from, beyond, shaft): (usize, bool, Option<Shaft>),
    (row, now): (usize, Micros),
) -> (bool, Option<Micros>) {
    // From the last turn with which it was within for certain, before one with which it was beyond: a trough tells what its row
    // ended with.
    let within = course_of(number).and_then(|(course, upside_down)| {
        let mut points =
            store.swings.back(store, course, cell.limit - cell.clear, row).take_while(|point| point.row >= from);
        let beyond = points.find(|point| brings(point, cell, upside_down) == Some(true))?;
        points.find(|point| point.row < beyond.row && brings(point, cell, upside_down) == Some(false))
    });
    let (known, first) = within.map_or(((beyond, shaft), from), |point| ((false, None), point.row + 1));
    let mut last = None;
    let beyond = row_by_row(store, number, cell, known, (first, row), &mut |at, _, _| last = Some(at));
    if beyond || !is_of_speed(number) {
        return (beyond, last);
    }
    // Silence since the last row.
    let shaft = known.1.filter(|_| first == row).or_else(|| shaft_before(store, row, number == HEAD_UNDERSPEED));
    match shaft.map(|shaft| Micros::new(shaft.crossing(cell.limit))) {
        Some(crossed) if crossed <= now => (true, Some(crossed)),
        _ => (false, last),
    }
}

/// The first of these rows at which a condition may cross; the last, if none may.
fn first_across(store: &Store, number: usize, cell: &LeaptCell, beyond: bool, (from, to): (usize, usize)) -> usize {
    let speed = |head: bool| {
        let paces = store.swings.paces(store, head);
        if beyond {
            paces.most[from..to].iter().position(|most| i64::from(*most) < cell.clear)
        } else {
            paces.least[from..to].iter().position(|least| i64::from(*least) >= cell.limit)
        }
    };
    let slip = |column: &[i32], upside_down: bool| {
        column[from..to].iter().position(|packed| {
            let reading = unpack(*packed);
            let value = i64::from(if upside_down { reading.least.saturating_neg() } else { reading.least });
            reading.is_known() && if beyond { value < cell.clear } else { value >= cell.limit }
        })
    };
    let found = match number {
        0 => slip(&store.short, false),
        1 => slip(&store.long, false),
        2 => slip(&store.short, true),
        3 => slip(&store.long, true),
        _ => speed(number == HEAD_UNDERSPEED),
    };
    found.map_or(to - 1, |found| from + found)
}

/// [`crossings`] by all rows. Whether it is beyond after them.
fn row_by_row(
    store: &Store,
    number: usize,
    cell: &LeaptCell,
    (mut beyond, mut shaft): (bool, Option<Shaft>),
    (from, to): (usize, usize),
    found: &mut impl FnMut(Micros, usize, bool),
) -> bool {
    let head = number == HEAD_UNDERSPEED;
    let mut row = from;
    if is_of_speed(number) {
        let pace = if head { &store.index.head } else { &store.index.boot };
        while row < to {
            let known = shaft.take().or_else(|| shaft_before(store, row, head));
            let Some(known) = known else {
                row = (row / BLOCK + 1) * BLOCK;
                continue;
            };
            let unknown = pass(store, cell, pace, head, (known, beyond), (row, to), |at, row, silent| {
                beyond = !beyond;
                found(at, row, silent);
            });
            row = unknown.unwrap_or(to);
        }
        return beyond;
    }
    while let Some(next) = next_value(store, number, cell, (row, to), !beyond).filter(|next| *next < to) {
        beyond = !beyond;
        found(store.at(next), next, false);
        row = next + 1;
    }
    beyond
}

/// What is known of a shaft before `row`.
fn shaft_before(store: &Store, row: usize, head: bool) -> Option<Shaft> {
    // After the last row no block begins.
    let block = (row / BLOCK).min(store.keys.len() - 1);
    let key = &store.keys[block];
    let edge = (block * BLOCK..row).rev().find_map(|row| edge_at(store, row, head));
    edge.or_else(|| Shaft::of(if head { &key.head } else { &key.boot }))
}

/// Boot pitches at speed since the last that was surely slow, before row `to`, and whether the last pitch was at speed. `cell` is that of
/// underspeed; of the boot and of that count it is told what they were before row `from`.
pub(super) fn brisk(
    store: &Store,
    cell: &LeaptCell,
    (start, brisk): (Shaft, u8),
    (from, to): (usize, usize),
) -> (u8, bool) {
    let mut count = 0;
    let mut newest = None;
    let mut last = None;
    for row in (from..to).rev() {
        let Some(shaft) = edge_at(store, row, false) else { continue };
        // A whole row repeats the newest edge of a shaft that it is not about.
        if shaft.edge == start.edge || newest == Some(shaft.edge) {
            continue;
        }
        newest = Some(shaft.edge);
        let (slow, fast) = shaft.paces(cell);
        let last = *last.get_or_insert(fast);
        count += u8::from(fast);
        if slow || count == BRISK_ENOUGH {
            return (count, last);
        }
    }
    ((count + brisk).min(BRISK_ENOUGH), last.unwrap_or_else(|| start.paces(cell).1))
}

/// The newest power reading before `row`.
pub(super) fn power_before(store: &Store, row: usize, outlook: &Outlook) -> Option<(Micros, Watts)> {
    let powers = store.index.powers.partition_point(|power| (*power as usize) < row);
    let Some(last) = powers.checked_sub(1) else { return outlook.power };
    let at_row = store.index.powers[last] as usize;
    store.power_at(at_row).map(|watts| (store.at(at_row), watts))
}

/// What `row` says of the shaft, if it is an edge of it.
pub(super) fn edge_at(store: &Store, row: usize, head: bool) -> Option<Shaft> {
    if store.is_whole(row) {
        let found = store.whole.binary_search_by_key(&(row as u32), |whole| whole.row).ok()?;
        let Whole { at, told: Told::Motion(_, signals), .. } = &store.whole[found] else { return None };
        return Shaft::at(*at, if head { &signals.head } else { &signals.boot });
    }
    if store.is_head(row) != head {
        return None;
    }
    let (shape, pitch) = (store.shape(row), pitch_in(store, row));
    let edge = Micros::new(store.at(row).get() - u64::from(store.lag[row]));
    Some(Shaft { edge, next: shape.next, pitch })
}

/// The pitch of an ordinary row.
fn pitch_in(store: &Store, row: usize) -> Pitch {
    let shape = store.shape(row);
    Pitch { time: Span::new(store.pitch[row]), angle: shape.angle, largest: shape.largest }
}

/// The pitch of the boot that an ordinary row tells.
pub(super) fn boot_pitch(store: &Store, row: usize) -> Option<Pitch> {
    store.is_boot(row).then(|| pitch_in(store, row))
}
