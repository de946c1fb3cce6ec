//! The monitor on embedded-hal 1.0: what a controls integrator puts between the core and the board.
//!
//! [`SensorBox`] is the main loop: it takes edges from [`edges`], looks at the [`wires`], asks the monitor, and switches the
//! [`permits`]. Everything it needs comes in as traits of embedded-hal, embedded-storage and embedded-io, so that it runs on
//! a board, on an emulated board and on the desk. It allocates nothing, and nothing in it panics: what goes wrong becomes a
//! [`fault`], drops the permits and is told.
//!
//! **It is not a certified safety device.** Its permits are one more thing that can stop a leg; they replace neither guards,
//! lockout/tagout, housekeeping nor dust control. Relays are on to run and off to stop: wire them so that a box without power, or one
//! whose program stands still, stops the leg. Never jog a choked leg. Local codes and a licensed practitioner come first.
//!
//! # An example
//! A new box, its pins, lines and flash made of memory by the feature `bench`: it holds no plan, so it allows nothing.
//!
//! ```
//! # #[cfg(feature = "bench")] {
//! use slackside::record::Recorder;
//! use slackside::units::{Micros, Span};
//! use slackside_box::bench::{Flash, Panel};
//! use slackside_box::edges::{EdgeQueue, Merger};
//! use slackside_box::store::Layout;
//! use slackside_box::{BoxMonitor, Nameplate, Parts, SensorBox};
//!
//! // The interrupt of each sensor keeps a catcher, the main loop what it caught.
//! let (mut heads, mut boots) = (EdgeQueue::<32>::new(), EdgeQueue::<32>::new());
//! let (mut catch_head, head) = heads.split();
//! let (_catch_boot, boot) = boots.split();
//!
//! let (panel, mut monitor, mut ring) = (Panel::new(), BoxMonitor::<8>::new(), [0; 16 * 1024]);
//! let mut leg = SensorBox::start(
//!     Parts {
//!         nameplate: Nameplate { serial: "A-17", firmware: "example 1" },
//!         edges: Merger::new(Some(head), boot),
//!         capture_latency: Span::new(20),
//!         wires: panel.wires(),
//!         flash: Flash::<4, 1024>::new(128),
//!         layout: Layout::fit::<Flash<4, 1024>>(0, 128 * 1024, 16 * 1024).expect("enough flash"),
//!         monitor: &mut monitor,
//!         recorder: Recorder::new(&mut ring),
//!     },
//!     Micros::ZERO,
//! );
//!
//! // The main loop: round after round, at least every few milliseconds.
//! catch_head.catch(Micros::new(500), true);
//! for round in 1..=20_u64 {
//!     leg.poll(Micros::new(round * 1_000));
//! }
//! assert!(leg.faults().iter().next().is_some(), "it says what it lacks");
//! assert!(!panel.may_run() && !panel.coils[0].get());
//! # }
//! ```
//!
//! The package's example `smallest` is a box without flash worth keeping and with one sensor; the boards in the repository are whole ones.
//!
//! # Layers
//! ```text
//! pin  line  contact  clock             what is wired, as it is seen
//! edges                                 interrupt to main loop, in the order of time
//! wires  relay  permits  heartbeat      what is looked at and what is switched, with its proof
//! store                                 what must outlive power, in flash that may lose it at any byte
//! arming                                who may arm a plan by a link
//! SensorBox: inputs, outputs, memory, fault book, armed plan
//! Link                                  bytes of a serial line to the box and back
//! ServicePort                           a line of its own by which the key is set
//! ```
//!
//! # Features
//! - `tag` (on unless switched off): settings by the link need the tag of the box's key as well as a press at the box. Without it the press
//!   alone arms, `ascon-aead` is left out, and [`arming`] says what that leaves open.
//! - `bench`: pins, flash and a serial line made of memory, for tests and for a box on the desk; needs the standard library.
//! - `defmt`: `defmt::Format` for faults and events, and `Told`, which logs what is new.
//! - `log`: `Told` by the crate `log`. Both may be on: then each line goes to both.
//! - `portable-atomic`: for processors without compare-and-swap.
//!
//! # Minimum Rust
//! The version in the package's `Cargo.toml`.
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

#[cfg(feature = "tag")]
pub mod arming;
#[cfg(not(feature = "tag"))]
#[path = "press_only.rs"]
pub mod arming;
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
#[cfg(feature = "tag")]
mod service;
mod shelf;
pub mod store;
#[cfg(any(feature = "defmt", feature = "log"))]
mod told;
pub mod wires;

pub use events::{Event, EventLog, Happened};
pub use link::Link;
pub use sensor_box::{ArmRefusal, BoxMonitor, Nameplate, Parts, SAMPLE, SensorBox, Verdicts};
#[cfg(feature = "tag")]
pub use service::ServicePort;
#[cfg(any(feature = "defmt", feature = "log"))]
pub use told::Told;
