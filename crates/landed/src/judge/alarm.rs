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

/// What can move an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Event {
    /// Wrong for the whole on-delay.
    Raise,
    /// Right for the whole off-delay.
    Clear,
    /// A person has seen it.
    Acknowledge,
    /// A person resets what is latched.
    Reset,
    /// A bypass begins.
    Shelve,
    /// The design takes it out for a time.
    Suppress,
    /// The design puts it back.
    Unsuppress,
    /// Not fitted or switched off.
    TakeOut,
}

impl AlarmState {
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

    /// The state after `event`; `latching` is whether this occurrence of the alarm stays until reset.
    pub(super) const fn next(self, event: Event, latching: bool) -> Self {
        match (self, event) {
            (
                Self::Normal
                | Self::Suppressed
                | Self::ReturnedUnacknowledged
                | Self::LatchedUnacknowledged
                | Self::LatchedAcknowledged,
                Event::Raise,
            ) => Self::Unacknowledged,
            (Self::Unacknowledged, Event::Clear) if latching => Self::LatchedUnacknowledged,
            (Self::Unacknowledged, Event::Clear) => Self::ReturnedUnacknowledged,
            (Self::Acknowledged, Event::Clear) if latching => Self::LatchedAcknowledged,
            (Self::Acknowledged, Event::Clear) => Self::Normal,
            (Self::Unacknowledged, Event::Acknowledge) => Self::Acknowledged,
            (Self::ReturnedUnacknowledged, Event::Acknowledge) => Self::Normal,
            (Self::LatchedUnacknowledged, Event::Acknowledge) => Self::LatchedAcknowledged,
            (Self::LatchedAcknowledged, Event::Reset) => Self::Normal,
            (Self::OutOfService, Event::Shelve) => Self::OutOfService,
            (_, Event::Shelve) => Self::Shelved,
            // Only a quiet alarm is suppressed: what was raised or latched stays in sight.
            (Self::Normal, Event::Suppress) => Self::Suppressed,
            (Self::Suppressed, Event::Unsuppress) => Self::Normal,
            (Self::Normal | Self::Suppressed, Event::TakeOut) => Self::OutOfService,
            (state, _) => state,
        }
    }

    /// The state in which an alarm comes out of its bypass: `self` is the state it had when the bypass began. What is
    /// wrong now is raised afresh; what was latched is latched still; what came and went meanwhile is ignored, as
    /// OPC UA Part 9 (5.8.17.1) has it of timed shelving.
    pub(super) const fn unshelved(self, wrong_now: bool, latching: bool) -> Self {
        if wrong_now {
            return Self::Unacknowledged;
        }
        match self {
            Self::Unacknowledged | Self::Acknowledged => self.next(Event::Clear, latching),
            Self::Shelved | Self::Suppressed => Self::Normal,
            state => state,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::AlarmState::{self, *};
    use super::Event;

    const STATES: [AlarmState; 9] = [
        Normal,
        Unacknowledged,
        Acknowledged,
        ReturnedUnacknowledged,
        LatchedUnacknowledged,
        LatchedAcknowledged,
        Shelved,
        Suppressed,
        OutOfService,
    ];
    const EVENTS: [Event; 8] = [
        Event::Raise,
        Event::Clear,
        Event::Acknowledge,
        Event::Reset,
        Event::Shelve,
        Event::Suppress,
        Event::Unsuppress,
        Event::TakeOut,
    ];

    /// Normal, unacknowledged, acknowledged and returned: a state diagram after ISA 18.2. The latched states and the
    /// refusal of a reset before the acknowledgement: from memory of IEC 62682, with OPC UA Part 9 4.8 ("does not clear
    /// until explicitly reset").
    const MOVES: &[(AlarmState, Event, bool, AlarmState)] = &[
        (Normal, Event::Raise, false, Unacknowledged),
        (Normal, Event::Raise, true, Unacknowledged),
        (Unacknowledged, Event::Acknowledge, false, Acknowledged),
        (Unacknowledged, Event::Acknowledge, true, Acknowledged),
        (Unacknowledged, Event::Clear, false, ReturnedUnacknowledged),
        (Unacknowledged, Event::Clear, true, LatchedUnacknowledged),
        (Acknowledged, Event::Clear, false, Normal),
        (Acknowledged, Event::Clear, true, LatchedAcknowledged),
        (ReturnedUnacknowledged, Event::Acknowledge, false, Normal),
        (ReturnedUnacknowledged, Event::Acknowledge, true, Normal),
        (ReturnedUnacknowledged, Event::Raise, false, Unacknowledged),
        (ReturnedUnacknowledged, Event::Raise, true, Unacknowledged),
        (LatchedUnacknowledged, Event::Raise, false, Unacknowledged),
        (LatchedUnacknowledged, Event::Raise, true, Unacknowledged),
        (LatchedAcknowledged, Event::Raise, false, Unacknowledged),
        (LatchedAcknowledged, Event::Raise, true, Unacknowledged),
        (LatchedUnacknowledged, Event::Acknowledge, false, LatchedAcknowledged),
        (LatchedUnacknowledged, Event::Acknowledge, true, LatchedAcknowledged),
        (LatchedAcknowledged, Event::Reset, false, Normal),
        (LatchedAcknowledged, Event::Reset, true, Normal),
        (Normal, Event::Suppress, false, Suppressed),
        (Normal, Event::Suppress, true, Suppressed),
        (Suppressed, Event::Unsuppress, false, Normal),
        (Suppressed, Event::Unsuppress, true, Normal),
        (Normal, Event::TakeOut, false, OutOfService),
        (Normal, Event::TakeOut, true, OutOfService),
        (Suppressed, Event::TakeOut, false, OutOfService),
        (Suppressed, Event::TakeOut, true, OutOfService),
    ];

    #[test]
    fn every_move_is_listed_and_every_other_does_nothing() {
        for state in STATES {
            for event in EVENTS {
                for latching in [false, true] {
                    let listed = MOVES
                        .iter()
                        .find(|(from, by, latch, _)| (*from, *by, *latch) == (state, event, latching))
                        .map(|(.., to)| *to);
                    let expected = match (listed, event, state) {
                        (Some(to), ..) => to,
                        (None, Event::Shelve, OutOfService) => OutOfService,
                        (None, Event::Shelve, _) => Shelved,
                        (None, ..) => state,
                    };
                    assert_eq!(state.next(event, latching), expected, "{state:?} {event:?} latching {latching}");
                }
            }
        }
    }

    #[test]
    fn a_bypass_hides_a_latch_and_does_not_lose_it() {
        assert_eq!(LatchedUnacknowledged.unshelved(false, true), LatchedUnacknowledged);
        assert_eq!(Acknowledged.unshelved(false, true), LatchedAcknowledged);
        assert_eq!(Normal.unshelved(true, true), Unacknowledged);
        assert_eq!(Normal.unshelved(false, true), Normal);
    }
}
