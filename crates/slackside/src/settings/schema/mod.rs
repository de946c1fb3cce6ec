//! The one schema of settings: a row a setting, with its key, units, range, starting value and reason. Structs are made from rows; check,
//! files, sheet and the book's reference page walk over them by [`Section::each`] and [`Section::fields`].
//!
//! To add a setting, add a row to its part in `machine` or `limits`. If the box needs it, add a number to the plan and derive it.

pub mod file_unit;
mod limits;
mod machine;
mod row;
mod say;

use core::fmt;

#[cfg(test)]
pub(crate) use limits::all_starting;
pub use limits::{Limit, LimitPart, Limits, SlipHeat, SlipHeatPart, Starts, StartsPart};
pub(super) use machine::RATIOS;
pub use machine::{
    AcceptedRatio, AcceptedRatioPart, Belt, BeltPart, Conditioning, ConditioningPart, ContactsPart, CountedEdges,
    DrivePart, LegPart, Machine, OutletPart, Pulley, PulleyPart, Spacing, SpeedPart, SpeedReference,
    SpeedReferencePart, Strand, Targets, TargetsPart, TemperaturesPart,
};
pub use row::{Given, Kind, Range, Row};
pub use say::{FieldUnit, Quantity};

use super::Settings;
use crate::conditions::{Condition, Entry};
use crate::input::Shaft;
use file_unit::FileUnit;

impl Row {
    /// Its starting value; 0 where it has none of its own.
    #[must_use]
    pub const fn starting(&self) -> i64 {
        match self.given {
            Given::Starting(value) => value,
            Given::Required | Given::Absent | Given::ByCondition => 0,
        }
    }
}

/// What there is a section of settings for each of.
trait Each: Copy + Sized + 'static {
    const ALL: &'static [Self];
    fn place(self) -> usize;
    fn word(self) -> &'static str;
}

impl Each for Shaft {
    const ALL: &'static [Self] = &[Self::Head, Self::Boot];

    fn place(self) -> usize {
        self as usize
    }

    fn word(self) -> &'static str {
        match self {
            Self::Head => "head",
            Self::Boot => "boot",
        }
    }
}

impl Each for Condition {
    const ALL: &'static [Self] = &Self::ALL;

    fn place(self) -> usize {
        self.rank()
    }

    fn word(self) -> &'static str {
        self.name()
    }
}

macro_rules! sections {
    ($($(#[$meta:meta])* $Name:ident $(($at:ident: $At:ty))? $name:literal $Part:ident $optional:literal)*) => {
        /// A section of a settings file, in the order of files.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum Section {
            $($(#[$meta])* $Name $(($At))?,)*
        }

        /// A setting, or a number that follows from several.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum Field {
            $($(#[$meta])* $Name($($At,)? $Part),)*
            /// Whether a shaft has targets.
            Fitted(Shaft),
            /// Belt speed, as the boot pulley and its normal speed give it.
            BeltSpeed,
            /// The no-slip ratio, as the pulleys give it.
            Ratio,
        }

        impl Section {
            /// Tell each section, in the order of files.
            pub fn each(tell: &mut dyn FnMut(Self)) {
                $($(for $at in <$At as Each>::ALL.iter().copied())? {
                    tell(Self::$Name $(($at))?);
                })*
            }

            /// Tell each setting of it, in the order of files.
            pub fn fields(self, tell: &mut dyn FnMut(Field)) {
                match self {
                    $(Self::$Name $(($at))? => {
                        for part in $Part::ALL {
                            tell(Field::$Name($($at,)? *part));
                        }
                    })*
                }
            }

            /// Whether it may be left out, and what it is about is then not there.
            #[must_use]
            pub const fn is_optional(self) -> bool {
                match self {
                    $(Self::$Name { .. } => $optional,)*
                }
            }
        }

        impl fmt::Display for Section {
            fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                match *self {
                    $(Self::$Name $(($at))? => write!(out, $name $(, $at.word())?),)*
                }
            }
        }

        impl Field {
            /// The section it is in; `None` for a number that follows from several settings.
            #[must_use]
            pub const fn section(self) -> Option<Section> {
                match self {
                    $(Self::$Name($($at,)? _) => Some(Section::$Name $(($at))?),)*
                    Self::Fitted(shaft) => Some(Section::Targets(shaft)),
                    Self::BeltSpeed | Self::Ratio => None,
                }
            }

            /// What the schema says of it; `None` for a number that follows from several settings.
            #[must_use]
            pub const fn row(self) -> Option<&'static Row> {
                match self {
                    $(Self::$Name($($at,)? part) => {
                        $(let _ = $at;)?
                        Some(part.row())
                    })*
                    Self::Fitted(_) | Self::BeltSpeed | Self::Ratio => None,
                }
            }

            fn place(self) -> usize {
                match self {
                    $(Self::$Name($($at,)? _) => 0 $(+ $at.place())?,)*
                    Self::Fitted(shaft) => shaft.place(),
                    Self::BeltSpeed | Self::Ratio => 0,
                }
            }
        }
    };
}

sections! {
    /// Which leg it is.
    Leg "leg" LegPart false
    /// A pulley.
    Pulley(shaft: Shaft) "{}_pulley" PulleyPart false
    /// The belt.
    Belt "belt" BeltPart false
    /// Normal operating speed.
    Speed "speed" SpeedPart false
    /// The targets of a shaft.
    Targets(shaft: Shaft) "{}_targets" TargetsPart true
    /// The drive.
    Drive "drive" DrivePart false
    /// The speed reference of a variable-speed drive.
    SpeedReference "drive.speed_reference" SpeedReferencePart true
    /// Rub contacts.
    Contacts "contacts" ContactsPart true
    /// Temperature sensors.
    Temperatures "temperatures" TemperaturesPart true
    /// The outlet.
    Outlet "outlet" OutletPart true
    /// The ratio learned and accepted.
    AcceptedRatio "accepted_ratio" AcceptedRatioPart true
    /// Conditioning of edges and contacts.
    Conditioning "conditioning" ConditioningPart false
    /// Starts, standstill, inching and bypass.
    Starts "starts" StartsPart false
    /// Slip heat.
    SlipHeat "slip_heat" SlipHeatPart false
    /// The limit of a condition.
    Limit(condition: Condition) "limits.{}" LimitPart false
}

impl Field {
    /// The unit its number is in.
    #[must_use]
    pub const fn unit(self) -> FieldUnit {
        match self {
            Self::BeltSpeed => return FieldUnit::MicrometresPerSecond,
            Self::Ratio => return FieldUnit::Ratio,
            Self::Limit(condition, part) => return part.units(&condition.entry()).0,
            _ => {}
        }
        match self.row() {
            Some(Row { kind: Kind::Number(unit, _), .. }) => *unit,
            _ => FieldUnit::Count,
        }
    }

    /// The units a file may give it in, the one written first; none where it is no number.
    #[must_use]
    pub const fn file_units(self) -> &'static [FileUnit] {
        match (self, self.row()) {
            (Self::Limit(condition, part), _) => part.units(&condition.entry()).1,
            (_, Some(Row { kind: Kind::Number(_, units), .. })) => units,
            _ => &[],
        }
    }

    /// How far it may be set.
    #[must_use]
    pub const fn range(self) -> Range {
        match (self, self.row()) {
            (Self::Limit(condition, part), _) => part.range(&condition.entry()),
            (Self::Ratio, _) => RATIOS,
            (_, Some(row)) => row.range,
            _ => Range::Own,
        }
    }

    /// Its starting value; `None` where it must be given, or is then not there.
    #[must_use]
    pub fn starting(self) -> Option<i64> {
        match (self, self.row()?.given) {
            (Self::Limit(condition, part), _) => Some(part.starting(&condition.entry())),
            (_, Given::Starting(value)) => Some(value),
            _ => None,
        }
    }

    /// Why its starting value and its range are what they are.
    #[must_use]
    pub fn reason(self) -> &'static str {
        match self {
            Self::Limit(condition, LimitPart::Setpoint | LimitPart::OnDelay) => condition.entry().reason,
            _ => self.row().map_or("", |row| row.reason),
        }
    }

    /// Its number in these settings: 0 or 1 for a flag, its place for a word; `None` where it is not there, and for a text.
    #[must_use]
    pub fn get(self, settings: &Settings) -> Option<i64> {
        (self.row()?.get)(settings, self.place())
    }

    /// Set its number, held at the ends of its type. A section that was not there is made.
    pub fn put(self, settings: &mut Settings, value: i64) {
        if let Some(row) = self.row() {
            (row.put)(settings, self.place(), value);
        }
    }

    /// As a file has it, with its first unit: `limits.slip_high.setpoint_pct`.
    #[must_use]
    pub const fn key(self) -> Key {
        Key(self)
    }
}

/// Without a unit: `limits.slip_high.setpoint`.
impl fmt::Display for Field {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self, self.section(), self.row()) {
            (Self::BeltSpeed, ..) => out.write_str("speed.belt"),
            (_, Some(section), Some(row)) => write!(out, "{section}.{}", row.key),
            (_, Some(section), None) => section.fmt(out),
            (_, None, _) => out.write_str("no-slip ratio"),
        }
    }
}

/// The key of a setting in a file, with its first unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Key(Field);

impl fmt::Display for Key {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Field::Ratio => out.write_str("head_pulley and boot_pulley"),
            Field::BeltSpeed => out.write_str("speed.belt_mps"),
            Field::Fitted(shaft) => Self(Field::Targets(shaft, TargetsPart::Count)).fmt(out),
            Field::Limit(condition, part) => limit_key(&condition.entry(), part).fmt(out),
            field => write!(out, "{field}{}", suffix(field.file_units())),
        }
    }
}

fn suffix(units: &[FileUnit]) -> &'static str {
    units.first().map_or("", |unit| unit.suffix)
}

/// The key of a part of the limit of any condition in a list.
pub(crate) fn limit_key(entry: &Entry, part: LimitPart) -> LimitKey {
    LimitKey(entry.name, part.row().key, suffix(part.units(entry).1))
}

/// See [`limit_key`].
pub(crate) struct LimitKey(&'static str, &'static str, &'static str);

impl fmt::Display for LimitKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(name, key, suffix) = self;
        write!(out, "limits.{name}.{key}{suffix}")
    }
}

#[cfg(test)]
mod tests;
