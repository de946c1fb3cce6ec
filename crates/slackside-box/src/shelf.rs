//! What the link's server sees of the box's memory.

use embedded_storage::nor_flash::NorFlash;
use slackside::wire::{ProofTests, RecordingInfo, Store, StoreFault, Today, Window};

use crate::store::{Album, Days, Entry, StoreError};

/// The recordings, the days, and what is known of proof tests.
pub(crate) struct Shelf<'s, F> {
    pub flash: &'s mut F,
    pub album: Option<&'s Album>,
    pub days: Option<&'s Days>,
    pub today: Today,
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
            Window::ProofTests => return Ok(Some(part(&self.proof_tests.to_bytes(), offset, into))),
            Window::Today => return Ok(self.days.map(|_| part(&self.today.to_bytes(), offset, into))),
            Window::Days => {
                let Some(days) = self.days else { return Ok(None) };
                return days.read(self.flash, offset, into).map(Some).map_err(|_| StoreFault);
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

/// What bytes show from `offset` on: how many there were.
fn part(bytes: &[u8], offset: u32, into: &mut [u8]) -> usize {
    let rest = bytes.get(offset as usize..).unwrap_or_default();
    into.iter_mut().zip(rest).map(|(slot, byte)| *slot = *byte).count()
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
