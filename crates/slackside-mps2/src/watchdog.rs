//! The board's watchdog (an ARM CMSDK APB watchdog), at 25 MHz. Left unfed it first calls for help, by an interrupt that nothing holds up,
//! and as long after that it resets the board.

const LOAD: *mut u32 = 0x4000_8000 as *mut u32;
const CONTROL: *mut u32 = 0x4000_8008 as *mut u32;
const CLEAR: *mut u32 = 0x4000_800C as *mut u32;
const LOCK: *mut u32 = 0x4000_8C00 as *mut u32;
const UNLOCKED: u32 = 0x1ACC_E551;
/// Call for help, and reset.
const BOTH: u32 = 3;
/// 200 ms.
const PATIENCE: u32 = 5_000_000;

fn write(register: *mut u32, value: u32) {
    // SAFETY: a register of the board's watchdog, which nothing but this file touches.
    unsafe { register.write_volatile(value) }
}

/// Start it; nothing stops it any more.
pub fn start() {
    write(LOCK, UNLOCKED);
    write(LOAD, PATIENCE);
    write(CONTROL, BOTH);
    write(LOCK, 0);
}

/// The loop that judges is alive.
pub fn feed() {
    write(LOCK, UNLOCKED);
    write(CLEAR, 1);
    write(LOCK, 0);
}
