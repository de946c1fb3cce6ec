//! What survives a loss of power.

use heapless::Vec;

use crate::conditions::{Condition, ConditionSet};
use crate::units::{Joules, Span};

/// What a box must remember when power goes: power cycling resets nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Retained {
    /// Conditions that were active or latched.
    pub latched: ConditionSet,
    /// Those of them that were acknowledged.
    pub acknowledged: ConditionSet,
    /// The first-out of the trip group.
    pub first_out: Option<Condition>,
    /// Whether the boot must be reported clear.
    pub boot_cleared_needed: bool,
    /// How long ago each counted start was, newest last. The time without power is not known and counts as none.
    pub start_ages: Vec<Span, 8>,
    /// Slip heat. It does not cool while power is away.
    pub slip_heat: Joules,
}
