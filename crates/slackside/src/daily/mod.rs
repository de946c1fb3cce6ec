//! A day in 24 bytes: what wear shows in over months, gathered from what the monitor knows, in the box and at the desk by this one code.
//!
//! It looks on and decides nothing. Nothing in it belongs to the monitor's state: whoever keeps days holds a [`Gatherer`] of its own, has it
//! hear the inputs and look every so often, and asks it for the [`Summary`] when the day is over.

mod coarse;
mod gather;
mod head_load;
mod packed;
mod summary;
#[cfg(test)]
mod summary_tests;
mod thinned;
mod warmth;

pub use coarse::Coarse;
pub use gather::{Gatherer, LOOK, LOOKS_A_DAY};
pub use summary::{Kind, Load, LoadBy, Summary, Work};
