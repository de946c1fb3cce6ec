//! Reads segments from bytes, whatever has happened to them.

use super::code::{Context, Item, Record};
use super::header::{FORMAT_VERSION, HEADER, Header, MAGIC};
use super::keep::CRC;
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
    /// Inputs in the segment.
    pub inputs: u32,
}

/// One segment, as far as it is sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Segment<'a> {
    /// Its header.
    pub header: Header,
    /// The state at its beginning; see [`Monitor::restore`](crate::Monitor::restore).
    pub keyframe: &'a [u8],
    /// Its end; `None` if it did not come through.
    pub end: Option<End>,
    /// Where in the bytes given to the reader the segment begins.
    pub begins_at: usize,
    /// Where what is confirmed ends: behind its last byte, or, if it is damaged, behind its last good check.
    pub good_until: usize,
    records: &'a [u8],
}

impl<'a> Segment<'a> {
    /// What was recorded, as far as a check confirms it.
    #[must_use]
    pub fn records(&self) -> Records<'a> {
        Records { rest: self.records, context: Context::new(self.header.at, self.header.edges_a_turn) }
    }
}

/// What was recorded in one segment.
#[derive(Clone, Debug)]
pub struct Records<'a> {
    rest: &'a [u8],
    context: Context,
}

impl Iterator for Records<'_> {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        loop {
            // All of it was read through once already: it cannot fail now.
            let (item, rest) = self.context.read(self.rest).ok()?;
            self.rest = rest;
            if let Item::Record(record) = item {
                return Some(record);
            }
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

    fn opening(bytes: &'a [u8]) -> Result<(Header, &'a [u8], &'a [u8]), Damage> {
        let after = bytes.strip_prefix(&MAGIC).ok_or(Damage::NotASegment)?;
        match after.first() {
            None => return Err(Damage::Opening),
            Some(&FORMAT_VERSION) => {}
            Some(version) => return Err(Damage::Version(*version)),
        }
        let (head, body) = bytes.split_first_chunk::<HEADER>().ok_or(Damage::Opening)?;
        let header = Header::from_bytes(head).ok_or(Damage::Opening)?;
        let length = usize::from(header.keyframe_length);
        let (keyframe, records) = body.split_at_checked(length).ok_or(Damage::Opening)?;
        if CRC.checksum(keyframe) != header.keyframe_crc {
            return Err(Damage::Opening);
        }
        Ok((header, keyframe, records))
    }

    /// Read records up to the end, or as far as checks confirm them.
    fn walk(header: &Header, records: &'a [u8]) -> (usize, Option<End>) {
        let mut context = Context::new(header.at, header.edges_a_turn);
        let mut digest = CRC.digest();
        digest.update(&header.to_bytes());
        let mut rest = records;
        let mut good = 0;
        let mut inputs = 0_u32;
        while let Ok((item, after)) = context.read(rest) {
            let line = rest.get(..rest.len().saturating_sub(after.len())).unwrap_or(&[]);
            let read = records.len().saturating_sub(after.len());
            match item {
                Item::Record(record) => {
                    inputs = inputs.saturating_add(u32::from(matches!(record, Record::Input(_))));
                }
                Item::Check { crc } => {
                    if digest.clone().finalize() != crc {
                        break;
                    }
                    good = read;
                }
                Item::End { newest, inputs: counted, state, crc } => {
                    digest.update(line.get(..line.len().saturating_sub(4)).unwrap_or(&[]));
                    if digest.finalize() == crc && counted == inputs {
                        return (read, Some(End { newest, state, inputs }));
                    }
                    break;
                }
            }
            digest.update(line);
            rest = after;
        }
        (good, None)
    }
}

impl<'a> Iterator for Reader<'a> {
    type Item = Found<'a>;

    fn next(&mut self) -> Option<Found<'a>> {
        let begins_at = self.at;
        let bytes = self.bytes.get(begins_at..).filter(|bytes| !bytes.is_empty())?;
        let (header, keyframe, records) = match Self::opening(bytes) {
            Ok(opening) => opening,
            Err(damage) => {
                self.seek(begins_at.saturating_add(1));
                return Some((None, Some((begins_at, damage))));
            }
        };
        let (good, end) = Self::walk(&header, records);
        let good_until = self.bytes.len().saturating_sub(records.len()).saturating_add(good);
        let damage = if end.is_some() {
            self.at = good_until;
            None
        } else {
            self.seek(good_until);
            Some((good_until, Damage::Records))
        };
        let records = records.get(..good).unwrap_or(&[]);
        Some((Some(Segment { header, keyframe, end, begins_at, good_until, records }), damage))
    }
}
