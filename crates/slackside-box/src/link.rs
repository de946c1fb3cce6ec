//! The box's end of the link over a serial line.
//!
//! The link never holds the main loop up: each round takes a few bytes in, or lets a few out, and answers one request at
//! most, and no more than two hundred a second. While an answer is on its way out nothing is taken in, so that a flood of requests
//! waits in the line, not in here.

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::wire::{Decoder, MOST_FRAME, Request, Server};

use crate::line::Analogue;
use crate::sensor_box::SensorBox;

/// Bytes taken in or let out in one round, at most: at one round a millisecond more than 115,200 baud can carry.
pub const BYTES_A_ROUND: usize = 32;
/// After a request was answered the next one waits so long.
const PAUSE: Span = Span::from_millis(5);

/// The link over a serial line.
pub struct Link<'b, S> {
    serial: S,
    decoder: Decoder,
    server: Server<'b>,
    out: [u8; MOST_FRAME],
    /// Bytes of the answer under way, and how many are out.
    length: usize,
    sent: usize,
    /// Nothing is taken in before.
    next: Micros,
}

impl<'b, S: Read + ReadReady + Write + WriteReady> Link<'b, S> {
    /// Over this line. `staging` is memory for a plan to come.
    pub const fn new(serial: S, staging: &'b mut Plan) -> Self {
        let (decoder, server, next) = (Decoder::new(), Server::new(staging), Micros::ZERO);
        Self { serial, decoder, server, out: [0; MOST_FRAME], length: 0, sent: 0, next }
    }

    /// One round. Errors of the line are not the box's concern: what is garbled is thrown away, what is lost is asked again.
    pub fn poll<I, O, A, F, const MARKS: usize>(&mut self, sensor_box: &mut SensorBox<'_, I, O, A, F, MARKS>)
    where
        I: InputPin,
        O: OutputPin,
        A: Analogue,
        F: NorFlash,
    {
        if self.sent < self.length {
            self.send();
            return;
        }
        sensor_box.arm_confirmed(&mut self.server);
        let now = sensor_box.newest_round();
        if now < self.next {
            return;
        }
        for _ in 0..BYTES_A_ROUND {
            let mut byte = [0];
            if !self.serial.read_ready().unwrap_or(false) || !matches!(self.serial.read(&mut byte), Ok(1)) {
                return;
            }
            let [byte] = byte;
            if let Some(Ok(frame)) = self.decoder.feed(byte) {
                let request = frame.message::<Request<'_>>();
                self.length = sensor_box.answer(frame.number, request, &mut self.server, &mut self.out);
                self.sent = 0;
                self.next = now.after(PAUSE);
                self.send();
                return;
            }
        }
    }

    fn send(&mut self) {
        for _ in 0..BYTES_A_ROUND {
            let rest = self.out.get(self.sent..self.length).unwrap_or(&[]);
            let Some(first) = rest.first_chunk::<1>() else { return };
            if !self.serial.write_ready().unwrap_or(false) {
                return;
            }
            match self.serial.write(first) {
                Ok(written) => self.sent = self.sent.saturating_add(written),
                // The line is broken: the desk asks again.
                Err(_) => self.sent = self.length,
            }
        }
    }

    /// The line, for whoever looks after it.
    pub fn serial(&mut self) -> &mut S {
        &mut self.serial
    }
}
