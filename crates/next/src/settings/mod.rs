//! Settings: what the leg is and what it is held against; and the plan derived from them, which is all that a box runs on.

mod derived;
pub mod plan;
pub mod plan_check;

#[cfg(feature = "desk")]
mod derive;
#[cfg(feature = "desk")]
mod example;
#[cfg(feature = "desk")]
mod geometry;
#[cfg(feature = "desk")]
mod limits;
#[cfg(feature = "desk")]
mod machine;

#[cfg(feature = "desk")]
pub use geometry::turn_time;
#[cfg(feature = "desk")]
pub use limits::{Limit, Limits, SlipHeat, Starts};
#[cfg(feature = "desk")]
pub use machine::{
    AcceptedRatio, Belt, Conditioning, CountedEdges, Machine, Pulley, Spacing, SpeedReference, Strand, Targets,
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

/// Settings that passed every rule. Only these become a plan.
#[cfg(feature = "desk")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked(Settings);

#[cfg(feature = "desk")]
impl core::ops::Deref for Checked {
    type Target = Settings;

    fn deref(&self) -> &Settings {
        &self.0
    }
}

#[cfg(feature = "desk")]
impl Settings {
    /// Until the rules are carried over.
    #[must_use]
    pub fn unchecked(self) -> Checked {
        Checked(self)
    }
}
