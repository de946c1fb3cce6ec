//! Small integer helpers. Each states its range and what it does at zero.

/// `a * b / c` without overflow in between; `None` if `c` is zero. Held at `u32::MAX`.
pub const fn mul_div(a: u32, b: u32, c: u32) -> Option<u32> {
    // The product of two 32-bit numbers fits 64 bits.
    match divide((a as u64).wrapping_mul(b as u64), c as u64) {
        Some(quotient) if quotient <= u32::MAX as u64 => Some(quotient as u32),
        Some(_) => Some(u32::MAX),
        None => None,
    }
}

/// `a / b`, rounded down; `None` if `b` is zero.
///
/// A Cortex-M has no instruction for it, and the compiler's own routine takes some 300. This one takes a fifth of that where
/// there is a 32-bit division.
pub const fn divide(a: u64, b: u64) -> Option<u64> {
    if cfg!(target_pointer_width = "64") { a.checked_div(b) } else { divide_in_halves(a, b) }
}

/// Division by halves, after Knuth (The Art of Computer Programming, volume 2, 4.3.1, algorithm D), as Warren gives it for
/// two words (Hacker's Delight, 9-4 and 9-5).
#[inline(never)]
const fn divide_in_halves(a: u64, b: u64) -> Option<u64> {
    if b == 0 {
        return None;
    }
    let (above, below) = ((a >> 32) as u32, a as u32);
    if b >> 32 == 0 {
        let b = b as u32;
        if above == 0 {
            return Some(quotient(below, b) as u64);
        }
        let high = quotient(above, b);
        let left = above.wrapping_sub(high.wrapping_mul(b));
        return Some((high as u64) << 32 | divide_two_words(left, below, b) as u64);
    }
    // The divisor's 32 leading bits give the quotient or one more; a half of the dividend keeps that within a word.
    let zeros = b.leading_zeros();
    let leading = (b.wrapping_shl(zeros) >> 32) as u32;
    let half = a >> 1;
    let guess = divide_two_words((half >> 32) as u32, half as u32, leading);
    let guess = (guess as u64).wrapping_shl(zeros) >> 31;
    let low = guess.saturating_sub(1);
    let left = a.wrapping_sub(low.wrapping_mul(b));
    Some(if left >= b { low.wrapping_add(1) } else { low })
}

/// Of two words over one, where `above` is less than `b`: the quotient is one word.
const fn divide_two_words(above: u32, below: u32, b: u32) -> u32 {
    if above == 0 {
        return quotient(below, b);
    }
    let zeros = b.leading_zeros();
    let b = b.wrapping_shl(zeros);
    let a = ((above as u64) << 32 | below as u64).wrapping_shl(zeros);
    let (high, left) = digit((a >> 32) as u32, (a as u32) >> 16, b);
    let (low, _) = digit(left, a as u32 & 0xFFFF, b);
    high << 16 | low
}

/// One digit of 16 bits: `above * 2^16 + next` over a normalised `b`, and what is left.
const fn digit(above: u32, next: u32, b: u32) -> (u32, u32) {
    let (front, rest) = (b >> 16, b & 0xFFFF);
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
    (guess, (above << 16 | next).wrapping_sub(guess.wrapping_mul(b)))
}

/// Zero over zero, which no caller asks for, is zero.
const fn quotient(a: u32, b: u32) -> u32 {
    match a.checked_div(b) {
        Some(quotient) => quotient,
        None => 0,
    }
}

/// `a * b / 2^32`: one of the two as a fraction of 2^32. Cannot overflow.
pub const fn fraction(a: u32, b: u32) -> u32 {
    ((a as u64).wrapping_mul(b as u64) >> 32) as u32
}

/// `value * ppm / 1,000,000`, held at `u32::MAX`; negative shares count as none.
pub const fn share(value: u32, ppm: i32) -> u32 {
    let ppm = if ppm < 0 { 0 } else { ppm as u32 };
    match mul_div(value, ppm, 1_000_000) {
        Some(part) => part,
        None => 0,
    }
}

/// A share in ppm as a fraction of 2^32, rounded down. One whole, or more, is held at `u32::MAX`; less than none at 0.
pub const fn ppm_of_turn(ppm: i32) -> u32 {
    if ppm <= 0 {
        return 0;
    }
    // ppm < 2^31, so the shifted value stays below 2^63.
    match divide((ppm as u64) << 32, 1_000_000) {
        Some(part) if part <= u32::MAX as u64 => part as u32,
        _ => u32::MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_width() -> impl Strategy<Value = u64> {
        (any::<u64>(), 0..64_u32, 0..64_u32, any::<bool>()).prop_map(|(bits, right, left, near)| {
            let power = 1_u64 << left;
            if near { power.wrapping_add(bits % 5).wrapping_sub(2) } else { bits >> right }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        #[test]
        fn halves_give_what_the_machine_gives(a in any_width(), b in any_width()) {
            prop_assert_eq!(divide_in_halves(a, b), a.checked_div(b));
            // Just below and at a multiple.
            let multiple = (a / b.max(1)).wrapping_mul(b);
            prop_assert_eq!(divide_in_halves(multiple, b), multiple.checked_div(b));
            prop_assert_eq!(divide_in_halves(multiple.wrapping_sub(1), b), multiple.wrapping_sub(1).checked_div(b));
        }
    }

    #[test]
    fn edges_of_the_range() {
        assert_eq!(mul_div(u32::MAX, u32::MAX, u32::MAX), Some(u32::MAX));
        assert_eq!(mul_div(u32::MAX, 2, 1), Some(u32::MAX));
        assert_eq!(mul_div(1, 1, 0), None);
        assert_eq!(fraction(u32::MAX, u32::MAX), u32::MAX - 1);
        assert_eq!(share(200, 1_400_000), 280);
        assert_eq!(share(200, -5), 0);
        assert_eq!(ppm_of_turn(250_000), 1 << 30);
        assert_eq!(ppm_of_turn(1_000_000), u32::MAX);
    }
}
