//! A sensor box read by Modbus: RTU over a serial line, TCP where somebody else brings the sockets.
//!
//! **The permits are wired. No PLC may run or stop a leg by these registers.** They show; the one thing that can be written is that
//! somebody has seen the alarms. It is not a certified safety device, and neither is Modbus: nothing on the way proves who speaks.
//!
//! The server is our own: it must bear any bytes at all without a panic and without a heap, and it serves no more than four functions.
//!
//! ```text
//! registers          the one table: where, how much, what; names, units and meanings for the desk only
//! view  words        what a value is taken from, and how it becomes sixteen bits: unknown is 0x8000, never 0
//! leg                what may be read and written: nothing old, and one word
//! server             functions and exceptions, over any table
//! rtu  tcp           the two framings
//! line               RTU on a serial line of a box, with the driver of an RS-485 line
//! page               the page of the book, for the desk
//! ```
//!
//! # Sources
//! *MODBUS Application Protocol Specification V1.1b3* (2012), *MODBUS over Serial Line Specification and Implementation Guide V1.02*
//! (2006), *MODBUS Messaging on TCP/IP Implementation Guide V1.0b* (2006), all from memory; each worked example that is tested is named
//! beside its test.
//!
//! # Features
//! - `desk`: what each register is called and means. Not for a box.
//! - `portable-atomic`: for processors without compare-and-swap.
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

#[cfg(any(test, feature = "desk"))]
extern crate std;

pub mod leg;
pub mod line;
#[cfg(feature = "desk")]
pub mod page;
pub mod registers;
pub mod rtu;
pub mod server;
pub mod tcp;
pub mod view;
pub mod words;
