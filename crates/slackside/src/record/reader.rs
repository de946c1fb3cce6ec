//! Reads segments from bytes, whatever has happened to them.

use super::code::{Context, Halves, Item, Record};
use super::header::{FORMAT_VERSION, HEADER, Header, MAGIC};
#[cfg(feature = "desk")]
use super::v1;
use crate::codec::crc::{Crc, checksum};
use crate::units::Micros;

/// What is wrong with a segment, or with the bytes where one should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Damage {
    /// No segment begins here.
    NotASegment,
    /// A version of the format this program does not know.
    Version(u8),
    /// The header, or the keyframe, is damaged or cut off.
    Opening,
    /// The records are damaged from here on, or cut off here.
    Records,
}

impl core::fmt::Display for Damage {
    fn fmt(&self, out: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotASegment => out.write_str("no segment begins here"),
            Self::Version(version) => {
                write!(out, "segment of format version {version}, this program knows version {FORMAT_VERSION}")
            }
            Self::Opening => out.write_str("header or keyframe damaged or cut off"),
            Self::Records => out.write_str("records damaged or cut off"),
        }
    }
}

impl core::error::Error for Damage {}

/// How a whole segment ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct End {
    /// The newest time the monitor knew.
    pub newest: Micros,
    /// CRC of its state then: see [`Monitor::state_crc`](crate::Monitor::state_crc).
    pub state: u32,
}

/// One segment, as far as it is sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Segment<'a> {
    /// Its header.
    pub header: Header,
    /// The version of its format. Of older ones only the inputs can be read, not the keyframe.
    pub format: u8,
    /// The state at its beginning; see [`Monitor::restore`](crate::Monitor::restore).
    pub keyframe: &'a [u8],
    /// Its end; `None` if it did not come through.
    pub end: Option<End>,
    /// Where in the bytes given to the reader the segment begins.
    pub begins_at: usize,
    /// Where what is confirmed ends: behind its last byte, or, if it is damaged, behind its last good check.
    pub good_until: usize,
    records: &'a [u8],
    #[cfg(feature = "desk")]
    edges_a_turn: [u8; 2],
}

impl<'a> Segment<'a> {
    /// What was recorded, as far as a check confirms it.
    #[must_use]
    pub fn records(&self) -> Records<'a> {
        #[cfg(feature = "desk")]
        if self.format == v1::VERSION {
            return Records(Walk::Old(v1::Walk::new(self.records, self.header.at, self.edges_a_turn)));
        }
        Records(Walk::Now { halves: Halves::new(self.records), context: Context::new(self.header.at) })
    }
}

/// What was recorded in one segment.
#[derive(Clone, Debug)]
pub struct Records<'a>(Walk<'a>);

#[derive(Clone, Debug)]
#[allow(clippy::large_enum_variant, reason = "one at a time, on the desk")]
enum Walk<'a> {
    Now {
        halves: Halves<'a>,
        context: Context,
    },
    #[cfg(feature = "desk")]
    Old(v1::Walk<'a>),
}

impl Iterator for Records<'_> {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        match &mut self.0 {
            // All of it was read through once already: it cannot fail now.
            Walk::Now { halves, context } => loop {
                if let Item::Record(record) = context.read(halves)? {
                    return Some(record);
                }
            },
            #[cfg(feature = "desk")]
            Walk::Old(walk) => walk.next(),
        }
    }
}

/// Walks through segments that lie one behind the other. Damaged ones are told, with what can be confirmed of them, and the
/// walk goes on with the next that can be found.
#[derive(Clone, Debug)]
pub struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

/// A segment, and what is wrong with it or with the bytes before the next one.
pub type Found<'a> = (Option<Segment<'a>>, Option<(usize, Damage)>);

impl<'a> Reader<'a> {
    /// Read these bytes.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// Go to the next place after `from` where a segment may begin, or to the end.
    fn seek(&mut self, from: usize) {
        let tail = self.bytes.get(from..).unwrap_or(&[]);
        let found = tail.windows(MAGIC.len()).position(|window| window == MAGIC);
        self.at = found.map_or(self.bytes.len(), |offset| from.saturating_add(offset));
    }

    fn opening(bytes: &'a [u8]) -> Result<Opened<'a>, Damage> {
        let after = bytes.strip_prefix(&MAGIC).ok_or(Damage::NotASegment)?;
        match after.first() {
            None => return Err(Damage::Opening),
            Some(&FORMAT_VERSION) => {}
            #[cfg(feature = "desk")]
            Some(&v1::VERSION) => return v1::opening(bytes).ok_or(Damage::Opening),
            Some(version) => return Err(Damage::Version(*version)),
        }
        let (head, body) = bytes.split_first_chunk::<HEADER>().ok_or(Damage::Opening)?;
        let header = Header::from_bytes(head).ok_or(Damage::Opening)?;
        Opened::new(FORMAT_VERSION, header, [0; 2], head, body).ok_or(Damage::Opening)
    }

    /// Read records up to the end, or as far as checks confirm them.
    fn walk(opened: &Opened<'a>) -> (usize, Option<End>) {
        #[cfg(feature = "desk")]
        if opened.format == v1::VERSION {
            return v1::walk(opened);
        }
        let records = opened.records;
        let mut context = Context::new(opened.header.at);
        let mut halves = Halves::new(records);
        let mut crc = Crc::NEW;
        crc.bytes(opened.head);
        let mut summed = 0;
        let mut good = 0;
        while let Some(item) = context.read(&mut halves) {
            // Checks and ends are whole bytes.
            let read = records.len().saturating_sub(halves.left());
            let mut sum_up_to = |end: usize| {
                crc.bytes(records.get(summed..end).unwrap_or(&[]));
                summed = end;
                crc.get()
            };
            match item {
                Item::Record(_) | Item::Moment => {}
                Item::Check { crc } if sum_up_to(read.saturating_sub(CHECK)) == crc => good = read,
                Item::End { newest, state, crc } if sum_up_to(read.saturating_sub(SUM)) == crc => {
                    return (read, Some(End { newest, state }));
                }
                Item::Check { .. } | Item::End { .. } => break,
            }
        }
        (good, None)
    }
}

/// Bytes of a sum, and of a check with the byte before it.
const SUM: usize = 4;
const CHECK: usize = 5;

/// What a segment begins with, and the rest of the bytes.
pub(super) struct Opened<'a> {
    pub format: u8,
    pub header: Header,
    /// Version 1 only.
    #[cfg_attr(not(feature = "desk"), expect(dead_code, reason = "only segments of version 1 need it"))]
    pub edges_a_turn: [u8; 2],
    pub head: &'a [u8],
    pub keyframe: &'a [u8],
    pub records: &'a [u8],
}

impl<'a> Opened<'a> {
    /// With the keyframe cut off, if it is all there and sound.
    pub(super) fn new(
        format: u8,
        header: Header,
        edges_a_turn: [u8; 2],
        head: &'a [u8],
        body: &'a [u8],
    ) -> Option<Self> {
        let (keyframe, records) = body.split_at_checked(usize::from(header.keyframe_length))?;
        (checksum(keyframe) == header.keyframe_crc).then_some(Self {
            format,
            header,
            edges_a_turn,
            head,
            keyframe,
            records,
        })
    }
}

impl<'a> Iterator for Reader<'a> {
    type Item = Found<'a>;

    fn next(&mut self) -> Option<Found<'a>> {
        let begins_at = self.at;
        let bytes = self.bytes.get(begins_at..).filter(|bytes| !bytes.is_empty())?;
        let opened = match Self::opening(bytes) {
            Ok(opened) => opened,
            Err(damage) => {
                self.seek(begins_at.saturating_add(1));
                return Some((None, Some((begins_at, damage))));
            }
        };
        let (good, end) = Self::walk(&opened);
        let good_until = self.bytes.len().saturating_sub(opened.records.len()).saturating_add(good);
        let damage = if end.is_some() {
            self.at = good_until;
            None
        } else {
            self.seek(good_until);
            Some((good_until, Damage::Records))
        };
        let segment = Segment {
            header: opened.header,
            format: opened.format,
            keyframe: opened.keyframe,
            end,
            begins_at,
            good_until,
            records: opened.records.get(..good).unwrap_or(&[]),
            #[cfg(feature = "desk")]
            edges_a_turn: opened.edges_a_turn,
        };
        Some((Some(segment), damage))
    }
}
