//! The monitor core: target pulses and rub contacts in, verdicts out.
//!
//! `measure` turns inputs into [`motion::Motion`]; `judge` holds motion against limits and gives [`verdict::Verdict`]s.
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
