//! What the link's server sees of the box's memory.

use core::cell::RefCell;

use embedded_storage::nor_flash::NorFlash;
use slackside::settings::MOST_IMAGE_BYTES;
use slackside::wire::{RecordingInfo, Store, StoreFault};

use crate::store::{Album, Entry, StoreError};

/// The settings in force, the recordings, and a place for settings to be put in force.
pub(crate) struct Shelf<'s, F> {
    pub flash: &'s mut F,
    pub image: &'s [u8],
    pub album: Option<&'s Album>,
    /// Filled where the server finds settings good: the box puts them in force.
    pub armed: &'s RefCell<heapless::Vec<u8, MOST_IMAGE_BYTES>>,
}

impl<F: NorFlash> Store for Shelf<'_, F> {
    fn settings_image(&self) -> &[u8] {
        self.image
    }

    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        let album = self.album?;
        // The one that exactly `position` are newer than; there are few, so that looking is cheap.
        for place in 0..album.places() {
            let Ok(Some(entry)) = album.look(self.flash, place) else { continue };
            let mut newer = 0_u32;
            for other in 0..album.places() {
                if let Ok(Some(other)) = album.look(self.flash, other) {
                    newer = newer.saturating_add(u32::from(entry.is_older_than(&other)));
                }
            }
            if newer == u32::from(position) {
                return Some(info(&entry));
            }
        }
        None
    }

    fn read_recording(&mut self, number: u32, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        let album = self.album.ok_or(StoreFault)?;
        let read = album.find(self.flash, number).and_then(|entry| album.read(self.flash, &entry, offset, into));
        match read {
            Ok(length) => Ok(Some(length)),
            Err(StoreError::NotThere) => Ok(None),
            Err(_) => Err(StoreFault),
        }
    }

    fn arm(&mut self, image: &[u8], _old: u32, _new: u32) -> Result<(), StoreFault> {
        self.armed.borrow_mut().extend_from_slice(image).map_err(|_| StoreFault)
    }
}

fn info(entry: &Entry) -> RecordingInfo {
    RecordingInfo {
        number: entry.number,
        length: entry.length,
        session: entry.about.session,
        tripped_at: entry.about.tripped_at,
        first_out: entry.about.first_out,
        settings: entry.about.settings,
    }
}
