//! The board's UARTs (ARM CMSDK ones) as embedded-io sees them: for the link, the log, Modbus and the service port.
//!
//! A received byte rings an interrupt, which puts it into a queue: the UART itself has room for one. A byte for which the queue has no
//! room is lost, as on any serial line; the frame it belongs to is then garbled and asked for again.

use core::convert::Infallible;

use heapless::spsc::{Consumer, Producer, Queue};

/// UART 0: the link.
pub const LINK: usize = 0x4000_4000;
/// UART 1: the log.
const LOG: usize = 0x4000_5000;
/// UART 2: Modbus.
pub const MODBUS: usize = 0x4000_6000;
/// UART 3: the service port.
pub const SERVICE: usize = 0x4000_7000;
const DATA: usize = 0x0;
const STATE: usize = 0x4;
const CONTROL: usize = 0x8;
const INTERRUPT: usize = 0xC;
const DIVIDER: usize = 0x10;
/// Bits of the state register.
const TRANSMIT_FULL: u32 = 1;
const RECEIVE_FULL: u32 = 2;
/// Bits of the control register.
const TRANSMIT: u32 = 1;
const RECEIVE: u32 = 2;
const RECEIVE_INTERRUPT: u32 = 1 << 3;
/// The bit of the interrupt register.
const RECEIVED: u32 = 2;
/// What the divider divides.
const CLOCK_HZ: u32 = 25_000_000;

/// Received bytes that wait for the main loop.
pub type Waiting = Queue<u8, 256>;

fn read(register: usize) -> u32 {
    // SAFETY: a register of the board's UARTs, which nothing but this file touches.
    unsafe { (register as *const u32).read_volatile() }
}

fn write(register: usize, value: u32) {
    // SAFETY: as above.
    unsafe { (register as *mut u32).write_volatile(value) }
}

/// Switch the log's on.
pub fn start_log() {
    write(LOG + DIVIDER, CLOCK_HZ / 115_200);
    write(LOG + CONTROL, TRANSMIT);
}

/// Send bytes of the log.
pub fn log(bytes: &[u8]) {
    for byte in bytes {
        while read(LOG + STATE) & TRANSMIT_FULL != 0 {}
        write(LOG + DATA, u32::from(*byte));
    }
}

/// The interrupt's end of a UART.
pub struct Receiver {
    base: usize,
    waiting: Producer<'static, u8>,
    /// Bytes received, lost ones among them.
    pub received: u32,
}

impl Receiver {
    /// Take in what is there.
    pub fn receive(&mut self) {
        write(self.base + INTERRUPT, RECEIVED);
        if read(self.base + STATE) & RECEIVE_FULL != 0 {
            // A byte without room is lost.
            let _ = self.waiting.enqueue(read(self.base + DATA) as u8);
            self.received = self.received.wrapping_add(1);
        }
    }
}

/// The main loop's end of a UART.
pub struct Uart {
    base: usize,
    waiting: Consumer<'static, u8>,
}

/// Switch [`LINK`], [`MODBUS`] or [`SERVICE`] on. Call it once for each.
pub fn start(base: usize, bits_a_second: u32, waiting: &'static mut Waiting) -> (Receiver, Uart) {
    write(base + DIVIDER, CLOCK_HZ.checked_div(bits_a_second).unwrap_or(u32::MAX));
    write(base + CONTROL, TRANSMIT | RECEIVE | RECEIVE_INTERRUPT);
    let (producer, consumer) = waiting.split();
    (Receiver { base, waiting: producer, received: 0 }, Uart { base, waiting: consumer })
}

impl embedded_io::ErrorType for Uart {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.waiting.ready())
    }
}

impl embedded_io::Read for Uart {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first_mut() else { return Ok(0) };
        loop {
            if let Some(byte) = self.waiting.dequeue() {
                *first = byte;
                return Ok(1);
            }
        }
    }
}

impl embedded_io::WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(read(self.base + STATE) & TRANSMIT_FULL == 0)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first() else { return Ok(0) };
        while read(self.base + STATE) & TRANSMIT_FULL != 0 {}
        write(self.base + DATA, u32::from(*first));
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
