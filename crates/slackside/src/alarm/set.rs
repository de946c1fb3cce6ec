//! A set of conditions by rank, one bit each.

/// Up to 64 ranks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Set(u64);

impl Set {
    /// None of them.
    pub const EMPTY: Self = Self(0);

    /// The set of these bits: bit 0 stands for rank 0.
    #[must_use]
    pub const fn from_bits(bits: u64) -> Self {
        Self(bits)
    }

    /// The members as bits.
    #[must_use]
    pub const fn bits(self) -> u64 {
        self.0
    }

    const fn bit(rank: usize) -> u64 {
        1_u64.wrapping_shl(rank as u32)
    }

    /// Whether `rank` is in the set.
    #[must_use]
    pub const fn contains(self, rank: usize) -> bool {
        self.0 & Self::bit(rank) != 0
    }

    /// With `rank` or without it.
    #[must_use]
    pub const fn put(self, rank: usize, inside: bool) -> Self {
        if inside { Self(self.0 | Self::bit(rank)) } else { Self(self.0 & !Self::bit(rank)) }
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// What is in both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What is in either.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// What is in this one only.
    #[must_use]
    pub const fn but(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The lowest rank in it.
    #[must_use]
    pub const fn first(self) -> Option<usize> {
        if self.0 == 0 { None } else { Some(self.0.trailing_zeros() as usize) }
    }
}

impl Iterator for Set {
    type Item = usize;

    /// Takes the lowest rank out.
    fn next(&mut self) -> Option<usize> {
        let first = self.first()?;
        self.0 &= self.0.wrapping_sub(1);
        Some(first)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;

    #[test]
    fn a_set_holds_what_was_put_in() {
        let set = Set::EMPTY.put(0, true).put(5, true).put(63, true);
        assert_eq!(set.bits(), 1 << 63 | 1 << 5 | 1);
        assert_eq!(Set::from_bits(set.bits()), set);
        assert!(set.contains(0) && set.contains(5) && set.contains(63) && !set.contains(4) && !set.contains(6));
        assert_eq!(set.put(5, true), set);
        assert_eq!(set.put(5, false).bits(), 1 << 63 | 1);
        assert!(Set::EMPTY.is_empty() && !set.is_empty());
        assert_eq!((Set::EMPTY.first(), set.first(), set.put(0, false).first()), (None, Some(0), Some(5)));
    }

    #[test]
    fn two_sets_have_common_members_and_others() {
        let (one, other) = (Set::from_bits(0b0110), Set::from_bits(0b0011));
        assert_eq!((one.and(other).bits(), one.or(other).bits()), (0b0010, 0b0111));
        assert_eq!((one.but(other).bits(), other.but(one).bits()), (0b0100, 0b0001));
    }

    #[test]
    fn members_come_lowest_first_and_each_once() {
        let mut members = Set::from_bits(1 << 40 | 1 << 3 | 1);
        assert_eq!(
            [members.next(), members.next(), members.next(), members.next()],
            [Some(0), Some(3), Some(40), None]
        );
        assert_eq!(Set::from_bits(1 << 3 | 1 << 2).collect::<std::vec::Vec<_>>(), [2, 3]);
    }
}
