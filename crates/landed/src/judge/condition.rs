//! The conditions judge watches, in order of rank: at equal times the lower number comes first.

use serde::{Deserialize, Serialize};

/// Something that can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Condition {
    /// The head turns and the boot does not: two head turns without a boot edge. All slip heat enters one patch of belt.
    BeltNotFollowing,
    /// Slip over one boot turn beyond the stop setpoint.
    SlipVeryHigh,
    /// Slip over four boot turns beyond the alarm setpoint.
    SlipHigh,
    /// The heat that slip has put into pulley and belt exceeds its budget.
    SlipHeat,
    /// Slip so far below zero that one of the signals must be wrong.
    SlipImpossible,
    /// The boot seems to outrun the belt: a wrong ratio or an extra edge.
    SlipNegative,
    /// The belt is so slow that the leg must stop: 29 CFR 1910.272(q) allows a loss of no more than 20 %.
    DeepUnderspeed,
    /// The belt is slower than normal.
    Underspeed,
    /// The belt stands, or nearly, while the drive is on.
    NoMotion,
    /// The head shaft is slower than normal: the drive, not the belt.
    HeadUnderspeed,
    /// The leg was not at speed when the start time was up.
    StartFailed,
    /// More starts in the rolling window than allowed: jogging.
    TooManyStarts,
    /// The shafts turn with the drive off, after standing or faster and faster.
    Rollback,
    /// One sensor gives edges with the drive off and the leg at rest: chatter.
    EdgesAtRest,
    /// The belt rubs longer than allowed.
    Mistracking,
    /// The belt rubs on a larger share of the loop than allowed.
    MistrackingDuty,
    /// The belt goes on rubbing.
    MistrackingSustained,
    /// A rub point is hot.
    RubHot,
    /// The no-slip ratio seen over many turns is not the accepted one: lagging gone, build-up, wrong geometry.
    RatioShifted,
    /// The outlet is plugged.
    OutletPlugged,
    /// The head signal is not to be trusted.
    HeadSensorFault,
    /// The boot signal is not to be trusted.
    BootSensorFault,
    /// The head sensor fell silent while the boot turns.
    HeadSilent,
    /// Head and boot fell silent together faster than the leg can stop.
    BothSilent,
    /// Slip has been unknown for too long while running.
    SlipUnknown,
    /// A head target is missing, or there is one too many.
    HeadTargets,
    /// A boot target is missing, or there is one too many.
    BootTargets,
    /// A rub contact's line is faulty: the belt's place is not known there.
    ContactFault,
    /// The drive contact chatters or contradicts the shafts.
    DriveContactFault,
    /// The speed reference is lost, out of range, too fast or contradicts the head; nameplate speed is used.
    ReferenceFault,
    /// Too many inputs came out of order in time.
    TimeBaseFault,
    /// Settings or the stored state were unreadable or refused.
    SettingsFault,
    /// The reset button is held down.
    ResetHeld,
    /// A bypass is running.
    BypassActive,
    /// The leg was started while the run permit was dropped: the permit is bypassed in the wiring of the starter.
    PermitBypassed,
}

/// The unit of a condition's value and setpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Parts per million of what the condition is about.
    Ppm,
    /// Milliseconds.
    Milliseconds,
    /// Millionths of a turn.
    Microturns,
    /// Tenths of a degree Celsius.
    DeciCelsius,
    /// A number of things.
    Count,
    /// Just yes (1) or no (0).
    Flag,
}

impl Condition {
    /// How many conditions there are.
    pub const COUNT: usize = 35;

    /// All of them, in order of rank.
    pub const ALL: [Self; Self::COUNT] = [
        Self::BeltNotFollowing,
        Self::SlipVeryHigh,
        Self::SlipHigh,
        Self::SlipHeat,
        Self::SlipImpossible,
        Self::SlipNegative,
        Self::DeepUnderspeed,
        Self::Underspeed,
        Self::NoMotion,
        Self::HeadUnderspeed,
        Self::StartFailed,
        Self::TooManyStarts,
        Self::Rollback,
        Self::EdgesAtRest,
        Self::Mistracking,
        Self::MistrackingDuty,
        Self::MistrackingSustained,
        Self::RubHot,
        Self::RatioShifted,
        Self::OutletPlugged,
        Self::HeadSensorFault,
        Self::BootSensorFault,
        Self::HeadSilent,
        Self::BothSilent,
        Self::SlipUnknown,
        Self::HeadTargets,
        Self::BootTargets,
        Self::ContactFault,
        Self::DriveContactFault,
        Self::ReferenceFault,
        Self::TimeBaseFault,
        Self::SettingsFault,
        Self::ResetHeld,
        Self::BypassActive,
        Self::PermitBypassed,
    ];

    /// The position in [`Condition::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The unit of its value and setpoint.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::BeltNotFollowing => Unit::Microturns,
            Self::SlipVeryHigh
            | Self::SlipHigh
            | Self::SlipHeat
            | Self::SlipImpossible
            | Self::SlipNegative
            | Self::DeepUnderspeed
            | Self::Underspeed
            | Self::NoMotion
            | Self::HeadUnderspeed
            | Self::MistrackingDuty
            | Self::RatioShifted => Unit::Ppm,
            Self::StartFailed | Self::Mistracking | Self::MistrackingSustained | Self::SlipUnknown => {
                Unit::Milliseconds
            }
            Self::RubHot => Unit::DeciCelsius,
            Self::TooManyStarts => Unit::Count,
            _ => Unit::Flag,
        }
    }

    /// The name used in files and settings: lower case, words joined by underscores.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BeltNotFollowing => "belt_not_following",
            Self::SlipVeryHigh => "slip_very_high",
            Self::SlipHigh => "slip_high",
            Self::SlipHeat => "slip_heat",
            Self::SlipImpossible => "slip_impossible",
            Self::SlipNegative => "slip_negative",
            Self::DeepUnderspeed => "deep_underspeed",
            Self::Underspeed => "underspeed",
            Self::NoMotion => "no_motion",
            Self::HeadUnderspeed => "head_underspeed",
            Self::StartFailed => "start_failed",
            Self::TooManyStarts => "too_many_starts",
            Self::Rollback => "rollback",
            Self::EdgesAtRest => "edges_at_rest",
            Self::Mistracking => "mistracking",
            Self::MistrackingDuty => "mistracking_duty",
            Self::MistrackingSustained => "mistracking_sustained",
            Self::RubHot => "rub_hot",
            Self::RatioShifted => "ratio_shifted",
            Self::OutletPlugged => "outlet_plugged",
            Self::HeadSensorFault => "head_sensor_fault",
            Self::BootSensorFault => "boot_sensor_fault",
            Self::HeadSilent => "head_silent",
            Self::BothSilent => "both_silent",
            Self::SlipUnknown => "slip_unknown",
            Self::HeadTargets => "head_targets",
            Self::BootTargets => "boot_targets",
            Self::ContactFault => "contact_fault",
            Self::DriveContactFault => "drive_contact_fault",
            Self::ReferenceFault => "reference_fault",
            Self::TimeBaseFault => "time_base_fault",
            Self::SettingsFault => "settings_fault",
            Self::ResetHeld => "reset_held",
            Self::BypassActive => "bypass_active",
            Self::PermitBypassed => "permit_bypassed",
        }
    }

    /// The condition of that [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|condition| condition.name() == name)
    }

    /// Whether it may ever be bypassed. The two that stand between a stopped belt and a fire may not.
    #[must_use]
    pub const fn can_be_bypassed(self) -> bool {
        !matches!(
            self,
            Self::BeltNotFollowing
                | Self::DeepUnderspeed
                | Self::TimeBaseFault
                | Self::SettingsFault
                | Self::ResetHeld
                | Self::BypassActive
                | Self::PermitBypassed
                | Self::TooManyStarts
        )
    }

    /// Whether the boot must be reported clear before the leg may start again: after a choke or a slip trip.
    #[must_use]
    pub const fn needs_boot_cleared(self) -> bool {
        matches!(
            self,
            Self::BeltNotFollowing
                | Self::SlipVeryHigh
                | Self::SlipHeat
                | Self::DeepUnderspeed
                | Self::NoMotion
                | Self::StartFailed
        )
    }
}

/// A set of conditions, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ConditionSet(u64);

impl ConditionSet {
    /// None of them.
    pub const EMPTY: Self = Self(0);

    const fn bit(condition: Condition) -> u64 {
        1_u64.wrapping_shl(condition as u32)
    }

    /// Whether `condition` is in the set.
    #[must_use]
    pub const fn contains(self, condition: Condition) -> bool {
        self.0 & Self::bit(condition) != 0
    }

    /// The set with `condition`.
    #[must_use]
    pub const fn with(self, condition: Condition) -> Self {
        Self(self.0 | Self::bit(condition))
    }

    /// The set without `condition`.
    #[must_use]
    pub const fn without(self, condition: Condition) -> Self {
        Self(self.0 & !Self::bit(condition))
    }

    /// The members as bits: bit 0 stands for the first of [`Condition::ALL`].
    #[must_use]
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// The set of these bits; `None` if one of them stands for no condition.
    #[must_use]
    pub const fn from_bits(bits: u64) -> Option<Self> {
        if bits >> Condition::COUNT == 0 { Some(Self(bits)) } else { None }
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The set of these.
    pub(super) const fn of(mut list: &[Condition]) -> Self {
        let mut set = Self::EMPTY;
        while let [condition, rest @ ..] = list {
            set = set.with(*condition);
            list = rest;
        }
        set
    }

    /// What is in both.
    pub(super) const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What is in either.
    pub(super) const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// What is in one of the two, but not in both.
    pub(super) const fn differs(self, other: Self) -> Self {
        Self(self.0 ^ other.0)
    }

    /// What is in this one only.
    pub(super) const fn but(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// With `condition` or without it.
    pub(super) const fn put(self, condition: Condition, inside: bool) -> Self {
        if inside { self.with(condition) } else { self.without(condition) }
    }

    /// The member of the lowest rank.
    pub(super) fn first(self) -> Option<Condition> {
        Condition::ALL.get(self.0.trailing_zeros() as usize).copied()
    }

    /// The members, in order of rank.
    pub fn iter(self) -> impl Iterator<Item = Condition> {
        let mut rest = self;
        core::iter::from_fn(move || {
            let condition = rest.first()?;
            rest = rest.without(condition);
            Some(condition)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_whole_and_in_order() {
        for (index, condition) in Condition::ALL.into_iter().enumerate() {
            assert_eq!(condition.index(), index);
            assert_eq!(Condition::from_name(condition.name()), Some(condition));
        }
    }

    #[test]
    fn what_guards_a_stopped_belt_is_never_bypassed() {
        assert!(!Condition::BeltNotFollowing.can_be_bypassed());
        assert!(!Condition::DeepUnderspeed.can_be_bypassed());
    }
}
