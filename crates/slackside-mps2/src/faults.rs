//! Whatever goes wrong with the program: every output off first of all, then the end. What a board of one's own does after that is its own
//! affair, as long as nothing comes on again by itself.

use core::sync::atomic::Ordering;

use cortex_m_rt::exception;

use crate::host;
use crate::pins::{ALARM, COILS, PINS};

fn drop_all() {
    // By `get`: nothing in here may panic.
    for pin in COILS.into_iter().chain([ALARM]).filter_map(|pin| PINS.get(pin)) {
        pin.store(false, Ordering::SeqCst);
    }
}

/// The watchdog calls for help: the loop stands still.
#[exception]
unsafe fn NonMaskableInt() {
    drop_all();
    host::write_file(
        c"stalled.bin",
        &COILS.map(|pin| PINS.get(pin).is_none_or(|pin| pin.load(Ordering::SeqCst)).into()),
    );
    host::exit(3)
}

/// A fault of the processor, a stack that has outgrown its memory among them.
#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    drop_all();
    host::exit(4)
}

/// An interrupt that nobody answers.
#[exception]
unsafe fn DefaultHandler(_: i16) {
    drop_all();
    host::exit(5)
}

/// What defmt would call; nothing does, and its own would panic.
#[defmt::panic_handler]
fn defmt_panic() -> ! {
    stop()
}

/// Outputs off, and no more: the watchdog does the rest.
fn stop() -> ! {
    drop_all();
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    stop()
}
