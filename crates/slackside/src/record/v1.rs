//! Reads segments of version 1: what went in, and how they end. Their keyframes are of a core that is no more.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLsg` |
//! | 4 | version of the format: 1 |
//! | 5 | flags: 1 settings were changed just before, 2 no segment precedes this one in its session |
//! | 6, 7 | raw edges a turn of the head and the boot, 0 if not fitted |
//! | 8 to 39 | as in version 2, with the identities of settings for those of plans |
//! | 40 to 43 | CRC-32 of the keyframe |
//! | 44, 45 | length of the keyframe |
//! | 46, 47 | zero |
//! | 48 to 51 | CRC-32 of bytes 0 to 47 |
//! | 52 … | keyframe, then records |
//!
//! | first byte | what | then |
//! |---|---|---|
//! | `1snnrrrr` | edge of the shaft `s` to the other level than its last | `n` bytes of its residue, highest first |
//! | `0x10` to `0x1A` | any input: `0x10` plus its position | the rest of it in postcard's wire format; zigzag varint of the time after the record before |
//! | `0x01` | check | CRC-32 of everything from byte 0 but the keyframe |
//! | `0x02` | end | varint of the time after the last record; varint of the number of inputs; CRC-32 of the state; CRC-32 as in a check |
//! | `0x03` | anchor | zigzag varint of the time after the record before; desk time, 8 bytes; uncertainty, 4 bytes |
//!
//! Here times are varints of 64 bits, and an edge is expected as long after the one before as one turn ago between the same two edges;
//! before there is a turn, as between the edge before last and the one before it; before that, at once.

use super::anchor::Anchor;
use super::code::Record;
use super::header::{CoreVersion, Header};
use super::reader::{End, Opened};
use crate::codec::crc::{Crc, checked};
use crate::input::{Input, Shaft, Signal};
use crate::units::{Micros, Span};

pub(super) const VERSION: u8 = 1;
const HEADER: usize = 52;
/// The most bytes of a record.
const MOST_RECORD: usize = 32;
/// Edges remembered of one shaft.
const REMEMBERED: usize = 64;

const EDGE: u8 = 0x80;
const BOOT: u8 = 0x40;
const CHECK: u8 = 0x01;
const END: u8 = 0x02;
const ANCHOR: u8 = 0x03;
const SIGNAL: u8 = 0x10;

/// Takes a few bytes from the front.
fn take<'a, const N: usize>(rest: &mut &'a [u8]) -> Option<&'a [u8; N]> {
    let (first, after) = rest.split_first_chunk::<N>()?;
    *rest = after;
    Some(first)
}

fn take_u32(rest: &mut &[u8]) -> Option<u32> {
    take(rest).map(|bytes| u32::from_le_bytes(*bytes))
}

fn take_u64(rest: &mut &[u8]) -> Option<u64> {
    take(rest).map(|bytes| u64::from_le_bytes(*bytes))
}

/// A varint of 64 bits.
fn varint(rest: &mut &[u8]) -> Option<u64> {
    let (value, after) = postcard::take_from_bytes(rest).ok()?;
    *rest = after;
    Some(value)
}

const fn unzigzag(value: u64) -> i64 {
    ((value >> 1) as i64) ^ ((value & 1) as i64).wrapping_neg()
}

/// Header and keyframe.
pub(super) fn opening(bytes: &[u8]) -> Option<Opened<'_>> {
    let (head, body) = bytes.split_first_chunk::<HEADER>()?;
    let mut rest = checked(head)?;
    let [_, _, _, _, _version, flags] = *take(&mut rest)?;
    let edges_a_turn = *take(&mut rest)?;
    let [sequence, session] = [take_u32(&mut rest)?, take_u32(&mut rest)?];
    let at = Micros::new(take_u64(&mut rest)?);
    let [plan, previous_plan] = [take_u32(&mut rest)?, take_u32(&mut rest)?];
    let [major, minor, patch, layout] = *take(&mut rest)?;
    let [missed, keyframe_crc] = [take_u32(&mut rest)?, take_u32(&mut rest)?];
    let keyframe_length = u16::from_le_bytes(*take(&mut rest)?);
    let header = Header {
        plan_changed: flags & 1 != 0,
        first: flags & 2 != 0,
        keyframe_length,
        sequence,
        session,
        at,
        plan,
        previous_plan,
        core: CoreVersion { major, minor, patch, layout },
        missed,
        keyframe_crc,
    };
    Opened::new(VERSION, header, edges_a_turn, head, body)
}

/// Read records up to the end, or as far as checks confirm them.
pub(super) fn walk(opened: &Opened<'_>) -> (usize, Option<End>) {
    let mut walk = Walk::new(opened.records, opened.header.at, opened.edges_a_turn);
    let mut crc = Crc::NEW;
    crc.bytes(opened.head);
    let mut good = 0;
    let mut inputs = 0_u32;
    loop {
        let before = walk.rest;
        let Some(item) = walk.read() else { break };
        let line = before.get(..before.len().saturating_sub(walk.rest.len())).unwrap_or(&[]);
        let read = opened.records.len().saturating_sub(walk.rest.len());
        match item {
            Item::Record(record) => {
                inputs = inputs.saturating_add(u32::from(matches!(record, Record::Input(_))));
            }
            Item::Check(sum) if crc.get() == sum => good = read,
            Item::Check(_) => break,
            Item::End { newest, counted, state, sum } => {
                crc.bytes(line.get(..line.len().saturating_sub(4)).unwrap_or(&[]));
                if crc.get() == sum && counted == u64::from(inputs) {
                    return (read, Some(End { newest, state }));
                }
                break;
            }
        }
        crc.bytes(line);
    }
    (good, None)
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
    fn new(begin: Micros, edges_a_turn: u8) -> Self {
        Self {
            level: false,
            last: begin,
            gaps: [0; REMEMBERED],
            next: 0,
            filled: 0,
            turn: edges_a_turn.clamp(2, REMEMBERED as u8),
        }
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

enum Item {
    Record(Record),
    Check(u32),
    End { newest: Micros, counted: u64, state: u32, sum: u32 },
}

/// Walks through the records.
#[derive(Clone, Debug)]
pub(super) struct Walk<'a> {
    rest: &'a [u8],
    newest: Micros,
    head: Track,
    boot: Track,
}

impl<'a> Walk<'a> {
    pub(super) fn new(records: &'a [u8], begin: Micros, [head, boot]: [u8; 2]) -> Self {
        Self { rest: records, newest: begin, head: Track::new(begin, head), boot: Track::new(begin, boot) }
    }

    const fn track(&mut self, shaft: Shaft) -> &mut Track {
        match shaft {
            Shaft::Head => &mut self.head,
            Shaft::Boot => &mut self.boot,
        }
    }

    fn after_newest(&mut self) -> Option<Micros> {
        let after = unzigzag(varint(&mut self.rest)?) as u64;
        Some(Micros::new(self.newest.get().wrapping_add(after)))
    }

    fn read(&mut self) -> Option<Item> {
        let before = self.rest;
        let [kind] = *take(&mut self.rest)?;
        let record = match kind {
            CHECK => return Some(Item::Check(take_u32(&mut self.rest)?)),
            END => {
                let newest = Micros::new(self.newest.get().wrapping_add(varint(&mut self.rest)?));
                let counted = varint(&mut self.rest)?;
                return Some(Item::End {
                    newest,
                    counted,
                    state: take_u32(&mut self.rest)?,
                    sum: take_u32(&mut self.rest)?,
                });
            }
            ANCHOR => {
                let at = self.after_newest()?;
                let desk_us = take_u64(&mut self.rest)? as i64;
                self.newest = at;
                Record::Anchor(Anchor { at, desk_us, uncertainty: Span::new(take_u32(&mut self.rest)?) })
            }
            EDGE.. => Record::Input(self.edge(kind)?),
            SIGNAL.. => {
                let mut room = [0; MOST_RECORD];
                for (slot, byte) in room.iter_mut().zip([kind.wrapping_sub(SIGNAL)].iter().chain(self.rest)) {
                    *slot = *byte;
                }
                let room = room.get(..before.len().min(MOST_RECORD))?;
                let (signal, rest) = postcard::take_from_bytes::<Signal>(room).ok()?;
                self.rest = before.get(room.len().saturating_sub(rest.len())..)?;
                Record::Input(Input { at: self.after_newest()?, signal })
            }
            _ => return None,
        };
        if let Record::Input(input) = record {
            self.newest = input.at;
            if let Signal::Edge(shaft, level) = input.signal {
                self.track(shaft).pass(input.at, level);
            }
        }
        Some(Item::Record(record))
    }

    fn edge(&mut self, kind: u8) -> Option<Input> {
        let shaft = if kind & BOOT == 0 { Shaft::Head } else { Shaft::Boot };
        let mut residue = u64::from(kind & 0x0F);
        for _ in 0..(kind >> 4) & 3 {
            let [byte] = *take(&mut self.rest)?;
            residue = residue << 8 | u64::from(byte);
        }
        let track = self.track(shaft);
        let at = Micros::new(track.expected().get().wrapping_add(unzigzag(residue) as u64));
        Some(Input { at, signal: Signal::Edge(shaft, !track.level) })
    }
}

impl Iterator for Walk<'_> {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        loop {
            if let Item::Record(record) = self.read()? {
                return Some(record);
            }
        }
    }
}
