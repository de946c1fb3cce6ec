//! CRC-32/ISO-HDLC, half a byte at a time: a table of a byte's would take 1 KiB of flash.

/// The polynomial 04C11DB7, its bits reversed.
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// What half a byte makes of the sum.
const HALVES: [u32; 16] = {
    let mut halves = [0; 16];
    let mut rest: &mut [u32] = &mut halves;
    let mut half = 0;
    while let [slot, after @ ..] = rest {
        let mut sum: u32 = half;
        let mut bit = 0;
        while bit < 4 {
            sum = sum >> 1 ^ if sum & 1 != 0 { POLYNOMIAL } else { 0 };
            bit = 1_u32.wrapping_add(bit);
        }
        *slot = sum;
        half = 1_u32.wrapping_add(half);
        rest = after;
    }
    halves
};

/// A check sum under way: that of the bytes so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crc(u32);

impl Crc {
    /// Of no bytes so far.
    pub const NEW: Self = Self(0);

    /// One more byte.
    #[inline(never)]
    pub fn byte(&mut self, byte: u8) {
        let mut sum = !self.0 ^ u32::from(byte);
        for _ in 0..2 {
            sum = sum >> 4 ^ HALVES.get(sum as usize & 15).copied().unwrap_or(0);
        }
        self.0 = !sum;
    }

    /// More bytes.
    pub fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.byte(*byte);
        }
    }

    /// The sum of the bytes so far.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }
}

/// The same sum of these bytes, for constants: bit by bit, slowly.
#[must_use]
pub const fn checksum_of_constant(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    let mut rest = bytes;
    while let [byte, after @ ..] = rest {
        sum ^= *byte as u32;
        let mut bit = 0;
        while bit < 8 {
            sum = sum >> 1 ^ if sum & 1 != 0 { POLYNOMIAL } else { 0 };
            bit = 1_u32.wrapping_add(bit);
        }
        rest = after;
    }
    !sum
}

/// The sum of these bytes.
#[must_use]
#[inline(never)]
pub fn checksum(bytes: &[u8]) -> u32 {
    let mut crc = Crc::NEW;
    crc.bytes(bytes);
    crc.get()
}

/// The bytes before the last four, if the last four are their sum, low byte first.
#[must_use]
pub fn checked(bytes: &[u8]) -> Option<&[u8]> {
    let (covered, trailer) = bytes.split_last_chunk::<4>()?;
    (checksum(covered) == u32::from_le_bytes(*trailer)).then_some(covered)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC, check value and residue.
    #[test]
    fn the_sum_is_the_catalogued_one() {
        assert_eq!(checksum(b"123456789"), 0xCBF4_3926);
        assert_eq!(checksum(b""), 0);
        assert_eq!(checked(b"123456789\x26\x39\xF4\xCB"), Some(&b"123456789"[..]));
        assert_eq!(!checksum(b"123456789\x26\x39\xF4\xCB"), 0xDEBB_20E3);
        assert_eq!(checked(b"123456789\x26\x39\xF4\xCA"), None);
        assert_eq!(checked(b"abc"), None);
    }

    proptest! {
        /// An independent program: the `crc` library with its own table of parameters.
        #[test]
        fn it_agrees_with_a_library(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let library = ::crc::Crc::<u32>::new(&::crc::CRC_32_ISO_HDLC);
            prop_assert_eq!(checksum(&bytes), library.checksum(&bytes));
            prop_assert_eq!(checksum_of_constant(&bytes), checksum(&bytes));
            let mut pieces = Crc::NEW;
            bytes.chunks(7).for_each(|piece| pieces.bytes(piece));
            prop_assert_eq!(pieces.get(), checksum(&bytes));
        }
    }
}
