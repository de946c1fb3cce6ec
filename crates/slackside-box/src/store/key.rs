//! The box's key, in a block of its own: written at flashing or by a service port at the box, never read out.
//!
//! Four letters `KEY1`, 16 bytes of key, and the CRC of these 20 bytes, low byte first; filled up with FF to whole write units.

use embedded_storage::nor_flash::NorFlash;

use super::slots::{read_any, write_padded};
use super::{CRC, Layout, StoreError};

const LETTERS: [u8; 4] = *b"KEY1";
const LENGTH: usize = 24;

/// The bytes that lie in the block of a key.
#[must_use]
pub fn key_block(key: &[u8; 16]) -> [u8; LENGTH] {
    let mut block = [0; LENGTH];
    let (covered, sum) = block.split_at_mut(20);
    for (slot, byte) in covered.iter_mut().zip(LETTERS.iter().chain(key)) {
        *slot = *byte;
    }
    sum.copy_from_slice(&CRC.checksum(covered).to_le_bytes());
    block
}

/// The key, if there is one that can be read.
///
/// # Errors
/// [`StoreError::Flash`].
pub(crate) fn read_key<F: NorFlash>(layout: &Layout, flash: &mut F) -> Result<Option<[u8; 16]>, StoreError> {
    let mut block = [0; LENGTH];
    read_any(flash, layout.key, &mut block)?;
    let key = block.get(4..20).and_then(|key| key.first_chunk::<16>()).copied();
    Ok(key.filter(|key| key_block(key) == block))
}

/// Steps of [`set_key`].
const STEPS: u8 = 3;

/// Set the key. The settings go first: whoever sets a key begins anew.
///
/// # Errors
/// [`StoreError::Flash`]; there may be neither settings nor a key then.
pub fn set_key<F: NorFlash>(layout: &Layout, flash: &mut F, key: &[u8; 16]) -> Result<(), StoreError> {
    (0..STEPS).try_for_each(|step| set_key_by_steps(layout, flash, key, step).map(|_| ()))
}

/// The same by steps, so that none takes longer than a part's erasing: whether this was the last.
///
/// # Errors
/// [`StoreError::Flash`].
pub(crate) fn set_key_by_steps<F: NorFlash>(
    layout: &Layout,
    flash: &mut F,
    key: &[u8; 16],
    step: u8,
) -> Result<bool, StoreError> {
    let [first, second] = layout.slots;
    let (start, length) = match step {
        0 => (first, layout.slot_length),
        1 => (second, layout.slot_length),
        _ => (layout.key, F::ERASE_SIZE as u32),
    };
    flash.erase(start, start.saturating_add(length)).map_err(|_| StoreError::Flash)?;
    if step < 2 {
        return Ok(false);
    }
    write_padded(flash, layout.key, &key_block(key)).map(|()| true)
}
