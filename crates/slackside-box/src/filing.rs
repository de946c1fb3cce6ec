//! From the recorder's memory into flash, a little each round, while the leg stands.

use embedded_storage::nor_flash::NorFlash;
use slackside::record::Recorder;

use crate::store::{About, Album, StoreError};

/// Bytes written in one round: less than a millisecond on most parts.
const STEP: usize = 256;

/// How far the filing of what the recorder holds has come.
#[derive(Clone, Debug, Default)]
pub(crate) struct Filing {
    /// The segments filed so far, and the one under way, last.
    segments: heapless::Vec<u32, 8>,
    /// Bytes of the last one filed.
    offset: usize,
}

/// What one step did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// There is nothing to file.
    Idle,
    /// There is more to do.
    More,
    /// A recording is stored under this number, and the recorder may use its memory again.
    Filed(u32),
    /// It could not be stored. It is given up, so that the recorder's memory is free for the next trip.
    Failed,
}

impl Filing {
    /// Whether something waits to be filed.
    pub(crate) fn is_due(album: &Album, recorder: &Recorder<'_>) -> bool {
        album.is_writing() || recorder.held().next().is_some()
    }

    /// Do a little.
    pub(crate) fn step<F: NorFlash>(
        &mut self,
        album: &mut Album,
        flash: &mut F,
        recorder: &mut Recorder<'_>,
        about: About,
    ) -> Step {
        if !Self::is_due(album, recorder) {
            return Step::Idle;
        }
        match self.try_step(album, flash, recorder, about) {
            Ok(None) => Step::More,
            Ok(Some(number)) => {
                self.let_go(recorder);
                Step::Filed(number)
            }
            Err(_) => {
                album.give_up();
                self.let_go(recorder);
                Step::Failed
            }
        }
    }

    /// The recorder may forget what was filed, or what could not be.
    fn let_go(&mut self, recorder: &mut Recorder<'_>) {
        if self.segments.is_empty() {
            // It failed before the first byte.
            self.segments.extend(recorder.held().map(|held| held.sequence).take(self.segments.capacity()));
        }
        for sequence in &self.segments {
            recorder.release(*sequence);
        }
        *self = Self::default();
    }

    fn try_step<F: NorFlash>(
        &mut self,
        album: &mut Album,
        flash: &mut F,
        recorder: &Recorder<'_>,
        about: About,
    ) -> Result<Option<u32>, StoreError> {
        if !album.is_writing() {
            *self = Self::default();
            album.begin(about);
            return Ok(None);
        }
        if !album.erase_on(flash)? {
            return Ok(None);
        }
        let current = self.segments.last().copied();
        let under_way = recorder.held().find(|held| Some(held.sequence) == current);
        if let Some(rest) = under_way.and_then(|held| held.bytes.get(self.offset..)).filter(|rest| !rest.is_empty()) {
            let part = rest.get(..STEP).unwrap_or(rest);
            album.add(flash, part)?;
            self.offset = self.offset.saturating_add(part.len());
            return Ok(None);
        }
        let next = recorder.held().find(|held| !self.segments.contains(&held.sequence));
        let Some(next) = next else {
            let whole = album.check_on(flash)?;
            return if whole { album.finish(flash).map(|entry| Some(entry.number)) } else { Ok(None) };
        };
        self.offset = 0;
        self.segments.push(next.sequence).map_err(|_| StoreError::TooLong)?;
        Ok(None)
    }
}
