//! What measure told judge, kept in columns: 24 bytes a row, for as long as the row is an ordinary edge of one shaft.
//!
//! Only what judge reads is kept. A row that does not come back exactly from its columns is kept whole, so that whatever comes
//! out is what went in; the encoder itself makes sure of it, row by row. Every [`BLOCK`] rows a key says what is known there, so
//! that reading may begin anywhere.

use slackside::input::Signal;
use slackside::monitor;
use slackside::motion::Pitch;
use slackside::signals::{Reading, ShaftSignals, Signals, moved};
use slackside::time::Now;
use slackside::units::{Micros, Span, TurnFraction, Watts};

/// Rows from one key to the next.
pub const BLOCK: usize = 64;

const HEAD: u16 = 0;
const BOOT: u16 = 1;
const WHOLE: u16 = 2;
/// Shapes that the rest of the tag can name, counted from the block's own first: spacing is learned on and on, so that a long trace
/// has more of them.
const MOST_SHAPES: usize = 1 << 14;
/// How far back a block's shapes reach.
const SHAPES_BACK: usize = MOST_SHAPES - 2 * BLOCK;

const UNKNOWN: i32 = i32::MIN;
const AT_LEAST: i32 = 1 << 30;
const WIDEST: i32 = 1 << 28;

/// The angles of a pitch and of the one to come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Shape {
    pub angle: TurnFraction,
    pub largest: TurnFraction,
    pub next: TurnFraction,
}

/// What is told whole.
#[derive(Clone, Debug, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "few of them, and most are motions")]
pub(super) enum Told {
    Motion(u8, Signals),
    Signal(Signal),
    Late,
    Wake,
}

#[derive(Clone, Debug)]
pub(super) struct Whole {
    pub row: u32,
    pub at: Micros,
    pub told: Told,
}

/// One shaft at a key.
#[derive(Clone, Copy, Debug)]
pub(super) struct ShaftKey {
    pub signals: ShaftSignals,
    /// When its newest edge happened.
    pub last_edge: Option<Micros>,
    /// What the angle has beyond its own resolution.
    low: u8,
}

/// What is known before the first row of a block.
#[derive(Clone, Debug)]
pub(super) struct Key {
    pub head: ShaftKey,
    pub boot: ShaftKey,
    pub short: Reading,
    pub long: Reading,
    pub since: u32,
    /// The first whole row at or after the block.
    pub whole: u32,
    /// The newest whole motion before it, which holds all that changes seldom; `u32::MAX` if none.
    pub slow: u32,
    pub slipped: i32,
    /// The shape that its tags count from.
    pub shapes: u32,
}

/// One trace, measured, as columns.
#[derive(Clone, Debug)]
pub struct Columns {
    pub(super) offset: Vec<u32>,
    pub(super) tag: Vec<u16>,
    pub(super) lag: Vec<u16>,
    pub(super) pitch: Vec<u32>,
    pub(super) short: Vec<i32>,
    pub(super) long: Vec<i32>,
    pub(super) since: Vec<u32>,
    pub(super) shapes: Vec<Shape>,
    pub(super) whole: Vec<Whole>,
    pub(super) keys: Vec<Key>,
    /// For each block the time its offsets count from: apart from the keys, since it is searched.
    bases: Vec<Micros>,
    first: Micros,
    end: Micros,
}

/// Only what judge reads: the rest is set to nothing.
pub(super) fn read_by_judge(signals: &Signals) -> Signals {
    let mut kept = *signals;
    for shaft in [&mut kept.head, &mut kept.boot] {
        shaft.rejected = 0;
        shaft.line = 0;
    }
    for contact in &mut kept.contacts {
        contact.count = 0;
    }
    kept.slipped = 0;
    kept
}

fn pack(reading: Reading) -> Option<i32> {
    let fits = |ppm: i32| (-WIDEST..=WIDEST).contains(&ppm).then_some(ppm);
    if reading == Reading::UNKNOWN {
        Some(UNKNOWN)
    } else if reading.is_exact() {
        fits(reading.least)
    } else if reading.most == i32::MAX {
        fits(reading.least).map(|ppm| ppm + AT_LEAST)
    } else {
        None
    }
}

pub(super) const fn unpack(packed: i32) -> Reading {
    match packed {
        UNKNOWN => Reading::UNKNOWN,
        ppm if ppm > WIDEST => Reading::at_least(ppm - AT_LEAST),
        ppm => Reading::exact(ppm),
    }
}

/// One row more. A long column grows by an eighth, so that of a year little room lies empty.
fn push<T>(column: &mut Vec<T>, value: T) {
    const LONG: usize = 1 << 24;
    if column.len() == column.capacity() && column.len() >= LONG {
        column.reserve_exact(column.len() / 8);
    }
    column.push(value);
}

/// What is known of a pitch, if there is one.
pub(super) fn pitch_of(shaft: &ShaftSignals) -> Option<Pitch> {
    (shaft.pitch != 0).then(|| Pitch {
        time: Span::new(shaft.pitch),
        angle: TurnFraction::new(shaft.pitch_angle),
        largest: TurnFraction::new(shaft.pitch_largest),
    })
}

/// When the newest edge of a shaft happened, seen from `now`, if there was one.
pub(super) fn edge_of(shaft: &ShaftSignals, now: Micros) -> Option<Micros> {
    shaft.is_seen().then(|| Now::new(now).whole(shaft.last_edge))
}

/// The signals as a reader of the columns has them.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Known {
    signals: Signals,
    /// What the angles of head and boot have beyond their own resolution, in 2^-32 turn.
    low: [u8; 2],
}

impl Known {
    const NONE: Self = Self { signals: Signals::NONE, low: [0; 2] };

    /// Take signals whole. What the angles have beyond their resolution is not told: one that went on otherwise than expected was just
    /// about to.
    fn take(&mut self, signals: &Signals) {
        let before = &self.signals;
        let shafts = [(&before.head, &signals.head), (&before.boot, &signals.boot)];
        for (low, (before, after)) in self.low.iter_mut().zip(shafts) {
            if after.edges != before.edges {
                *low = turned(before.angle, *low, after.pitch_angle, after.angle);
            }
        }
        self.signals = *signals;
    }
}

/// Collects what judge is told.
pub struct Builder {
    columns: Columns,
    /// As a reader of the columns will see it.
    known: Known,
    slow: u32,
    slipped: i32,
    shapes: std::collections::HashMap<Shape, u32>,
}

impl Default for Builder {
    fn default() -> Self {
        Self::new()
    }
}

impl Builder {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            columns: Columns {
                offset: Vec::new(),
                tag: Vec::new(),
                lag: Vec::new(),
                pitch: Vec::new(),
                short: Vec::new(),
                long: Vec::new(),
                since: Vec::new(),
                shapes: Vec::new(),
                whole: Vec::new(),
                keys: Vec::new(),
                bases: Vec::new(),
                first: Micros::MAX,
                end: Micros::ZERO,
            },
            known: Known::NONE,
            slow: u32::MAX,
            slipped: 0,
            shapes: std::collections::HashMap::new(),
        }
    }

    /// The box is on from here: the first input came.
    pub fn begin(&mut self, at: Micros) {
        if self.columns.tag.is_empty() {
            self.time(at);
            self.key(at);
            self.whole(at, Told::Wake);
        }
    }

    fn time(&mut self, at: Micros) {
        self.columns.first = self.columns.first.min(at);
        self.columns.end = self.columns.end.max(at);
    }

    /// Keep what judge is told at a moment, and the signals that it sees then.
    pub fn take(&mut self, at: Micros, told: monitor::Told<'_>, signals: &Signals) {
        self.time(at);
        let told = match told {
            monitor::Told::Moved(moved) => {
                let kept = read_by_judge(signals);
                self.key(at);
                self.slipped = signals.slipped;
                if self.edge(at, moved, &kept) {
                    return;
                }
                Told::Motion(moved, kept)
            }
            monitor::Told::Signal(signal) => Told::Signal(*signal),
            monitor::Told::Late => Told::Late,
        };
        self.key(at);
        self.whole(at, told);
    }

    fn key(&mut self, at: Micros) {
        if !self.columns.tag.len().is_multiple_of(BLOCK) {
            return;
        }
        let shaft = |shaft: &ShaftSignals, low| ShaftKey { signals: *shaft, last_edge: edge_of(shaft, at), low };
        if self.columns.keys.len() > self.columns.tag.len() / BLOCK {
            return;
        }
        let Known { signals, low: [head, boot] } = &self.known;
        push(&mut self.columns.bases, at);
        push(
            &mut self.columns.keys,
            Key {
                head: shaft(&signals.head, *head),
                boot: shaft(&signals.boot, *boot),
                short: signals.short,
                long: signals.long,
                since: signals.since_boot,
                whole: self.columns.whole.len() as u32,
                slow: self.slow,
                slipped: self.slipped,
                shapes: self.columns.shapes.len().saturating_sub(SHAPES_BACK) as u32,
            },
        );
    }

    #[allow(clippy::too_many_arguments, reason = "one row of the columns")]
    fn row(&mut self, at: Micros, tag: u16, lag: u16, pitch: u32, short: i32, long: i32, since: u32) {
        let base = self.columns.bases.last().copied().unwrap_or(Micros::ZERO);
        let offset = u32::try_from(at.get().saturating_sub(base.get())).unwrap_or(u32::MAX);
        push(&mut self.columns.offset, offset);
        push(&mut self.columns.tag, tag);
        push(&mut self.columns.lag, lag);
        push(&mut self.columns.pitch, pitch);
        push(&mut self.columns.short, short);
        push(&mut self.columns.long, long);
        push(&mut self.columns.since, since);
    }

    fn whole(&mut self, at: Micros, told: Told) {
        if let Told::Motion(_, signals) = &told {
            self.slow = self.columns.whole.len() as u32;
            self.known.take(signals);
        }
        let row = self.columns.tag.len() as u32;
        // The columns repeat what is known, so that a search for the extremes of a block finds nothing new here.
        let short = pack(self.known.signals.short).unwrap_or(UNKNOWN);
        let long = pack(self.known.signals.long).unwrap_or(UNKNOWN);
        self.row(at, WHOLE, 0, 0, short, long, self.known.signals.since_boot);
        push(&mut self.columns.whole, Whole { row, at, told });
    }

    /// Try to keep it as an edge of one shaft.
    fn edge(&mut self, at: Micros, moved: u8, kept: &Signals) -> bool {
        let (tag, shaft) = match moved {
            moved::HEAD => (HEAD, &kept.head),
            moved::BOOT => (BOOT, &kept.boot),
            _ => return false,
        };
        let (Some(pitch), Some(edge)) = (pitch_of(shaft), edge_of(shaft, at)) else { return false };
        let shape = Shape { angle: pitch.angle, largest: pitch.largest, next: TurnFraction::new(shaft.next_largest) };
        let Some(block) = self.columns.keys.last() else { return false };
        let first = block.shapes;
        let named = match self.shapes.get(&shape) {
            Some(named) if *named >= first => *named,
            _ => {
                let named = self.columns.shapes.len() as u32;
                push(&mut self.columns.shapes, shape);
                self.shapes.insert(shape, named);
                named
            }
        };
        let Some(named) = u16::try_from(named - first).ok().filter(|named| usize::from(*named) < MOST_SHAPES) else {
            return false;
        };
        let base = self.columns.bases.last().copied().unwrap_or(Micros::ZERO);
        let (Ok(lag), Some(short), Some(long), Ok(offset)) = (
            u16::try_from(at.get().saturating_sub(edge.get())),
            pack(kept.short),
            pack(kept.long),
            u32::try_from(at.get().saturating_sub(base.get())),
        ) else {
            return false;
        };
        let since = kept.since_boot;
        if since == u32::MAX || offset == u32::MAX {
            return false;
        }
        let tag = tag | named << 2;
        let mut back = self.known;
        apply(&mut back, at, tag, lag, pitch.time.get(), short, long, since, &shape);
        if back.signals != *kept {
            return false;
        }
        self.known = back;
        self.row(at, tag, lag, pitch.time.get(), short, long, since);
        true
    }

    /// All is told; `end` is how far the trace reaches.
    #[must_use]
    pub fn finish(mut self, end: Micros) -> Columns {
        self.columns.end = self.columns.end.max(end);
        self.columns.first = self.columns.first.min(self.columns.end);
        self.columns.shrink();
        self.columns
    }
}

/// What an angle has beyond its own resolution once it has turned on by `share`, if it came out as `after`.
const fn turned(before: u32, low: u8, share: u32, after: u32) -> u8 {
    let sum = (share & 0xFF) + low as u32;
    let expected = before.wrapping_add(share >> 8).wrapping_add(sum >> 8);
    match after.wrapping_sub(expected) {
        0 => sum as u8,
        1 => 0,
        _ => 0xFF,
    }
}

#[allow(clippy::too_many_arguments, reason = "one row of the columns")]
fn apply(
    known: &mut Known,
    at: Micros,
    tag: u16,
    lag: u16,
    pitch: u32,
    short: i32,
    long: i32,
    since: u32,
    shape: &Shape,
) {
    let Known { signals, low: [head, boot] } = known;
    let (shaft, low) = if tag & 3 == HEAD { (&mut signals.head, head) } else { (&mut signals.boot, boot) };
    shaft.last_edge = Now::new(at).us().wrapping_sub(u32::from(lag));
    shaft.pitch = pitch;
    shaft.pitch_angle = shape.angle.get();
    shaft.pitch_largest = shape.largest.get();
    shaft.next_largest = shape.next.get();
    shaft.edges = shaft.edges.wrapping_add(1);
    let sum = (shape.angle.get() & 0xFF) + u32::from(*low);
    *low = sum as u8;
    shaft.angle = shaft.angle.wrapping_add(shape.angle.get() >> 8).wrapping_add(sum >> 8);
    signals.short = unpack(short);
    signals.long = unpack(long);
    signals.since_boot = since;
}

impl Columns {
    /// How many rows there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.tag.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.tag.is_empty()
    }

    /// Give back what room lies empty.
    fn shrink(&mut self) {
        let Self { offset, tag, lag, pitch, short, long, since, shapes, whole, keys, bases, .. } = self;
        [tag, lag].into_iter().for_each(Vec::shrink_to_fit);
        [offset, pitch, since].into_iter().for_each(Vec::shrink_to_fit);
        [short, long].into_iter().for_each(Vec::shrink_to_fit);
        shapes.shrink_to_fit();
        whole.shrink_to_fit();
        keys.shrink_to_fit();
        bases.shrink_to_fit();
    }

    /// When the trace begins.
    #[must_use]
    pub const fn first(&self) -> Micros {
        self.first
    }

    /// When it ends.
    #[must_use]
    pub const fn end(&self) -> Micros {
        self.end
    }

    /// What they take in memory, in bytes.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.tag.len() * 24
            + self.whole.len() * size_of::<Whole>()
            + self.keys.len() * (size_of::<Key>() + size_of::<Micros>())
            + self.shapes.len() * size_of::<Shape>()
    }

    /// Rows that had to be kept whole.
    #[must_use]
    pub fn whole_rows(&self) -> usize {
        self.whole.len()
    }

    /// The power that `row` tells, if it tells any.
    pub(super) fn power_at(&self, row: usize) -> Option<Watts> {
        let found = self.whole.binary_search_by_key(&(row as u32), |whole| whole.row).ok()?;
        match self.whole[found].told {
            Told::Signal(Signal::DrivePower(watts)) => Some(watts),
            _ => None,
        }
    }

    /// When the drive was switched on and off, as far as its contact tells.
    pub fn drive_switched(&self) -> impl Iterator<Item = (Micros, bool)> {
        self.whole.iter().filter_map(|whole| match whole.told {
            Told::Signal(Signal::DriveRunning(on)) => Some((whole.at, on)),
            _ => None,
        })
    }

    /// When `row` is known.
    #[must_use]
    pub fn at(&self, row: usize) -> Micros {
        let offset = self.offset[row];
        if offset == u32::MAX {
            let found = self.whole.binary_search_by_key(&(row as u32), |whole| whole.row);
            return found.map_or(Micros::MAX, |found| self.whole[found].at);
        }
        Micros::new(self.bases[row / BLOCK].get() + u64::from(offset))
    }

    /// The first row at or after `time`; [`len`](Self::len) if there is none.
    #[must_use]
    pub fn row_at(&self, time: Micros) -> usize {
        self.row_in(self.bases.partition_point(|base| *base < time), time)
    }

    /// The same, where `block` is the first that begins no sooner than `time`.
    fn row_in(&self, block: usize, time: Micros) -> usize {
        let mut low = block.saturating_sub(1) * BLOCK;
        let mut high = (block * BLOCK).min(self.len());
        while low < high {
            let middle = usize::midpoint(low, high);
            if self.at(middle) < time { low = middle + 1 } else { high = middle }
        }
        low
    }

    /// The same, where it is `from` or a later row, and most likely not much later.
    #[must_use]
    pub fn row_from(&self, from: usize, time: Micros) -> usize {
        let first = from / BLOCK;
        let mut step = 1;
        while self.bases.get(first + step).is_some_and(|base| *base < time) {
            step *= 2;
        }
        let (low, high) = (first + step / 2, self.bases.len().min(first + step + 1));
        self.row_in(low + self.bases[low..high].partition_point(|base| *base < time), time)
    }

    /// How far the rim has slid past the belt at `time`, straight between keys.
    #[must_use]
    pub fn slipped_at(&self, time: Micros) -> f64 {
        let after = self.bases.partition_point(|base| *base <= time);
        let Some(before) = after.checked_sub(1).and_then(|before| self.keys.get(before)) else { return 0.0 };
        let from = f64::from(before.slipped) * 1e-6;
        let Some(next) = self.keys.get(after) else { return from };
        let (from_us, to_us) = (self.bases[after - 1], self.bases[after]);
        let (span, past) = (to_us.since(from_us).get(), time.since(from_us).get());
        let to = f64::from(next.slipped) * 1e-6;
        if span == 0 { from } else { from + (to - from) * f64::from(past) / f64::from(span) }
    }
}

/// Reads the rows one after the other.
#[derive(Clone)]
pub struct Cursor<'a> {
    columns: &'a Columns,
    row: usize,
    whole: usize,
    at: Micros,
    known: Known,
}

/// What a row tells judge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Row<'a> {
    /// What the monitor told it then.
    Told(monitor::Told<'a>),
    /// Only that the box is on.
    Wake,
}

impl<'a> Cursor<'a> {
    /// At the beginning.
    #[must_use]
    pub fn new(columns: &'a Columns) -> Self {
        Self { columns, row: 0, whole: 0, at: Micros::ZERO, known: Known::NONE }
    }

    /// The row to come.
    #[must_use]
    pub const fn row(&self) -> usize {
        self.row
    }

    /// The signals as of the last row.
    #[must_use]
    pub const fn signals(&self) -> &Signals {
        &self.known.signals
    }

    /// Take the next row in: when it was told, and what.
    pub fn next_row(&mut self) -> Option<(Micros, Row<'a>)> {
        let columns = self.columns;
        let row = self.row;
        let tag = columns.tag.get(row).copied()?;
        self.row += 1;
        if tag & 3 == WHOLE {
            let whole = &columns.whole[self.whole];
            self.whole += 1;
            self.at = whole.at;
            let told = match &whole.told {
                Told::Motion(moved, signals) => {
                    self.known.take(signals);
                    Row::Told(monitor::Told::Moved(*moved))
                }
                Told::Signal(signal) => Row::Told(monitor::Told::Signal(signal)),
                Told::Late => Row::Told(monitor::Told::Late),
                Told::Wake => Row::Wake,
            };
            return Some((self.at, told));
        }
        self.at = Micros::new(columns.bases[row / BLOCK].get() + u64::from(columns.offset[row]));
        apply(
            &mut self.known,
            self.at,
            tag,
            columns.lag[row],
            columns.pitch[row],
            columns.short[row],
            columns.long[row],
            columns.since[row],
            columns.shape(row),
        );
        Some((self.at, Row::Told(monitor::Told::Moved(if tag & 3 == HEAD { moved::HEAD } else { moved::BOOT }))))
    }

    /// Go on until `row` has been taken in.
    pub fn go_past(&mut self, row: usize) {
        let block = row / BLOCK;
        if block > self.row / BLOCK {
            let key = &self.columns.keys[block];
            let Known { signals, low } = &mut self.known;
            if let Some(slow) = self.columns.whole.get(key.slow as usize)
                && let Told::Motion(_, whole) = &slow.told
            {
                *signals = *whole;
            }
            let [head, boot] = low;
            for (shaft, low, key) in [(&mut signals.head, head, &key.head), (&mut signals.boot, boot, &key.boot)] {
                *shaft = key.signals;
                *low = key.low;
            }
            signals.short = key.short;
            signals.long = key.long;
            signals.since_boot = key.since;
            self.row = block * BLOCK;
            self.whole = key.whole as usize;
        }
        while self.row <= row && self.next_row().is_some() {}
    }
}

impl Columns {
    pub(super) fn is_whole(&self, row: usize) -> bool {
        self.tag[row] & 3 == WHOLE
    }

    pub(super) fn is_boot(&self, row: usize) -> bool {
        self.tag[row] & 3 == BOOT
    }

    pub(super) fn is_head(&self, row: usize) -> bool {
        self.tag[row] & 3 == HEAD
    }

    pub(super) fn shape(&self, row: usize) -> &Shape {
        &self.shapes[self.keys[row / BLOCK].shapes as usize + usize::from(self.tag[row] >> 2)]
    }
}
