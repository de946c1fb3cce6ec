//! What the box keeps in flash: settings in two slots, a journal of what must survive, rings of slip heat and of power-ups, the
//! box's key, recordings, days for wear.

mod album;
mod days;
mod journal;
mod key;
mod label;
mod layout;
mod marks;
mod pages;
mod slots;

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

pub use album::{Album, Entry};
pub(crate) use days::DAY;
pub use days::Days;
pub use journal::{Journal, Kept, Restored};
pub(crate) use key::read_key;
#[cfg(feature = "tag")]
pub(crate) use key::set_key_by_steps;
pub use key::{key_block, set_key};
pub use label::About;
pub use layout::{Layout, TooSmall};
pub use marks::{Marks, Newest};
pub use slots::{Found, Slots};

/// Bit by bit: a table would take 1 KiB of flash, and what is summed is short.
pub(crate) const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// Why nothing was stored or read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoreError {
    /// The flash said no.
    Flash,
    /// It does not fit.
    TooLong,
    /// There is no such thing.
    NotThere,
    /// It is damaged.
    Damaged,
    /// It was written and its mark set, but what followed failed: whether it counts after the next power-up is not known.
    InDoubt,
}

/// `length` rounded up to whole `unit`s; `u32::MAX` where that does not fit.
const fn round_up(length: u32, unit: u32) -> u32 {
    match length.checked_next_multiple_of(unit) {
        Some(rounded) => rounded,
        None => u32::MAX,
    }
}
