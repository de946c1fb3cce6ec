//! The states of an alarm, after IEC 62682.

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
