//! Whatever goes wrong with the program: every output off first of all, then nothing more, until the watchdog ends it. Nothing comes on
//! again by itself.
//!
//! As the watchdog calls, the board leaves the host `ended.bin`: what was first called here, the coils as the watchdog found them, and as it
//! left them. So it can be seen who dropped them.

use core::sync::atomic::{AtomicBool, AtomicU8, Ordering};

use cortex_m_rt::exception;

use crate::host;
use crate::pins::{ALARM, COILS, PINS};

/// What the program was ended by.
#[derive(Clone, Copy)]
#[repr(u8)]
pub enum EndedBy {
    /// The watchdog alone: the loop stood still.
    Watchdog = 0,
    Panic = 1,
    /// A fault of the processor, a stack that has outgrown its memory among them.
    Processor = 2,
    /// A stack that went into its reserve.
    Stack = 3,
    /// An interrupt that nobody answers.
    Interrupt = 4,
}

static ENDED_BY: AtomicU8 = AtomicU8::new(EndedBy::Watchdog as u8);

/// Outputs off, and no more: the watchdog does the rest.
pub fn stop(by: EndedBy) -> ! {
    // By `get`: nothing in here may panic.
    for pin in COILS.into_iter().chain([ALARM]).filter_map(|pin| PINS.get(pin)) {
        pin.store(false, Ordering::SeqCst);
    }
    ENDED_BY.store(by as u8, Ordering::SeqCst);
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::nop();
    }
}

/// The watchdog calls for help: nobody feeds it.
#[exception]
unsafe fn NonMaskableInt() {
    let coils = COILS.map(|coil| PINS.get(coil));
    let is_on = |coil: Option<&AtomicBool>| coil.is_none_or(|coil| coil.load(Ordering::SeqCst)).into();
    let [a, b, c] = coils.map(is_on);
    coils.into_iter().flatten().for_each(|coil| coil.store(false, Ordering::SeqCst));
    let [d, e, f] = coils.map(is_on);
    host::write_file(c"ended.bin", &[ENDED_BY.load(Ordering::SeqCst), a, b, c, d, e, f]);
    host::exit(3)
}

extern "C" fn processor() -> ! {
    stop(EndedBy::Processor)
}

/// A fault of the processor. The stack may be what is at fault: begin anew at its top, before anything is pushed.
#[unsafe(naked)]
#[unsafe(no_mangle)]
#[allow(non_snake_case, reason = "its name in the table of vectors")]
extern "C" fn HardFault() -> ! {
    core::arch::naked_asm!("ldr r0, =_stack_start", "mov sp, r0", "bl {processor}", processor = sym processor)
}

/// What a stack that outgrows its memory ends in, where it is let: so that saving registers on that stack, which fails too, is a hard
/// fault, and no processor that stands still.
#[unsafe(naked)]
#[unsafe(no_mangle)]
#[allow(non_snake_case, reason = "its name in the table of vectors")]
extern "C" fn BusFault() -> ! {
    core::arch::naked_asm!("b HardFault")
}

/// An interrupt that nobody answers.
#[exception]
unsafe fn DefaultHandler(_: i16) {
    stop(EndedBy::Interrupt)
}

/// What defmt would call; nothing does, and its own would panic.
#[defmt::panic_handler]
fn defmt_panic() -> ! {
    stop(EndedBy::Panic)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    stop(EndedBy::Panic)
}
