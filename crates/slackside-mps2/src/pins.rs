//! The pins by number, and the levels of the analogue inputs.

use core::sync::atomic::{AtomicBool, AtomicU16};

use crate::memory::{Level, Pin};

/// A rub contact's line clear, rubbing and cut; a sensor line's current sound, cut and shorted.
pub const CLEAR: u16 = 43_354;
pub const RUBBING: u16 = 20_480;
pub const SOUND: u16 = 3_000;

pub static PINS: [AtomicBool; 16] = [const { AtomicBool::new(false) }; 16];
/// Rub contacts in the order of `Place::ALL`, then the sensor lines of head and boot.
pub static LEVELS: [AtomicU16; 6] = [
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(SOUND),
    AtomicU16::new(SOUND),
];

pub const DRIVE: usize = 0;
pub const OUTLET: usize = 1;
pub const ACKNOWLEDGE: usize = 2;
pub const RESET: usize = 3;
pub const BOOT_CLEARED: usize = 4;
pub const KEY: usize = 5;
pub const INCHING: usize = 6;
pub const COILS: [usize; 3] = [7, 8, 9];
pub const BACKS: [usize; 3] = [10, 11, 12];
pub const ALARM: usize = 13;
pub const HEARTBEAT: usize = 14;
/// Switches the driver of the RS-485 line on.
pub const DRIVER_ENABLE: usize = 15;
/// Those that a trace presses without saying for how long.
pub const BUTTONS: [usize; 3] = [ACKNOWLEDGE, RESET, BOOT_CLEARED];

/// A pin by its number.
pub const fn pin(number: usize) -> Pin {
    Pin(&PINS[number])
}

/// An analogue input by its number.
pub const fn level(number: usize) -> Level {
    Level(&LEVELS[number])
}
