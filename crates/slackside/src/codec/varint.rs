//! Short numbers: seven bits a byte, lowest first; the top bit says that more follow. Signed ones are zigzagged before. Both as in
//! postcard's wire format.

/// The most bytes that a number of 32 bits takes.
pub const MOST: usize = 5;

/// Hand out the bytes of `value`.
#[inline(never)]
pub fn write(mut value: u32, put: &mut dyn FnMut(u8)) {
    while value >= 0x80 {
        put(value as u8 | 0x80);
        value >>= 7;
    }
    put(value as u8);
}

/// Take a number from the front of `bytes`, and what is left after it. `None` if they end too early, or if it is longer than 32 bits.
#[must_use]
pub fn read(bytes: &[u8]) -> Option<(u32, &[u8])> {
    let mut value = 0_u32;
    let mut rest = bytes;
    for shift in [0_u32, 7, 14, 21, 28] {
        let (byte, after) = rest.split_first()?;
        rest = after;
        // The fifth byte has room for four bits only.
        if shift == 28 && *byte > 0x0F {
            return None;
        }
        value |= u32::from(byte & 0x7F).wrapping_shl(shift);
        if byte & 0x80 == 0 {
            return Some((value, rest));
        }
    }
    None
}

/// Small magnitudes of either sign as small numbers: 0, -1, 1, -2 … as 0, 1, 2, 3 …
#[must_use]
pub const fn zigzag(value: i32) -> u32 {
    (value.wrapping_shl(1) ^ (value >> 31)) as u32
}

/// Back from [`zigzag`].
#[must_use]
pub const fn unzigzag(value: u32) -> i32 {
    ((value >> 1) as i32) ^ ((value & 1) as i32).wrapping_neg()
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;

    fn bytes(value: u32) -> Vec<u8> {
        let mut bytes = Vec::new();
        write(value, &mut |byte| bytes.push(byte));
        bytes
    }

    /// Postcard's wire format specification, "varint encoded integers" and "zigzag encoded signed integers".
    #[test]
    fn published_examples() {
        for (value, expected) in [
            (0, &[0x00][..]),
            (127, &[0x7F]),
            (128, &[0x80, 0x01]),
            (16_383, &[0xFF, 0x7F]),
            (16_384, &[0x80, 0x80, 0x01]),
            (16_385, &[0x81, 0x80, 0x01]),
            (65_535, &[0xFF, 0xFF, 0x03]),
        ] {
            assert_eq!(bytes(value), expected);
            assert_eq!(read(expected), Some((value, &[][..])));
        }
        for (value, expected) in [
            (0, &[0x00][..]),
            (-1, &[0x01]),
            (1, &[0x02]),
            (63, &[0x7E]),
            (-64, &[0x7F]),
            (64, &[0x80, 0x01]),
            (-65, &[0x81, 0x01]),
        ] {
            assert_eq!(bytes(zigzag(value)), expected);
        }
        assert_eq!((zigzag(i32::MIN), unzigzag(u32::MAX)), (u32::MAX, i32::MIN));
        // Longer than it need be is allowed; longer than the type is not.
        assert_eq!(read(&[0x80, 0x00]), Some((0, &[][..])));
        assert_eq!(read(&[0xFF, 0xFF, 0xFF, 0xFF, 0x10]), None);
        assert_eq!(read(&[0x80; 6]), None);
    }

    proptest! {
        #[test]
        fn numbers_come_back_and_are_those_of_the_library(value in any::<u32>(), shift in 0..32_u32, after in any::<u8>()) {
            let value = value >> shift;
            let mut written = bytes(value);
            let mut room = [0; MOST];
            prop_assert_eq!(&written, &postcard::to_slice(&value, &mut room).expect("room"));
            written.push(after);
            prop_assert_eq!(read(&written), Some((value, &[after][..])));
            prop_assert_eq!(unzigzag(zigzag(value as i32)), value as i32);
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..8)) {
            if let Some((_, rest)) = read(&bytes) {
                prop_assert!(rest.len() < bytes.len());
            }
        }
    }
}
