//! A box made of memory: pins, analogue levels and flash that a test or a box on the desk can turn and watch, and a [`Rig`] that
//! turns a leg before it, with whatever fails in sensors, wires, relays, clock, watchdog and program.

#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a bench that panics ends a test, as it should"
)]

mod flash;
mod line;
mod panel;
mod pins;
mod requests;
mod rig;
mod sensor;

pub use flash::{Flash, FlashFailure};
pub use line::Line;
pub use panel::{CLEAR, Panel, RUBBING, SOUND};
pub use pins::{BrokenPin, Level, Pin, relay};
pub use requests::{every_command, every_request, kinds_missing};
pub use rig::{Boxed, Chip, RING, Rig, WATCHDOG, WATCHDOG_OPENS_WITHIN, Watchdog};
pub use sensor::Tap;
