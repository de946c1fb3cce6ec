//! Two to the power of minus x, in integers.
//!
//! A table of 64 steps an octave, and within a step 1 − u + u²/2 − u³/6 of e^−u. The next term is below
//! (ln 2 / 64)⁴ / 24 = 6e-10. Straight lines would do for one look, but not for an image that is anchored again at every
//! edge: near a table point a chord is half a per cent too flat. Never rising with x, so that whatever is built on it
//! can be bisected.

use crate::math::divide;

/// ln 2 in 2^-32.
const LN_2: u64 = 2_977_044_472;

const STEPS: usize = 64;

/// How near the end of three chords is taken to be, in 2^-32 of a step; if it is not, bisection takes longer.
const NEAR: u64 = 1 << 10;

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
    let (upper, lower) = step(x >> 50);
    within(upper, lower, (x >> 18) & 0xFFFF_FFFF).wrapping_shr(octaves as u32)
}

/// Both ends of a step of the table; steps of later octaves wrap.
fn step(index: u64) -> (u64, u64) {
    let index = (index as usize) & (STEPS - 1);
    let at = |index| TABLE.get(index).copied().unwrap_or(0);
    (at(index), at(index.wrapping_add(1)))
}

/// The value after so much of a step, in 2^-32 of it.
#[inline(never)]
const fn within(upper: u64, lower: u64, part: u64) -> u64 {
    // u below 0.011 in 2^-32, so below 2^26; every product below 2^64.
    let u = part.wrapping_mul(LN_2) >> 38;
    let square = u.wrapping_mul(u) >> 32;
    let cube = square.wrapping_mul(u) >> 32;
    let fall = u.wrapping_sub(square / 2).wrapping_add(sixth(cube));
    // At the end of a step rounding must not undercut the next.
    let value = upper.wrapping_sub(upper.wrapping_mul(fall) >> 32);
    if value > lower { value } else { lower }
}

/// `cube / 6`: the cube of what is below 2^26 in 2^-32 is below 2^14.
const fn sixth(cube: u64) -> u64 {
    (cube as u32 / 6) as u64
}

/// The first x, in 2^-56, at which 2^-x is no more than `most`, in 2^-32.
pub(super) fn first_at_most(most: u64) -> u64 {
    const END: u64 = 33 * STEPS as u64;
    if two_to_minus(0) <= most {
        return 0;
    }
    // The first step that begins no higher, by bisection; then within the step before it.
    let (mut above, mut reached) = (0, END);
    while reached.saturating_sub(above) > 1 {
        let middle: u64 = above.midpoint(reached);
        let (upper, _) = step(middle);
        if upper.wrapping_shr((middle >> 6) as u32) <= most {
            reached = middle;
        } else {
            above = middle;
        }
    }
    let (upper, lower) = step(above);
    let octaves = (above >> 6) as u32;
    let (mut before, mut after) = (0, 1_u64 << 32);
    // The curve sags below its chord by so little that three chords end within a few hundred parts of it.
    let goal = most.saturating_add(1).wrapping_shl(octaves).saturating_sub(1);
    let mut end = lower;
    for _ in 0..3 {
        let (fall, whole) = (upper.saturating_sub(goal), upper.saturating_sub(end));
        let Some(part) = divide(fall.wrapping_mul(after), whole) else { break };
        let value = within(upper, lower, part);
        if value > goal || part >= after {
            break;
        }
        (after, end) = (part, value);
    }
    let close = after.saturating_sub(NEAR);
    if within(upper, lower, close).wrapping_shr(octaves) > most {
        before = close;
    }
    while after.saturating_sub(before) > 1 {
        let middle = before.midpoint(after);
        if within(upper, lower, middle).wrapping_shr(octaves) <= most {
            after = middle;
        } else {
            before = middle;
        }
    }
    above.wrapping_shl(50).wrapping_add(after.wrapping_shl(18))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: u64 = 1 << 32;

    #[test]
    fn the_first_at_most_is_the_first() {
        for most in (0..40).map(|power| 1_u64 << power).chain([0, 3, 1_000, ONE - 1, ONE, ONE + 1, 4_000_000_000, 77]) {
            let first = first_at_most(most);
            assert!(two_to_minus(first) <= most, "{most}");
            assert!(first == 0 || two_to_minus(first - 1) > most, "{most}");
        }
    }

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
