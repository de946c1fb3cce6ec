//! The host's files by semihosting, and the end of the run. The emulated clock stands still meanwhile.

use core::ffi::CStr;

use cortex_m_semihosting::{nr, syscall};
use slackside::settings::plan::Plan;

/// Read a file of the host into `buffer`: what was read, empty if there is no such file.
pub fn read_file<'b>(name: &CStr, buffer: &'b mut [u8]) -> &'b [u8] {
    // SAFETY: the name and the buffer live through the calls, and the lengths are their own.
    let length = unsafe {
        let handle = syscall!(OPEN, name.as_ptr(), nr::open::R_BINARY, name.to_bytes().len());
        if handle == usize::MAX {
            return &[];
        }
        let missing = syscall!(READ, handle, buffer.as_mut_ptr(), buffer.len());
        syscall!(CLOSE, handle);
        buffer.len().saturating_sub(missing)
    };
    &buffer[..length]
}

/// The plan in `plan.bin`, which on a board of one's own lies in flash. Where there is none it is blank, and no monitor takes it.
pub fn plan(place: &'static mut Plan) -> &'static Plan {
    let mut buffer = [0; Plan::LENGTH];
    if let Ok(plan) = Plan::copy_of(read_file(c"plan.bin", &mut buffer)) {
        *place = plan;
    }
    place
}

/// Write a file of the host.
pub fn write_file(name: &CStr, bytes: &[u8]) {
    // SAFETY: as above.
    unsafe {
        let handle = syscall!(OPEN, name.as_ptr(), nr::open::W_TRUNC_BINARY, name.to_bytes().len());
        syscall!(WRITE, handle, bytes.as_ptr(), bytes.len());
        syscall!(CLOSE, handle);
    }
}

/// End the emulator.
pub fn exit(code: u32) -> ! {
    // The numbers of semihosting 2.0: the operation, and the reason "application exit", which takes a code.
    const EXIT_EXTENDED: usize = 0x20;
    const APPLICATION_EXIT: usize = 0x20026;
    // SAFETY: the block lives through the call; the call does not come back.
    unsafe {
        cortex_m_semihosting::syscall(EXIT_EXTENDED, &[APPLICATION_EXIT, code as usize]);
    }
    loop {
        cortex_m::asm::nop();
    }
}
