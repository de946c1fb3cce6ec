//! How deep the stack went: paint the unused part, run, see how far down the paint is gone.

use cortex_m::register::msp;

const PAINT: u32 = 0xA5A5_5A5A;

/// A painted stretch of stack below the place where it was painted.
pub struct Painted {
    lowest: *mut u32,
    top: *mut u32,
}

/// Paint this much below the caller's frame: deeper than anything here goes.
const DEPTH: usize = 16 * 1024;

/// Paint the stack below the caller.
#[inline(always)]
pub fn paint() -> Painted {
    let top = msp::read() as *mut u32;
    let lowest = top.wrapping_byte_sub(DEPTH);
    let mut word = lowest;
    while word < top {
        // SAFETY: this stretch lies between the end of the statics (the images use far less than RAM less DEPTH) and
        // the stack pointer, and no interrupt is enabled that could use it meanwhile.
        unsafe { word.write_volatile(PAINT) };
        word = word.wrapping_add(1);
    }
    Painted { lowest, top }
}

impl Painted {
    /// The bytes of stack used below the place of painting since then.
    #[must_use]
    pub fn depth(&self) -> u32 {
        let mut word = self.lowest;
        // SAFETY: the stretch painted above.
        while word < self.top && unsafe { word.read_volatile() } == PAINT {
            word = word.wrapping_add(1);
        }
        self.top as u32 - word as u32
    }
}
