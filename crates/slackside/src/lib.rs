//! The monitor core: target pulses and rub contacts of a bucket elevator in, verdicts out.
//!
//! A *leg* is a bucket elevator: a head pulley at the top drives a belt by friction alone, and the belt turns a boot pulley at the
//! bottom. Targets on both shafts give edges, contacts at the casing say where the belt rubs. From these come slip, belt speed, drift
//! and alarms, a permit to run and a permit to feed. No heap, no floats, no clock: time only ever comes in with an input, and the same
//! inputs give the same verdicts to the last bit on a microcontroller and on a desk.
//!
//! **It is not a certified safety device.** It can fail, be wired wrongly, be set wrongly. It replaces neither the guards, the
//! lockout/tagout, the housekeeping nor the dust control that your local code and a licensed practitioner ask for. Never jog a choked
//! leg. What it does not watch: bearing temperatures, vibration, dust, the motor itself, and a belt that burns while all signals look
//! well.
//!
//! # An example
//! A box takes a plan, feeds edges as they come, and holds the permits to what [`Monitor::status`] says.
//!
//! ```
//! # #[cfg(feature = "desk")] {
//! use slackside::input::{Input, Shaft, Signal};
//! use slackside::retained::Retained;
//! use slackside::settings::{Settings, plan_check::Sound};
//! use slackside::units::Micros;
//! use slackside::Monitor;
//!
//! // At the desk: settings, held against every rule, become a plan.
//! let plan = Settings::example().check().expect("sound").plan();
//!
//! // In the box: the plan is checked once more, then it runs.
//! let mut monitor: Monitor<_, 8> = Monitor::new();
//! monitor.configure(Sound::new(&plan).expect("sound"), &Retained::default()).expect("room for four targets");
//! monitor.observe(Input::new(Micros::new(0), Signal::DriveRunning(false)), &mut |verdict| println!("{verdict:?}"));
//! monitor.observe(Input::new(Micros::new(20_000_000), Signal::DriveRunning(true)), &mut |_| {});
//! // An edge every 190 ms on both shafts would be the leg at speed; here nothing turns, so that the start fails.
//! monitor.observe(Input::new(Micros::new(20_100_000), Signal::Edge(Shaft::Head, true)), &mut |_| {});
//! monitor.observe(Input::new(Micros::new(31_000_000), Signal::Tick), &mut |_| {});
//! assert!(!monitor.status().run_permit);
//! # }
//! ```
//!
//! # Layers
//! ```text
//! units  arith  time                    words and numbers
//! alarm  conditions                     what can be wrong: one list, and the states of IEC 62682
//! settings                              what the leg is (desk) -> a plan: plain bytes (box)
//! measure -> signals -> judge           pulses to numbers; numbers to verdicts
//! monitor                               both in the order of time
//! codec  retained  record -> wire       what outlives power, what is recorded, what a desk asks
//! daily                                 a day in 24 bytes, for wear: looks on, decides nothing
//! alone  diagnose  motion               for the desk: judge on stored signals; causes
//! ```
//!
//! # Features
//! - `desk`: settings as people write them, their rules in words, the plan derived from them, causes. Not for a box.
//! - `defmt`: `defmt::Format` for public types.
//!
//! # Minimum Rust
//! 1.95. The tests pass with it; images for microcontrollers are built with Debian's 1.96.
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
#[cfg(feature = "desk")]
pub mod alone;
pub mod arith;
pub mod codec;
pub mod conditions;
pub mod daily;
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
