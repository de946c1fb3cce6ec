//! What a desk watches live.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 7 | the moment, in running time, microseconds |
//! | 8 to 39 | conditions unacknowledged; wrong; latched; bypassed: 8 bytes each, bit `n` stands for the condition whose number is `n` |
//! | 40 to 43 | the number of the newest event |
//! | 44 to 47 | slip heat, in ppm of its budget |
//! | 48 | [`flags`] |
//! | 49 | what the leg is doing: its position in [`Phase`](crate::verdict::Phase) |
//! | 50 | number of the first-out condition, 255 if there is none |
//! | 51 | the rub contacts fitted: bit 0 stands for the first of [`Place::ALL`](crate::input::Place::ALL) |
//! | 52 to 259 | [`Signals`], as it stands |
//! | 260 to 263 | zero |

use core::ops::Deref;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::Monitor;
use crate::alarm::{AlarmState, Set};
use crate::conditions::{Condition, ConditionSet};
use crate::settings::plan::Plan;
use crate::signals::Signals;
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

/// No condition.
const NONE: u8 = u8::MAX;

/// The state of a box at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct LinkStatus {
    /// The moment, in running time.
    at: u64,
    sets: [u64; 4],
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
    /// What measure knows.
    pub signals: Signals,
    spare: [u8; 4],
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
        let mut sets = [Set::EMPTY; 4];
        for condition in Condition::ALL {
            let state = monitor.alarm(condition);
            let is = [
                state.wants_acknowledgement(),
                matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged),
                matches!(state, AlarmState::LatchedUnacknowledged | AlarmState::LatchedAcknowledged),
                state == AlarmState::Shelved,
            ];
            for (set, is) in sets.iter_mut().zip(is) {
                *set = set.put(condition.id().into(), is);
            }
        }
        let (head, boot, contacts) = monitor
            .plan()
            .map_or((false, false, 0), |plan| (plan.head.is_fitted(), plan.boot.is_fitted(), plan.contacts.fitted));
        let all = [status.run_permit, status.feed_permit, key_on, status.boot_cleared_needed, head, boot];
        Self {
            at: now.get(),
            sets: sets.map(Set::bits),
            newest_event,
            slip_heat: monitor.slip_heat_at(now).get(),
            flags: all.into_iter().rev().fold(0, |flags, is| flags << 1 | u8::from(is)),
            phase: status.phase as u8,
            first_out: status.first_out.map_or(NONE, Condition::id),
            contacts,
            signals: *monitor.signals(),
            spare: [0; 4],
        }
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
        match self.phase {
            1 => Phase::Standstill,
            2 => Phase::Starting,
            3 => Phase::Running,
            4 => Phase::CoastDown,
            5 => Phase::Inching,
            _ => Phase::Unsure,
        }
    }

    /// The first-out of the present trip group.
    #[must_use]
    pub const fn first_out(&self) -> Option<Condition> {
        Condition::from_id(self.first_out)
    }

    /// A set, without what this program does not know.
    fn set(bits: u64) -> ConditionSet {
        let members =
            Condition::ALL.into_iter().filter(|condition| Set::from_bits(bits).contains(condition.id().into()));
        members.fold(ConditionSet::EMPTY, ConditionSet::with)
    }

    /// Alarms unacknowledged, returned or latched ones included.
    #[must_use]
    pub fn unacknowledged(&self) -> ConditionSet {
        let [bits, ..] = self.sets;
        Self::set(bits)
    }

    /// Conditions wrong now, acknowledged or not.
    #[must_use]
    pub fn wrong(&self) -> ConditionSet {
        let [_, bits, ..] = self.sets;
        Self::set(bits)
    }

    /// Conditions latched, no longer wrong.
    #[must_use]
    pub fn latched(&self) -> ConditionSet {
        let [.., bits, _] = self.sets;
        Self::set(bits)
    }

    /// Bypassed.
    #[must_use]
    pub fn shelved(&self) -> ConditionSet {
        let [.., bits] = self.sets;
        Self::set(bits)
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
        assert_eq!(offset_of!(LinkStatus, sets), 8);
        assert_eq!(offset_of!(LinkStatus, newest_event), 40);
        assert_eq!(offset_of!(LinkStatus, slip_heat), 44);
        assert_eq!(offset_of!(LinkStatus, flags), 48);
        assert_eq!(offset_of!(LinkStatus, phase), 49);
        assert_eq!(offset_of!(LinkStatus, first_out), 50);
        assert_eq!(offset_of!(LinkStatus, contacts), 51);
        assert_eq!(offset_of!(LinkStatus, signals), 52);
        assert_eq!(offset_of!(LinkStatus, spare), 260);
        assert_eq!(size_of::<LinkStatus>(), 264);
    }

    #[test]
    fn every_phase_is_read_as_written() {
        for phase in
            [Phase::Unsure, Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Inching]
        {
            let status = LinkStatus { phase: phase as u8, ..LinkStatus::read_from_bytes(&[0; 264]).expect("bytes") };
            assert_eq!(status.phase(), phase);
        }
    }
}
