//! What survives a power cycle: one small value the box can store, and its image in storage.
//!
//! # Image, version 1
//! | bytes | what |
//! |---|---|
//! | 1 | version, 1 |
//! | varies | the fields of [`Survivor`] in order, as postcard (varints, lowest seven bits first) |
//! | 4 | CRC-32/ISO-HDLC of all bytes before, lowest byte first |
//!
//! At most [`Survivor::IMAGE_MAX`] bytes. Whatever cannot be read counts as tripped: see [`Survivor::unreadable`].

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};
use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::judge::{Condition, ConditionSet};
use crate::units::{Joules, Span};

/// Bit by bit, without a table: it is a small value and flash is dear.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);
const VERSION: u8 = 1;
const CRC_BYTES: usize = 4;

/// What a box must remember when power goes: power cycling resets nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Survivor {
    /// Conditions that were active or latched.
    pub latched: ConditionSet,
    /// Those of them that were acknowledged.
    pub acknowledged: ConditionSet,
    /// The first-out of the trip group.
    pub first_out: Option<Condition>,
    /// Whether the boot must be reported clear.
    pub boot_cleared_needed: bool,
    /// How long ago each counted start was, newest last. The time without power is not known and counts as none.
    pub start_ages: Vec<Span, 8>,
    /// Slip heat. It does not cool while power is away.
    pub slip_heat: Joules,
}

/// Why an image could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ImageError {
    /// Shorter than the shortest image, or longer than what it says.
    Length,
    /// A version this program does not know.
    Version(u8),
    /// The check sum does not fit: worn or half-written storage.
    Sum,
    /// The sum fits, but the content makes no sense.
    Content,
}

impl Survivor {
    /// The longest image: version, two sets, first-out, flag, eight ages, heat, sum, at their longest varints.
    pub const IMAGE_MAX: usize = 80;

    /// What to assume where nothing can be read: a trip that nobody has acknowledged, and a boot to look into.
    #[must_use]
    pub fn unreadable() -> Self {
        Self {
            latched: ConditionSet::EMPTY.with(Condition::SettingsFault),
            first_out: Some(Condition::SettingsFault),
            boot_cleared_needed: true,
            ..Self::default()
        }
    }

    /// The image to store.
    ///
    /// Never longer than [`IMAGE_MAX`](Self::IMAGE_MAX), so it always fits.
    #[must_use]
    pub fn to_image(&self) -> Vec<u8, { Self::IMAGE_MAX }> {
        let mut bytes = [0; Self::IMAGE_MAX];
        let mut image = Vec::new();
        // Every push fits by the bound on the length; a cut image would not pass its own sum when read.
        let _ = image.push(VERSION);
        if let Ok(body) = postcard::to_slice(self, &mut bytes) {
            let _ = image.extend_from_slice(body);
        }
        let sum = CRC.checksum(&image);
        let _ = image.extend_from_slice(&sum.to_le_bytes());
        image
    }

    /// Read an image back.
    ///
    /// # Errors
    /// [`ImageError`]; take [`Survivor::unreadable`] then.
    pub fn from_image(image: &[u8]) -> Result<Self, ImageError> {
        let (content, sum) = image.split_last_chunk::<CRC_BYTES>().ok_or(ImageError::Length)?;
        let (version, body) = content.split_first().ok_or(ImageError::Length)?;
        if CRC.checksum(content) != u32::from_le_bytes(*sum) {
            return Err(ImageError::Sum);
        }
        if *version != VERSION {
            return Err(ImageError::Version(*version));
        }
        let (survivor, rest) = postcard::take_from_bytes::<Self>(body).map_err(|_| ImageError::Content)?;
        if !rest.is_empty() {
            return Err(ImageError::Length);
        }
        let members = survivor.latched.iter().chain(survivor.acknowledged.iter());
        let known = members.fold(ConditionSet::EMPTY, ConditionSet::with);
        let unknown = survivor.latched.without_all(known) | survivor.acknowledged.without_all(known);
        if unknown { Err(ImageError::Content) } else { Ok(survivor) }
    }
}

impl ConditionSet {
    /// Whether anything is left once `others` are taken out.
    fn without_all(self, others: Self) -> bool {
        !others.iter().fold(self, Self::without).is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tripped() -> Survivor {
        let mut survivor = Survivor {
            latched: ConditionSet::EMPTY.with(Condition::BeltNotFollowing).with(Condition::BypassActive),
            acknowledged: ConditionSet::EMPTY.with(Condition::BeltNotFollowing),
            first_out: Some(Condition::BeltNotFollowing),
            boot_cleared_needed: true,
            slip_heat: Joules::new(300),
            ..Survivor::default()
        };
        survivor.start_ages.push(Span::new(127)).unwrap();
        survivor.start_ages.push(Span::new(16_384)).unwrap();
        survivor
    }

    /// Postcard's wire format: varints as in its specification (127 is 7F, 16384 is 80 80 01); bit 33 of the set is
    /// bit 5 of the fifth group. CRC-32/ISO-HDLC by an independent program.
    #[test]
    fn golden_bytes() {
        let image = tripped().to_image();
        let (body, sum) = image.split_last_chunk::<4>().unwrap();
        assert_eq!(
            body,
            [
                1, // version
                0x81, 0x80, 0x80, 0x80, 0x20, // bits 0 and 33
                0x01, // bit 0
                0x01, 0x00, // Some, the first condition
                0x01, // true
                0x02, 0x7F, 0x80, 0x80, 0x01, // two ages
                0xAC, 0x02, // 300
            ]
        );
        assert_eq!(*sum, GOLDEN_SUM);
        assert_eq!(Survivor::from_image(&image), Ok(tripped()));
    }

    const GOLDEN_SUM: [u8; 4] = [0x27, 0x43, 0xBF, 0xF7];

    /// The catalogue's check value.
    #[test]
    fn the_sum_is_crc_32_iso_hdlc() {
        assert_eq!(CRC.checksum(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn no_flipped_bit_and_no_cut_is_read() {
        let image = tripped().to_image();
        for byte in 0..image.len() {
            for bit in 0..8 {
                let mut wrong = image.clone();
                *wrong.get_mut(byte).unwrap() ^= 1 << bit;
                assert!(Survivor::from_image(&wrong).is_err(), "byte {byte} bit {bit}");
            }
            assert!(Survivor::from_image(image.get(..byte).unwrap()).is_err());
        }
    }

    #[test]
    fn unknown_conditions_and_versions_are_refused() {
        let seal = |content: &[u8]| {
            let mut image = Vec::<u8, 80>::from_slice(content).unwrap();
            image.extend_from_slice(&CRC.checksum(content).to_le_bytes()).unwrap();
            image
        };
        // Bit 35 is no condition.
        let strange = seal(&[1, 0x80, 0x80, 0x80, 0x80, 0x80, 0x01, 0, 0, 0, 0, 0]);
        assert_eq!(Survivor::from_image(&strange), Err(ImageError::Content));
        assert_eq!(Survivor::from_image(&seal(&[2, 0, 0, 0, 0, 0, 0])), Err(ImageError::Version(2)));
        assert_eq!(Survivor::from_image(&seal(&[1, 0, 0, 0, 0, 0, 0, 9])), Err(ImageError::Length));
        assert_eq!(Survivor::from_image(&seal(&[1, 0, 0, 0, 0, 0, 0])), Ok(Survivor::default()));
    }

    #[test]
    fn the_longest_fits() {
        let mut survivor = Survivor { first_out: Some(Condition::PermitBypassed), slip_heat: Joules::MAX, ..tripped() };
        survivor.latched = Condition::ALL.into_iter().fold(ConditionSet::EMPTY, ConditionSet::with);
        survivor.acknowledged = survivor.latched;
        survivor.start_ages = core::iter::repeat_n(Span::MAX, 8).collect();
        assert_eq!(Survivor::from_image(&survivor.to_image()), Ok(survivor));
    }
}
