//! Inputs as halves of bytes, each told by how it differs from what the inputs before let expect.

use super::anchor::Anchor;
use crate::codec::message;
use crate::codec::varint::{self, unzigzag, zigzag};
use crate::input::{Input, Shaft, Signal};
use crate::units::{Micros, Span};

/// The most bytes of one record, with the moment before it.
pub(super) const MOST_RECORD: usize = 32;

/// One gap before tells a gap clearly better than another from so many microseconds on.
const CLEARLY: u32 = 64;

const LONG: u8 = 0x7;
const OTHER: u8 = 0xF;
const MOMENT: u8 = 0xF0;
const CHECK: u8 = 0xF1;
const END: u8 = 0xF2;
const ANCHOR: u8 = 0xF3;
const SIGNAL: u8 = 0xF4;

/// One thing recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Record {
    /// An input.
    Input(Input),
    /// The desk told its time.
    Anchor(Anchor),
}

/// Where halves of bytes go.
pub(super) trait Sink {
    /// One half, upper first.
    fn half(&mut self, half: u8);
    /// Whole bytes, after filling up the one begun.
    fn bytes(&mut self, bytes: &[u8]);
}

/// What writer and reader alike know of the records so far. Of moments only the low halves, but for the newest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Context {
    newest: u64,
    head: Track,
    boot: Track,
}

/// The edges of one shaft so far.
#[derive(Clone, Copy, Debug)]
struct Track {
    last: u32,
    /// The last gaps, newest first.
    gaps: [u32; 4],
    /// Whether the fourth gap before told the last ones better than the second before.
    far: bool,
    level: bool,
}

impl Track {
    const fn new(last: u32) -> Self {
        Self { last, gaps: [0; 4], far: false, level: false }
    }

    fn take(&mut self, at: u32, level: bool) {
        let gap = at.wrapping_sub(self.last);
        let [first, second, third, fourth] = self.gaps;
        let (near_by, far_by) = (gap.abs_diff(second), gap.abs_diff(fourth));
        // Widths are told as well by either; what counts is a difference that jitter does not make.
        if near_by.abs_diff(far_by) >= CLEARLY {
            self.far = far_by < near_by;
        }
        self.gaps = [gap, first, second, third];
        self.last = at;
        self.level = level;
    }

    /// The low half of when the next edge is expected.
    const fn expected(&self) -> u32 {
        let [_, second, _, fourth] = self.gaps;
        self.last.wrapping_add(if self.far { fourth } else { second })
    }
}

impl Context {
    pub(super) const fn new(begin: Micros) -> Self {
        let track = Track::new(begin.get() as u32);
        Self { newest: begin.get(), head: track, boot: track }
    }

    /// The time of the last record.
    pub(super) const fn newest(&self) -> Micros {
        Micros::new(self.newest)
    }

    const fn track(&mut self, shaft: Shaft) -> &mut Track {
        match shaft {
            Shaft::Head => &mut self.head,
            Shaft::Boot => &mut self.boot,
        }
    }

    fn take(&mut self, input: &Input) {
        self.newest = input.at.get();
        if let Signal::Edge(shaft, level) = input.signal {
            self.track(shaft).take(input.at.get() as u32, level);
        }
    }

    /// How long after the newest, in 32 bits: `None` if it does not fit.
    const fn after_newest(&self, at: u64) -> Option<i32> {
        let after = at.wrapping_sub(self.newest) as i64;
        if after as i32 as i64 == after { Some(after as i32) } else { None }
    }

    /// How long `at` is after the newest record, with a moment written before where 32 bits do not hold it.
    fn reach(&mut self, at: u64, sink: &mut impl Sink) -> i32 {
        self.after_newest(at).unwrap_or_else(|| {
            sink.bytes(&[MOMENT]);
            sink.bytes(&at.to_le_bytes());
            self.newest = at;
            0
        })
    }

    /// Write the record of `input`.
    #[inline(never)]
    pub(super) fn write(&mut self, input: &Input, sink: &mut impl Sink) {
        let after = self.reach(input.at.get(), sink);
        self.newest = input.at.get();
        if let Signal::Edge(shaft, level) = input.signal {
            let track = self.track(shaft);
            let (at, is_other_level) = (input.at.get() as u32, track.level != level);
            let residue = at.wrapping_sub(track.expected());
            track.take(at, level);
            if is_other_level {
                return edge(shaft, zigzag(residue as i32), sink);
            }
        }
        let mut room = [0; 16];
        // A signal takes at most eleven bytes.
        let length = message::write(&input.signal, &mut room).unwrap_or(0);
        if let Some(first) = room.first_mut() {
            *first = first.wrapping_add(SIGNAL);
        }
        sink.bytes(room.get(..length).unwrap_or(&[]));
        time(after, sink);
    }

    #[inline(never)]
    pub(super) fn write_anchor(&mut self, anchor: &Anchor, sink: &mut impl Sink) {
        let after = self.reach(anchor.at.get(), sink);
        sink.bytes(&[ANCHOR]);
        time(after, sink);
        sink.bytes(&anchor.desk_us.to_le_bytes());
        sink.bytes(&anchor.uncertainty.get().to_le_bytes());
        self.newest = anchor.at.get();
    }

    /// The end but for its CRC.
    pub(super) fn write_end(&mut self, newest: Micros, state: u32, sink: &mut impl Sink) {
        let after = self.reach(newest.get(), sink);
        sink.bytes(&[END]);
        time(after, sink);
        sink.bytes(&state.to_le_bytes());
    }
}

/// A check but for its CRC.
pub(super) fn write_check(sink: &mut impl Sink) {
    sink.bytes(&[CHECK]);
}

fn time(after: i32, sink: &mut impl Sink) {
    varint::write(zigzag(after), &mut |byte| sink.bytes(&[byte]));
}

/// The halves of an edge.
fn edge(shaft: Shaft, residue: u32, sink: &mut impl Sink) {
    let which = if shaft as u8 == 0 { 0 } else { 8 };
    let bits = 32_u32.wrapping_sub(residue.leading_zeros());
    let (mark, more) = match bits {
        0..=6 => (0, 1),
        7..=9 => (4, 2),
        10..=12 => (6, 3),
        _ => {
            sink.half(LONG);
            match bits {
                13..=14 => (0, 3),
                15..=20 => (4, 5),
                21..=24 => (5, 6),
                25..=28 => (6, 7),
                _ => (7, 8),
            }
        }
    };
    // Of the eight halves nothing is left for the first.
    let mut left = 4_u32.wrapping_mul(more);
    sink.half(which | mark | residue.checked_shr(left).unwrap_or(0) as u8);
    while left != 0 {
        left = left.wrapping_sub(4);
        sink.half((residue.wrapping_shr(left) & 0xF) as u8);
    }
}

/// One thing in a segment, as read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Item {
    Record(Record),
    Moment,
    Check { crc: u32 },
    End { newest: Micros, state: u32, crc: u32 },
}

/// Reads halves of bytes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Halves<'a> {
    rest: &'a [u8],
    /// The upper half of the first byte is taken.
    begun: bool,
}

impl<'a> Halves<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes, begun: false }
    }

    /// Bytes not taken at all, or in part.
    pub(super) const fn left(&self) -> usize {
        self.rest.len()
    }

    fn half(&mut self) -> Option<u8> {
        let (first, after) = self.rest.split_first()?;
        let half = if self.begun { first & 0xF } else { first >> 4 };
        if self.begun {
            self.rest = after;
        }
        self.begun = !self.begun;
        Some(half)
    }

    fn chunk<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (chunk, rest) = self.rest.split_first_chunk()?;
        self.rest = rest;
        Some(*chunk)
    }

    fn u32(&mut self) -> Option<u32> {
        self.chunk().map(u32::from_le_bytes)
    }

    fn time(&mut self) -> Option<i32> {
        let (value, rest) = varint::read(self.rest)?;
        self.rest = rest;
        Some(unzigzag(value))
    }

    fn signal(&mut self, kind: u8) -> Option<Signal> {
        let mut room = [0; 16];
        for (slot, byte) in room.iter_mut().zip([kind.wrapping_sub(SIGNAL)].iter().chain(self.rest)) {
            *slot = *byte;
        }
        let room = room.get(..self.rest.len().saturating_add(1)).unwrap_or(&room);
        let (signal, rest) = postcard::take_from_bytes::<Signal>(room).ok()?;
        let taken = room.len().saturating_sub(rest.len()).saturating_sub(1);
        self.rest = self.rest.get(taken..)?;
        Some(signal)
    }
}

impl Context {
    /// Read one item. `None` if there is none, or no sound one.
    pub(super) fn read(&mut self, halves: &mut Halves<'_>) -> Option<Item> {
        let mut first = halves.half()?;
        if first == OTHER && !halves.begun {
            // It was the lower half: nothing but filling. What follows begins a byte, and is an edge's no more than it fills.
            first = halves.half()?;
            if first != OTHER {
                return None;
            }
        }
        if first == OTHER {
            let kind = OTHER << 4 | halves.half()?;
            return self.read_other(kind, halves);
        }
        let (head, most) = if first == LONG { (halves.half()?, true) } else { (first, false) };
        let (top, more) = match (most, head & 7) {
            (false, 0..4) => (head & 3, 1),
            (false, 4..6) => (head & 1, 2),
            (false, _) => (0, 3),
            (true, 0..4) => (head & 3, 3),
            (true, long) => (0, long.saturating_add(1)),
        };
        let mut residue = u32::from(top);
        for _ in 0..more {
            residue = residue << 4 | u32::from(halves.half()?);
        }
        let shaft = if head & 8 == 0 { Shaft::Head } else { Shaft::Boot };
        let track = self.track(shaft);
        let (low, level) = (track.expected().wrapping_add(unzigzag(residue) as u32), track.level);
        let at = self.at(low.wrapping_sub(self.newest as u32) as i32);
        let input = Input { at, signal: Signal::Edge(shaft, !level) };
        self.take(&input);
        Some(Item::Record(Record::Input(input)))
    }

    /// So long after the newest record.
    const fn at(&self, after: i32) -> Micros {
        Micros::new(self.newest.wrapping_add(after as i64 as u64))
    }

    fn read_other(&mut self, kind: u8, halves: &mut Halves<'_>) -> Option<Item> {
        let item = match kind {
            MOMENT => {
                self.newest = u64::from_le_bytes(halves.chunk()?);
                Item::Moment
            }
            CHECK => Item::Check { crc: halves.u32()? },
            END => {
                let newest = self.at(halves.time()?);
                Item::End { newest, state: halves.u32()?, crc: halves.u32()? }
            }
            ANCHOR => {
                let at = self.at(halves.time()?);
                let desk_us = i64::from_le_bytes(halves.chunk()?);
                let uncertainty = Span::new(halves.u32()?);
                self.newest = at.get();
                Item::Record(Record::Anchor(Anchor { at, desk_us, uncertainty }))
            }
            _ => {
                let signal = halves.signal(kind)?;
                let input = Input { at: self.at(halves.time()?), signal };
                self.take(&input);
                Item::Record(Record::Input(input))
            }
        };
        Some(item)
    }
}

#[cfg(test)]
#[path = "code_tests.rs"]
mod tests;
