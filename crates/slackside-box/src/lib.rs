//! The monitor on embedded-hal 1.0: what a controls integrator puts between the core and the board.
//!
//! [`SensorBox`] is the main loop: it takes edges from [`edges`], looks at the [`wires`], asks the monitor, and switches the
//! [`permits`]. Everything it needs comes in as traits of embedded-hal, embedded-storage and embedded-io, so that it runs on
//! a board, on an emulated board and on the desk.
#![no_std]
#![cfg_attr(
    test,
    allow(
        clippy::arithmetic_side_effects,
        clippy::expect_used,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used
    )
)]

#[cfg(any(test, feature = "bench"))]
extern crate std;

#[cfg(any(test, feature = "bench"))]
pub mod bench;
pub mod clock;
pub mod contact;
pub mod edges;
mod events;
pub mod fault;
mod filing;
pub mod heartbeat;
pub mod line;
mod link;
pub mod permits;
pub mod pin;
pub mod relay;
mod sensor_box;
mod shelf;
pub mod store;
pub mod wires;

pub use events::{Event, EventLog, Happened};
pub use link::Link;
pub use sensor_box::{ArmRefusal, BoxMonitor, Nameplate, Parts, SAMPLE, SensorBox, Verdicts};
