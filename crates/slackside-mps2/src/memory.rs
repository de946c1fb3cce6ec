//! Pins, lines and flash made of the board's memory: QEMU has no relays and no contacts to wire.

use core::convert::Infallible;
use core::sync::atomic::{AtomicBool, AtomicU16, Ordering};

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_storage::nor_flash::{
    ErrorType as FlashErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use slackside_box::line::Analogue;

/// A pin: its copies are the same pin.
#[derive(Clone, Copy)]
pub struct Pin(pub &'static AtomicBool);

impl ErrorType for Pin {
    type Error = Infallible;
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.load(Ordering::SeqCst))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.load(Ordering::SeqCst))
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.store(false, Ordering::SeqCst);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.store(true, Ordering::SeqCst);
        Ok(())
    }
}

/// An analogue input.
#[derive(Clone, Copy)]
pub struct Level(pub &'static AtomicU16);

impl Analogue for Level {
    fn read(&mut self) -> Option<u16> {
        Some(self.0.load(Ordering::SeqCst))
    }
}

/// Flash of RAM: erased when the emulator starts.
pub struct Flash(pub &'static mut [u8]);

impl FlashErrorType for Flash {
    type Error = NorFlashErrorKind;
}

fn part(bytes: &mut [u8], offset: u32, length: usize) -> Result<&mut [u8], NorFlashErrorKind> {
    let from = offset as usize;
    bytes.get_mut(from..from.saturating_add(length)).ok_or(NorFlashErrorKind::OutOfBounds)
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        // Both are as long: byte by byte, since copying would panic if they were not.
        let length = bytes.len();
        for (slot, byte) in bytes.iter_mut().zip(part(self.0, offset, length)?) {
            *slot = *byte;
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

// ANCHOR: flash
impl NorFlash for Flash {
    const ERASE_SIZE: usize = 4096;
    const WRITE_SIZE: usize = 4;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        part(self.0, from, (to - from) as usize)?.fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        for (slot, byte) in part(self.0, offset, bytes.len())?.iter_mut().zip(bytes) {
            *slot &= *byte;
        }
        Ok(())
    }
}
// ANCHOR_END: flash
