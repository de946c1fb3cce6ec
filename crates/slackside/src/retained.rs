//! What survives a loss of power: one small value the box can store, and its image in storage.
//!
//! # Image, version 2
//! All numbers low byte first.
//!
//! | bytes | what |
//! |---|---|
//! | 0 | version: 2 |
//! | 1 | whether the boot must be reported clear, 0 or 1 |
//! | 2 | number of the first-out condition, 255 if there is none |
//! | 3 | how many starts are counted, 0 to 8 |
//! | 4 to 11 | conditions latched: bit `n` stands for the condition whose number is `n` |
//! | 12 to 19 | those of them acknowledged |
//! | 20 to 51 | how long ago each start was, in microseconds, newest last; then zeros |
//! | 52 to 55 | slip heat in joules |
//! | 56 to 59 | CRC-32/ISO-HDLC of bytes 0 to 55 |
//!
//! Whatever cannot be read, an older version too, counts as tripped: see [`Retained::unreadable`].

use heapless::Vec;
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::codec::crc::{checked, checksum};
use crate::conditions::{Condition, ConditionSet};
use crate::units::{Joules, Span};

/// What a box must remember when power goes: power cycling resets nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Retained {
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

const VERSION: u8 = 2;
const NONE: u8 = u8::MAX;

/// As it lies in storage.
#[derive(Clone, Copy, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Image {
    version: u8,
    boot_cleared_needed: u8,
    first_out: u8,
    starts: u8,
    latched: [u32; 2],
    acknowledged: [u32; 2],
    start_ages: [u32; 8],
    slip_heat: u32,
    crc: u32,
}

/// Why an image could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Unreadable {
    /// Shorter or longer than an image is.
    Length,
    /// A version this program does not know.
    Version(u8),
    /// The check sum does not fit: worn or half-written storage.
    Sum,
    /// The sum fits, but the content makes no sense.
    Content,
}

const fn words(set: ConditionSet) -> [u32; 2] {
    let bits = set.bits();
    [bits as u32, (bits >> 32) as u32]
}

fn set([low, high]: [u32; 2]) -> Result<ConditionSet, Unreadable> {
    ConditionSet::from_bits(u64::from(high) << 32 | u64::from(low)).ok_or(Unreadable::Content)
}

impl Retained {
    /// The length of an image in bytes.
    pub const IMAGE: usize = size_of::<Image>();

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
    #[must_use]
    #[inline(never)]
    pub fn to_image(&self) -> [u8; Self::IMAGE] {
        let mut image = Image {
            version: VERSION,
            boot_cleared_needed: self.boot_cleared_needed.into(),
            first_out: self.first_out.map_or(NONE, Condition::id),
            starts: self.start_ages.len() as u8,
            latched: words(self.latched),
            acknowledged: words(self.acknowledged),
            start_ages: [0; 8],
            slip_heat: self.slip_heat.get(),
            crc: 0,
        };
        for (slot, age) in image.start_ages.iter_mut().zip(&self.start_ages) {
            *slot = age.get();
        }
        let (covered, _) = image.as_bytes().split_last_chunk::<4>().unwrap_or((&[], &[0; 4]));
        image.crc = checksum(covered);
        zerocopy::transmute!(image)
    }

    /// Read an image back.
    ///
    /// # Errors
    /// [`Unreadable`]; take [`Retained::unreadable`] then.
    #[inline(never)]
    pub fn from_image(bytes: &[u8]) -> Result<Self, Unreadable> {
        let version = *bytes.first().ok_or(Unreadable::Length)?;
        checked(bytes).ok_or(Unreadable::Sum)?;
        if version != VERSION {
            return Err(Unreadable::Version(version));
        }
        let image = Image::read_from_bytes(bytes).map_err(|_| Unreadable::Length)?;
        let first_out = match image.first_out {
            NONE => None,
            id => Some(Condition::from_id(id).ok_or(Unreadable::Content)?),
        };
        if image.boot_cleared_needed > 1 || usize::from(image.starts) > image.start_ages.len() {
            return Err(Unreadable::Content);
        }
        let mut start_ages = Vec::new();
        for age in image.start_ages.iter().take(image.starts.into()) {
            // There is room: both hold eight.
            let _ = start_ages.push(Span::new(*age));
        }
        Ok(Self {
            latched: set(image.latched)?,
            acknowledged: set(image.acknowledged)?,
            first_out,
            boot_cleared_needed: image.boot_cleared_needed != 0,
            start_ages,
            slip_heat: Joules::new(image.slip_heat),
        })
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec as List;

    use proptest::prelude::*;

    use super::*;

    fn tripped() -> Retained {
        Retained {
            latched: ConditionSet::EMPTY.with(Condition::BeltNotFollowing).with(Condition::BypassActive),
            acknowledged: ConditionSet::EMPTY.with(Condition::BeltNotFollowing),
            first_out: Some(Condition::BeltNotFollowing),
            boot_cleared_needed: true,
            start_ages: [Span::new(127), Span::new(0x0102_0304)].into_iter().collect(),
            slip_heat: Joules::new(300),
        }
    }

    fn seal(content: &[u8]) -> List<u8> {
        [content, &checksum(content).to_le_bytes()].concat()
    }

    #[test]
    fn golden_bytes() {
        let image = tripped().to_image();
        let mut expected = std::vec![2, 1, 0, 2];
        // Numbers 0 and 33; number 0.
        expected.extend([1, 0, 0, 0, 2, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0]);
        expected.extend([127, 0, 0, 0, 4, 3, 2, 1]);
        expected.extend([0; 24]);
        expected.extend([0x2C, 1, 0, 0]);
        assert_eq!(image[..56], expected[..]);
        assert_eq!(image[56..], checksum(&expected).to_le_bytes());
        assert_eq!(Retained::from_image(&image), Ok(tripped()));
    }

    #[test]
    fn no_flipped_bit_and_no_cut_is_read() {
        let image = tripped().to_image();
        for bit in 0..image.len() * 8 {
            let mut wrong = image;
            wrong[bit / 8] ^= 1 << (bit % 8);
            assert!(Retained::from_image(&wrong).is_err(), "bit {bit}");
        }
        for length in 0..image.len() {
            assert!(Retained::from_image(&image[..length]).is_err(), "length {length}");
        }
    }

    #[test]
    fn what_makes_no_sense_is_refused_though_its_sum_fits() {
        let content = tripped().to_image()[..56].to_vec();
        assert_eq!(Retained::from_image(&seal(&content)), Ok(tripped()));
        // Another version; no bool; no condition; nine starts; number 35, and 63, latched and acknowledged.
        for (at, byte, error) in [
            (0, 1, Unreadable::Version(1)),
            (1, 2, Unreadable::Content),
            (2, 35, Unreadable::Content),
            (3, 9, Unreadable::Content),
            (8, 8, Unreadable::Content),
            (19, 0x80, Unreadable::Content),
        ] {
            let mut wrong = content.clone();
            wrong[at] = byte;
            assert_eq!(Retained::from_image(&seal(&wrong)), Err(error), "byte {at}");
        }
        assert_eq!(Retained::from_image(&seal(&content[..55])), Err(Unreadable::Length));
        assert_eq!(Retained::from_image(&seal(&[&content[..], &[0]].concat())), Err(Unreadable::Length));
    }

    proptest! {
        #[test]
        fn any_value_comes_back(
            latched in any::<u64>(), acknowledged in any::<u64>(), first in 0..40_usize, boot in any::<bool>(),
            ages in proptest::collection::vec(any::<u32>(), 0..=8), heat in any::<u32>(),
        ) {
            let set = |bits: u64| Condition::ALL.into_iter().filter(|it| bits >> it.id() & 1 != 0).fold(ConditionSet::EMPTY, ConditionSet::with);
            let retained = Retained {
                latched: set(latched),
                acknowledged: set(acknowledged),
                first_out: Condition::of_rank(first),
                boot_cleared_needed: boot,
                start_ages: ages.into_iter().map(Span::new).collect(),
                slip_heat: Joules::new(heat),
            };
            prop_assert_eq!(Retained::from_image(&retained.to_image()), Ok(retained));
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..70), sealed in any::<bool>()) {
            let _ = Retained::from_image(&if sealed { seal(&bytes) } else { bytes });
        }
    }
}
