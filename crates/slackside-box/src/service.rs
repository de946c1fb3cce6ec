//! The service port: a serial line within the box's housing, on no network, by which its key is set. Nothing can be read by it.
//!
//! What it takes is one line of 32 digits from 0 to 9 and a to f, as a key file has it, and what it answers is a line of words. So any terminal
//! does, or `cat BOX.key`. The box takes a key only with the key switch on and the leg at rest; its settings go first, and then
//! the program stops, for its watchdog to start it anew: without settings, under the new key.

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;

use crate::arming::BoxKey;
use crate::line::Analogue;
use crate::link::BYTES_A_ROUND;
use crate::sensor_box::{ArmRefusal, SensorBox};

/// Digits of a key.
const DIGITS: u8 = 32;

/// A line under way.
#[derive(Clone, Copy, Debug, Default)]
struct Typed {
    number: u128,
    digits: u8,
    /// Something else was typed.
    other: bool,
}

impl Typed {
    /// One byte more: the line, once it has ended.
    fn take(&mut self, byte: u8) -> Option<Self> {
        match (char::from(byte).to_digit(16), byte) {
            (_, b'\r' | b'\n') => return Some(core::mem::take(self)).filter(|line| line.digits > 0 || line.other),
            (Some(digit), _) if self.digits < DIGITS => {
                self.number = self.number << 4 | u128::from(digit);
                self.digits = self.digits.saturating_add(1);
            }
            _ => self.other = true,
        }
        None
    }

    fn key(self) -> Option<BoxKey> {
        (self.digits == DIGITS && !self.other).then_some(self.number.to_be_bytes())
    }
}

/// The service port over a serial line.
pub struct ServicePort<S> {
    serial: S,
    typed: Typed,
    /// A key on its way into the flash, and how many steps of that are done.
    setting: Option<(BoxKey, u8)>,
    /// What is left to say.
    says: &'static [u8],
}

impl<S: Read + ReadReady + Write + WriteReady> ServicePort<S> {
    /// Over this line.
    pub const fn new(serial: S) -> Self {
        Self { serial, typed: Typed { number: 0, digits: 0, other: false }, setting: None, says: &[] }
    }

    /// One round.
    pub fn poll<I, O, A, F, const MARKS: usize>(&mut self, sensor_box: &mut SensorBox<'_, I, O, A, F, MARKS>)
    where
        I: InputPin,
        O: OutputPin,
        A: Analogue,
        F: NorFlash,
    {
        if let Some((key, step)) = self.setting.take() {
            match sensor_box.set_key(&key, step) {
                Ok(false) => self.setting = Some((key, step.saturating_add(1))),
                Ok(true) => self.says = b"key set: the box starts anew, without settings\r\n",
                Err(refusal) => self.says = words(refusal),
            }
            return;
        }
        for _ in 0..BYTES_A_ROUND {
            if let Some((first, rest)) = self.says.split_first() {
                if self.serial.write_ready().unwrap_or(false) && self.serial.write(&[*first]).is_ok() {
                    self.says = rest;
                }
                continue;
            }
            let mut byte = [0];
            if !self.serial.read_ready().unwrap_or(false) || !matches!(self.serial.read(&mut byte), Ok(1)) {
                return;
            }
            let [byte] = byte;
            let Some(line) = self.typed.take(byte) else { continue };
            match line.key() {
                Some(key) => {
                    self.setting = Some((key, 0));
                    return;
                }
                None => self.says = b"no key: type its 32 digits from 0 to 9 and a to f\r\n",
            }
        }
    }
}

const fn words(refusal: ArmRefusal) -> &'static [u8] {
    match refusal {
        ArmRefusal::KeyOff => b"not set: turn the key switch on\r\n",
        ArmRefusal::NotAtRest => b"not set: the leg must stand, its drive off\r\n",
        _ => b"not set: the flash takes nothing\r\n",
    }
}
