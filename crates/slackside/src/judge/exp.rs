//! Two to the power of minus x, in integers.
//!
//! A table of 64 steps an octave, and within a step 1 − u + u²/2 − u³/6 of e^−u. The next term is below
//! (ln 2 / 64)⁴ / 24 = 6e-10. Straight lines would do for one look, but not for an image that is anchored again at every
//! edge: near a table point a chord is half a per cent too flat. Never rising with x, so that whatever is built on it
//! can be bisected.

/// ln 2 in 2^-32.
const LN_2: u64 = 2_977_044_472;

const STEPS: usize = 64;

/// 2^-(i/64) in 2^-32, i from 0 to 64.
const TABLE: [u64; STEPS + 1] = table();

const fn table() -> [u64; STEPS + 1] {
    // The 64th root of one half by six square roots, in 2^-62; then its powers.
    let mut root: u128 = 1 << 61;
    let mut halvings = 0;
    while halvings < 6 {
        root = (root << 62).isqrt();
        halvings = 1_i32.wrapping_add(halvings);
    }
    let mut list = [0; STEPS + 1];
    let mut power: u128 = 1 << 62;
    let mut rest: &mut [u64] = &mut list;
    while let [slot, more @ ..] = rest {
        *slot = (power.wrapping_add(1 << 29) >> 30) as u64;
        power = power.wrapping_mul(root) >> 62;
        rest = more;
    }
    list
}

/// 2^-x in 2^-32, for x in 2^-56. Zero from x = 33 on.
pub(super) fn two_to_minus(x: u64) -> u64 {
    let octaves = x >> 56;
    if octaves > 32 {
        return 0;
    }
    let within = x & ((1 << 56) - 1);
    let step = (within >> 50) as usize;
    let part = (within >> 18) & 0xFFFF_FFFF;
    let upper = TABLE.get(step).copied().unwrap_or(0);
    let lower = TABLE.get(step.wrapping_add(1)).copied().unwrap_or(0);
    // u below 0.011 in 2^-32, so below 2^26; every product below 2^64.
    let u = part.wrapping_mul(LN_2) >> 38;
    let square = u.wrapping_mul(u) >> 32;
    let cube = square.wrapping_mul(u) >> 32;
    let fall = u.wrapping_sub(square / 2).wrapping_add(cube / 6);
    // At the end of a step rounding must not undercut the next.
    let value = upper.wrapping_sub(upper.wrapping_mul(fall) >> 32).max(lower);
    value.wrapping_shr(octaves as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: u64 = 1 << 32;

    #[test]
    #[allow(clippy::float_arithmetic)]
    fn it_stays_within_its_error_and_never_rises() {
        let mut last = u64::MAX;
        let mut x = 0_u64;
        while x < 40 << 56 {
            let got = two_to_minus(x);
            assert!(got <= last);
            last = got;
            // micromath's error is larger than the one tested: build the reference by halving and a Taylor series.
            let exact = {
                let octaves = x >> 56;
                let part = (x & ((1 << 56) - 1)) as f64 / (1_u64 << 56) as f64 * core::f64::consts::LN_2;
                let mut term = 1.0_f64;
                let mut sum = 1.0_f64;
                for n in 1..25 {
                    term *= -part / f64::from(n);
                    sum += term;
                }
                for _ in 0..octaves {
                    sum /= 2.0;
                }
                sum
            };
            let error = got as f64 / ONE as f64 - exact;
            assert!(error.abs() < 2e-9 * exact + 6e-10, "{x}: {error}");
            x += (1 << 46) + 12_345;
        }
        assert_eq!(two_to_minus(0), ONE);
        assert_eq!(two_to_minus(1 << 56), ONE / 2);
        assert_eq!(two_to_minus(u64::MAX), 0);
    }
}
