//! A count in one byte.

/// A count in one byte: exact below 32, to within 3.2 % up to 491,520, held there. Or not known.
///
/// Below 16 the byte is the count; from there on its upper half counts doublings and its lower half is the fraction, as in a floating-point
/// number with five bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coarse(u8);

impl Coarse {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self(u8::MAX);
    /// The largest count there is room for.
    pub const MOST: u32 = 30 << 14;

    /// The nearest to `count`.
    #[must_use]
    pub const fn of(count: u32) -> Self {
        if count < 16 {
            return Self(count as u8);
        }
        if count >= Self::MOST {
            return Self(254);
        }
        // 5 to 19 binary digits, so that this is 0 to 14.
        let doublings = 27_u32.saturating_sub(count.leading_zeros());
        let half = (1_u32 << doublings) >> 1;
        // Rounding up may lead to the next doubling, whose fraction is then 0: the sum below carries.
        let fraction = (count.wrapping_add(half) >> doublings).wrapping_sub(16);
        let code = 16_u32.wrapping_add(doublings << 4).wrapping_add(fraction);
        Self(if code > 254 { 254 } else { code as u8 })
    }

    /// The count; `None` if not known.
    #[must_use]
    pub const fn get(self) -> Option<u32> {
        match self.0 {
            u8::MAX => None,
            code @ 0..16 => Some(code as u32),
            code => {
                let doublings = (code as u32 >> 4).wrapping_sub(1);
                Some((16 | (code as u32 & 15)) << doublings)
            }
        }
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
}
