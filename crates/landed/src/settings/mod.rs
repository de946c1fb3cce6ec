//! Settings: what the leg is ([`Machine`]) and what it is held against ([`Limits`]).

#[cfg(test)]
mod arbitrary;
mod check;
mod example;
mod geometry;
mod image;
mod limit_list;
mod limits;
mod machine;
mod read;
mod starting;

use serde::{Deserialize, Serialize};

pub use check::{
    Advice, CODE_LOSS, Checked, Field, FieldUnit, LimitPart, MOST_VIOLATIONS, Mend, Promptness, PulleyPart, Quantity,
    Reason, Rule, TargetsPart, Violation,
};
pub use geometry::turn_time;
pub use image::{IMAGE_VERSION, ImageError, MOST_IMAGE_BYTES, image_length};
pub use limits::{Action, Limit, Limits, Priority, SlipHeat, Starts};
pub use machine::{
    AcceptedRatio, Belt, Conditioning, CountedEdges, Machine, Pulley, Spacing, SpeedReference, Strand, Targets,
};

/// All settings of one box.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// What the leg is.
    pub machine: Machine,
    /// What it is held against.
    pub limits: Limits,
}
