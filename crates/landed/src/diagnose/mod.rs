//! From what measure and judge produced to a ranked list of causes. Diagnose never trips anything and changes nothing.
//!
//! [`Gather`] looks on while motion and verdicts pass, and keeps the few facts that tell causes apart ([`Evidence`]);
//! [`findings`] ranks causes from the evidence alone, so the same evidence always gives the same list.

mod circle;
mod evidence;
mod finding;
mod gather;
mod rank;

pub use circle::{BeltPhase, Resultant, TRIALS};
pub use evidence::{Evidence, Lock, Rubs, Silence, SlipShape};
pub use finding::{Cause, Confidence, Finding};
pub use gather::Gather;
pub use rank::{FINDINGS, findings};
