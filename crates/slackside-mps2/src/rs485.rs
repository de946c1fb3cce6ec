//! The wires of an RS-485 line behind a UART, with the driver between them, /RE tied to DE. QEMU has neither: its UART hands each byte over at
//! once and knows no driver. Here a byte takes the time it needs on a line, and is heard only if the driver was on until its end; so a
//! program that forgets its pin, or lets go of it too soon, is heard by nobody.

use core::convert::Infallible;

use embedded_hal::digital::InputPin;
use embedded_io::{Read, ReadReady, Write, WriteReady};
use heapless::Deque;
use slackside::units::{Micros, Span};
use slackside_modbus::rtu::on_the_line;

use crate::clock::now;
use crate::memory::Pin;
use crate::uart::Uart;

/// A UART behind a driver.
pub struct Rs485 {
    uart: Uart,
    /// DE, as the driver sees it.
    enable: Pin,
    /// A byte's time.
    byte: Span,
    /// On their way out, and when the first of them has ended.
    sending: Deque<u8, 16>,
    ends: Micros,
}

impl Rs485 {
    /// Behind a driver that this pin switches on.
    pub const fn new(uart: Uart, enable: Pin, bits_a_second: u32) -> Self {
        let byte = on_the_line(1, bits_a_second);
        Self { uart, enable, byte, sending: Deque::new(), ends: Micros::ZERO }
    }

    fn drives(&mut self) -> bool {
        self.enable.is_high() == Ok(true)
    }

    /// Hand over what has ended.
    fn go_on(&mut self) {
        while !self.sending.is_empty() && now() >= self.ends {
            if let Some(byte) = self.sending.pop_front()
                && self.drives()
            {
                let _ = self.uart.write(&[byte]);
            }
            self.ends = self.ends.after(self.byte);
        }
    }
}

impl embedded_io::ErrorType for Rs485 {
    type Error = Infallible;
}

impl ReadReady for Rs485 {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        self.go_on();
        // While it drives it does not hear.
        while self.drives() && self.uart.read_ready()? {
            self.uart.read(&mut [0])?;
        }
        self.uart.read_ready()
    }
}

impl Read for Rs485 {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        self.uart.read(bytes)
    }
}

impl WriteReady for Rs485 {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        self.go_on();
        Ok(!self.sending.is_full())
    }
}

impl Write for Rs485 {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first() else { return Ok(0) };
        if self.sending.is_empty() {
            self.ends = now().after(self.byte);
        }
        // What finds no room is lost, as on any line; `write_ready` tells.
        let _ = self.sending.push_back(*first);
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        while !self.sending.is_empty() {
            self.go_on();
        }
        Ok(())
    }
}
