//! The end of the Pico's flash as embedded-storage sees it.
//!
//! While the flash is erased or written it cannot be read, so the program stands still with interrupts off: about 45 ms for
//! a block of 4 KiB (400 ms at worst, by the data sheets of such parts; from memory), under 3 ms for a page. The box erases
//! only while the leg stands with its permits dropped.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use rp2040_hal::rom_data;

/// Where the part begins, from the start of the flash.
const BEGINS: u32 = 0x1C_0000;
/// How long it is.
pub const LENGTH: u32 = 256 * 1024;
/// Where the flash lies in the address space.
const MAPPED: u32 = 0x1000_0000;
const BLOCK: u32 = 4096;
const PAGE: u32 = 256;

/// What is to be done while the flash cannot be read.
enum Work<'p> {
    Erase { at: u32 },
    Write { at: u32, page: &'p [u8; PAGE as usize] },
}

/// The boot ROM's functions, looked up while the flash can still be read.
struct Rom {
    connect: unsafe extern "C" fn(),
    exit: unsafe extern "C" fn(),
    erase: unsafe extern "C" fn(u32, usize, u32, u8),
    program: unsafe extern "C" fn(u32, *const u8, usize),
    flush: unsafe extern "C" fn(),
    enter: unsafe extern "C" fn(),
}

impl Rom {
    fn find() -> Self {
        Self {
            connect: rom_data::connect_internal_flash::ptr(),
            exit: rom_data::flash_exit_xip::ptr(),
            erase: rom_data::flash_range_erase::ptr(),
            program: rom_data::flash_range_program::ptr(),
            flush: rom_data::flash_flush_cache::ptr(),
            enter: rom_data::flash_enter_cmd_xip::ptr(),
        }
    }
}

/// Lies in RAM, since the flash is not there while it runs. Afterwards the flash is read in the ROM's plain way, slower than the
/// boot stage had it.
#[unsafe(link_section = ".data.without_flash")]
#[inline(never)]
fn without_flash(work: &Work<'_>, rom: &Rom) {
    // The command for erasing a block of 4 KiB at a time is the ROM's own choice where the range is that small.
    const BLOCK_COMMAND: u8 = 0xD8;
    // SAFETY: interrupts are off and the second core was never started, so nothing reads the flash meanwhile; ranges are
    // whole blocks and pages of the part that belongs to the box.
    unsafe {
        (rom.connect)();
        (rom.exit)();
        match work {
            Work::Erase { at } => (rom.erase)(*at, BLOCK as usize, 1 << 16, BLOCK_COMMAND),
            Work::Write { at, page } => (rom.program)(*at, page.as_ptr(), page.len()),
        }
        (rom.flush)();
        (rom.enter)();
    }
}

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
            // Whole blocks of the part.
            cortex_m::interrupt::free(|_| without_flash(&Work::Erase { at: BEGINS + block }, &Rom::find()));
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
            let mut count = 0;
            for (slot, byte) in page.iter_mut().skip(begins as usize).zip(rest) {
                *slot = *byte;
                count += 1;
            }
            cortex_m::interrupt::free(|_| {
                without_flash(&Work::Write { at: BEGINS + at - begins, page: &page }, &Rom::find());
            });
            at += count as u32;
            rest = rest.get(count..).unwrap_or_default();
        }
        Ok(())
    }
}
