//! Settings: what the leg is ([`Machine`]) and what it is held against ([`Limits`]).

mod check;
mod example;
mod geometry;
mod limit_list;
mod limits;
mod machine;
mod starting;

use serde::{Deserialize, Serialize};

pub use check::{Checked, Violation};
pub use geometry::turn_time;
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
