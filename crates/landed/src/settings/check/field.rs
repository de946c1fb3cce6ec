//! Which setting a violation is about.

use core::fmt;

use crate::input::Shaft;
use crate::judge::{Condition, Unit};

/// One value of a [`Pulley`](crate::settings::Pulley).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PulleyPart {
    /// Diameter without lagging.
    BareDiameter,
    /// Lagging thickness.
    Lagging,
    /// Face width.
    Face,
    /// Crown, as difference in diameter.
    Crown,
}

/// One value of [`Targets`](crate::settings::Targets).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TargetsPart {
    /// Whether there are any.
    Fitted,
    /// Targets a turn.
    Count,
    /// Tolerance of an even spacing.
    SpacingTolerance,
    /// Smallest pitch of an uneven spacing.
    Closest,
    /// Largest pitch of an uneven spacing.
    Widest,
    /// Whether the line is supervised.
    Supervised,
}

/// One value of a [`Limit`](crate::settings::Limit).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LimitPart {
    /// Whether it is judged.
    Enabled,
    /// The setpoint.
    Setpoint,
    /// The deadband.
    Deadband,
    /// The on-delay.
    OnDelay,
    /// The off-delay.
    OffDelay,
    /// Whether it latches.
    Latching,
    /// What it does.
    Action,
}

/// A setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Field {
    /// The leg's name.
    Leg,
    /// A pulley: head or boot.
    Pulley(Shaft, PulleyPart),
    /// Belt thickness.
    BeltThickness,
    /// Belt width.
    BeltWidth,
    /// Length of the belt loop.
    LoopLength,
    /// Normal speed of a shaft.
    NormalSpeed(Shaft),
    /// Belt speed, as the boot pulley and its normal speed give it.
    BeltSpeed,
    /// The no-slip ratio, as the pulleys give it.
    Ratio,
    /// The targets of a shaft.
    Targets(Shaft, TargetsPart),
    /// The drive contact.
    DriveContact,
    /// Lowest speed reference.
    ReferenceMinimum,
    /// Fastest change of the speed reference.
    ReferenceRamp,
    /// Rated power.
    RatedPower,
    /// Service factor.
    ServiceFactor,
    /// The accepted ratio.
    AcceptedRatio,
    /// The spread of the accepted ratio.
    AcceptedSpread,
    /// Minimum width of a level.
    MinimumWidth,
    /// Top speed.
    TopSpeed,
    /// Rejects a turn.
    RejectsATurn,
    /// Bridge of a rub contact.
    ContactBridge,
    /// A condition's limit.
    Limit(Condition, LimitPart),
    /// Standstill.
    Standstill,
    /// Shortest coast-down.
    CoastDown,
    /// Window in which starts are counted.
    StartWindow,
    /// Longest inching.
    InchingTime,
    /// Longest bypass.
    BypassTime,
    /// Slip heat budget.
    HeatBudget,
    /// Slip heat time constant.
    HeatTimeConstant,
}

/// The unit a field's number is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FieldUnit {
    /// Parts per million, said as per cent.
    Ppm,
    /// A ratio in parts per million, said as a plain number.
    Ratio,
    /// Micrometres.
    Micrometres,
    /// Micrometres, said as metres however few: what settings files give in metres.
    MicrometresAsMetres,
    /// Micrometres a second.
    MicrometresPerSecond,
    /// Microturns a second, said as turns a minute.
    MicroturnsPerSecond,
    /// Microseconds.
    Microseconds,
    /// Milliseconds.
    Milliseconds,
    /// Microturns.
    Microturns,
    /// Tenths of a degree Celsius.
    DeciCelsius,
    /// Watts.
    Watts,
    /// Joules.
    Joules,
    /// A plain number.
    Count,
}

impl Field {
    /// The unit its number is in.
    #[must_use]
    pub const fn unit(self) -> FieldUnit {
        match self {
            Self::Pulley(..) | Self::BeltThickness | Self::BeltWidth => FieldUnit::Micrometres,
            Self::LoopLength => FieldUnit::MicrometresAsMetres,
            Self::BeltSpeed => FieldUnit::MicrometresPerSecond,
            Self::NormalSpeed(_) => FieldUnit::MicroturnsPerSecond,
            Self::Ratio | Self::AcceptedRatio => FieldUnit::Ratio,
            Self::Targets(_, TargetsPart::SpacingTolerance | TargetsPart::Closest | TargetsPart::Widest)
            | Self::ReferenceMinimum
            | Self::ReferenceRamp
            | Self::ServiceFactor
            | Self::AcceptedSpread
            | Self::TopSpeed
            | Self::Standstill => FieldUnit::Ppm,
            Self::MinimumWidth
            | Self::ContactBridge
            | Self::CoastDown
            | Self::StartWindow
            | Self::InchingTime
            | Self::BypassTime
            | Self::HeatTimeConstant
            | Self::Limit(_, LimitPart::OnDelay | LimitPart::OffDelay) => FieldUnit::Microseconds,
            Self::Limit(condition, LimitPart::Setpoint | LimitPart::Deadband) => match condition.unit() {
                Unit::Ppm => FieldUnit::Ppm,
                Unit::Milliseconds => FieldUnit::Milliseconds,
                Unit::Microturns => FieldUnit::Microturns,
                Unit::DeciCelsius => FieldUnit::DeciCelsius,
                Unit::Count | Unit::Flag => FieldUnit::Count,
            },
            Self::RatedPower => FieldUnit::Watts,
            Self::HeatBudget => FieldUnit::Joules,
            Self::Leg | Self::Targets(..) | Self::DriveContact | Self::RejectsATurn | Self::Limit(..) => {
                FieldUnit::Count
            }
        }
    }
}

const fn shaft_name(shaft: Shaft) -> &'static str {
    match shaft {
        Shaft::Head => "head",
        Shaft::Boot => "boot",
    }
}

impl fmt::Display for Field {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match *self {
            Self::Pulley(shaft, part) => {
                let part = match part {
                    PulleyPart::BareDiameter => "bare_diameter",
                    PulleyPart::Lagging => "lagging",
                    PulleyPart::Face => "face",
                    PulleyPart::Crown => "crown",
                };
                return write!(formatter, "{}_pulley.{part}", shaft_name(shaft));
            }
            Self::Targets(shaft, part) => {
                let part = match part {
                    TargetsPart::Fitted => "",
                    TargetsPart::Count => ".count",
                    TargetsPart::SpacingTolerance => ".spacing_tolerance",
                    TargetsPart::Closest => ".closest",
                    TargetsPart::Widest => ".widest",
                    TargetsPart::Supervised => ".supervised",
                };
                return write!(formatter, "{}_targets{part}", shaft_name(shaft));
            }
            Self::NormalSpeed(shaft) => return write!(formatter, "speed.{}", shaft_name(shaft)),
            Self::Limit(condition, part) => {
                let part = match part {
                    LimitPart::Enabled => "enabled",
                    LimitPart::Setpoint => "setpoint",
                    LimitPart::Deadband => "deadband",
                    LimitPart::OnDelay => "on_delay",
                    LimitPart::OffDelay => "off_delay",
                    LimitPart::Latching => "latching",
                    LimitPart::Action => "action",
                };
                return write!(formatter, "limits.{}.{part}", condition.name());
            }
            Self::Leg => "leg.name",
            Self::BeltThickness => "belt.thickness",
            Self::BeltWidth => "belt.width",
            Self::LoopLength => "belt.loop",
            Self::BeltSpeed => "speed.belt",
            Self::Ratio => "no-slip ratio",
            Self::DriveContact => "drive.contact",
            Self::ReferenceMinimum => "drive.speed_reference.minimum",
            Self::ReferenceRamp => "drive.speed_reference.ramp",
            Self::RatedPower => "drive.rated",
            Self::ServiceFactor => "drive.service_factor",
            Self::AcceptedRatio => "accepted_ratio.ratio",
            Self::AcceptedSpread => "accepted_ratio.spread",
            Self::MinimumWidth => "conditioning.minimum_width",
            Self::TopSpeed => "conditioning.top_speed",
            Self::RejectsATurn => "conditioning.rejects_a_turn",
            Self::ContactBridge => "conditioning.contact_bridge",
            Self::Standstill => "starts.standstill_below",
            Self::CoastDown => "starts.shortest_coast_down",
            Self::StartWindow => "starts.window",
            Self::InchingTime => "starts.inching_time",
            Self::BypassTime => "starts.bypass_time",
            Self::HeatBudget => "slip_heat.budget",
            Self::HeatTimeConstant => "slip_heat.time_constant",
        };
        formatter.write_str(name)
    }
}
