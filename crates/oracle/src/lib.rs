//! The core built anew against the landed one: the same inputs into both, the same verdicts out of both.
//!
//! `compare` says how far two streams of verdicts may lie apart. Inputs come from random legs (`legs`), from the plant's scenarios
//! (feature `plant`) and from recordings of real wheels, where they are at hand.

pub mod compare;
pub mod cores;
pub mod legs;
#[cfg(feature = "plant")]
pub mod plant;
pub mod random;
pub mod recordings;
pub mod run;
pub mod translate;
