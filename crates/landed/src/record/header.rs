//! The header of a segment.

use super::keep::CRC;
use crate::units::Micros;

/// The version of the format written. Older versions stay readable once there are any.
pub const FORMAT_VERSION: u8 = 1;

/// The layout of the keyframe: which parts of the state are kept, in which order. A keyframe of another layout, or of another
/// version of the core, is not restored.
pub const STATE_LAYOUT: u8 = 5;

pub(super) const MAGIC: [u8; 4] = *b"SLsg";
/// Bytes of the header with its CRC.
pub(super) const HEADER: usize = 52;
const COVERED: usize = 48;

const SETTINGS_CHANGED: u8 = 1;
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
    /// Settings were changed just before: the monitor started afresh under those of `settings`.
    pub settings_changed: bool,
    /// No segment precedes this one in its session.
    pub first: bool,
    /// Raw edges a turn of the head and the boot: twice the targets, 0 if not fitted.
    pub edges_a_turn: [u8; 2],
    /// Counts up within a session.
    pub sequence: u32,
    /// How often the box has been powered up: running time begins anew with each.
    pub session: u32,
    /// When the keyframe was taken.
    pub at: Micros,
    /// Identity of the settings in force.
    pub settings: u32,
    /// Identity of the settings before them, 0 if none.
    pub previous_settings: u32,
    /// The core that recorded.
    pub core: CoreVersion,
    /// Inputs not recorded since the segment before, for lack of room.
    pub missed: u32,
    /// CRC-32 of the keyframe.
    pub keyframe_crc: u32,
    /// Length of the keyframe.
    pub keyframe_length: u16,
}

impl Header {
    pub(super) fn to_bytes(self) -> [u8; HEADER] {
        let mut bytes = [0; HEADER];
        let flags = if self.settings_changed { SETTINGS_CHANGED } else { 0 } | if self.first { FIRST } else { 0 };
        let CoreVersion { major, minor, patch, layout } = self.core;
        let fields = MAGIC
            .into_iter()
            .chain([FORMAT_VERSION, flags])
            .chain(self.edges_a_turn)
            .chain(self.sequence.to_le_bytes())
            .chain(self.session.to_le_bytes())
            .chain(self.at.get().to_le_bytes())
            .chain(self.settings.to_le_bytes())
            .chain(self.previous_settings.to_le_bytes())
            .chain([major, minor, patch, layout])
            .chain(self.missed.to_le_bytes())
            .chain(self.keyframe_crc.to_le_bytes())
            .chain(self.keyframe_length.to_le_bytes());
        for (slot, byte) in bytes.iter_mut().zip(fields) {
            *slot = byte;
        }
        let crc = CRC.checksum(bytes.get(..COVERED).unwrap_or(&[]));
        for (slot, byte) in bytes.iter_mut().skip(COVERED).zip(crc.to_le_bytes()) {
            *slot = byte;
        }
        bytes
    }

    /// `None` if it is damaged. The magic and the version are looked at by the caller.
    pub(super) fn from_bytes(bytes: &[u8; HEADER]) -> Option<Self> {
        let (covered, trailer) = bytes.split_last_chunk::<4>()?;
        if CRC.checksum(covered) != u32::from_le_bytes(*trailer) {
            return None;
        }
        let mut rest = covered.get(MAGIC.len()..)?;
        let [_version, flags] = *take(&mut rest)?;
        let edges_a_turn = *take(&mut rest)?;
        let sequence = u32::from_le_bytes(*take(&mut rest)?);
        let session = u32::from_le_bytes(*take(&mut rest)?);
        let at = Micros::new(u64::from_le_bytes(*take(&mut rest)?));
        let settings = u32::from_le_bytes(*take(&mut rest)?);
        let previous_settings = u32::from_le_bytes(*take(&mut rest)?);
        let [major, minor, patch, layout] = *take(&mut rest)?;
        let missed = u32::from_le_bytes(*take(&mut rest)?);
        let keyframe_crc = u32::from_le_bytes(*take(&mut rest)?);
        let keyframe_length = u16::from_le_bytes(*take(&mut rest)?);
        Some(Self {
            settings_changed: flags & SETTINGS_CHANGED != 0,
            first: flags & FIRST != 0,
            edges_a_turn,
            sequence,
            session,
            at,
            settings,
            previous_settings,
            core: CoreVersion { major, minor, patch, layout },
            missed,
            keyframe_crc,
            keyframe_length,
        })
    }
}

fn take<'a, const N: usize>(rest: &mut &'a [u8]) -> Option<&'a [u8; N]> {
    let (first, after) = rest.split_first_chunk::<N>()?;
    *rest = after;
    Some(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> Header {
        Header {
            settings_changed: true,
            first: false,
            edges_a_turn: [8, 64],
            sequence: 0x0403_0201,
            session: 7,
            at: Micros::new(0x0102_0304_0506_0708),
            settings: 0xAABB_CCDD,
            previous_settings: 0x1122_3344,
            core: CoreVersion { major: 1, minor: 2, patch: 3, layout: 4 },
            missed: 9,
            keyframe_crc: 0x5566_7788,
            keyframe_length: 0x0203,
        }
    }

    #[test]
    fn these_are_the_bytes() {
        let bytes = header().to_bytes();
        assert_eq!(bytes[..8], *b"SLsg\x01\x01\x08\x40");
        assert_eq!(bytes[8..16], [1, 2, 3, 4, 7, 0, 0, 0]);
        assert_eq!(bytes[16..24], [8, 7, 6, 5, 4, 3, 2, 1]);
        assert_eq!(bytes[24..32], [0xDD, 0xCC, 0xBB, 0xAA, 0x44, 0x33, 0x22, 0x11]);
        assert_eq!(bytes[32..40], [1, 2, 3, 4, 9, 0, 0, 0]);
        assert_eq!(bytes[40..48], [0x88, 0x77, 0x66, 0x55, 3, 2, 0, 0]);
        assert_eq!(bytes[48..], CRC.checksum(&bytes[..48]).to_le_bytes());
        assert_eq!(Header::from_bytes(&bytes), Some(header()));
    }

    #[test]
    fn every_bit_flip_is_found() {
        for bit in 0..HEADER * 8 {
            let mut bytes = header().to_bytes();
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
