//! Integer arithmetic that gives the same result everywhere. Each function states its range and what it does at zero.
//!
//! A quotient of two words over one is taken by the machine's own 64-bit division on the desk, by two digits where the chip divides
//! 32 bits, and by shifting and subtracting where it cannot divide at all; a test holds the three against each other.

/// `a * b / 2^32`: one of the two as a fraction of 2^32. Cannot overflow.
#[must_use]
#[cfg_attr(all(target_arch = "arm", not(target_has_atomic = "32")), inline(never))]
pub const fn high(a: u32, b: u32) -> u32 {
    if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) {
        // ARMv6-M multiplies no further than 32 bits.
        high_by_halves(a, b)
    } else {
        ((a as u64).wrapping_mul(b as u64) >> 32) as u32
    }
}

/// [`high`] by halves of 16 bits. No sum is more than a word holds.
#[inline(always)]
const fn high_by_halves(a: u32, b: u32) -> u32 {
    let (above, below) = (a >> 16, a & 0xFFFF);
    let (high, low) = (b >> 16, b & 0xFFFF);
    // Hidden, or the compiler knows the pattern and calls the long multiplication that this is to spare.
    let cross = core::hint::black_box(above.wrapping_mul(low));
    let middle = (below.wrapping_mul(low) >> 16).wrapping_add(cross & 0xFFFF).wrapping_add(below.wrapping_mul(high));
    above.wrapping_mul(high).wrapping_add(cross >> 16).wrapping_add(middle >> 16)
}

/// `a * b / c`, rounded down and held at `u32::MAX`; that too where `c` is zero.
#[must_use]
pub const fn mul_div(a: u32, b: u32, c: u32) -> u32 {
    divide((a as u64).wrapping_mul(b as u64), c)
}

/// `a / c`, rounded down and held at `u32::MAX`; that too where `c` is zero.
#[must_use]
pub const fn divide(a: u64, c: u32) -> u32 {
    let above = (a >> 32) as u32;
    // Too large for a word, or no quotient at all.
    if above >= c {
        return u32::MAX;
    }
    if cfg!(target_pointer_width = "64") {
        by_machine(a, c)
    } else if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) {
        // ARMv6-M has no division.
        by_shifting(above, a as u32, c)
    } else {
        by_digits(above, a as u32, c)
    }
}

/// `a / b`, both words: zero where `b` is zero, which no caller asks for.
const fn quotient(a: u32, b: u32) -> u32 {
    match a.checked_div(b) {
        Some(quotient) => quotient,
        None => 0,
    }
}

const fn by_machine(a: u64, c: u32) -> u32 {
    match a.checked_div(c as u64) {
        Some(quotient) => quotient as u32,
        None => u32::MAX,
    }
}

/// Long division, a bit a step; leading zeros of the quotient are found four at a time.
#[inline(never)]
const fn by_shifting(mut above: u32, mut below: u32, c: u32) -> u32 {
    let mut steps = 32_u32;
    while steps > 4 && above >> 28 == 0 && (above << 4 | below >> 28) < c {
        above = above << 4 | below >> 28;
        below <<= 4;
        steps = steps.wrapping_sub(4);
    }
    // Four steps are left at least, or eight, or twelve.
    loop {
        (above, below) = a_bit(above, below, c);
        (above, below) = a_bit(above, below, c);
        steps = steps.wrapping_sub(2);
        if steps == 0 {
            return below;
        }
    }
}

/// Twice what is left, and the next bit, against the divisor: with one of the two on either side no sum leaves the word.
#[inline(always)]
const fn a_bit(above: u32, below: u32, c: u32) -> (u32, u32) {
    let short = c.wrapping_sub(above);
    let more = above.wrapping_add(below >> 31);
    if more >= short {
        // Kept a branch: ARMv6-M has no instruction to choose with.
        core::hint::black_box(());
        (more.wrapping_sub(short), (below << 1).wrapping_add(1))
    } else {
        (above.wrapping_add(more), below << 1)
    }
}

/// Two digits of 16 bits, after Knuth (The Art of Computer Programming, volume 2, 4.3.1, algorithm D), as Warren gives it for two
/// words (Hacker's Delight, 9-4).
#[inline(never)]
const fn by_digits(above: u32, below: u32, c: u32) -> u32 {
    if above == 0 {
        return quotient(below, c);
    }
    let zeros = c.leading_zeros();
    let c = c.wrapping_shl(zeros);
    let a = ((above as u64) << 32 | below as u64).wrapping_shl(zeros);
    let (high, left) = digit((a >> 32) as u32, (a as u32) >> 16, c);
    let (low, _) = digit(left, a as u32 & 0xFFFF, c);
    high << 16 | low
}

/// One digit of 16 bits: `above * 2^16 + next` over a normalised `c`, and what is left.
const fn digit(above: u32, next: u32, c: u32) -> (u32, u32) {
    let (front, rest) = (c >> 16, c & 0xFFFF);
    let mut guess = quotient(above, front);
    let mut left = above.wrapping_sub(guess.wrapping_mul(front));
    // At most two too many.
    let mut tries = 0;
    while tries < 2 && (guess > 0xFFFF || guess.wrapping_mul(rest) > (left << 16 | next)) {
        guess = guess.wrapping_sub(1);
        left = left.wrapping_add(front);
        if left > 0xFFFF {
            break;
        }
        tries = 1_u32.wrapping_add(tries);
    }
    (guess, (above << 16 | next).wrapping_sub(guess.wrapping_mul(c)))
}

/// `value * ppm / 1,000,000`, held at `u32::MAX`; negative shares count as none.
#[must_use]
pub const fn share(value: u32, ppm: i32) -> u32 {
    mul_div(value, if ppm < 0 { 0 } else { ppm as u32 }, 1_000_000)
}

/// A share in ppm as a fraction of 2^32, rounded down. One whole, or more, is held at `u32::MAX`; less than none at 0.
#[must_use]
pub const fn ppm_of_turn(ppm: i32) -> u32 {
    // Below 2^63.
    divide((if ppm < 0 { 0 } else { ppm as u64 }) << 32, 1_000_000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_width() -> impl Strategy<Value = u32> {
        (any::<u32>(), 0..32_u32, 0..32_u32, any::<bool>()).prop_map(|(bits, right, left, near)| {
            let power = 1_u32 << left;
            if near { power.wrapping_add(bits % 5).wrapping_sub(2) } else { bits >> right }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        #[test]
        fn every_way_gives_what_the_machine_gives(above in any_width(), below in any_width(), c in any_width()) {
            let c = c.max(1);
            let above = above % c;
            let a = u64::from(above) << 32 | u64::from(below);
            let whole = (a / u64::from(c)) as u32;
            prop_assert_eq!(by_machine(a, c), whole);
            prop_assert_eq!(by_shifting(above, below, c), whole);
            prop_assert_eq!(by_digits(above, below, c), whole);
        }

        #[test]
        fn halves_multiply_as_the_machine_does(a in any_width(), b in any_width()) {
            prop_assert_eq!(high_by_halves(a, b), ((u64::from(a) * u64::from(b)) >> 32) as u32);
        }
    }

    /// Words where a shift, a mask or a digit begins or ends, and some between.
    fn edges() -> impl Iterator<Item = u32> + Clone {
        let powers = [0_u32, 1, 4, 12, 15, 16, 17, 24, 27, 28, 29, 31].into_iter().map(|power| 1_u32 << power);
        powers.flat_map(|power| [power.wrapping_sub(1), power, power + 1]).chain([
            0x9E37_79B9,
            0x0001_0203,
            0xFFFE_0001,
            0xFFFF_0000,
            u32::MAX - 1,
            u32::MAX,
        ])
    }

    #[test]
    fn at_the_edges_every_way_gives_what_the_machine_gives() {
        for (a, b) in edges().flat_map(|a| edges().map(move |b| (a, b))) {
            assert_eq!(high_by_halves(a, b), ((u64::from(a) * u64::from(b)) >> 32) as u32, "{a:#x} * {b:#x}");
            for c in edges().filter(|c| a < *c) {
                let whole = ((u64::from(a) << 32 | u64::from(b)) / u64::from(c)) as u32;
                assert_eq!(by_shifting(a, b, c), whole, "{a:#x}:{b:x} / {c:#x}");
                assert_eq!(by_digits(a, b, c), whole, "{a:#x}:{b:x} / {c:#x}");
            }
        }
    }

    #[test]
    fn ends_of_the_range() {
        assert_eq!(mul_div(u32::MAX, u32::MAX, u32::MAX), u32::MAX);
        assert_eq!(mul_div(u32::MAX, 2, 1), u32::MAX);
        assert_eq!(mul_div(1, 1, 0), u32::MAX);
        assert_eq!(high(u32::MAX, u32::MAX), u32::MAX - 1);
        assert_eq!(share(200, 1_400_000), 280);
        assert_eq!(share(200, -5), 0);
        assert_eq!(ppm_of_turn(250_000), 1 << 30);
        assert_eq!(ppm_of_turn(1_000_000), u32::MAX);
    }

    #[test]
    fn shares_are_rounded_down() {
        assert_eq!((mul_div(7, 3, 2), mul_div(7, 3, 22), divide(u64::from(u32::MAX), 1)), (10, 0, u32::MAX));
        assert_eq!((share(1_000_001, 1), share(999_999, 1), share(u32::MAX, 1_000_000)), (1, 0, u32::MAX));
        assert_eq!((share(200, 0), share(200, -1), share(1_000_000, 1)), (0, 0, 1));
        // 2^32 / 10^6 is 4294.967.
        assert_eq!(
            (ppm_of_turn(1), ppm_of_turn(0), ppm_of_turn(-1), ppm_of_turn(999_999)),
            (4_294, 0, 0, 4_294_963_001)
        );
        assert_eq!(divide(1 << 32, 1), u32::MAX, "held: one more than a word holds");
        assert_eq!(divide((1 << 32) - 1, 1), u32::MAX);
        assert_eq!((divide(5, 0), divide(0, 0), quotient(5, 0), by_machine(5, 0)), (u32::MAX, u32::MAX, 0, u32::MAX));
    }
}
