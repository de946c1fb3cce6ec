//! The log: defmt frames out of the board's second UART. The host has the words, here are only their numbers.
//!
//! Only the main loop logs. So a frame needs no critical section, and logging never holds an edge up.

use core::cell::UnsafeCell;

use cortex_m::peripheral::SCB;
use cortex_m::peripheral::scb::VectActive;

use crate::uart;

#[defmt::global_logger]
struct Log;

struct Place(UnsafeCell<defmt::Encoder>);

// SAFETY: only the main loop gets at it, see `acquire`.
unsafe impl Sync for Place {}

static ENCODER: Place = Place(UnsafeCell::new(defmt::Encoder::new()));

fn encoder() -> &'static mut defmt::Encoder {
    // SAFETY: only called between `acquire` and `release`, which only the main loop passes.
    unsafe { &mut *ENCODER.0.get() }
}

// SAFETY: frames do not interleave: nothing but the main loop gets past `acquire`, and it logs one line at a time.
unsafe impl defmt::Logger for Log {
    fn acquire() {
        if SCB::vect_active() != VectActive::ThreadMode {
            // A log line in an interrupt is a mistake in this program: stand still, so that the heartbeat ends.
            loop {
                cortex_m::asm::nop();
            }
        }
        encoder().start_frame(uart::log);
    }

    unsafe fn flush() {}

    unsafe fn release() {
        encoder().end_frame(uart::log);
    }

    unsafe fn write(bytes: &[u8]) {
        encoder().write(bytes, uart::log);
    }
}

defmt::timestamp!("{=u64:us}", crate::clock::now().get());
