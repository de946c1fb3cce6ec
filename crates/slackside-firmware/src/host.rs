//! The machine that runs the emulator, by semihosting: files in, files out, and the end of the run.
//!
//! The emulator is started in a folder of its own, so names are enough.

use cortex_m_semihosting::{nr, syscall};

/// What went wrong with a file. The run ends at once with this as its exit code, so the numbers are part of the
/// interface with the desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub enum Failure {
    /// A file could not be opened.
    Open = 10,
    /// A file could not be read.
    Read = 11,
    /// A file could not be written.
    Write = 12,
    /// The settings could not be read or were refused.
    Settings = 13,
    /// An input could not be decoded.
    Input = 14,
    /// A verdict did not fit its buffer.
    Verdict = 15,
    /// Ticking at the deadline did not settle it.
    Stuck = 16,
    /// The core panicked.
    Panic = 17,
    /// The processor faulted.
    Fault = 18,
}

/// An open file of the host.
pub struct File(usize);

impl File {
    /// Open for reading, binary. `name` ends with a zero byte.
    ///
    /// # Errors
    /// [`Failure::Open`] if the host cannot.
    pub fn open(name: &core::ffi::CStr) -> Result<Self, Failure> {
        Self::open_as(name, nr::open::R_BINARY)
    }

    /// Create or empty for writing, binary.
    ///
    /// # Errors
    /// [`Failure::Open`] if the host cannot.
    pub fn create(name: &core::ffi::CStr) -> Result<Self, Failure> {
        Self::open_as(name, nr::open::W_TRUNC_BINARY)
    }

    fn open_as(name: &core::ffi::CStr, mode: usize) -> Result<Self, Failure> {
        let length = name.to_bytes().len();
        // SAFETY: the name lives through the call, and the length is its own without the closing zero.
        let handle = unsafe { syscall!(OPEN, name.as_ptr(), mode, length) };
        if handle == usize::MAX { Err(Failure::Open) } else { Ok(Self(handle)) }
    }

    /// Fill as much of `buffer` as the file has; the number of bytes read, 0 at its end.
    ///
    /// # Errors
    /// [`Failure::Read`] if the host says nonsense.
    pub fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Failure> {
        // SAFETY: the buffer is ours alone and the length is its own.
        let missing = unsafe { syscall!(READ, self.0, buffer.as_mut_ptr(), buffer.len()) };
        buffer.len().checked_sub(missing).ok_or(Failure::Read)
    }

    /// Write all of `bytes`.
    ///
    /// # Errors
    /// [`Failure::Write`] if the host took less.
    pub fn write(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        // SAFETY: the bytes live through the call and the length is their own.
        let missing = unsafe { syscall!(WRITE, self.0, bytes.as_ptr(), bytes.len()) };
        if missing == 0 { Ok(()) } else { Err(Failure::Write) }
    }
}

/// End the emulator with this exit code.
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

/// End the emulator with the outcome of `run`.
pub fn finish(run: Result<(), Failure>) -> ! {
    match run {
        Ok(()) => exit(0),
        Err(failure) => exit(failure as u32),
    }
}
