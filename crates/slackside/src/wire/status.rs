//! What a desk watches live.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 7 | the moment, in running time, microseconds |
//! | 8 to 51 | the state of each alarm: its position in [`AlarmState`], at the number of its condition; zeros behind them |
//! | 52 to 55 | the number of the newest event |
//! | 56 to 59 | slip heat, in ppm of its budget |
//! | 60 | [`flags`] |
//! | 61 | what the leg is doing: its position in [`Phase`](crate::verdict::Phase) |
//! | 62 | number of the first-out condition, 255 if there is none |
//! | 63 | the rub contacts fitted: bit 0 stands for the first of [`Place::ALL`](crate::input::Place::ALL) |
//! | 64 to 239 | [`Signals`], as it stands; slip not known where it [is not](Monitor::knows_slip) |

use core::ops::Deref;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use zerocopy::{FromBytes, FromZeros, Immutable, IntoBytes, KnownLayout};

use crate::Monitor;
use crate::alarm::AlarmState;
use crate::conditions::{Condition, ConditionSet};
use crate::settings::plan::Plan;
use crate::signals::{Reading, Signals};
use crate::units::Micros;
use crate::verdict::Phase;

/// Yes or no, as bits of [`LinkStatus::flags`].
pub mod flags {
    /// The drive may run.
    pub const RUN_PERMIT: u8 = 1;
    /// The leg may be fed.
    pub const FEED_PERMIT: u8 = 2;
    /// The key at the box is on.
    pub const KEY_ON: u8 = 4;
    /// The boot must be reported clear before the next start.
    pub const BOOT_CLEARED_NEEDED: u8 = 8;
    /// Targets are fitted on the head shaft.
    pub const HEAD_FITTED: u8 = 16;
    /// Targets are fitted on the boot shaft.
    pub const BOOT_FITTED: u8 = 32;
}

/// Room for the states of alarms.
const STATES: usize = 44;
/// No condition.
const NONE: u8 = u8::MAX;

/// The state of a box at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct LinkStatus {
    /// The moment, in running time.
    at: u64,
    states: [u8; STATES],
    /// The number of the newest event.
    pub newest_event: u32,
    /// Slip heat, in ppm of its budget.
    pub slip_heat: i32,
    /// Yes or no: [`flags`].
    pub flags: u8,
    phase: u8,
    first_out: u8,
    /// The rub contacts fitted: bit 0 stands for the first of [`Place::ALL`](crate::input::Place::ALL).
    pub contacts: u8,
    /// What measure knows; slip only where it [is known](Monitor::knows_slip) now.
    pub signals: Signals,
}

impl LinkStatus {
    /// The state of `monitor` at `now`.
    #[must_use]
    #[inline(never)]
    pub fn of<P: Deref<Target = Plan>, const MARKS: usize>(
        monitor: &Monitor<P, MARKS>,
        now: Micros,
        key_on: bool,
        newest_event: u32,
    ) -> Self {
        let status = monitor.status();
        let mut it = Self::new_zeroed();
        it.at = now.get();
        it.newest_event = newest_event;
        it.phase = status.phase as u8;
        it.first_out = status.first_out.map_or(NONE, Condition::id);
        it.signals = *monitor.signals();
        if !monitor.knows_slip(now) {
            (it.signals.short, it.signals.long) = (Reading::UNKNOWN, Reading::UNKNOWN);
        }
        for condition in &Condition::ALL {
            if let Some(state) = it.states.get_mut(usize::from(condition.id())) {
                *state = monitor.alarm(*condition) as u8;
            }
        }
        let mut put = |flag, is: bool| it.flags |= if is { flag } else { 0 };
        put(flags::RUN_PERMIT, status.run_permit);
        put(flags::FEED_PERMIT, status.feed_permit);
        put(flags::KEY_ON, key_on);
        put(flags::BOOT_CLEARED_NEEDED, status.boot_cleared_needed);
        if let Some(plan) = monitor.plan() {
            put(flags::HEAD_FITTED, plan.head.is_fitted());
            put(flags::BOOT_FITTED, plan.boot.is_fitted());
            it.contacts = plan.contacts.fitted;
            it.slip_heat = monitor.slip_heat_at(now).get();
        }
        it
    }

    /// The moment, in running time.
    #[must_use]
    pub const fn at(&self) -> Micros {
        Micros::new(self.at)
    }

    /// Whether one of [`flags`] is set.
    #[must_use]
    pub const fn is(&self, flag: u8) -> bool {
        self.flags & flag != 0
    }

    /// What the leg is doing; not known where the box says something that this program does not know.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        Phase::of_number(self.phase)
    }

    /// The first-out of the present trip group.
    #[must_use]
    pub const fn first_out(&self) -> Option<Condition> {
        Condition::from_id(self.first_out)
    }

    /// Likewise by its number, known to this program or not.
    #[must_use]
    pub const fn first_out_number(&self) -> Option<u8> {
        if self.first_out == NONE { None } else { Some(self.first_out) }
    }

    /// The states of alarms by the numbers of their conditions, each as its number in [`AlarmState`].
    #[must_use]
    pub const fn states(&self) -> &[u8] {
        &self.states
    }

    /// The state of a condition's alarm, as its number in [`AlarmState`]: a newer box may know more of them.
    #[must_use]
    pub fn alarm(&self, condition: Condition) -> u8 {
        self.states.get(usize::from(condition.id())).copied().unwrap_or_default()
    }

    /// The conditions in one of these states.
    fn in_one_of(&self, states: &[AlarmState]) -> ConditionSet {
        let is_in = |condition: &Condition| {
            let state = self.alarm(*condition);
            // What a newer box may say of an alarm is not "nothing": somebody must look.
            let state = if state > AlarmState::OutOfService as u8 { AlarmState::Unacknowledged as u8 } else { state };
            states.iter().any(|one| *one as u8 == state)
        };
        Condition::ALL.into_iter().filter(is_in).fold(ConditionSet::EMPTY, ConditionSet::with)
    }

    /// Alarms unacknowledged, returned or latched ones included.
    #[must_use]
    pub fn unacknowledged(&self) -> ConditionSet {
        use AlarmState::{LatchedUnacknowledged, ReturnedUnacknowledged, Unacknowledged};
        self.in_one_of(&[Unacknowledged, ReturnedUnacknowledged, LatchedUnacknowledged])
    }

    /// Conditions wrong now, acknowledged or not.
    #[must_use]
    pub fn wrong(&self) -> ConditionSet {
        self.in_one_of(&[AlarmState::Unacknowledged, AlarmState::Acknowledged])
    }

    /// Conditions latched, no longer wrong.
    #[must_use]
    pub fn latched(&self) -> ConditionSet {
        self.in_one_of(&[AlarmState::LatchedUnacknowledged, AlarmState::LatchedAcknowledged])
    }

    /// Bypassed.
    #[must_use]
    pub fn shelved(&self) -> ConditionSet {
        self.in_one_of(&[AlarmState::Shelved])
    }
}

/// As its own bytes.
impl Serialize for LinkStatus {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_bytes(self.as_bytes())
    }
}

impl<'de> Deserialize<'de> for LinkStatus {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let bytes = <&[u8]>::deserialize(deserializer)?;
        Self::read_from_bytes(bytes).map_err(|_| serde::de::Error::custom("a status of another length"))
    }
}

#[cfg(test)]
mod tests {
    use core::mem::offset_of;

    use super::*;

    #[test]
    fn these_are_the_places_of_the_table() {
        assert_eq!(offset_of!(LinkStatus, states), 8);
        assert_eq!(offset_of!(LinkStatus, newest_event), 52);
        assert_eq!(offset_of!(LinkStatus, slip_heat), 56);
        assert_eq!(offset_of!(LinkStatus, flags), 60);
        assert_eq!(offset_of!(LinkStatus, phase), 61);
        assert_eq!(offset_of!(LinkStatus, first_out), 62);
        assert_eq!(offset_of!(LinkStatus, contacts), 63);
        assert_eq!(offset_of!(LinkStatus, signals), 64);
        assert_eq!(size_of::<LinkStatus>(), 240);
    }

    #[test]
    fn every_phase_is_read_as_written() {
        for phase in
            [Phase::Unsure, Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Inching]
        {
            let status = LinkStatus { phase: phase as u8, ..LinkStatus::read_from_bytes(&[0; 240]).expect("bytes") };
            assert_eq!(status.phase(), phase);
        }
    }
}
