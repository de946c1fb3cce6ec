//! Small integer helpers. Each states its range and what it does at zero.

/// `a * b / c` without overflow in between; `None` if `c` is zero. Held at `u32::MAX`.
pub const fn mul_div(a: u32, b: u32, c: u32) -> Option<u32> {
    // The product of two 32-bit numbers fits 64 bits.
    match (a as u64).wrapping_mul(b as u64).checked_div(c as u64) {
        Some(quotient) if quotient <= u32::MAX as u64 => Some(quotient as u32),
        Some(_) => Some(u32::MAX),
        None => None,
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
    match ((ppm as u64) << 32).checked_div(1_000_000) {
        Some(part) if part <= u32::MAX as u64 => part as u32,
        _ => u32::MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
