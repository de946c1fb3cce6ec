//! The log: defmt frames out of the board's second UART. The host has the words, here are only their numbers.
//!
//! Only one level of a program logs, its main loop or its lowest task. So a frame needs no critical section, and logging never holds an edge
//! up.

use core::cell::UnsafeCell;
use core::sync::atomic::{AtomicBool, Ordering};

use crate::uart;

#[defmt::global_logger]
struct Log;

struct Place(UnsafeCell<defmt::Encoder>);

// SAFETY: one level gets at it, see `acquire`.
unsafe impl Sync for Place {}

static BUSY: AtomicBool = AtomicBool::new(false);
static ENCODER: Place = Place(UnsafeCell::new(defmt::Encoder::new()));

fn encoder() -> &'static mut defmt::Encoder {
    // SAFETY: only called between `acquire` and `release`, and only one is between them.
    unsafe { &mut *ENCODER.0.get() }
}

// SAFETY: frames do not interleave: nothing gets past `acquire` while another is between it and `release`.
unsafe impl defmt::Logger for Log {
    fn acquire() {
        if BUSY.swap(true, Ordering::SeqCst) {
            // A line in the middle of a line is a mistake in this program: stand still, so that the heartbeat ends.
            loop {
                cortex_m::asm::nop();
            }
        }
        encoder().start_frame(uart::log);
    }

    unsafe fn flush() {}

    unsafe fn release() {
        encoder().end_frame(uart::log);
        BUSY.store(false, Ordering::SeqCst);
    }

    unsafe fn write(bytes: &[u8]) {
        encoder().write(bytes, uart::log);
    }
}

defmt::timestamp!("{=u64:us}", crate::clock::now().get());
