//! CRC-32/ISO-HDLC, half a byte at a time: a table of a byte's would take 1 KiB of flash. The desk has room for that.

/// The polynomial 04C11DB7, its bits reversed.
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// What so many bits make of the sum.
const fn table<const N: usize>(bits: u32) -> [u32; N] {
    let mut table = [0; N];
    let mut rest: &mut [u32] = &mut table;
    let mut number = 0;
    while let [slot, after @ ..] = rest {
        let mut sum: u32 = number;
        let mut bit = 0;
        while bit < bits {
            sum = sum >> 1 ^ if sum & 1 != 0 { POLYNOMIAL } else { 0 };
            bit = 1_u32.wrapping_add(bit);
        }
        *slot = sum;
        number = 1_u32.wrapping_add(number);
        rest = after;
    }
    table
}

/// What a byte makes of the sum.
#[cfg(feature = "desk")]
static BYTES: [u32; 256] = table(8);

/// What half a byte makes of it.
#[cfg(any(not(feature = "desk"), test))]
const HALVES: [u32; 16] = table(4);

/// The sum a byte further, that byte in its lowest bits.
#[cfg(feature = "desk")]
fn by_table(sum: u32) -> u32 {
    sum >> 8 ^ BYTES.get(sum as usize & 255).copied().unwrap_or(0)
}

/// As the box goes on by a byte: half by half.
#[cfg(any(not(feature = "desk"), test))]
#[inline(always)]
fn by_halves(mut sum: u32) -> u32 {
    for _ in 0..2 {
        sum = sum >> 4 ^ HALVES.get(sum as usize & 15).copied().unwrap_or(0);
    }
    sum
}

/// A check sum under way: that of the bytes so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crc(u32);

impl Crc {
    /// Of no bytes so far.
    pub const NEW: Self = Self(0);

    /// One more byte.
    #[cfg_attr(not(feature = "desk"), inline(never))]
    pub fn byte(&mut self, byte: u8) {
        let sum = !self.0 ^ u32::from(byte);
        #[cfg(feature = "desk")]
        let sum = by_table(sum);
        #[cfg(not(feature = "desk"))]
        let sum = by_halves(sum);
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

        /// The box's way, whichever is taken here.
        #[test]
        fn half_by_half_it_is_the_same(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let sum = bytes.iter().fold(u32::MAX, |sum, byte| by_halves(sum ^ u32::from(*byte)));
            prop_assert_eq!(!sum, checksum(&bytes));
        }
    }
}
