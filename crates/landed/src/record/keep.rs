//! State as bytes: each part lists the fields that change while running, and only those are kept.
//!
//! What follows from the settings is not kept: whoever fetches a state configures the monitor first. Numbers are varints (seven
//! bits a byte, lowest first, as in postcard), signed ones zigzagged; moments are kept as their distance to the present, so
//! that a long running time costs nothing.
//!
//! Most of a state is at rest: never, none, off, nothing counted. All of these are zeros, and runs of zeros are told by their
//! length: after two zeros a byte says how many more follow.

use crc::{CRC_32_ISO_HDLC, Crc, Digest, NoTable};
use heapless::{Deque, Vec};

use crate::units::{
    DeciCelsius, Joules, Micrometres, Micros, MicroturnsPerSecond, Ppm, Ratio, Span, TurnFraction, Turns, Watts,
};

/// CRC-32/ISO-HDLC, computed bit by bit: a table would take 1 KiB of flash.
pub(crate) static CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// The bytes end too early, or say something that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Unreadable;

/// Something that can be kept as bytes and fetched back.
pub(crate) trait Keep {
    /// Write what changes while running.
    fn keep(&self, pen: &mut Pen<'_>);

    /// Read it back, over a value configured by the same settings.
    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable>;
}

/// Zeros written out before the length of the rest of their run.
const RUN: u8 = 2;

/// Writes. Beyond the end of the room it only counts, and goes on with the CRC.
pub(crate) struct Pen<'a> {
    room: &'a mut [u8],
    at: usize,
    digest: Digest<'static, u32, NoTable>,
    now: Micros,
    /// Zeros in a row so far whose run is not ended.
    zeros: u8,
}

/// What a pen wrote.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Written {
    /// How many bytes were written, or would have been.
    pub length: usize,
    /// Whether there was room for them.
    pub fits: bool,
    /// Their CRC.
    pub crc: u32,
}

impl<'a> Pen<'a> {
    /// A pen for the front of `room`, at the moment `now`.
    pub(crate) fn new(room: &'a mut [u8], now: Micros) -> Self {
        Self { room, at: 0, digest: CRC.digest(), now, zeros: 0 }
    }

    pub(crate) fn byte(&mut self, byte: u8) {
        if byte != 0 {
            self.end_run();
            self.put(byte);
            return;
        }
        if self.zeros < RUN {
            self.put(0);
        }
        self.zeros = self.zeros.saturating_add(1);
        // The length of the rest is one byte.
        if self.zeros == u8::MAX {
            self.end_run();
        }
    }

    /// Tell the length of a run of zeros, if one is open.
    fn end_run(&mut self) {
        if let Some(rest) = self.zeros.checked_sub(RUN) {
            self.put(rest);
        }
        self.zeros = 0;
    }

    fn put(&mut self, byte: u8) {
        if let Some(slot) = self.room.get_mut(self.at) {
            *slot = byte;
        }
        self.at = self.at.saturating_add(1);
        self.digest.update(&[byte]);
    }

    pub(crate) fn varint(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
    }

    pub(crate) const fn now(&self) -> Micros {
        self.now
    }

    /// That was all.
    pub(crate) fn finish(mut self) -> Written {
        self.end_run();
        Written { length: self.at, fits: self.at <= self.room.len(), crc: self.digest.finalize() }
    }
}

/// Reads bytes as they stand.
pub(crate) struct Plain<'a>(pub &'a [u8]);

impl<'a> Plain<'a> {
    pub(crate) fn byte(&mut self) -> Result<u8, Unreadable> {
        let (first, rest) = self.0.split_first().ok_or(Unreadable)?;
        self.0 = rest;
        Ok(*first)
    }

    pub(crate) fn varint(&mut self) -> Result<u64, Unreadable> {
        varint(MOST_VARINT, || self.byte())
    }

    /// A varint of so many bytes at most.
    #[inline(never)]
    pub(crate) fn varint_of(&mut self, most: u32) -> Result<u64, Unreadable> {
        varint(most, || self.byte())
    }

    pub(crate) const fn rest(&self) -> &'a [u8] {
        self.0
    }
}

/// Bytes of the longest varint.
pub(crate) const MOST_VARINT: u32 = 10;

fn varint(most: u32, mut next: impl FnMut() -> Result<u8, Unreadable>) -> Result<u64, Unreadable> {
    let mut value = 0_u64;
    for position in 0..most {
        let shift = position.wrapping_mul(7);
        let byte = next()?;
        let part = u64::from(byte & 0x7F);
        // The tenth byte has room for one bit only.
        if shift == 63 && byte > 1 {
            return Err(Unreadable);
        }
        value |= part.wrapping_shl(shift);
        if byte & 0x80 == 0 {
            return Ok(value);
        }
    }
    Err(Unreadable)
}

/// Reads what a [`Pen`] wrote.
pub(crate) struct Page<'a> {
    bytes: Plain<'a>,
    now: Micros,
    /// Zeros read in a row whose run's length has not come yet.
    zeros: u8,
    /// Zeros of a run still to be given.
    left: u8,
}

impl<'a> Page<'a> {
    /// A page of these bytes, written at the moment `now`.
    pub(crate) const fn new(bytes: &'a [u8], now: Micros) -> Self {
        Self { bytes: Plain(bytes), now, zeros: 0, left: 0 }
    }

    pub(crate) fn byte(&mut self) -> Result<u8, Unreadable> {
        if let Some(left) = self.left.checked_sub(1) {
            self.left = left;
            return Ok(0);
        }
        let byte = self.bytes.byte()?;
        self.zeros = if byte == 0 { self.zeros.saturating_add(1) } else { 0 };
        if self.zeros == RUN {
            self.left = self.bytes.byte()?;
            self.zeros = 0;
        }
        Ok(byte)
    }

    pub(crate) fn varint(&mut self) -> Result<u64, Unreadable> {
        varint(MOST_VARINT, || self.byte())
    }

    pub(crate) const fn now(&self) -> Micros {
        self.now
    }

    /// Whether everything was read.
    pub(crate) const fn is_done(&self) -> bool {
        self.bytes.rest().is_empty() && self.left == 0
    }
}

/// Small magnitudes of either sign as small numbers: 0, -1, 1, -2, …
pub(crate) const fn zigzag(value: i64) -> u64 {
    (value.wrapping_shl(1) ^ (value >> 63)) as u64
}

/// Back from [`zigzag`].
pub(crate) const fn unzigzag(value: u64) -> i64 {
    ((value >> 1) as i64) ^ ((value & 1) as i64).wrapping_neg()
}

macro_rules! keep_numbers {
    ($($type:ty),*) => {$(
        impl Keep for $type {
            fn keep(&self, pen: &mut Pen<'_>) {
                pen.varint(u64::from(*self));
            }

            fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
                *self = <$type>::try_from(page.varint()?).map_err(|_| Unreadable)?;
                Ok(())
            }
        }
    )*};
}
keep_numbers!(u8, u16, u32, u64);

macro_rules! keep_signed {
    ($($type:ty),*) => {$(
        impl Keep for $type {
            fn keep(&self, pen: &mut Pen<'_>) {
                pen.varint(zigzag(i64::from(*self)));
            }

            fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
                *self = <$type>::try_from(unzigzag(page.varint()?)).map_err(|_| Unreadable)?;
                Ok(())
            }
        }
    )*};
}
keep_signed!(i16, i32, i64);

macro_rules! keep_units {
    ($($type:ident: $repr:ty),*) => {$(
        impl Keep for $type {
            fn keep(&self, pen: &mut Pen<'_>) {
                self.get().keep(pen);
            }

            fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
                let mut value: $repr = 0;
                value.fetch(page)?;
                *self = Self::new(value);
                Ok(())
            }
        }
    )*};
}
keep_units!(
    Span: u32, TurnFraction: u32, Turns: u64, Ppm: i32, Ratio: u32, Micrometres: i64, MicroturnsPerSecond: u32, Watts: u32,
    Joules: u32, DeciCelsius: i16
);

impl Keep for bool {
    fn keep(&self, pen: &mut Pen<'_>) {
        pen.byte(u8::from(*self));
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        *self = match page.byte()? {
            0 => false,
            1 => true,
            _ => return Err(Unreadable),
        };
        Ok(())
    }
}

/// Codes for the end and the beginning of time, which stand for "never".
const END: u64 = 0;
const BEGINNING: u64 = 1;

impl Keep for Micros {
    fn keep(&self, pen: &mut Pen<'_>) {
        let code = match *self {
            Self::MAX => END,
            Self::ZERO => BEGINNING,
            // Wraps only for moments 292,000 years from the present.
            at => zigzag(pen.now.get().wrapping_sub(at.get()) as i64).wrapping_add(2),
        };
        pen.varint(code);
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        *self = match page.varint()? {
            END => Self::MAX,
            BEGINNING => Self::ZERO,
            code => Self::new(page.now.get().wrapping_sub(unzigzag(code.wrapping_sub(2)) as u64)),
        };
        Ok(())
    }
}

impl<T: Keep + Default> Keep for Option<T> {
    fn keep(&self, pen: &mut Pen<'_>) {
        self.is_some().keep(pen);
        if let Some(value) = self {
            value.keep(pen);
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        let mut is_some = false;
        is_some.fetch(page)?;
        *self = if is_some {
            let mut value = T::default();
            value.fetch(page)?;
            Some(value)
        } else {
            None
        };
        Ok(())
    }
}

impl<A: Keep, B: Keep> Keep for (A, B) {
    fn keep(&self, pen: &mut Pen<'_>) {
        self.0.keep(pen);
        self.1.keep(pen);
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.0.fetch(page)?;
        self.1.fetch(page)
    }
}

impl<T: Keep, const N: usize> Keep for [T; N] {
    fn keep(&self, pen: &mut Pen<'_>) {
        for item in self {
            item.keep(pen);
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.iter_mut().try_for_each(|item| item.fetch(page))
    }
}

impl<T: Keep + Default, const N: usize> Keep for Deque<T, N> {
    fn keep(&self, pen: &mut Pen<'_>) {
        pen.varint(self.len() as u64);
        for item in self {
            item.keep(pen);
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.clear();
        for _ in 0..page.varint()? {
            let mut item = T::default();
            item.fetch(page)?;
            self.push_back(item).map_err(|_| Unreadable)?;
        }
        Ok(())
    }
}

impl<T: Keep + Default, const N: usize> Keep for Vec<T, N> {
    fn keep(&self, pen: &mut Pen<'_>) {
        pen.varint(self.len() as u64);
        for item in self {
            item.keep(pen);
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.clear();
        for _ in 0..page.varint()? {
            let mut item = T::default();
            item.fetch(page)?;
            self.push(item).map_err(|_| Unreadable)?;
        }
        Ok(())
    }
}

/// Keep the fields listed first, in this order; those listed as fixed follow from the settings. A field in neither list does not
/// compile. Generics, if any, come first as `@[…]`.
macro_rules! keep {
    ($(@[$($generics:tt)*])? $type:ty { $($field:ident),* $(,)? } $(fixed { $($fixed:ident),* $(,)? })?) => {
        impl $(<$($generics)*>)? crate::record::keep::Keep for $type {
            fn keep(&self, pen: &mut crate::record::keep::Pen<'_>) {
                let Self { $($field,)* $($($fixed: _,)*)? } = self;
                $(crate::record::keep::Keep::keep($field, pen);)*
            }

            fn fetch(
                &mut self,
                page: &mut crate::record::keep::Page<'_>,
            ) -> Result<(), crate::record::keep::Unreadable> {
                $(crate::record::keep::Keep::fetch(&mut self.$field, page)?;)*
                Ok(())
            }
        }
    };
}
pub(crate) use keep;

/// Keep the position in a list of all values.
macro_rules! keep_one_of {
    ($type:ty: $($value:path),* $(,)?) => {
        impl crate::record::keep::Keep for $type {
            fn keep(&self, pen: &mut crate::record::keep::Pen<'_>) {
                // A value that is missing in the list does not compile.
                match self { $($value)|* => {} }
                let position = [$($value),*].iter().position(|value| value == self).unwrap_or(0);
                pen.varint(position as u64);
            }

            fn fetch(
                &mut self,
                page: &mut crate::record::keep::Page<'_>,
            ) -> Result<(), crate::record::keep::Unreadable> {
                let position = usize::try_from(page.varint()?).map_err(|_| crate::record::keep::Unreadable)?;
                *self = [$($value),*].get(position).copied().ok_or(crate::record::keep::Unreadable)?;
                Ok(())
            }
        }
    };
}
pub(crate) use keep_one_of;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn there_and_back<T: Keep + Clone + PartialEq + core::fmt::Debug>(value: &T, mut into: T, now: u64) -> usize {
        let mut room = [0; 64];
        let mut pen = Pen::new(&mut room, Micros::new(now));
        value.keep(&mut pen);
        let Written { length: written, fits: true, .. } = pen.finish() else { panic!("no room") };
        let mut page = Page::new(&room[..written], Micros::new(now));
        into.fetch(&mut page).expect("readable");
        assert_eq!(into, *value);
        assert!(page.is_done());
        for short in 0..written {
            assert_eq!(into.clone().fetch(&mut Page::new(&room[..short], Micros::new(now))), Err(Unreadable));
        }
        written
    }

    #[test]
    fn varints_are_those_of_postcard() {
        // Postcard's wire format specification, "varint encoded integers": 127, 128, 16383, 16384, 65535.
        for (value, bytes) in [
            (127, &[0x7F][..]),
            (128, &[0x80, 0x01]),
            (16_383, &[0xFF, 0x7F]),
            (16_384, &[0x80, 0x80, 0x01]),
            (65_535, &[0xFF, 0xFF, 0x03]),
        ] {
            let mut room = [0; 10];
            let mut pen = Pen::new(&mut room, Micros::ZERO);
            pen.varint(value);
            let written = pen.finish().length;
            assert_eq!(&room[..written], bytes);
        }
        for (value, zigzagged) in [(0, 0), (-1, 1), (1, 2), (63, 126), (-64, 127), (i64::MIN, u64::MAX)] {
            assert_eq!(zigzag(value), zigzagged);
            assert_eq!(unzigzag(zigzagged), value);
        }
    }

    #[test]
    fn the_crc_is_the_catalogued_one() {
        // Catalogue of parametrised CRC algorithms: check value of CRC-32/ISO-HDLC.
        let mut pen = Pen::new(&mut [], Micros::ZERO);
        b"123456789".iter().for_each(|byte| pen.byte(*byte));
        assert_eq!(pen.finish(), Written { length: 9, fits: false, crc: 0xCBF4_3926 });
    }

    #[test]
    fn never_is_short_and_so_is_just_now() {
        let year = 31_557_600_000_000;
        assert_eq!(there_and_back(&Micros::MAX, Micros::ZERO, year), 1);
        assert_eq!(there_and_back(&Micros::ZERO, Micros::MAX, year), 1);
        assert_eq!(there_and_back(&Micros::new(year - 30), Micros::MAX, year), 1);
        assert_eq!(there_and_back(&Micros::new(year - 50_000), Micros::MAX, year), 3);
        assert_eq!(there_and_back(&Micros::new(year + 50_000), Micros::MAX, year), 3);
    }

    #[test]
    fn runs_of_zeros_are_told_by_their_length() {
        for (zeros, bytes) in [
            (0, &[7, 9][..]),
            (1, &[7, 0, 9]),
            (2, &[7, 0, 0, 0, 9]),
            (3, &[7, 0, 0, 1, 9]),
            (255, &[7, 0, 0, 253, 9]),
            (256, &[7, 0, 0, 253, 0, 9]),
            (510, &[7, 0, 0, 253, 0, 0, 253, 9]),
        ] {
            let mut room = [0; 10];
            let mut pen = Pen::new(&mut room, Micros::ZERO);
            pen.byte(7);
            (0..zeros).for_each(|_| pen.byte(0));
            pen.byte(9);
            let length = pen.finish().length;
            assert_eq!(&room[..length], bytes, "{zeros} zeros");
            let mut page = Page::new(&room[..length], Micros::ZERO);
            assert_eq!(page.byte(), Ok(7));
            (0..zeros).for_each(|_| assert_eq!(page.byte(), Ok(0)));
            assert!(!page.is_done());
            assert_eq!(page.byte(), Ok(9));
            assert!(page.is_done());
            // At the end of a page too.
            assert_eq!(there_and_back(&[0_u8; 40], [1; 40], 0), 3);
        }
        // Zeros that nobody asked for are not everything.
        let mut page = Page::new(&[0, 0, 2], Micros::ZERO);
        assert_eq!((page.byte(), page.byte()), (Ok(0), Ok(0)));
        assert!(!page.is_done());
    }

    proptest! {
        #[test]
        fn any_bytes_come_back(bytes in proptest::collection::vec(prop_oneof![Just(0_u8), Just(0), any::<u8>()], 0..700)) {
            let mut room = [0; 1_024];
            let mut pen = Pen::new(&mut room, Micros::ZERO);
            bytes.iter().for_each(|byte| pen.byte(*byte));
            let written = pen.finish();
            prop_assert_eq!(written.crc, CRC.checksum(&room[..written.length]));
            let mut page = Page::new(&room[..written.length], Micros::ZERO);
            for byte in &bytes {
                prop_assert_eq!(page.byte(), Ok(*byte));
            }
            prop_assert!(page.is_done());
        }

        #[test]
        fn values_come_back(
            number in any::<u64>(), signed in any::<i32>(), at in any::<u64>(), now in 0..1_u64 << 60, some in any::<bool>(),
        ) {
            there_and_back(&number, 0, now);
            there_and_back(&Ppm::new(signed), Ppm::ZERO, now);
            let at = Micros::new(at >> 4);
            there_and_back(&some.then_some((at, some)), None, now);
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..24)) {
            let mut page = Page::new(&bytes, Micros::ZERO);
            while page.varint().is_ok() {}
            let mut kept: Vec<Option<Micros>, 4> = Vec::new();
            let _ = kept.fetch(&mut Page::new(&bytes, Micros::ZERO));
        }
    }
}
