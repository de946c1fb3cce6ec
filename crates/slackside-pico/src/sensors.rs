//! The interrupt of the sensors' pins, GPIO 2 and 3, by the registers themselves: the driver finds a pin's bits by an index that it
//! checks in the interrupt, and asks which core runs; both would be a panic in the image.

use rp2040_hal::pac;

/// The GPIO of the head's and of the boot's sensor.
pub const HEAD: u32 = 2;
pub const BOOT: u32 = 3;
/// The register among the four of each kind that has the bits of GPIO 0 to 7.
const FIRST: usize = 0;

/// What the interrupt was rung for: in the registers each pin has four bits, the upper two of them for its edges.
#[derive(Clone, Copy)]
pub struct Edges(u32);

const fn fell(gpio: u32) -> u32 {
    1 << (gpio * 4 + 2)
}

const fn rose(gpio: u32) -> u32 {
    1 << (gpio * 4 + 3)
}

const ALL: u32 = fell(HEAD) | rose(HEAD) | fell(BOOT) | rose(BOOT);

fn registers() -> &'static pac::io_bank0::RegisterBlock {
    // SAFETY: of these registers the driver of the pins uses none from here on but those of each pin's function.
    unsafe { &*pac::IO_BANK0::ptr() }
}

/// Ring the first core's interrupt at each edge of both pins.
pub fn ring_at_edges() {
    // SAFETY: bits that the register has.
    registers().proc0_inte(FIRST).write(|bits| unsafe { bits.bits(ALL) });
}

impl Edges {
    /// Those since the last time; from here on the next ones count.
    pub fn take() -> Self {
        let seen = registers().proc0_ints(FIRST).read().bits() & ALL;
        // SAFETY: an edge is cleared by its own bit.
        registers().intr(FIRST).write(|bits| unsafe { bits.bits(seen) });
        Self(seen)
    }

    /// Whether the pin rose, and whether it fell.
    pub const fn of(self, gpio: u32) -> (bool, bool) {
        (self.0 & rose(gpio) != 0, self.0 & fell(gpio) != 0)
    }
}
