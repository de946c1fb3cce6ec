//! Motion measured once, kept in columns: 24 bytes a row, for as long as the row is an ordinary edge of one shaft.
//!
//! Only what judge reads is kept. A row that does not come back exactly from its columns is kept whole, so that whatever comes
//! out is what went in; the encoder itself makes sure of it, row by row. Every [`BLOCK`] rows a key says what is known there, so
//! that reading may begin anywhere.

use slackside::input::{Command, LineState, Origin, Place};
use slackside::motion::{Motion, Pitch, ShaftMotion, Slip, SlipReading};
use slackside::sight::{Seen, Sight};
use slackside::units::{DeciCelsius, Micrometres, Micros, Ppm, Span, TurnFraction, Turns, Watts};

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
const RETRACTED: i32 = i32::MIN + 1;
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
    Motion(Motion),
    Drive(bool),
    Power(Watts),
    Reference(Ppm),
    Temperature(Place, DeciCelsius),
    Outlet(bool),
    Command(Origin, Command),
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
    pub last_edge: Option<Micros>,
    pub pitch: Option<Pitch>,
    pub next: TurnFraction,
    pub edges: u32,
    pub angle: Turns,
}

/// What is known before the first row of a block.
#[derive(Clone, Debug)]
pub(super) struct Key {
    /// The time its offsets count from.
    pub base: Micros,
    pub head: ShaftKey,
    pub boot: ShaftKey,
    pub short: SlipReading,
    pub long: SlipReading,
    pub since: Turns,
    /// The first whole row at or after the block.
    pub whole: u32,
    /// The newest whole motion before it, which holds all that changes seldom; `u32::MAX` if none.
    pub slow: u32,
    pub slipped: Micrometres,
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
    first: Micros,
    end: Micros,
}

/// Only what judge reads: the rest is set to nothing.
pub(super) fn read_by_judge(motion: &Motion) -> Motion {
    let mut kept = *motion;
    for shaft in [&mut kept.head, &mut kept.boot] {
        shaft.rejected = 0;
        shaft.line = LineState::Sound;
    }
    for slip in [&mut kept.slip_short, &mut kept.slip_long] {
        *slip = Slip { reading: slip.reading, ..Slip::default() };
    }
    for contact in &mut kept.contacts {
        contact.count = 0;
    }
    kept.slipped = Micrometres::ZERO;
    kept
}

fn pack(reading: SlipReading) -> Option<i32> {
    let fits = |ppm: Ppm| (-WIDEST..=WIDEST).contains(&ppm.get()).then_some(ppm.get());
    match reading {
        SlipReading::Unknown => Some(UNKNOWN),
        SlipReading::Retracted => Some(RETRACTED),
        SlipReading::Known(ppm) => fits(ppm),
        SlipReading::AtLeast(ppm) => fits(ppm).map(|ppm| ppm + AT_LEAST),
    }
}

pub(super) const fn unpack(packed: i32) -> SlipReading {
    match packed {
        UNKNOWN => SlipReading::Unknown,
        RETRACTED => SlipReading::Retracted,
        ppm if ppm > WIDEST => SlipReading::AtLeast(Ppm::new(ppm - AT_LEAST)),
        ppm => SlipReading::Known(Ppm::new(ppm)),
    }
}

/// Collects what measure tells.
pub struct Builder {
    columns: Columns,
    /// As a reader of the columns will see it.
    motion: Motion,
    slow: u32,
    slipped: Micrometres,
    known: std::collections::HashMap<Shape, u32>,
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
                first: Micros::MAX,
                end: Micros::ZERO,
            },
            motion: Motion::NONE,
            slow: u32::MAX,
            slipped: Micrometres::ZERO,
            known: std::collections::HashMap::new(),
        }
    }

    /// Keep one sight.
    pub fn take(&mut self, seen: &Seen<'_>) {
        self.columns.first = self.columns.first.min(seen.at);
        self.columns.end = self.columns.end.max(seen.at);
        let told = match seen.sight {
            // The first says since when the box has been on; any other only that time passes, and the verdicts are the same without.
            Sight::Wake if self.columns.tag.is_empty() => Told::Wake,
            Sight::Wake => return,
            Sight::Motion(motion) => {
                let slipped = motion.slipped;
                let kept = read_by_judge(motion);
                self.key(seen.at);
                self.slipped = slipped;
                if self.edge(seen.at, &kept) {
                    return;
                }
                Told::Motion(kept)
            }
            Sight::Drive(on) => Told::Drive(on),
            Sight::Power(watts) => Told::Power(watts),
            Sight::Reference(share) => Told::Reference(share),
            Sight::Temperature(place, celsius) => Told::Temperature(place, celsius),
            Sight::Outlet(plugged) => Told::Outlet(plugged),
            Sight::Command(origin, command) => Told::Command(origin, command),
            Sight::Late => Told::Late,
        };
        self.key(seen.at);
        self.whole(seen.at, told);
    }

    fn key(&mut self, at: Micros) {
        if !self.columns.tag.len().is_multiple_of(BLOCK) {
            return;
        }
        let shaft = |shaft: &ShaftMotion| ShaftKey {
            last_edge: shaft.last_edge,
            pitch: shaft.pitch,
            next: shaft.next_largest,
            edges: shaft.edges,
            angle: shaft.angle,
        };
        if self.columns.keys.len() > self.columns.tag.len() / BLOCK {
            return;
        }
        self.columns.keys.push(Key {
            base: at,
            head: shaft(&self.motion.head),
            boot: shaft(&self.motion.boot),
            short: self.motion.slip_short.reading,
            long: self.motion.slip_long.reading,
            since: self.motion.head_since_boot,
            whole: self.columns.whole.len() as u32,
            slow: self.slow,
            slipped: self.slipped,
            shapes: self.columns.shapes.len().saturating_sub(SHAPES_BACK) as u32,
        });
    }

    #[allow(clippy::too_many_arguments, reason = "one row of the columns")]
    fn row(&mut self, at: Micros, tag: u16, lag: u16, pitch: u32, short: i32, long: i32, since: u32) {
        let base = self.columns.keys.last().map_or(Micros::ZERO, |key| key.base);
        let offset = u32::try_from(at.get().saturating_sub(base.get())).unwrap_or(u32::MAX);
        self.columns.offset.push(offset);
        self.columns.tag.push(tag);
        self.columns.lag.push(lag);
        self.columns.pitch.push(pitch);
        self.columns.short.push(short);
        self.columns.long.push(long);
        self.columns.since.push(since);
    }

    fn whole(&mut self, at: Micros, told: Told) {
        if let Told::Motion(motion) = &told {
            self.slow = self.columns.whole.len() as u32;
            self.motion = *motion;
        }
        let row = self.columns.tag.len() as u32;
        // The columns repeat what is known, so that a search for the extremes of a block finds nothing new here.
        let short = pack(self.motion.slip_short.reading).unwrap_or(UNKNOWN);
        let long = pack(self.motion.slip_long.reading).unwrap_or(UNKNOWN);
        let since = u32::try_from(self.motion.head_since_boot.get()).unwrap_or(u32::MAX);
        self.row(at, WHOLE, 0, 0, short, long, since);
        self.columns.whole.push(Whole { row, at, told });
    }

    /// Try to keep it as an edge of one shaft.
    fn edge(&mut self, at: Micros, kept: &Motion) -> bool {
        let head = kept.head.edges != self.motion.head.edges;
        let (tag, shaft) = if head { (HEAD, &kept.head) } else { (BOOT, &kept.boot) };
        let (Some(pitch), Some(edge)) = (shaft.pitch, shaft.last_edge) else { return false };
        let shape = Shape { angle: pitch.angle, largest: pitch.largest, next: shaft.next_largest };
        let Some(block) = self.columns.keys.last() else { return false };
        let first = block.shapes;
        let named = match self.known.get(&shape) {
            Some(named) if *named >= first => *named,
            _ => {
                let named = self.columns.shapes.len() as u32;
                self.columns.shapes.push(shape);
                self.known.insert(shape, named);
                named
            }
        };
        let Some(named) = u16::try_from(named - first).ok().filter(|named| usize::from(*named) < MOST_SHAPES) else {
            return false;
        };
        let base = self.columns.keys.last().map_or(Micros::ZERO, |key| key.base);
        let (Ok(lag), Some(short), Some(long), Ok(since), Ok(offset)) = (
            u16::try_from(at.get().saturating_sub(edge.get())),
            pack(kept.slip_short.reading),
            pack(kept.slip_long.reading),
            u32::try_from(kept.head_since_boot.get()),
            u32::try_from(at.get().saturating_sub(base.get())),
        ) else {
            return false;
        };
        if since == u32::MAX || offset == u32::MAX {
            return false;
        }
        let tag = tag | named << 2;
        let mut back = self.motion;
        apply(&mut back, at, tag, lag, pitch.time.get(), short, long, since, &shape);
        if back != *kept {
            return false;
        }
        self.motion = back;
        self.row(at, tag, lag, pitch.time.get(), short, long, since);
        true
    }

    /// All is told; `end` is how far the trace reaches.
    #[must_use]
    pub fn finish(mut self, end: Micros) -> Columns {
        self.columns.end = self.columns.end.max(end);
        self.columns.first = self.columns.first.min(self.columns.end);
        self.columns
    }
}

#[allow(clippy::too_many_arguments, reason = "one row of the columns")]
fn apply(
    motion: &mut Motion,
    at: Micros,
    tag: u16,
    lag: u16,
    pitch: u32,
    short: i32,
    long: i32,
    since: u32,
    shape: &Shape,
) {
    let shaft = if tag & 3 == HEAD { &mut motion.head } else { &mut motion.boot };
    shaft.last_edge = Some(Micros::new(at.get().saturating_sub(u64::from(lag))));
    shaft.pitch = Some(Pitch { time: Span::new(pitch), angle: shape.angle, largest: shape.largest });
    shaft.next_largest = shape.next;
    shaft.edges = shaft.edges.wrapping_add(1);
    shaft.angle = shaft.angle.forward(shape.angle);
    motion.slip_short.reading = unpack(short);
    motion.slip_long.reading = unpack(long);
    motion.head_since_boot = Turns::new(u64::from(since));
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
            + self.keys.len() * size_of::<Key>()
            + self.shapes.len() * size_of::<Shape>()
    }

    /// Rows that had to be kept whole.
    #[must_use]
    pub fn whole_rows(&self) -> usize {
        self.whole.len()
    }

    /// When `row` is known.
    #[must_use]
    pub fn at(&self, row: usize) -> Micros {
        let offset = self.offset[row];
        if offset == u32::MAX {
            let found = self.whole.binary_search_by_key(&(row as u32), |whole| whole.row);
            return found.map_or(Micros::MAX, |found| self.whole[found].at);
        }
        Micros::new(self.keys[row / BLOCK].base.get() + u64::from(offset))
    }

    /// The first row at or after `time`; [`len`](Self::len) if there is none.
    #[must_use]
    pub fn row_at(&self, time: Micros) -> usize {
        let block = self.keys.partition_point(|key| key.base < time);
        let mut low = block.saturating_sub(1) * BLOCK;
        let mut high = (block * BLOCK).min(self.len());
        while low < high {
            let middle = usize::midpoint(low, high);
            if self.at(middle) < time { low = middle + 1 } else { high = middle }
        }
        low
    }

    /// How far the rim has slid past the belt at `time`, straight between keys.
    #[must_use]
    pub fn slipped_at(&self, time: Micros) -> f64 {
        let after = self.keys.partition_point(|key| key.base <= time);
        let Some(before) = after.checked_sub(1).and_then(|before| self.keys.get(before)) else { return 0.0 };
        let from = before.slipped.get() as f64 * 1e-6;
        let Some(next) = self.keys.get(after) else { return from };
        let (span, past) = (next.base.since(before.base).get(), time.since(before.base).get());
        let to = next.slipped.get() as f64 * 1e-6;
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
    motion: Motion,
    told: Option<usize>,
}

impl<'a> Cursor<'a> {
    /// At the beginning.
    #[must_use]
    pub fn new(columns: &'a Columns) -> Self {
        Self { columns, row: 0, whole: 0, at: Micros::ZERO, motion: Motion::NONE, told: None }
    }

    /// The row to come.
    #[must_use]
    pub const fn row(&self) -> usize {
        self.row
    }

    /// The motion as of the last row.
    #[must_use]
    pub const fn motion(&self) -> &Motion {
        &self.motion
    }

    /// The next sight.
    pub fn next_seen(&mut self) -> Option<Seen<'_>> {
        if !self.step() {
            return None;
        }
        let sight = match self.told.map(|told| &self.columns.whole[told].told) {
            None | Some(Told::Motion(_)) => Sight::Motion(&self.motion),
            Some(Told::Drive(on)) => Sight::Drive(*on),
            Some(Told::Power(watts)) => Sight::Power(*watts),
            Some(Told::Reference(share)) => Sight::Reference(*share),
            Some(Told::Temperature(place, celsius)) => Sight::Temperature(*place, *celsius),
            Some(Told::Outlet(plugged)) => Sight::Outlet(*plugged),
            Some(Told::Command(origin, command)) => Sight::Command(*origin, *command),
            Some(Told::Late) => Sight::Late,
            Some(Told::Wake) => Sight::Wake,
        };
        Some(Seen { at: self.at, sight })
    }

    /// Take one row in, without telling it.
    fn step(&mut self) -> bool {
        let columns = self.columns;
        let row = self.row;
        let Some(tag) = columns.tag.get(row).copied() else { return false };
        self.row += 1;
        if tag & 3 == WHOLE {
            let whole = &columns.whole[self.whole];
            self.told = Some(self.whole);
            self.whole += 1;
            self.at = whole.at;
            if let Told::Motion(motion) = &whole.told {
                self.motion = *motion;
            }
            return true;
        }
        self.told = None;
        self.at = Micros::new(columns.keys[row / BLOCK].base.get() + u64::from(columns.offset[row]));
        apply(
            &mut self.motion,
            self.at,
            tag,
            columns.lag[row],
            columns.pitch[row],
            columns.short[row],
            columns.long[row],
            columns.since[row],
            columns.shape(row),
        );
        true
    }

    /// Go on until `row` has been taken in.
    pub fn go_past(&mut self, row: usize) {
        let block = row / BLOCK;
        if block > self.row / BLOCK {
            let key = &self.columns.keys[block];
            if let Some(slow) = self.columns.whole.get(key.slow as usize)
                && let Told::Motion(motion) = &slow.told
            {
                self.motion = *motion;
            }
            for (shaft, key) in [(&mut self.motion.head, &key.head), (&mut self.motion.boot, &key.boot)] {
                shaft.last_edge = key.last_edge;
                shaft.pitch = key.pitch;
                shaft.next_largest = key.next;
                shaft.edges = key.edges;
                shaft.angle = key.angle;
            }
            self.motion.slip_short.reading = key.short;
            self.motion.slip_long.reading = key.long;
            self.motion.head_since_boot = key.since;
            self.row = block * BLOCK;
            self.whole = key.whole as usize;
        }
        while self.row <= row && self.step() {}
    }
}

impl Columns {
    pub(super) fn is_whole(&self, row: usize) -> bool {
        self.tag[row] & 3 == WHOLE
    }

    pub(super) fn is_head(&self, row: usize) -> bool {
        self.tag[row] & 3 == HEAD
    }

    pub(super) fn shape(&self, row: usize) -> &Shape {
        &self.shapes[self.keys[row / BLOCK].shapes as usize + usize::from(self.tag[row] >> 2)]
    }
}
