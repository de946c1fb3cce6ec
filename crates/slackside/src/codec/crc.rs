//! CRC-32/ISO-HDLC, bit by bit: a table would take 1 KiB of flash.

/// The polynomial 04C11DB7, its bits reversed.
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// A check sum under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crc(u32);

impl Crc {
    /// Of no bytes so far.
    pub const NEW: Self = Self(u32::MAX);

    /// One more byte.
    #[inline(never)]
    pub const fn byte(&mut self, byte: u8) {
        let mut sum = self.0 ^ byte as u32;
        let mut bit = 0_u8;
        while bit < 8 {
            sum = sum >> 1 ^ if sum & 1 != 0 { POLYNOMIAL } else { 0 };
            bit = bit.wrapping_add(1);
        }
        self.0 = sum;
    }

    /// More bytes.
    pub const fn bytes(&mut self, mut bytes: &[u8]) {
        while let [byte, rest @ ..] = bytes {
            self.byte(*byte);
            bytes = rest;
        }
    }

    /// The sum of the bytes so far.
    #[must_use]
    pub const fn get(self) -> u32 {
        !self.0
    }
}

/// The sum of these bytes.
#[must_use]
#[inline(never)]
pub const fn checksum(bytes: &[u8]) -> u32 {
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
        }
    }
}
