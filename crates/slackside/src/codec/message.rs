//! Messages in postcard's wire format, written and read by hand where a box does it.
//!
//! What serde makes of messages takes a kilobyte more of the flash on a small processor, and the library's own writer indexes by a
//! count that no compiler proves to be in range where size counts, and so holds a panic. The desk reads and writes by the library;
//! properties hold every byte written here, and everything read here, against it.

use super::varint::{self, zigzag};
use crate::conditions::Condition;
use crate::input::{Command, Signal};
use crate::units::Span;

/// What can be written as a message.
pub trait Message {
    /// Write it.
    fn write(&self, pen: &mut Pen<'_>);
}

/// Write `message` into the front of `room`: how many bytes it took; `None` if there is not room enough.
pub fn write(message: &dyn Message, room: &mut [u8]) -> Option<usize> {
    let mut pen = Pen { room, at: 0 };
    message.write(&mut pen);
    (pen.at <= pen.room.len()).then_some(pen.at)
}

/// Writes. Beyond the room it only counts.
pub struct Pen<'a> {
    room: &'a mut [u8],
    at: usize,
}

impl Pen<'_> {
    /// One byte: a small number, a flag, or which of several.
    #[inline(never)]
    pub fn byte(&mut self, byte: u8) {
        if let Some(slot) = self.room.get_mut(self.at) {
            *slot = byte;
        }
        self.at = self.at.saturating_add(1);
    }

    /// These bytes, and nothing about how many.
    #[inline(never)]
    pub fn all(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.byte(*byte));
    }

    /// A number of 32 bits.
    #[inline(never)]
    pub fn number(&mut self, value: u32) {
        varint::write(value, &mut |byte| self.byte(byte));
    }

    /// A number with its sign.
    pub fn signed(&mut self, value: i32) {
        self.number(zigzag(value));
    }

    /// A number of 64 bits.
    #[inline(never)]
    pub fn long(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
    }

    /// A number of 64 bits with its sign.
    pub fn signed_long(&mut self, value: i64) {
        self.long((value.wrapping_shl(1) ^ (value >> 63)) as u64);
    }

    /// Bytes, after how many there are.
    #[inline(never)]
    pub fn bytes(&mut self, bytes: &[u8]) {
        self.number(bytes.len() as u32);
        self.all(bytes);
    }

    /// A condition, by its number.
    #[inline(never)]
    pub fn condition(&mut self, condition: Option<Condition>) {
        self.byte(condition.is_some().into());
        if let Some(condition) = condition {
            self.byte(condition.id());
        }
    }

    /// A command.
    #[inline(never)]
    pub fn command(&mut self, command: Command) {
        self.byte(match command {
            Command::Acknowledge => 0,
            Command::Reset => 1,
            Command::ResetButton(_) => 2,
            Command::BootCleared => 3,
            Command::Key(_) => 4,
            Command::Bypass(..) => 5,
            Command::EndBypass => 6,
            Command::Inch(_) => 7,
            Command::ProofTest(_) => 8,
            Command::Armed { .. } => 9,
        });
        match command {
            Command::ResetButton(on) | Command::Key(on) | Command::Inch(on) | Command::ProofTest(on) => {
                self.byte(on.into());
            }
            Command::Bypass(condition, span) => {
                self.byte(condition.id());
                self.number(span.get());
            }
            Command::Armed { old, new } => {
                self.number(old);
                self.number(new);
            }
            Command::Acknowledge | Command::Reset | Command::BootCleared | Command::EndBypass => {}
        }
    }
}

impl Message for Signal {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.byte(match self {
            Self::Edge(..) => 0,
            Self::Line(..) => 1,
            Self::EdgesLost(_) => 2,
            Self::Contact(..) => 3,
            Self::Temperature(..) => 4,
            Self::DriveRunning(_) => 5,
            Self::DrivePower(_) => 6,
            Self::SpeedReference(_) => 7,
            Self::OutletPlugged(_) => 8,
            Self::Command(..) => 9,
            Self::Tick => 10,
        });
        match *self {
            Self::Edge(shaft, level) => pen.all(&[shaft as u8, level.into()]),
            Self::Line(shaft, state) => pen.all(&[shaft as u8, state as u8]),
            Self::EdgesLost(shaft) => pen.byte(shaft as u8),
            Self::Contact(place, state) => pen.all(&[place as u8, state as u8]),
            Self::Temperature(place, temperature) => {
                pen.byte(place as u8);
                pen.signed(temperature.get().into());
            }
            Self::DriveRunning(on) | Self::OutletPlugged(on) => pen.byte(on.into()),
            Self::DrivePower(power) => pen.number(power.get()),
            Self::SpeedReference(speed) => pen.signed(speed.get()),
            Self::Command(origin, command) => {
                pen.byte(origin as u8);
                pen.command(command);
            }
            Self::Tick => {}
        }
    }
}

/// Reads. Once there is nothing sound to read it gives zeros, and says so at the end.
#[derive(Clone, Copy, Debug)]
pub struct Bytes<'a> {
    rest: &'a [u8],
    unsound: bool,
}

impl<'a> Bytes<'a> {
    /// These, from the first on.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes, unsound: false }
    }

    /// Whether all was read, and sound.
    #[must_use]
    pub const fn are_done(&self) -> bool {
        !self.unsound && self.rest.is_empty()
    }

    const fn fail(&mut self) {
        self.unsound = true;
        self.rest = &[];
    }

    /// One byte.
    #[inline(never)]
    pub fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.rest.split_first() else {
            self.fail();
            return 0;
        };
        self.rest = rest;
        *first
    }

    /// Yes or no.
    #[inline(never)]
    pub fn flag(&mut self) -> bool {
        let byte = self.byte();
        if byte > 1 {
            self.fail();
        }
        byte == 1
    }

    /// A number of 64 bits.
    #[inline(never)]
    pub fn long(&mut self) -> u64 {
        let (mut value, mut scale) = (0_u64, 1_u64);
        loop {
            let byte = self.byte();
            if scale >> 63 != 0 && byte > 1 {
                // More than 64 bits.
                self.fail();
                return 0;
            }
            value = value.wrapping_add(u64::from(byte & 0x7F).wrapping_mul(scale));
            if byte & 0x80 == 0 {
                return value;
            }
            scale <<= 7;
        }
    }

    /// A number with its sign.
    pub fn signed_long(&mut self) -> i64 {
        let value = self.long();
        (value >> 1) as i64 ^ ((value & 1) as i64).wrapping_neg()
    }

    /// A number of 32 bits.
    #[inline(never)]
    pub fn number(&mut self) -> u32 {
        let value = self.long();
        if value >> 32 != 0 {
            self.fail();
        }
        value as u32
    }

    /// A number of 16 bits.
    pub fn short(&mut self) -> u16 {
        let value = self.number();
        if value >> 16 != 0 {
            self.fail();
        }
        value as u16
    }

    /// Bytes, after how many there are.
    #[inline(never)]
    pub fn bytes(&mut self) -> &'a [u8] {
        let length = self.number() as usize;
        let Some((bytes, rest)) = self.rest.split_at_checked(length) else {
            self.fail();
            return &[];
        };
        self.rest = rest;
        bytes
    }

    /// A command; `None` if it is none.
    pub fn command(&mut self) -> Option<Command> {
        Some(match self.byte() {
            0 => Command::Acknowledge,
            1 => Command::Reset,
            2 => Command::ResetButton(self.flag()),
            3 => Command::BootCleared,
            4 => Command::Key(self.flag()),
            5 => Command::Bypass(Condition::from_id(self.byte())?, Span::new(self.number())),
            6 => Command::EndBypass,
            7 => Command::Inch(self.flag()),
            8 => Command::ProofTest(self.flag()),
            9 => Command::Armed { old: self.number(), new: self.number() },
            _ => return None,
        })
    }
}

#[cfg(test)]
#[path = "message_tests.rs"]
mod tests;
