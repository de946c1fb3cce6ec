//! Units: one type for each quantity, the unit in the type or its name.
//!
//! Everything that decides is an integer, so that the box and the desk agree to the last bit. Values saturate, they do
//! not wrap, except [`Turns`], where wrapping is the point.

use serde::{Deserialize, Serialize};

macro_rules! unit {
    ($(#[$meta:meta])* $name:ident($repr:ty), $suffix:literal) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(transparent)]
        pub struct $name($repr);

        impl $name {
            /// The largest value the type holds.
            pub const MAX: Self = Self(<$repr>::MAX);
            /// Nothing of it.
            pub const ZERO: Self = Self(0);

            #[doc = concat!("A quantity of ", $suffix, ".")]
            #[must_use]
            pub const fn new(value: $repr) -> Self {
                Self(value)
            }

            #[doc = concat!("The number of ", $suffix, ".")]
            #[must_use]
            pub const fn get(self) -> $repr {
                self.0
            }

            /// Sum, held at the ends of the type.
            #[must_use]
            pub const fn saturating_add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }

            /// Difference, held at the ends of the type.
            #[must_use]
            pub const fn saturating_sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }
    };
}

unit! {
    /// A moment: microseconds since the box was reset, or since the trace began. 584,000 years fit.
    Micros(u64), "microseconds since the time base began"
}
unit! {
    /// A stretch of time in microseconds; the longest is 71 minutes.
    Span(u32), "microseconds"
}
unit! {
    /// A part of one turn, in 2^-32 turn. A whole turn does not fit: see [`Turns`].
    TurnFraction(u32), "2^-32 turn"
}
unit! {
    /// An angle of many turns, in 2^-32 turn.
    Turns(u64), "2^-32 turn"
}
unit! {
    /// Parts per million: slip, deviations, duty. 10,000 ppm is one per cent.
    Ppm(i32), "parts per million"
}
unit! {
    /// The no-slip ratio: boot turns for each head turn when the belt does not slip, in parts per million.
    Ratio(u32), "parts per million"
}
unit! {
    /// A length in micrometres.
    Micrometres(i64), "micrometres"
}
unit! {
    /// The speed of a belt in micrometres a second.
    MicrometresPerSecond(u32), "micrometres a second"
}
unit! {
    /// The speed of a shaft in millionths of a turn a second: 1 rpm is 16,667.
    MicroturnsPerSecond(u32), "microturns a second"
}
unit! {
    /// Power in watts.
    Watts(u32), "watts"
}
unit! {
    /// Heat in joules.
    Joules(u32), "joules"
}
unit! {
    /// Temperature in tenths of a degree Celsius.
    DeciCelsius(i16), "tenths of a degree Celsius"
}

impl Micros {
    /// The moment `span` later, held at the end of time.
    #[must_use]
    pub const fn after(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0 as u64))
    }

    /// The time from `earlier` to this moment: zero if it is later, and held at 71 minutes.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Span {
        let gap = self.0.saturating_sub(earlier.0);
        Span(if gap > u32::MAX as u64 { u32::MAX } else { gap as u32 })
    }
}

impl Span {
    /// A stretch of whole milliseconds, held at 71 minutes.
    #[must_use]
    pub const fn from_millis(millis: u32) -> Self {
        Self(millis.saturating_mul(1_000))
    }
}

impl Ppm {
    /// One whole, or 100 %.
    pub const ONE: Self = Self(1_000_000);

    /// So many per cent, held at the ends of the type.
    #[must_use]
    pub const fn from_percent(percent: i32) -> Self {
        Self(percent.saturating_mul(10_000))
    }
}

impl Turns {
    /// One whole turn.
    pub const ONE: Self = Self(1 << 32);

    /// The angle `fraction` further on; wraps after four thousand million turns, and differences wrap back.
    #[must_use]
    pub const fn forward(self, fraction: TurnFraction) -> Self {
        Self(self.0.wrapping_add(fraction.0 as u64))
    }

    /// How far this angle is beyond `earlier`, wrapping.
    #[must_use]
    pub const fn beyond(self, earlier: Self) -> Self {
        Self(self.0.wrapping_sub(earlier.0))
    }
}

impl Ratio {
    /// One boot turn for each head turn.
    pub const ONE: Self = Self(1_000_000);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_later_earlier_moment_is_no_time_away() {
        assert_eq!(Micros::new(5).since(Micros::new(9)), Span::ZERO);
        assert_eq!(Micros::new(u64::MAX).since(Micros::ZERO), Span::MAX);
    }

    #[test]
    fn angles_wrap_and_wrap_back() {
        let near_the_end = Turns::new(u64::MAX - 5);
        let on = near_the_end.forward(TurnFraction::new(20));
        assert_eq!(on.beyond(near_the_end), Turns::new(20));
    }
}
