//! A count in one byte.

/// A count in one byte: exact below 32, to within 3.2 % up to 491,520, held there. Or not known.
///
/// Below 16 the byte is the count; from there on its upper half counts doublings and its lower half is the fraction, as in a floating-point
/// number with five bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coarse(u8);

/// The bits of the fraction of a whole byte.
const WHOLE: u32 = 4;

impl Coarse {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self(u8::MAX);
    /// The largest count there is room for.
    pub const MOST: u32 = 30 << 14;

    /// The nearest to `count`.
    #[must_use]
    pub const fn of(count: u32) -> Self {
        Self(code(Some(count), WHOLE))
    }

    /// The count; `None` if not known.
    #[must_use]
    pub const fn get(self) -> Option<u32> {
        count(self.0, WHOLE)
    }

    /// Its byte.
    #[must_use]
    pub const fn byte(self) -> u8 {
        self.0
    }

    /// Of that byte.
    #[must_use]
    pub const fn of_byte(byte: u8) -> Self {
        Self(byte)
    }
}

/// The code nearest to a count, in `fraction` bits, 1 to 4, and four more for the doublings; the last one where it is not known. The largest
/// count has the code before that.
pub(super) const fn code(count: Option<u32>, fraction: u32) -> u8 {
    let one = 1_u32 << fraction;
    let unknown = (one << 4).wrapping_sub(1);
    let Some(count) = count else { return unknown as u8 };
    if count < one {
        return count as u8;
    }
    // One binary digit more than the fraction has, and so many doublings.
    let doublings = 31_u32.saturating_sub(count.leading_zeros()).saturating_sub(fraction);
    let half = (1_u32 << doublings) >> 1;
    // Rounding up may lead to the next doubling, whose fraction is then 0: the sum below carries.
    let digits = (count.saturating_add(half) >> doublings).wrapping_sub(one);
    let code = one.wrapping_add(doublings << fraction).wrapping_add(digits);
    if code < unknown { code as u8 } else { unknown.wrapping_sub(1) as u8 }
}

/// The count of a [`code`] of so many bits; `None` if not known.
pub(super) const fn count(code: u8, fraction: u32) -> Option<u32> {
    let (one, code) = (1_u32 << fraction, code as u32);
    if code >= (one << 4).wrapping_sub(1) {
        return None;
    }
    if code < one {
        return Some(code);
    }
    let doublings = (code >> fraction).wrapping_sub(1);
    Some((one | code & one.wrapping_sub(1)) << doublings)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_comes_back_and_no_count_is_off_by_more_than_it_says() {
        for byte in 0..=254 {
            let count = Coarse::of_byte(byte).get().expect("a count");
            assert_eq!(Coarse::of(count).byte(), byte, "{count}");
        }
        assert_eq!(Coarse::UNKNOWN.get(), None);
        for count in (0..Coarse::MOST).step_by(7) {
            let found = Coarse::of(count).get().expect("a count");
            if count < 32 {
                assert_eq!(found, count);
            }
            assert!(u64::from(found.abs_diff(count)) * 1_000 <= u64::from(count) * 32, "{count} became {found}");
        }
        assert_eq!(Coarse::of(u32::MAX).get(), Some(Coarse::MOST));
    }

    /// So much may it be off, in ppm: half a step of the fraction, at a count just above a doubling.
    #[test]
    fn fewer_bits_hold_as_many_doublings_in_larger_steps() {
        for (fraction, off, most) in [(3, 62_500, 14 << 14), (2, 125_000, 6 << 14), (1, 250_000, 2 << 14)] {
            let codes = 16_u8 << fraction;
            for code_of in 0..codes - 1 {
                let found = count(code_of, fraction).expect("a count");
                assert_eq!(code(Some(found), fraction), code_of, "{found}");
            }
            assert_eq!((count(codes - 1, fraction), code(None, fraction)), (None, codes - 1));
            assert_eq!(count(code(Some(u32::MAX), fraction), fraction), Some(most));
            for wanted in (0..most).step_by(7) {
                let found = count(code(Some(wanted), fraction), fraction).expect("a count");
                assert!(
                    u64::from(found.abs_diff(wanted)) * 1_000_000 <= u64::from(wanted) * off,
                    "{wanted} became {found}"
                );
            }
        }
    }
}
