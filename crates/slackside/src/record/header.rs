//! The header of a segment.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::codec::crc::checked;
use crate::units::Micros;

/// The version of the format written. Version 1 is still read on the desk.
pub const FORMAT_VERSION: u8 = 2;

/// The layout of the keyframe: which parts of the state there are, in which order, and what lies where in them. A keyframe of another
/// layout, or of another version of the core, is not restored.
pub const STATE_LAYOUT: u8 = 9;

pub(super) const MAGIC: [u8; 4] = *b"SLsg";
/// Bytes of the header with its CRC.
pub(super) const HEADER: usize = size_of::<Raw>();

const CHANGED: u8 = 1;
const FIRST: u8 = 2;

/// A version of the core. Bit for bit holds only between equal ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CoreVersion {
    /// Major number.
    pub major: u8,
    /// Minor number.
    pub minor: u8,
    /// Patch number.
    pub patch: u8,
    /// [`STATE_LAYOUT`] of that version.
    pub layout: u8,
}

impl CoreVersion {
    /// The version of this core.
    pub const THIS: Self = Self {
        major: number(env!("CARGO_PKG_VERSION_MAJOR")),
        minor: number(env!("CARGO_PKG_VERSION_MINOR")),
        patch: number(env!("CARGO_PKG_VERSION_PATCH")),
        layout: STATE_LAYOUT,
    };
}

impl core::fmt::Display for CoreVersion {
    fn fmt(&self, out: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(out, "{}.{}.{} (keyframe layout {})", self.major, self.minor, self.patch, self.layout)
    }
}

/// A decimal number, wrapping.
const fn number(text: &str) -> u8 {
    let mut rest = text.as_bytes();
    let mut value = 0_u8;
    while let [digit, more @ ..] = rest {
        value = value.wrapping_mul(10).wrapping_add(digit.wrapping_sub(b'0'));
        rest = more;
    }
    value
}

/// What is known of a segment before its records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Header {
    /// The plan was changed just before: the monitor started afresh under that of `plan`.
    pub plan_changed: bool,
    /// No segment precedes this one in its session.
    pub first: bool,
    /// Length of the keyframe.
    pub keyframe_length: u16,
    /// Counts up within a session.
    pub sequence: u32,
    /// How often the box has been powered up: running time begins anew with each.
    pub session: u32,
    /// When the keyframe was taken.
    pub at: Micros,
    /// Identity of the plan in force. In segments of version 1: of the settings.
    pub plan: u32,
    /// Identity of the plan before it, 0 if none.
    pub previous_plan: u32,
    /// The core that recorded.
    pub core: CoreVersion,
    /// Inputs not recorded since the segment before, for lack of room.
    pub missed: u32,
    /// CRC-32 of the keyframe.
    pub keyframe_crc: u32,
}

/// As it lies in the segment.
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Raw {
    magic: [u8; 4],
    version: u8,
    flags: u8,
    keyframe_length: u16,
    sequence: u32,
    session: u32,
    at: u64,
    plan: u32,
    previous_plan: u32,
    core: [u8; 4],
    missed: u32,
    keyframe_crc: u32,
    crc: u32,
}

impl Header {
    /// Its bytes but for the CRC.
    pub(super) fn words(&self) -> [u32; HEADER / 4 - 1] {
        let CoreVersion { major, minor, patch, layout } = self.core;
        let flags = if self.plan_changed { CHANGED } else { 0 } | if self.first { FIRST } else { 0 };
        let [low, high] = self.keyframe_length.to_le_bytes();
        [
            u32::from_le_bytes(MAGIC),
            u32::from_le_bytes([FORMAT_VERSION, flags, low, high]),
            self.sequence,
            self.session,
            self.at.get() as u32,
            (self.at.get() >> 32) as u32,
            self.plan,
            self.previous_plan,
            u32::from_le_bytes([major, minor, patch, layout]),
            self.missed,
            self.keyframe_crc,
        ]
    }

    /// `None` if it is damaged. The magic and the version are looked at by the caller.
    pub(super) fn from_bytes(bytes: &[u8; HEADER]) -> Option<Self> {
        checked(bytes)?;
        let raw = Raw::read_from_bytes(bytes).ok()?;
        let [major, minor, patch, layout] = raw.core;
        Some(Self {
            plan_changed: raw.flags & CHANGED != 0,
            first: raw.flags & FIRST != 0,
            keyframe_length: raw.keyframe_length,
            sequence: raw.sequence,
            session: raw.session,
            at: Micros::new(raw.at),
            plan: raw.plan,
            previous_plan: raw.previous_plan,
            core: CoreVersion { major, minor, patch, layout },
            missed: raw.missed,
            keyframe_crc: raw.keyframe_crc,
        })
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use super::*;
    use crate::codec::crc::checksum;

    fn bytes(header: &Header) -> [u8; HEADER] {
        let words = header.words();
        let bytes: Vec<u8> = [words.as_bytes(), &checksum(words.as_bytes()).to_le_bytes()].concat();
        bytes.try_into().expect("as long as a header")
    }

    fn header() -> Header {
        Header {
            plan_changed: true,
            first: false,
            keyframe_length: 0x0203,
            sequence: 0x0403_0201,
            session: 7,
            at: Micros::new(0x0102_0304_0506_0708),
            plan: 0xAABB_CCDD,
            previous_plan: 0x1122_3344,
            core: CoreVersion { major: 1, minor: 2, patch: 3, layout: 4 },
            missed: 9,
            keyframe_crc: 0x5566_7788,
        }
    }

    #[test]
    fn these_are_the_bytes() {
        let bytes = bytes(&header());
        assert_eq!(bytes[..8], *b"SLsg\x02\x01\x03\x02");
        assert_eq!(bytes[8..16], [1, 2, 3, 4, 7, 0, 0, 0]);
        assert_eq!(bytes[16..24], [8, 7, 6, 5, 4, 3, 2, 1]);
        assert_eq!(bytes[24..32], [0xDD, 0xCC, 0xBB, 0xAA, 0x44, 0x33, 0x22, 0x11]);
        assert_eq!(bytes[32..40], [1, 2, 3, 4, 9, 0, 0, 0]);
        assert_eq!(bytes[40..44], [0x88, 0x77, 0x66, 0x55]);
        assert_eq!(bytes[44..], checksum(&bytes[..44]).to_le_bytes());
        assert_eq!(Header::from_bytes(&bytes), Some(header()));
    }

    #[test]
    fn every_bit_flip_is_found() {
        for bit in 0..HEADER * 8 {
            let mut bytes = bytes(&header());
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Header::from_bytes(&bytes), None, "bit {bit}");
        }
    }

    #[test]
    fn the_version_is_that_of_the_package() {
        let CoreVersion { major, minor, patch, .. } = CoreVersion::THIS;
        let said = [major, minor, patch].map(u32::from);
        let mut parts = env!("CARGO_PKG_VERSION").split('.').map(|part| part.parse::<u32>().expect("a number"));
        assert_eq!(said.map(Some), [parts.next(), parts.next(), parts.next()]);
    }
}
