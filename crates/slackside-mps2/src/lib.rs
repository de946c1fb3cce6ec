//! An MPS2 board as QEMU has it (`mps2-an385`, a Cortex-M3): what a port to a board of one's own brings along.
//!
//! ```text
//! device    the interrupts, by name
//! clock     the time that stamps edges; an alarm
//! pins      what is wired where; memory: pins, levels and flash, of which QEMU has none
//! uart      link, log and Modbus; rs485: the driver of that line; log: lines of defmt
//! watchdog  ends a loop that stands still
//! faults    whatever goes wrong: every output off, and the end
//! ```
//!
//! and what turns a leg that is not there: `host`, the files of the computer that runs the emulator; `field`, a trace of them as a
//! capture unit would see it; `outputs`, what the images without a box switch.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
#![no_std]

pub mod clock;
pub mod device;
pub mod faults;
pub mod field;
pub mod handed;
pub mod host;
pub mod log;
pub mod memory;
pub mod outputs;
pub mod pins;
pub mod rs485;
pub mod stack;
pub mod uart;
pub mod watchdog;
