//! Settings: what the leg is and what it is held against; and the plan derived from them, which is all that a box runs on.

mod cross;
mod derived;
pub mod plan;
pub mod plan_check;

#[cfg(all(test, feature = "desk"))]
mod arbitrary;
#[cfg(feature = "desk")]
mod check;
#[cfg(feature = "desk")]
mod derive;
#[cfg(feature = "desk")]
mod example;
#[cfg(feature = "desk")]
mod geometry;
#[cfg(feature = "desk")]
mod image;
#[cfg(feature = "desk")]
pub mod schema;

#[cfg(feature = "desk")]
pub use check::{Advice, CODE_LOSS, Checked, MOST_VIOLATIONS, Mend, Promptness, Reason, Rule, Violation};
#[cfg(feature = "desk")]
pub use geometry::turn_time;
#[cfg(feature = "desk")]
pub use image::{IMAGE_VERSION, ImageError, MOST_IMAGE_BYTES, image_length};
#[cfg(feature = "desk")]
pub use schema::{
    AcceptedRatio, AcceptedRatioPart, Belt, BeltPart, Conditioning, ConditioningPart, ContactsPart, CountedEdges,
    DrivePart, Field, FieldUnit, LegPart, Limit, LimitPart, Limits, Machine, OutletPart, Pulley, PulleyPart, Quantity,
    Section, SlipHeat, SlipHeatPart, Spacing, SpeedPart, SpeedReference, SpeedReferencePart, Starts, StartsPart,
    Strand, Targets, TargetsPart, TemperaturesPart,
};

#[cfg(feature = "desk")]
pub use crate::conditions::{Action, Priority};

/// All settings of one box.
#[cfg(feature = "desk")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// What the leg is.
    pub machine: Machine,
    /// What it is held against.
    pub limits: Limits,
}
