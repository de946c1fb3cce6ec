//! The states of an alarm, after IEC 62682, and the moves between them.
//!
//! ```text
//!              raise                    acknowledge
//!   Normal ───────────► Unacknowledged ────────────► Acknowledged
//!     ▲  ▲                 │     ▲                     │     │
//!     │  │           clear │     │ raise         clear │     │ clear, latching
//!     │  │ acknowledge     ▼     │      not latching   │     ▼
//!     │  └──── ReturnedUnacknowledged                  │  LatchedAcknowledged ──► Normal on reset
//!     └────────────────────────────────────────────────┘     ▲
//!   Unacknowledged ──clear, latching──► LatchedUnacknowledged┘ acknowledge
//! ```
//! A latched alarm that gets wrong again goes back to `Unacknowledged`, after its on-delay like any other. A move that
//! is not drawn does nothing: above all, a reset before the acknowledgement.

use serde::{Deserialize, Serialize};

/// The state of one alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AlarmState {
    /// Nothing is wrong.
    #[default]
    Normal,
    /// Wrong, and nobody has acknowledged it.
    Unacknowledged,
    /// Wrong, and acknowledged.
    Acknowledged,
    /// No longer wrong, but nobody acknowledged it.
    ReturnedUnacknowledged,
    /// No longer wrong, latched until reset, not acknowledged.
    LatchedUnacknowledged,
    /// No longer wrong, latched until reset, acknowledged.
    LatchedAcknowledged,
    /// Bypassed for a time by a person.
    Shelved,
    /// Suppressed by design, as underspeed is while starting.
    Suppressed,
    /// Not fitted, or switched off in the settings.
    OutOfService,
}

/// What is kept of one alarm: the state is told from it.
pub mod bits {
    /// At the limit or beyond, deadband counted.
    pub const BEYOND: u8 = 1;
    /// Wrong, delays counted.
    pub const ACTIVE: u8 = 2;
    /// Nobody has acknowledged it.
    pub const UNACKNOWLEDGED: u8 = 4;
    /// This occurrence stays until reset.
    pub const LATCHED: u8 = 8;
    /// Suppressed by design, while it would be normal.
    pub const SUPPRESSED: u8 = 16;
    /// Bypassed for a time by a person. The bits of acknowledgement and latch stay as they were when it began.
    pub const SHELVED: u8 = 32;
    /// A delay runs.
    pub const PENDING: u8 = 64;
    /// Not fitted, or switched off.
    pub const OUT: u8 = 128;
}

impl AlarmState {
    /// The state that these bits are.
    #[must_use]
    pub const fn of(bits: u8) -> Self {
        let unacknowledged = bits & bits::UNACKNOWLEDGED != 0;
        if bits & bits::SHELVED != 0 {
            Self::Shelved
        } else if bits & bits::ACTIVE != 0 {
            if unacknowledged { Self::Unacknowledged } else { Self::Acknowledged }
        } else if bits & bits::LATCHED != 0 {
            if unacknowledged { Self::LatchedUnacknowledged } else { Self::LatchedAcknowledged }
        } else if unacknowledged {
            Self::ReturnedUnacknowledged
        } else if bits & bits::OUT != 0 {
            Self::OutOfService
        } else if bits & bits::SUPPRESSED != 0 {
            Self::Suppressed
        } else {
            Self::Normal
        }
    }

    /// Whether it is wrong, or latched from when it was: a stop holds the permits dropped while so.
    #[must_use]
    pub const fn holds(self) -> bool {
        matches!(
            self,
            Self::Unacknowledged | Self::Acknowledged | Self::LatchedUnacknowledged | Self::LatchedAcknowledged
        )
    }

    /// Whether a person has still to acknowledge it.
    #[must_use]
    pub const fn wants_acknowledgement(self) -> bool {
        matches!(self, Self::Unacknowledged | Self::ReturnedUnacknowledged | Self::LatchedUnacknowledged)
    }
}

#[cfg(test)]
mod tests {
    use super::bits::{ACTIVE, BEYOND, LATCHED, OUT, PENDING, SHELVED, SUPPRESSED, UNACKNOWLEDGED};
    use super::*;

    #[test]
    fn the_state_is_that_of_its_bits() {
        use AlarmState as State;
        let table = [
            (0, State::Normal),
            (BEYOND | PENDING, State::Normal),
            (ACTIVE | UNACKNOWLEDGED, State::Unacknowledged),
            (ACTIVE, State::Acknowledged),
            (UNACKNOWLEDGED, State::ReturnedUnacknowledged),
            (LATCHED | UNACKNOWLEDGED, State::LatchedUnacknowledged),
            (LATCHED, State::LatchedAcknowledged),
            (SUPPRESSED, State::Suppressed),
            (OUT, State::OutOfService),
            // What is wrong or latched stays in sight whatever else is; and a bypass covers all.
            (ACTIVE | UNACKNOWLEDGED | SUPPRESSED | OUT, State::Unacknowledged),
            (LATCHED | SUPPRESSED | OUT, State::LatchedAcknowledged),
            (ACTIVE | LATCHED, State::Acknowledged),
            (UNACKNOWLEDGED | OUT | SUPPRESSED, State::ReturnedUnacknowledged),
            (OUT | SUPPRESSED, State::OutOfService),
            (SHELVED | ACTIVE | UNACKNOWLEDGED | LATCHED, State::Shelved),
        ];
        for (bits, state) in table {
            assert_eq!(AlarmState::of(bits), state, "{bits:#010b}");
        }
    }

    #[test]
    fn what_is_wrong_or_latched_holds_and_what_nobody_saw_wants_somebody() {
        use AlarmState as State;
        let all = [
            (State::Normal, false, false),
            (State::Unacknowledged, true, true),
            (State::Acknowledged, true, false),
            (State::ReturnedUnacknowledged, false, true),
            (State::LatchedUnacknowledged, true, true),
            (State::LatchedAcknowledged, true, false),
            (State::Shelved, false, false),
            (State::Suppressed, false, false),
            (State::OutOfService, false, false),
        ];
        for (state, holds, wants) in all {
            assert_eq!((state.holds(), state.wants_acknowledgement()), (holds, wants), "{state:?}");
        }
    }
}
