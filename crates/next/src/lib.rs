//! The monitor core: target pulses and rub contacts in, verdicts out.
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

pub mod alarm;
pub mod arith;
pub mod codec;
pub mod conditions;
#[cfg(feature = "desk")]
pub mod diagnose;
pub mod input;
pub mod judge;
pub mod measure;
pub mod monitor;
#[cfg(feature = "desk")]
pub mod motion;
pub mod record;
pub mod retained;
pub mod settings;
pub mod signals;
pub mod time;
pub mod units;
pub mod verdict;
pub mod wire;

pub use monitor::{Monitor, NoRoom};
