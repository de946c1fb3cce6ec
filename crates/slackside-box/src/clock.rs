//! Time from a timer of few bits.

use slackside::units::Micros;

/// The full time of a capture whose timer has only 32 bits, given a moment no more than 35 minutes away from it.
///
/// `near` is the box's time, read before or after the capture; `low` the captured count of microseconds, which wraps every
/// 71 minutes. Whichever of the times that end in `low` lies nearest to `near` is meant. Before the first wrap a capture
/// cannot lie before zero: it is then taken later.
#[must_use]
pub const fn widen(near: Micros, low: u32) -> Micros {
    let ahead = low.wrapping_sub(near.get() as u32) as i32;
    match near.get().checked_add_signed(ahead as i64) {
        Some(full) => Micros::new(full),
        None => Micros::new(low as u64),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_is_meant_on_both_sides_of_a_wrap() {
        let wrap = 1_u64 << 32;
        let near = Micros::new(5 * wrap + 10);
        assert_eq!(widen(near, 12), Micros::new(5 * wrap + 12));
        assert_eq!(widen(near, 3), Micros::new(5 * wrap + 3));
        assert_eq!(widen(near, u32::MAX), Micros::new(5 * wrap - 1));
        assert_eq!(widen(Micros::new(5 * wrap - 2), 1), Micros::new(5 * wrap + 1));
    }

    #[test]
    fn before_the_first_wrap_nothing_lies_before_zero() {
        assert_eq!(widen(Micros::new(10), 7), Micros::new(7));
        assert_eq!(widen(Micros::new(10), u32::MAX), Micros::new(u64::from(u32::MAX)));
    }
}
