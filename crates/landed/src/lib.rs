//! The monitor core: target pulses and rub contacts in, verdicts out.
//!
//! `measure` turns inputs into [`motion::Motion`]; `judge` holds motion against limits and gives [`verdict::Verdict`]s.
//!
//! Mended after it was replaced, so that the comparison shows nothing else: an alarm raised in the step in which its suppression ends;
//! limits reached by pitches that add up to just them; no comparison of pitches across a new table; a table of shares whose total was more than
//! a turn; when turns are steady enough to learn from; slip left over from the run before; trust that comes back; when the first window of
//! rejects begins.
#![no_std]
#![cfg_attr(
    test,
    allow(
        clippy::arithmetic_side_effects,
        clippy::expect_used,
        clippy::float_arithmetic,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used
    )
)]

pub mod diagnose;
pub mod input;
pub mod judge;
mod math;
pub mod measure;
mod monitor;
pub mod motion;
pub mod record;
pub mod settings;
pub mod sight;
pub mod survivor;
pub mod units;
pub mod verdict;
pub mod wire;

pub use monitor::{Monitor, NoRoom};
