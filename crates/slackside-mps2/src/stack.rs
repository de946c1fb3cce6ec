//! How deep the stack went: paint it, and see later how far down the paint is gone.

use cortex_m::register::msp;

/// Where the stack ends, as `memory.x` has it.
const BOTTOM: u32 = 0x2000_0000;
/// How long it may become.
pub const LENGTH: u32 = 32 * 1024;
/// What is painted.
pub const PAINT: u32 = 0xA5A5_5A5A;

/// Paint what is not used yet. Before any interrupt is let loose.
#[inline(always)]
pub fn paint() {
    let top = msp::read() as *mut u32;
    let mut word = BOTTOM as *mut u32;
    while word < top {
        // SAFETY: below the stack pointer nothing is in use, and nothing but the stack lies in this memory.
        unsafe { word.write_volatile(PAINT) };
        word = word.wrapping_add(1);
    }
}

/// The most bytes of it that were ever used.
pub fn depth() -> u32 {
    let mut word = BOTTOM as *const u32;
    // SAFETY: it is the stack's memory.
    while (word as u32) < BOTTOM + LENGTH && unsafe { word.read_volatile() } == PAINT {
        word = word.wrapping_add(1);
    }
    BOTTOM + LENGTH - word as u32
}
