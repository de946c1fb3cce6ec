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

/// Set the key. The settings go first: whoever sets a key begins anew.
///
/// # Errors
/// [`StoreError::Flash`]; there may be neither settings nor a key then.
pub fn set_key<F: NorFlash>(layout: &Layout, flash: &mut F, key: &[u8; 16]) -> Result<(), StoreError> {
    let block = F::ERASE_SIZE as u32;
    let slots = layout.slots.map(|start| (start, layout.slot_length));
    for (start, length) in slots.into_iter().chain([(layout.key, block)]) {
        flash.erase(start, start.saturating_add(length)).map_err(|_| StoreError::Flash)?;
    }
    write_padded(flash, layout.key, &key_block(key))
}
