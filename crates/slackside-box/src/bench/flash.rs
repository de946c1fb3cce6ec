//! Flash in memory, from which power can go at any byte.

use std::vec;
use std::vec::Vec;

use embedded_storage::nor_flash::{
    ErrorType as FlashErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Why the flash did not do it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlashFailure {
    /// Not on a unit, or beyond the end.
    Address(NorFlashErrorKind),
    /// Written twice without being erased between: real flash may not keep that.
    NotErased,
    /// Power is gone.
    NoPower,
}

impl NorFlashError for FlashFailure {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Address(kind) => *kind,
            Self::NotErased | Self::NoPower => NorFlashErrorKind::Other,
        }
    }
}

/// NOR flash in memory: writing only clears bits, each write unit is written once after each erasing, and power can go at
/// any byte.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flash<const WRITE: usize = 4, const ERASE: usize = 1024> {
    bytes: Vec<u8>,
    written: Vec<bool>,
    /// Steps until power goes: a byte written or erased is a step.
    until: Option<u64>,
    /// Whether the byte under way keeps some of its bits as they were.
    torn: bool,
    steps: u64,
    erased: u64,
    bytes_read: u64,
}

impl<const WRITE: usize, const ERASE: usize> Flash<WRITE, ERASE> {
    /// Erased flash of `blocks` erase blocks.
    #[must_use]
    pub fn new(blocks: usize) -> Self {
        let length = blocks.saturating_mul(ERASE);
        let units = length.checked_div(WRITE).unwrap_or(0);
        Self {
            bytes: vec![0xFF; length],
            written: vec![false; units],
            until: None,
            torn: false,
            steps: 0,
            erased: 0,
            bytes_read: 0,
        }
    }

    /// Let power go after so many more steps; `torn` leaves half the bits of the byte under way as they were.
    pub fn lose_power_after(&mut self, steps: u64, torn: bool) {
        (self.until, self.torn) = (Some(steps), torn);
    }

    /// Whether there is power still.
    #[must_use]
    pub fn has_power(&self) -> bool {
        self.until != Some(0)
    }

    /// Power is back.
    pub fn restore_power(&mut self) {
        self.until = None;
    }

    /// Steps made so far.
    #[must_use]
    pub const fn steps(&self) -> u64 {
        self.steps
    }

    /// Bytes erased so far.
    #[must_use]
    pub const fn erased(&self) -> u64 {
        self.erased
    }

    /// Bytes read so far.
    #[must_use]
    pub const fn bytes_read(&self) -> u64 {
        self.bytes_read
    }

    /// Turn a bit of what is stored, as age does.
    pub fn flip(&mut self, at: usize, bit: u8) {
        if let Some(byte) = self.bytes.get_mut(at) {
            *byte ^= 1_u8.wrapping_shl(u32::from(bit));
        }
    }

    /// What is stored.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    fn set(&mut self, at: usize, value: u8) -> Result<(), FlashFailure> {
        let byte = self.bytes.get_mut(at).ok_or(FlashFailure::Address(NorFlashErrorKind::OutOfBounds))?;
        match self.until.as_mut() {
            Some(0) => {
                if self.torn {
                    *byte = (value & 0x55) | (*byte & 0xAA);
                    self.torn = false;
                }
                return Err(FlashFailure::NoPower);
            }
            Some(left) => *left = left.saturating_sub(1),
            None => {}
        }
        *byte = value;
        self.steps = self.steps.saturating_add(1);
        Ok(())
    }

    fn range(from: u32, length: usize) -> core::ops::Range<usize> {
        let from = usize::try_from(from).unwrap_or(usize::MAX);
        from..from.saturating_add(length)
    }
}

impl<const WRITE: usize, const ERASE: usize> FlashErrorType for Flash<WRITE, ERASE> {
    type Error = FlashFailure;
}

impl<const WRITE: usize, const ERASE: usize> ReadNorFlash for Flash<WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashFailure> {
        if self.until == Some(0) {
            return Err(FlashFailure::NoPower);
        }
        let out_of_bounds = FlashFailure::Address(NorFlashErrorKind::OutOfBounds);
        bytes.copy_from_slice(self.bytes.get(Self::range(offset, bytes.len())).ok_or(out_of_bounds)?);
        self.bytes_read = self.bytes_read.saturating_add(bytes.len() as u64);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WRITE: usize, const ERASE: usize> NorFlash for Flash<WRITE, ERASE> {
    const ERASE_SIZE: usize = ERASE;
    const WRITE_SIZE: usize = WRITE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashFailure> {
        embedded_storage::nor_flash::check_erase(self, from, to).map_err(FlashFailure::Address)?;
        for at in Self::range(from, usize::try_from(to.saturating_sub(from)).unwrap_or(usize::MAX)) {
            self.set(at, 0xFF)?;
            self.erased = self.erased.saturating_add(1);
            if let Some(written) = self.written.get_mut(at.checked_div(WRITE).unwrap_or(usize::MAX)) {
                *written = false;
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashFailure> {
        embedded_storage::nor_flash::check_write(self, offset, bytes.len()).map_err(FlashFailure::Address)?;
        for (at, byte) in Self::range(offset, bytes.len()).zip(bytes) {
            if self.until == Some(0) && !self.torn {
                return Err(FlashFailure::NoPower);
            }
            if at.is_multiple_of(WRITE)
                && let Some(written) = self.written.get_mut(at.checked_div(WRITE).unwrap_or(usize::MAX))
            {
                if *written {
                    return Err(FlashFailure::NotErased);
                }
                // Filling up with FF programs nothing on NOR flash, but parts with their own check bits count it.
                *written = true;
            }
            let old = self.bytes.get(at).copied().unwrap_or(0xFF);
            self.set(at, old & *byte)?;
        }
        Ok(())
    }
}
