//! What survives a loss of power: one small value the box can store, plain bytes but for the sum behind them.
//!
//! # Image, version 4
//! All numbers low byte first.
//!
//! | bytes | what |
//! |---|---|
//! | 0 | version: 4 |
//! | 1 | whether the boot must be reported clear, 0 or 1 |
//! | 2 | number of the first-out condition plus one, 0 if there is none |
//! | 3 | how many starts are counted, 0 to 8 |
//! | 4 to 47 | each alarm, at the number of its condition: 0, 8 latched and acknowledged, 12 latched and not acknowledged |
//! | 48 to 79 | how long ago each start was, in microseconds, newest last; then zeros |
//! | 80 to 83 | slip heat in joules |
//! | 84 to 87 | CRC-32/ISO-HDLC of bytes 0 to 83 |
//!
//! Whatever cannot be read, an older version too, counts as tripped: see [`Retained::unreadable`].

use zerocopy::{FromBytes, FromZeros, Immutable, IntoBytes, KnownLayout};

use crate::alarm::bits::{LATCHED, UNACKNOWLEDGED};
use crate::codec::crc::{checked, checksum};
use crate::conditions::{Condition, ConditionSet};
use crate::units::{Joules, Span};

const VERSION: u8 = 4;
/// Room for alarms.
const ALARMS: usize = 44;
/// Starts remembered.
const STARTS: usize = 8;

/// What a box must remember when power goes: power cycling resets nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Retained {
    version: u8,
    boot_cleared_needed: u8,
    first_out: u8,
    starts: u8,
    alarms: [u8; ALARMS],
    start_ages: [u32; STARTS],
    slip_heat: u32,
}

/// Nothing.
impl Default for Retained {
    fn default() -> Self {
        Self { version: VERSION, ..Self::new_zeroed() }
    }
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

impl Retained {
    /// The length of an image in bytes.
    pub const IMAGE: usize = size_of::<Self>() + 4;

    /// What to assume where nothing can be read: a trip that nobody has acknowledged, and a boot to look into.
    #[must_use]
    pub fn unreadable() -> Self {
        let mut it = Self::default();
        it.put_alarm(Condition::SettingsFault, true, false);
        it.put_first_out(Some(Condition::SettingsFault));
        it.put_boot_cleared_needed(true);
        it
    }

    /// The image to store.
    #[must_use]
    #[inline(never)]
    pub fn to_image(&self) -> [u8; Self::IMAGE] {
        let mut image = [0; Self::IMAGE];
        let sum = checksum(self.as_bytes());
        for (slot, byte) in image.iter_mut().zip(self.as_bytes().iter().chain(sum.as_bytes())) {
            *slot = *byte;
        }
        image
    }

    /// Read an image back.
    ///
    /// # Errors
    /// [`Unreadable`]; take [`Retained::unreadable`] then.
    #[inline(never)]
    pub fn from_image(bytes: &[u8]) -> Result<Self, Unreadable> {
        let content = checked(bytes).ok_or(Unreadable::Sum)?;
        let mut it = Self::default();
        if content.len() != it.as_bytes().len() {
            return Err(Unreadable::Length);
        }
        for (slot, byte) in it.as_mut_bytes().iter_mut().zip(content) {
            *slot = *byte;
        }
        if it.version != VERSION {
            return Err(Unreadable::Version(it.version));
        }
        let is_alarm = |alarm: u8| alarm == LATCHED || alarm == LATCHED | UNACKNOWLEDGED;
        let mut makes_sense = it.boot_cleared_needed <= 1
            && usize::from(it.starts) <= STARTS
            && (it.first_out == 0 || it.first_out().is_some());
        for (id, alarm) in it.alarms.iter().enumerate() {
            makes_sense &= *alarm == 0 || is_alarm(*alarm) && Condition::from_id(id as u8).is_some();
        }
        if makes_sense { Ok(it) } else { Err(Unreadable::Content) }
    }

    fn alarms_with(&self, bits: u8, are: u8) -> ConditionSet {
        let is_in = |condition: &Condition| self.alarm(*condition) & bits == are;
        Condition::ALL.into_iter().filter(is_in).fold(ConditionSet::EMPTY, ConditionSet::with)
    }

    /// Conditions that were active or latched.
    #[must_use]
    pub fn latched(&self) -> ConditionSet {
        self.alarms_with(LATCHED, LATCHED)
    }

    /// Those of them that were acknowledged.
    #[must_use]
    pub fn acknowledged(&self) -> ConditionSet {
        self.alarms_with(LATCHED | UNACKNOWLEDGED, LATCHED)
    }

    /// What is kept of one alarm: [`LATCHED`], perhaps with [`UNACKNOWLEDGED`], or nothing.
    pub(crate) fn alarm(&self, condition: Condition) -> u8 {
        self.alarms.get(usize::from(condition.id())).copied().unwrap_or(0)
    }

    /// Set these.
    pub(crate) fn put_bits(&mut self, condition: Condition, bits: u8) {
        if let Some(alarm) = self.alarms.get_mut(usize::from(condition.id())) {
            *alarm = bits;
        }
    }

    /// Set whether it was active or latched, and acknowledged.
    pub fn put_alarm(&mut self, condition: Condition, latched: bool, acknowledged: bool) {
        let bits = match (latched, acknowledged) {
            (false, _) => 0,
            (true, true) => LATCHED,
            (true, false) => LATCHED | UNACKNOWLEDGED,
        };
        self.put_bits(condition, bits);
    }

    /// The first-out of the trip group.
    #[must_use]
    pub const fn first_out(&self) -> Option<Condition> {
        Condition::from_id(self.first_out.wrapping_sub(1))
    }

    /// Set it.
    pub fn put_first_out(&mut self, first_out: Option<Condition>) {
        self.first_out = first_out.map_or(0, |condition| condition.id().wrapping_add(1));
    }

    /// Whether the boot must be reported clear.
    #[must_use]
    pub const fn boot_cleared_needed(&self) -> bool {
        self.boot_cleared_needed != 0
    }

    /// Set it.
    pub const fn put_boot_cleared_needed(&mut self, needed: bool) {
        self.boot_cleared_needed = needed as u8;
    }

    /// How long ago each counted start was, newest last. The time without power is not known and counts as none.
    pub fn start_ages(&self) -> impl ExactSizeIterator<Item = Span> {
        self.start_ages.iter().take(self.starts.into()).map(|age| Span::new(*age))
    }

    /// One more start, newer than those before. A ninth is not kept.
    pub fn push_start(&mut self, age: Span) {
        if let Some(slot) = self.start_ages.get_mut(usize::from(self.starts)) {
            *slot = age.get();
            self.starts = self.starts.wrapping_add(1);
        }
    }

    /// Slip heat. It does not cool while power is away.
    #[must_use]
    pub const fn slip_heat(&self) -> Joules {
        Joules::new(self.slip_heat)
    }

    /// Set it.
    pub const fn put_slip_heat(&mut self, heat: Joules) {
        self.slip_heat = heat.get();
    }

    /// The same without what runs on by itself: heat, and the ages of starts.
    #[must_use]
    pub const fn at_rest(mut self) -> Self {
        self.slip_heat = 0;
        self.start_ages = [0; STARTS];
        self
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;

    const CONTENT: usize = Retained::IMAGE - 4;

    fn tripped() -> Retained {
        let mut it = Retained::default();
        it.put_alarm(Condition::BeltNotFollowing, true, true);
        it.put_alarm(Condition::BypassActive, true, false);
        it.put_first_out(Some(Condition::BeltNotFollowing));
        it.put_boot_cleared_needed(true);
        it.push_start(Span::new(127));
        it.push_start(Span::new(0x0102_0304));
        it.put_slip_heat(Joules::new(300));
        it
    }

    fn seal(content: &[u8]) -> Vec<u8> {
        [content, &checksum(content).to_le_bytes()].concat()
    }

    #[test]
    fn golden_bytes() {
        let image = tripped().to_image();
        let mut expected = std::vec![4, 1, 1, 2];
        // Numbers 0 and 33.
        expected.push(8);
        expected.extend([0; 32]);
        expected.push(12);
        expected.extend([0; 10]);
        expected.extend([127, 0, 0, 0, 4, 3, 2, 1]);
        expected.extend([0; 24]);
        expected.extend([0x2C, 1, 0, 0]);
        assert_eq!(image[..CONTENT], expected[..]);
        assert_eq!(image[CONTENT..], checksum(&expected).to_le_bytes());
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
        let content = tripped().to_image()[..CONTENT].to_vec();
        assert_eq!(Retained::from_image(&seal(&content)), Ok(tripped()));
        // Another version; no bool; no condition; nine starts; bits that no alarm has; numbers 39 and 43.
        for (at, byte, error) in [
            (0, 2, Unreadable::Version(2)),
            (1, 2, Unreadable::Content),
            (2, 40, Unreadable::Content),
            (3, 9, Unreadable::Content),
            (4, 4, Unreadable::Content),
            (5, 9, Unreadable::Content),
            (43, 8, Unreadable::Content),
            (47, 12, Unreadable::Content),
        ] {
            let mut wrong = content.clone();
            wrong[at] = byte;
            assert_eq!(Retained::from_image(&seal(&wrong)), Err(error), "byte {at}");
        }
        assert_eq!(Retained::from_image(&seal(&content[..CONTENT - 1])), Err(Unreadable::Length));
        assert_eq!(Retained::from_image(&seal(&[&content[..], &[0]].concat())), Err(Unreadable::Length));
    }

    proptest! {
        #[test]
        fn any_value_comes_back(
            latched in any::<u64>(), acknowledged in any::<u64>(), first in 0..44_usize, boot in any::<bool>(),
            ages in proptest::collection::vec(any::<u32>(), 0..=8), heat in any::<u32>(),
        ) {
            let mut it = Retained::default();
            let is = |set: u64, condition: Condition| set >> condition.id() & 1 != 0;
            for condition in Condition::ALL {
                it.put_alarm(condition, is(latched, condition), is(acknowledged, condition));
            }
            it.put_first_out(Condition::of_rank(first));
            it.put_boot_cleared_needed(boot);
            ages.iter().for_each(|age| it.push_start(Span::new(*age)));
            it.put_slip_heat(Joules::new(heat));
            prop_assert_eq!(Retained::from_image(&it.to_image()), Ok(it));
            prop_assert!(it.latched().iter().eq(Condition::ALL.into_iter().filter(|one| is(latched, *one))));
            prop_assert!(it.acknowledged().iter().all(|one| is(latched, one) && is(acknowledged, one)));
            prop_assert_eq!((it.first_out(), it.boot_cleared_needed()), (Condition::of_rank(first), boot));
            prop_assert!(it.start_ages().map(Span::get).eq(ages));
            prop_assert_eq!(it.slip_heat().get(), heat);
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..100), sealed in any::<bool>()) {
            let _ = Retained::from_image(&if sealed { seal(&bytes) } else { bytes });
        }
    }
}
