//! UART 0 of the board (an ARM CMSDK UART) as embedded-io sees it, and UART 1 for the log.
//!
//! A received byte rings an interrupt, which puts it into a queue: the UART itself has room for one. A byte for which the queue has no
//! room is lost, as on any serial line; the frame it belongs to is then garbled and asked for again.

use core::convert::Infallible;

use heapless::spsc::{Consumer, Producer, Queue};

const LINK: usize = 0x4000_4000;
const LOG: usize = 0x4000_5000;
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

/// Send bytes of the log.
pub fn log(bytes: &[u8]) {
    for byte in bytes {
        while read(LOG + STATE) & TRANSMIT_FULL != 0 {}
        write(LOG + DATA, u32::from(*byte));
    }
}

/// The interrupt's end of UART 0.
pub struct Receiver {
    waiting: Producer<'static, u8>,
    /// Bytes received, lost ones among them.
    pub received: u32,
}

impl Receiver {
    /// Take in what is there.
    pub fn receive(&mut self) {
        write(LINK + INTERRUPT, RECEIVED);
        if read(LINK + STATE) & RECEIVE_FULL != 0 {
            // A byte without room is lost.
            let _ = self.waiting.enqueue(read(LINK + DATA) as u8);
            self.received = self.received.wrapping_add(1);
        }
    }
}

/// The main loop's end of UART 0.
pub struct Uart {
    waiting: Consumer<'static, u8>,
}

/// Switch both UARTs on. Call it once.
pub fn start(waiting: &'static mut Waiting) -> (Receiver, Uart) {
    write(LOG + DIVIDER, 217);
    write(LOG + CONTROL, TRANSMIT);
    write(LINK + DIVIDER, 217);
    write(LINK + CONTROL, TRANSMIT | RECEIVE | RECEIVE_INTERRUPT);
    let (producer, consumer) = waiting.split();
    (Receiver { waiting: producer, received: 0 }, Uart { waiting: consumer })
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
        Ok(read(LINK + STATE) & TRANSMIT_FULL == 0)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first() else { return Ok(0) };
        while read(LINK + STATE) & TRANSMIT_FULL != 0 {}
        write(LINK + DATA, u32::from(*first));
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
