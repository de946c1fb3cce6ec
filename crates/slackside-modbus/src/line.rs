//! Modbus RTU on a serial line of a box.
//!
//! It never holds the main loop up: each round takes a few bytes in, or lets a few out, and answers one request at most. The driver of an
//! RS-485 line is on while an answer is under way and for as long as its last characters need, reckoned from the line's speed; what comes
//! in meanwhile is our own echo, and is thrown away.

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use slackside::input::{Command, Origin};
use slackside::units::{Micros, Span};
use slackside_box::SensorBox;
use slackside_box::line::Analogue;

use crate::leg::Leg;
use crate::rtu::{MOST_FRAME, Receiver, frame, on_the_line, silence};
use crate::server::{Exception, MOST_PDU, answer, refuse};
use crate::view::View;

/// Bytes taken in or let out in one round, at most.
const BYTES_A_ROUND: usize = 32;

/// For lines that need no driver switched, such as RS-232 or a pseudo-terminal.
#[derive(Clone, Copy, Debug)]
pub struct NoDriver;

impl ErrorType for NoDriver {
    type Error = core::convert::Infallible;
}

impl OutputPin for NoDriver {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// Modbus RTU over a serial line.
pub struct RtuLine<S, D> {
    serial: S,
    driver: D,
    address: u8,
    /// What ends a frame on this line, and how long a character takes.
    silence: Span,
    character: Span,
    receiver: Receiver,
    out: [u8; MOST_FRAME],
    /// Bytes of the answer under way, and how many are out.
    length: usize,
    sent: usize,
    /// Until when the line is busy with what was sent.
    busy_until: Option<Micros>,
}

impl<S: Read + ReadReady + Write + WriteReady, D: OutputPin> RtuLine<S, D> {
    /// Over this line of so many bits a second, for the leg of this address (1 to 247). `driver` is high while it sends.
    pub const fn new(serial: S, driver: D, address: u8, bits_a_second: u32) -> Self {
        Self {
            serial,
            driver,
            address,
            silence: silence(bits_a_second),
            character: on_the_line(1, bits_a_second),
            receiver: Receiver::new(),
            out: [0; MOST_FRAME],
            length: 0,
            sent: 0,
            busy_until: None,
        }
    }

    /// One round, at `now` by the clock of the box. Come back every millisecond: two frames between two rounds run into one.
    pub fn poll<I, O, A, F, const MARKS: usize>(
        &mut self,
        sensor_box: &mut SensorBox<'_, I, O, A, F, MARKS>,
        now: Micros,
    ) where
        I: InputPin,
        O: OutputPin,
        A: Analogue,
        F: NorFlash,
    {
        if self.is_sending(now) {
            return;
        }
        if self.take_in(now) {
            return;
        }
        let Some((address, message)) = self.receiver.frame(now, self.silence) else { return };
        // Everybody is nobody: an acknowledgement means that somebody has seen *these* alarms, and nothing else can be written.
        if address != self.address {
            return;
        }
        let mut reply = [0; MOST_PDU];
        let (length, acknowledged) = {
            let view = View::of(sensor_box, now);
            let mut leg = Leg::new(&view);
            (answer(message, &mut leg, &mut reply), leg.acknowledged)
        };
        let length = if acknowledged && !sensor_box.command(Origin::Link, Command::Acknowledge) {
            // One command a round, and few by links: it is to be asked again.
            refuse(message, Exception::Busy, &mut reply)
        } else {
            length
        };
        let [_, place @ ..] = &mut self.out;
        for (slot, byte) in place.iter_mut().zip(reply) {
            *slot = byte;
        }
        self.length = if length == 0 { 0 } else { frame(address, length, &mut self.out) };
        self.sent = 0;
        if self.length != 0 && self.driver.set_high().is_err() {
            // A line that cannot be driven: nothing is said, and whoever asked will notice.
            self.length = 0;
        }
    }

    /// Whether an answer is on its way out.
    fn is_sending(&mut self, now: Micros) -> bool {
        if !self.is_busy() {
            return false;
        }
        self.take_in(now);
        self.receiver.forget();
        self.send(now);
        if self.sent >= self.length && self.busy_until.is_none_or(|until| now.get() >= until.get()) {
            self.busy_until = None;
            // It is as it was before: a pin that cannot be written holds the line, which whoever asks next will notice.
            let _ = self.driver.set_low();
        }
        true
    }

    /// Whether anything came.
    fn take_in(&mut self, now: Micros) -> bool {
        let mut came = false;
        for _ in 0..BYTES_A_ROUND {
            let mut byte = [0];
            if !self.serial.read_ready().unwrap_or(false) || !matches!(self.serial.read(&mut byte), Ok(1)) {
                break;
            }
            let [byte] = byte;
            self.receiver.take(byte, now);
            came = true;
        }
        came
    }

    fn send(&mut self, now: Micros) {
        for _ in 0..BYTES_A_ROUND {
            let rest = self.out.get(self.sent..self.length).unwrap_or(&[]);
            let Some(first) = rest.first_chunk::<1>() else { return };
            if !self.serial.write_ready().unwrap_or(false) {
                return;
            }
            match self.serial.write(first) {
                Ok(written) => {
                    self.sent = self.sent.saturating_add(written);
                    // One more than there are: a UART begins a byte somewhat later than it takes it.
                    let from = self.busy_until.map_or(now.after(self.character), |until| until.max(now));
                    self.busy_until = Some(from.after(self.character));
                }
                // The line is broken: whoever asked will ask again.
                Err(_) => self.sent = self.length,
            }
        }
    }

    /// Whether an answer is on its way out: what comes in meanwhile is taken for its echo.
    #[must_use]
    pub const fn is_busy(&self) -> bool {
        self.sent < self.length || self.busy_until.is_some()
    }

    /// The line, for whoever looks after it.
    pub const fn serial(&mut self) -> &mut S {
        &mut self.serial
    }
}
