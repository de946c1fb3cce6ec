//! From the recorder's memory into flash, a little each round: while the leg stands; and where there is room erased ahead, from the trip
//! on, as far as it is recorded by then.

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
    /// Whether something waits to be filed: bytes, or the end of what has all its bytes.
    pub(crate) fn is_due(&self, album: &Album, recorder: &Recorder<'_>) -> bool {
        if !album.is_writing() {
            return recorder.held().next().is_some();
        }
        !recorder.is_waiting() || self.next(recorder).is_some() || !self.rest(recorder).is_empty() || album.has_tail()
    }

    /// What is left of the segment under way.
    fn rest<'r>(&self, recorder: &'r Recorder<'_>) -> &'r [u8] {
        let current = self.segments.last().copied();
        let under_way = recorder.held().find(|held| Some(held.sequence) == current);
        under_way.and_then(|held| held.bytes.get(self.offset..)).unwrap_or_default()
    }

    /// The next segment that is held and not filed.
    fn next(&self, recorder: &Recorder<'_>) -> Option<u32> {
        recorder.held().map(|held| held.sequence).find(|sequence| !self.segments.contains(sequence))
    }

    /// Do a little.
    pub(crate) fn step<F: NorFlash>(
        &mut self,
        album: &mut Album,
        flash: &mut F,
        recorder: &mut Recorder<'_>,
        about: About,
    ) -> Step {
        if !self.is_due(album, recorder) {
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
        let rest = self.rest(recorder);
        if !rest.is_empty() {
            let part = rest.get(..STEP).unwrap_or(rest);
            album.add(flash, part)?;
            self.offset = self.offset.saturating_add(part.len());
            return Ok(None);
        }
        let Some(next) = self.next(recorder) else {
            if recorder.is_waiting() {
                album.keep_tail(flash)?;
                return Ok(None);
            }
            let whole = album.check_on(flash)?;
            return if whole { album.finish(flash).map(|entry| Some(entry.number)) } else { Ok(None) };
        };
        self.offset = 0;
        self.segments.push(next).map_err(|_| StoreError::TooLong)?;
        Ok(None)
    }
}
