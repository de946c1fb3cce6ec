//! Who may arm a plan by a link where the part has no room for the tag: whoever reaches the wire, and a person at the box.
//!
//! **What that leaves open:** somebody on the wire may stage another plan of the same leg's name in the minute in which a person waits to confirm
//! the right one. That person sees the output blink, not whose plan it is. What is left is this: the key switch must be on and the leg at
//! rest; a plan that breaks a rule is refused; anything staged or armed meanwhile ends the wait; and what was armed is told with the identities of
//! old and new, and stands as an alarm until somebody resets it at the leg. So look at the identity before you reset.
//!
//! There is no key here, and nothing to set one with. A sealed wire, or none at all, is worth more.

use slackside::settings::plan::Plan;
use slackside::wire::Challenge;

/// No key: there is none in this build.
pub(crate) type BoxKey = [u8; 16];

/// By what the box knows again what was staged when it checked it: the plan's own CRC, worked out anew. It finds what was changed by
/// chance, and no more.
pub(crate) type Seal = u32;

/// Made by the box over what is staged.
#[allow(clippy::unnecessary_wraps, reason = "as with the tag")]
pub(crate) fn seal(_: &BoxKey, _: Challenge, plan: &Plan, _: &str, _: &[u8]) -> Option<Seal> {
    Some(plan.computed_crc())
}

/// Nobody proves anything here.
pub(crate) const fn is_proven(_: &Seal, _: &[u8]) -> bool {
    true
}

/// The key that a plan by the link needs: none.
pub(crate) const fn needed(_: Option<BoxKey>) -> Option<BoxKey> {
    Some([0; 16])
}
