//! How a quantity becomes a register of sixteen bits: signed, held at the ends, and unknown told apart from every number.

/// Not known, not fitted, or not there. No number is ever sent as this, and nothing unknown is ever sent as 0.
pub const UNKNOWN: u16 = 0x8000;

/// The largest number a register tells; its negative is the smallest.
pub const MOST: i32 = 32_767;

/// A number, held at -32,767 and 32,767.
#[must_use]
pub const fn signed(value: i32) -> u16 {
    let held = if value > MOST {
        MOST
    } else if value < -MOST {
        -MOST
    } else {
        value
    };
    // Within sixteen bits; negative ones as two's complement.
    held as i16 as u16
}

/// A count, held at 32,767.
#[must_use]
pub const fn counted(value: u32) -> u16 {
    if value > MOST as u32 { MOST as u16 } else { value as u16 }
}

/// A number if there is one.
#[must_use]
pub fn known(value: Option<i32>) -> u16 {
    value.map_or(UNKNOWN, signed)
}

/// The high word of 32 bits for place 0, the low one for any other: the high word comes first.
#[must_use]
pub const fn word_of(value: u32, place: u16) -> u16 {
    if place == 0 { (value >> 16) as u16 } else { value as u16 }
}

/// ppm in hundredths of a per cent, rounded down: a lower end is never told higher than it is.
#[must_use]
pub const fn hundredths_down(ppm: i32) -> i32 {
    ppm.div_euclid(100)
}

/// ppm in hundredths of a per cent, rounded up: an upper end is never told lower than it is.
#[must_use]
pub const fn hundredths_up(ppm: i32) -> i32 {
    hundredths_down(ppm.saturating_neg()).saturating_neg()
}

/// ppm in tenths of a per cent, rounded up: no share of a budget is told lower than it is.
#[must_use]
pub const fn tenths_up(ppm: i32) -> i32 {
    ppm.saturating_neg().div_euclid(1_000).saturating_neg()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_ends_are_held_and_no_number_is_the_unknown() {
        let table = [
            (0, 0_u16),
            (1, 1),
            (-1, 0xFFFF),
            (32_767, 0x7FFF),
            (32_768, 0x7FFF),
            (i32::MAX, 0x7FFF),
            (-32_767, 0x8001),
            (-32_768, 0x8001),
            (i32::MIN, 0x8001),
        ];
        for (value, register) in table {
            assert_eq!(signed(value), register, "{value}");
        }
        assert_eq!(known(None), 0x8000);
        assert_eq!((counted(40_000), counted(7)), (0x7FFF, 7));
        assert_eq!((word_of(0x1234_5678, 0), word_of(0x1234_5678, 1)), (0x1234, 0x5678));
    }

    proptest! {
        #[test]
        fn a_number_within_reads_back_and_one_beyond_is_held(value: i32) {
            let register = signed(value);
            prop_assert_ne!(register, UNKNOWN);
            prop_assert_eq!(i32::from(register as i16), value.clamp(-32_767, 32_767));
        }

        #[test]
        fn ends_are_rounded_outwards(ppm in -2_000_000_000..2_000_000_000_i32) {
            let (down, up) = (hundredths_down(ppm), hundredths_up(ppm));
            prop_assert!(down * 100 <= ppm && ppm - down * 100 < 100);
            prop_assert!(up * 100 >= ppm && up * 100 - ppm < 100);
            prop_assert!(tenths_up(ppm) * 1_000 >= ppm && tenths_up(ppm) * 1_000 - ppm < 1_000);
        }
    }
}
