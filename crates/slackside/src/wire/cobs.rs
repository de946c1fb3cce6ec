//! COBS, consistent overhead byte stuffing: bytes without a zero among them, so that a zero can end them.
//!
//! Each stretch up to a zero is told as its length plus one, then its bytes; a stretch of 254 bytes without a zero as 255, then they.

/// The length of a stretch that no zero ended.
const FULL: u8 = u8::MAX;

/// Write `bytes` stuffed, with the zero at the end, into the front of `out`. How many bytes it took; `None` without room for them.
pub(super) fn stuff<'b>(bytes: impl Iterator<Item = &'b u8>, out: &mut [u8]) -> Option<usize> {
    // Where the length of the present stretch goes.
    let mut place = 0_usize;
    let mut at = 1_usize;
    let mut length = 1_u8;
    for byte in bytes {
        if length == FULL {
            *out.get_mut(place)? = FULL;
            place = at;
            at = at.wrapping_add(1);
            length = 1;
        }
        if *byte == 0 {
            *out.get_mut(place)? = length;
            place = at;
            length = 1;
        } else {
            *out.get_mut(at)? = *byte;
            length = length.wrapping_add(1);
        }
        at = at.wrapping_add(1);
    }
    *out.get_mut(place)? = length;
    *out.get_mut(at)? = 0;
    Some(at.wrapping_add(1))
}

/// Takes stuffed bytes apart.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Unstuffer {
    /// Bytes of the present stretch still to come.
    left: u8,
    /// A zero ends it, unless the frame does.
    zero: bool,
}

impl Unstuffer {
    pub(super) const NEW: Self = Self { left: 0, zero: false };

    /// Take one byte other than zero: what it says, if anything.
    pub(super) const fn take(&mut self, byte: u8) -> Option<u8> {
        if self.left != 0 {
            self.left = self.left.wrapping_sub(1);
            return Some(byte);
        }
        let said = if self.zero { Some(0) } else { None };
        self.left = byte.wrapping_sub(1);
        self.zero = byte != FULL;
        said
    }

    /// Whether the end may come here.
    pub(super) const fn is_whole(self) -> bool {
        self.left == 0
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;

    fn stuffed(bytes: &[u8]) -> Vec<u8> {
        let mut out = vec![0xAA; bytes.len() + bytes.len() / 254 + 2];
        let length = stuff(bytes.iter(), &mut out).expect("room");
        for short in 0..length {
            assert_eq!(stuff(bytes.iter(), &mut vec![0; short]), None);
        }
        out.truncate(length);
        assert_eq!(out.pop(), Some(0));
        assert!(!out.contains(&0));
        out
    }

    fn unstuffed(bytes: &[u8]) -> Option<Vec<u8>> {
        let mut unstuffer = Unstuffer::NEW;
        let plain = bytes.iter().filter_map(|byte| unstuffer.take(*byte)).collect();
        unstuffer.is_whole().then_some(plain)
    }

    /// The table of examples in the encyclopedia's article on consistent overhead byte stuffing.
    #[test]
    fn published_examples() {
        let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
        let with = |parts: &[&[u8]]| parts.concat();
        let examples: [(Vec<u8>, Vec<u8>); 11] = [
            (vec![0], vec![1, 1]),
            (vec![0, 0], vec![1, 1, 1]),
            (vec![0, 0x11, 0], vec![1, 2, 0x11, 1]),
            (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
            (vec![0x11, 0x22, 0x33, 0x44], vec![5, 0x11, 0x22, 0x33, 0x44]),
            (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
            (run(1, 0xFE), with(&[&[0xFF], &run(1, 0xFE)])),
            (run(0, 0xFE), with(&[&[1, 0xFF], &run(1, 0xFE)])),
            (run(1, 0xFF), with(&[&[0xFF], &run(1, 0xFE), &[2, 0xFF]])),
            (with(&[&run(2, 0xFF), &[0]]), with(&[&[0xFF], &run(2, 0xFF), &[1, 1]])),
            (with(&[&run(3, 0xFF), &[0, 1]]), with(&[&[0xFE], &run(3, 0xFF), &[2, 1]])),
        ];
        for (plain, expected) in examples {
            assert_eq!(stuffed(&plain), expected, "{plain:02X?}");
            assert_eq!(unstuffed(&expected), Some(plain));
        }
    }

    /// From memory: the example packet of Cheshire and Baker, "Consistent Overhead Byte Stuffing" (1999).
    #[test]
    fn the_packet_of_the_paper() {
        let plain = [0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 6, 0x4F, 0x37];
        assert_eq!(stuffed(&plain), [2, 0x45, 1, 4, 0x2C, 0x4C, 0x79, 1, 5, 0x40, 6, 0x4F, 0x37]);
    }

    proptest! {
        /// An independent program: the `cobs` library.
        #[test]
        fn it_agrees_with_a_library(bytes in proptest::collection::vec(prop_oneof![1 => Just(0_u8), 60 => any::<u8>()], 1..700)) {
            let mut room = [0; 720];
            let length = ::cobs::encode(&bytes, &mut room);
            prop_assert_eq!(&stuffed(&bytes)[..], &room[..length]);
            prop_assert_eq!(unstuffed(&room[..length]), Some(bytes));
        }
    }
}
