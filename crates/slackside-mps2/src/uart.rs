//! UART 0 of the board (an ARM CMSDK UART), as embedded-io sees it.

use core::convert::Infallible;

const BASE: usize = 0x4000_4000;
const DATA: usize = BASE;
const STATE: usize = BASE + 0x4;
const CONTROL: usize = BASE + 0x8;
const DIVIDER: usize = BASE + 0x10;
/// Bits of the state register.
const TRANSMIT_FULL: u32 = 1;
const RECEIVE_FULL: u32 = 2;

/// UART 0.
pub struct Uart(());

impl Uart {
    /// Switch it on. Call it once.
    pub fn new() -> Self {
        write(DIVIDER, 217);
        write(CONTROL, 3);
        Self(())
    }
}

fn read(register: usize) -> u32 {
    // SAFETY: a register of the board's UART, which nothing else touches.
    unsafe { (register as *const u32).read_volatile() }
}

fn write(register: usize, value: u32) {
    // SAFETY: as above.
    unsafe { (register as *mut u32).write_volatile(value) }
}

impl embedded_io::ErrorType for Uart {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(read(STATE) & RECEIVE_FULL != 0)
    }
}

impl embedded_io::Read for Uart {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first_mut() else { return Ok(0) };
        while read(STATE) & RECEIVE_FULL == 0 {}
        *first = read(DATA) as u8;
        Ok(1)
    }
}

impl embedded_io::WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(read(STATE) & TRANSMIT_FULL == 0)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first() else { return Ok(0) };
        while read(STATE) & TRANSMIT_FULL != 0 {}
        write(DATA, u32::from(*first));
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
