//! The end of the Pico's flash as embedded-storage sees it.
//!
//! While the flash is erased or written it cannot be read, so the program stands still with interrupts off: about 45 ms for
//! a block of 4 KiB (400 ms at worst, by the data sheets of such parts; from memory), under 3 ms for a page. The box erases
//! only while the leg stands with its permits dropped.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Where the part begins, from the start of the flash.
const BEGINS: u32 = 0x1C_0000;
/// How long it is.
pub const LENGTH: u32 = 256 * 1024;
/// Where the flash lies in the address space.
const MAPPED: u32 = 0x1000_0000;
const BLOCK: u32 = 4096;
const PAGE: u32 = 256;

/// The last 256 KiB of the flash.
pub struct Flash(());

impl Flash {
    /// Call it once, and only while the second core is off.
    pub const fn new() -> Self {
        Self(())
    }
}

/// The range asked for is not in the part, or not on a unit.
#[derive(Clone, Copy, Debug)]
pub struct OutOfRange(NorFlashErrorKind);

impl NorFlashError for OutOfRange {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl ErrorType for Flash {
    type Error = OutOfRange;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), OutOfRange> {
        check_read(self, offset, bytes.len()).map_err(OutOfRange)?;
        let from = (MAPPED + BEGINS + offset) as *const u8;
        for (at, byte) in bytes.iter_mut().enumerate() {
            // SAFETY: within the part, which the check above has made sure of; volatile because the flash changes behind
            // the compiler's back.
            *byte = unsafe { from.add(at).read_volatile() };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        LENGTH as usize
    }
}

impl NorFlash for Flash {
    const ERASE_SIZE: usize = BLOCK as usize;
    const WRITE_SIZE: usize = 4;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), OutOfRange> {
        check_erase(self, from, to).map_err(OutOfRange)?;
        for block in (from..to).step_by(BLOCK as usize) {
            // SAFETY: whole blocks of the part; interrupts are off and the second core was never started, so nothing reads
            // the flash meanwhile.
            cortex_m::interrupt::free(|_| unsafe {
                rp2040_flash::flash::flash_range_erase(BEGINS + block, BLOCK, true)
            });
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), OutOfRange> {
        check_write(self, offset, bytes.len()).map_err(OutOfRange)?;
        let mut at = offset;
        let mut rest = bytes;
        while !rest.is_empty() {
            // Pages are written whole; a byte of FF leaves what is there as it is.
            let mut page = [0xFF; PAGE as usize];
            let begins = at % PAGE;
            let count = rest.len().min((PAGE - begins) as usize);
            let (part, more) = rest.split_at(count);
            page[begins as usize..][..count].copy_from_slice(part);
            // SAFETY: as for erasing; a whole page.
            cortex_m::interrupt::free(|_| unsafe {
                rp2040_flash::flash::flash_range_program(BEGINS + at - begins, &page, true);
            });
            at += count as u32;
            rest = more;
        }
        Ok(())
    }
}
