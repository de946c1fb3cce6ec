//! Inputs as bytes, each told by how it differs from what the inputs before let expect.

use super::anchor::Anchor;
use super::keep::{Plain, Unreadable, unzigzag, zigzag};
use crate::input::{Input, Shaft, Signal};
use crate::units::{Micros, Span};

/// The most bytes of one record, the end included.
pub(super) const MOST_RECORD: usize = 32;

/// Edges remembered of one shaft: one turn of 32 targets, both levels.
const REMEMBERED: usize = 64;

const EDGE: u8 = 0x80;
const BOOT: u8 = 0x40;
const CHECK: u8 = 0x01;
const END: u8 = 0x02;
const ANCHOR: u8 = 0x03;
const SIGNAL: u8 = 0x10;

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

/// One thing in a segment, as read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Item {
    Record(Record),
    Check { crc: u32 },
    End { newest: Micros, inputs: u32, state: u32, crc: u32 },
}

/// One record as bytes.
pub(super) struct Line {
    bytes: [u8; MOST_RECORD],
    length: usize,
}

impl Line {
    const fn new() -> Self {
        Self { bytes: [0; MOST_RECORD], length: 0 }
    }

    fn byte(&mut self, byte: u8) {
        // No record is longer than the room.
        if let Some(slot) = self.bytes.get_mut(self.length) {
            *slot = byte;
            self.length = self.length.saturating_add(1);
        }
    }

    fn all(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.byte(*byte));
    }

    fn varint(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
    }

    pub(super) fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.length).unwrap_or(&[])
    }
}

/// What is known of one shaft's edges.
#[derive(Clone, Debug)]
struct Track {
    level: bool,
    last: Micros,
    /// Microseconds between neighbouring edges, wrapping; the newest before `next`.
    gaps: [u32; REMEMBERED],
    next: u8,
    filled: u8,
    /// Edges a turn.
    turn: u8,
}

impl Track {
    const fn new(begin: Micros, edges_a_turn: u8) -> Self {
        let turn = if edges_a_turn < 2 {
            2
        } else if edges_a_turn as usize > REMEMBERED {
            REMEMBERED as u8
        } else {
            edges_a_turn
        };
        Self { level: false, last: begin, gaps: [0; REMEMBERED], next: 0, filled: 0, turn }
    }

    fn ago(&self, edges: u8) -> u32 {
        let index = usize::from(self.next.wrapping_sub(edges)) % REMEMBERED;
        self.gaps.get(index).copied().unwrap_or(0)
    }

    /// When the next edge is expected.
    fn expected(&self) -> Micros {
        let gap = if self.filled >= self.turn {
            self.ago(self.turn)
        } else if self.filled >= 2 {
            self.ago(2)
        } else {
            0
        };
        self.last.after(Span::new(gap))
    }

    fn pass(&mut self, at: Micros, level: bool) {
        let gap = at.get().wrapping_sub(self.last.get()) as u32;
        if let Some(slot) = self.gaps.get_mut(usize::from(self.next) % REMEMBERED) {
            *slot = gap;
        }
        self.next = self.next.wrapping_add(1);
        self.filled = self.filled.saturating_add(1).min(REMEMBERED as u8);
        self.last = at;
        self.level = level;
    }
}

/// What writer and reader alike know of the records so far.
#[derive(Clone, Debug)]
pub(super) struct Context {
    newest: Micros,
    head: Track,
    boot: Track,
}

impl Context {
    pub(super) const fn new(begin: Micros, [head, boot]: [u8; 2]) -> Self {
        Self { newest: begin, head: Track::new(begin, head), boot: Track::new(begin, boot) }
    }

    const fn track(&self, shaft: Shaft) -> &Track {
        match shaft {
            Shaft::Head => &self.head,
            Shaft::Boot => &self.boot,
        }
    }

    /// The time of the last record.
    pub(super) const fn newest(&self) -> Micros {
        self.newest
    }

    fn take(&mut self, input: &Input) {
        self.newest = input.at;
        match input.signal {
            Signal::Edge(Shaft::Head, level) => self.head.pass(input.at, level),
            Signal::Edge(Shaft::Boot, level) => self.boot.pass(input.at, level),
            _ => {}
        }
    }

    fn since_newest(&self, at: Micros) -> u64 {
        zigzag(at.get().wrapping_sub(self.newest.get()) as i64)
    }

    fn after_newest(&self, code: u64) -> Micros {
        Micros::new(self.newest.get().wrapping_add(unzigzag(code) as u64))
    }

    /// The record of `input`.
    pub(super) fn write(&mut self, input: &Input) -> Line {
        let line = match input.signal {
            Signal::Edge(shaft, level) => self.edge(shaft, level, input.at).unwrap_or_else(|| self.any(input)),
            _ => self.any(input),
        };
        self.take(input);
        line
    }

    /// The short record of an edge, if its level is the one expected and its time near enough.
    fn edge(&self, shaft: Shaft, level: bool, at: Micros) -> Option<Line> {
        let track = self.track(shaft);
        let residue = zigzag(at.get().wrapping_sub(track.expected().get()) as i64);
        let more = match residue {
            0..0x10 => 0_u8,
            0x10..0x1000 => 1,
            0x1000..0x10_0000 => 2,
            0x10_0000..0x1000_0000 => 3,
            _ => return None,
        };
        if level == track.level {
            return None;
        }
        let mut line = Line::new();
        let which = if shaft == Shaft::Boot { BOOT } else { 0 };
        let [_, _, _, _, third, second, first, last] = residue.to_be_bytes();
        let (top, rest): (u8, &[u8]) = match more {
            0 => (last, &[]),
            1 => (first, &[last]),
            2 => (second, &[first, last]),
            _ => (third, &[second, first, last]),
        };
        line.byte(EDGE | which | (more << 4) | (top & 0x0F));
        line.all(rest);
        Some(line)
    }

    fn any(&self, input: &Input) -> Line {
        let mut line = Line::new();
        let mut signal = [0; MOST_RECORD];
        // A signal takes at most eleven bytes.
        let signal = postcard::to_slice(&input.signal, &mut signal).unwrap_or(&mut []);
        if let Some(first) = signal.first_mut() {
            *first = first.wrapping_add(SIGNAL);
        }
        line.all(signal);
        line.varint(self.since_newest(input.at));
        line
    }

    pub(super) fn write_anchor(&mut self, anchor: &Anchor) -> Line {
        let mut line = Line::new();
        line.byte(ANCHOR);
        line.varint(self.since_newest(anchor.at));
        line.all(&anchor.desk_us.to_le_bytes());
        line.all(&anchor.uncertainty.get().to_le_bytes());
        self.newest = anchor.at;
        line
    }

    pub(super) fn check(crc: u32) -> Line {
        let mut line = Line::new();
        line.byte(CHECK);
        line.all(&crc.to_le_bytes());
        line
    }

    /// The end but for its CRC.
    pub(super) fn end(&self, newest: Micros, inputs: u32, state: u32) -> Line {
        let mut line = Line::new();
        line.byte(END);
        line.varint(newest.get().wrapping_sub(self.newest.get()));
        line.varint(u64::from(inputs));
        line.all(&state.to_le_bytes());
        line
    }

    /// Read one item from the front of `bytes`, and what is left after it.
    pub(super) fn read<'a>(&mut self, bytes: &'a [u8]) -> Result<(Item, &'a [u8]), Unreadable> {
        let mut page = Plain(bytes);
        let kind = page.byte()?;
        let item = match kind {
            EDGE.. => Item::Record(Record::Input(self.read_edge(kind, &mut page)?)),
            CHECK => Item::Check { crc: read_u32(&mut page)? },
            END => {
                let newest = Micros::new(self.newest.get().wrapping_add(page.varint()?));
                let inputs = u32::try_from(page.varint()?).map_err(|_| Unreadable)?;
                Item::End { newest, inputs, state: read_u32(&mut page)?, crc: read_u32(&mut page)? }
            }
            ANCHOR => {
                let at = self.after_newest(page.varint()?);
                let mut desk = [0; 8];
                for byte in &mut desk {
                    *byte = page.byte()?;
                }
                let uncertainty = Span::new(read_u32(&mut page)?);
                self.newest = at;
                Item::Record(Record::Anchor(Anchor { at, desk_us: i64::from_le_bytes(desk), uncertainty }))
            }
            SIGNAL.. => {
                let mut buffer = [0; MOST_RECORD];
                for (slot, byte) in buffer.iter_mut().zip(bytes) {
                    *slot = *byte;
                }
                if let Some(first) = buffer.first_mut() {
                    *first = first.wrapping_sub(SIGNAL);
                }
                let room = buffer.get(..bytes.len().min(MOST_RECORD)).unwrap_or(&[]);
                let (signal, rest) = postcard::take_from_bytes::<Signal>(room).map_err(|_| Unreadable)?;
                let taken = room.len().saturating_sub(rest.len());
                page = Plain(bytes.get(taken..).ok_or(Unreadable)?);
                Item::Record(Record::Input(Input { at: self.after_newest(page.varint()?), signal }))
            }
            _ => return Err(Unreadable),
        };
        if let Item::Record(Record::Input(input)) = &item {
            self.take(input);
        }
        Ok((item, page.rest()))
    }

    fn read_edge(&self, kind: u8, page: &mut Plain<'_>) -> Result<Input, Unreadable> {
        let shaft = if kind & BOOT == 0 { Shaft::Head } else { Shaft::Boot };
        let mut residue = u64::from(kind & 0x0F);
        for _ in 0..(kind >> 4) & 3 {
            residue = (residue << 8) | u64::from(page.byte()?);
        }
        let track = self.track(shaft);
        let at = Micros::new(track.expected().get().wrapping_add(unzigzag(residue) as u64));
        Ok(Input { at, signal: Signal::Edge(shaft, !track.level) })
    }
}

fn read_u32(page: &mut Plain<'_>) -> Result<u32, Unreadable> {
    let mut bytes = [0; 4];
    for byte in &mut bytes {
        *byte = page.byte()?;
    }
    Ok(u32::from_le_bytes(bytes))
}

#[cfg(test)]
#[path = "code_tests.rs"]
mod tests;
