//! What the link's server sees of the box's memory.

use embedded_storage::nor_flash::NorFlash;
use slackside::wire::{ProofTests, RecordingInfo, Store, StoreFault, Window};

use crate::store::{Album, Entry, StoreError};

/// The recordings, and what is known of proof tests.
pub(crate) struct Shelf<'s, F> {
    pub flash: &'s mut F,
    pub album: Option<&'s Album>,
    pub proof_tests: ProofTests,
}

impl<F: NorFlash> Store for Shelf<'_, F> {
    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        let album = self.album?;
        let number = album.numbers().nth(position.into())?;
        album.find(self.flash, number).ok().map(|entry| info(&entry))
    }

    fn read(&mut self, window: Window, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        let number = match window {
            Window::Recording(number) => number,
            Window::ProofTests => {
                let bytes = self.proof_tests.to_bytes();
                let rest = bytes.get(offset as usize..).unwrap_or_default();
                return Ok(Some(into.iter_mut().zip(rest).map(|(slot, byte)| *slot = *byte).count()));
            }
            _ => return Ok(None),
        };
        let album = self.album.ok_or(StoreFault)?;
        let read = album.find(self.flash, number).and_then(|entry| album.read(self.flash, &entry, offset, into));
        match read {
            Ok(length) => Ok(Some(length)),
            Err(StoreError::NotThere) => Ok(None),
            Err(_) => Err(StoreFault),
        }
    }
}

fn info(entry: &Entry) -> RecordingInfo {
    RecordingInfo {
        number: entry.number,
        length: entry.length,
        session: entry.about.session,
        tripped_at: entry.about.tripped_at,
        first_out: entry.about.first_out,
        plan: entry.about.settings,
    }
}
