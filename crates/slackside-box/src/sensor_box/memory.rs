//! What outlives power: the plan, the journal of what must survive, slip heat, and recordings.
//!
//! Flash is erased only while the leg stands with the run permit's contacts seen open, one block a round; room for the next recording is
//! erased ahead then, and filled from the trip on.

use embedded_storage::nor_flash::NorFlash;
use slackside::record::Recorder;
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::units::{Joules, Micros};

use super::faults::FaultBook;
use super::heat::HeatRing;
use crate::arming::{BoxKey, needed};
use crate::events::{EventLog, Happened};
use crate::fault::{Fault, Faults};
use crate::filing::{Filing, Step};
use crate::store::{About, Album, Found, Journal, Kept, Layout, Marks, Newest, Slots, StoreError, read_key};

/// So many records of the journal are kept for trips while the leg may run.
const FOR_TRIPS: u32 = 4;

/// The memory.
pub(super) struct Memory<F> {
    pub(super) flash: F,
    slots: Slots,
    journal: Option<Journal>,
    heat: Option<HeatRing>,
    /// The heat that was there before power went cannot be read.
    pub(super) heat_unknown: bool,
    pub(super) album: Option<Album>,
    /// When the stop was proven.
    proofs: Option<Marks>,
    filing: Filing,
    /// What is in the journal.
    stored: Kept,
    /// How often the box was started.
    pub(super) session: u32,
    layout: Layout,
}

/// What one round of work at rest did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Work {
    /// Nothing was due, or more is.
    None,
    /// A recording was stored, or given up.
    Filed,
}

impl<F: NorFlash> Memory<F> {
    /// Open it: the memory, what survived, and the faults found.
    pub(super) fn open(mut flash: F, layout: &Layout) -> (Self, Kept, Faults) {
        let mut faults = Faults::NONE;
        let (journal, restored) = match Journal::open(layout, &mut flash) {
            Ok((journal, restored)) => (Some(journal), Some(restored)),
            Err(_) => {
                faults = faults.with(Fault::StateNotStored);
                (None, None)
            }
        };
        let before = restored.as_ref().and_then(|restored| restored.kept.as_ref()).map_or(0, |kept| kept.session);
        let sure = restored.filter(|restored| restored.sure).and_then(|restored| restored.kept);
        let mut kept = sure.unwrap_or_else(|| Kept {
            session: before,
            faults: Faults::NONE.with(Fault::StateUnreadable),
            retained: Retained::unreadable(),
        });
        let (heat, found) = match HeatRing::open(layout, &mut flash) {
            Ok((ring, found)) => (Some(ring), found),
            Err(_) => {
                faults = faults.with(Fault::StateNotStored);
                (None, None)
            }
        };
        if found.is_none() {
            kept.faults = kept.faults.with(Fault::HeatUnknown);
        }
        // What is not known is held down to one budget once the plan says what that is.
        kept.retained.put_slip_heat(found.unwrap_or(Joules::MAX));
        let album = Album::open(layout, &mut flash).ok();
        if album.is_none() {
            faults = faults.with(Fault::RecordingNotStored);
        }
        let memory = Self {
            flash,
            slots: Slots::new(layout),
            journal,
            heat,
            heat_unknown: found.is_none(),
            album,
            proofs: None,
            filing: Filing::default(),
            // Nothing is known to be stored: the first round stores what is found now.
            stored: Kept { session: before, faults: Faults::from_bits(u32::MAX), retained: Retained::default() },
            session: before.wrapping_add(1),
            layout: *layout,
        };
        (memory, kept, faults)
    }

    /// The box's key, and the number of this power-up, written down: one that no power-up before had. `None` for what there is not.
    #[inline(never)]
    pub(super) fn key_and_power_up(&mut self) -> (Option<BoxKey>, Option<u32>) {
        let key = needed(read_key(&self.layout, &mut self.flash).unwrap_or(None));
        (key, self.power_up().ok().filter(|_| key.is_some()))
    }

    /// One step of setting another key, the settings going first: whether that was the last.
    #[cfg(feature = "tag")]
    pub(super) fn set_key(&mut self, key: &BoxKey, step: u8) -> Result<bool, StoreError> {
        crate::store::set_key_by_steps(&self.layout, &mut self.flash, key, step)
    }

    /// Open what is known of proof tests: the last that passed. One that cannot be read counts as of an unknown day.
    pub(super) fn last_proof(&mut self) -> Option<u32> {
        let (marks, newest) = Marks::open(self.layout.proof_tests, self.layout.page_length, &mut self.flash).ok()?;
        self.proofs = Some(marks);
        match newest {
            Newest::Blank => None,
            Newest::Value(minutes) | Newest::Unknown(Some(minutes)) => Some(minutes),
            Newest::Unknown(None) => Some(0),
        }
    }

    /// Write down that the stop was proven, in this minute of the desk's time. Whether it could be.
    pub(super) fn keep_proof(&mut self, minutes: u32) -> bool {
        let Some(marks) = self.proofs.as_mut().filter(|marks| marks.left() > 0) else { return false };
        marks.append(&mut self.flash, minutes).is_ok()
    }

    /// At start-up only: it may erase.
    fn power_up(&mut self) -> Result<u32, StoreError> {
        let Layout { power_ups, page_length, .. } = self.layout;
        let (mut marks, newest) = Marks::open(power_ups, page_length, &mut self.flash)?;
        let number = match newest {
            Newest::Blank => Some(1),
            Newest::Value(before) => before.checked_add(1),
            // One more may have been given out, the one that was being written.
            Newest::Unknown(before) => before.and_then(|before| before.checked_add(2)),
        };
        let number = number.ok_or(StoreError::Damaged)?;
        marks.append(&mut self.flash, number)?;
        Ok(number)
    }

    /// The plan in flash.
    ///
    /// # Errors
    /// What is wrong with it.
    #[inline(never)]
    pub(super) fn load_plan(&mut self) -> Result<Plan, Fault> {
        let mut buffer = [0; Plan::LENGTH];
        let bytes = match self.slots.load(&mut self.flash, &mut buffer) {
            Ok(Found::Image { length, .. }) => buffer.get(..length),
            Ok(Found::Blank) => return Err(Fault::NoSettings),
            Ok(Found::Damaged) | Err(_) => return Err(Fault::SettingsUnreadable),
        };
        bytes.and_then(|bytes| Plan::copy_of(bytes).ok()).ok_or(Fault::SettingsUnreadable)
    }

    /// Store a plan. `before` is the identity of the one it replaces.
    ///
    /// # Errors
    /// [`StoreError`].
    #[inline(never)]
    pub(super) fn store_plan(&mut self, plan: &[u8], before: Option<u32>) -> Result<(), StoreError> {
        let mut scratch = [0; Plan::LENGTH];
        self.slots.store(&mut self.flash, plan, before, &mut scratch)
    }

    /// Store what must survive, if it is time: `heat_budget` in joules; `may_run`: the leg may run, so that no page may be erased. Whether
    /// one was.
    pub(super) fn keep(&mut self, retained: Retained, heat_budget: u32, may_run: bool, book: &mut FaultBook) -> bool {
        if let Some(ring) = &mut self.heat
            && ring.keep(&mut self.flash, retained.slip_heat(), heat_budget).is_err()
        {
            book.latch(Fault::StateNotStored);
            self.heat = None;
        }
        let mut kept = Kept { session: self.session, faults: book.latched(), retained };
        kept.retained.put_slip_heat(Joules::ZERO);
        let Some(journal) = &mut self.journal else { return false };
        let left = journal.left();
        let wanted = weight(&kept) != weight(&self.stored) && (left > FOR_TRIPS || !may_run || self.is_trip(&kept));
        // Pages are erased ahead at rest, so that this is rare; and never while the leg may run.
        let Some(journal) = self.journal.as_mut().filter(|_| wanted && (left > 0 || !may_run)) else { return false };
        let stored = journal.append(&mut self.flash, &kept).is_ok();
        book.put(Fault::StateNotStored, !stored);
        if !stored {
            book.latch(Fault::StateNotStored);
        }
        self.stored = Kept { faults: book.latched(), ..kept };
        left == 0
    }

    /// Whether what is new is a trip, or a fault that stays: not just an alarm that came or went.
    fn is_trip(&self, kept: &Kept) -> bool {
        let (new, old) = (&kept.retained, &self.stored.retained);
        new.first_out() != old.first_out()
            || new.boot_cleared_needed() != old.boot_cleared_needed()
            || kept.faults != self.stored.faults
    }

    /// Whether there is something to erase or to file while the leg stands.
    pub(super) fn has_work(&self, recorder: &Recorder<'_>) -> bool {
        let album = self.album.as_ref();
        self.wants_tidying()
            || album.is_some_and(|album| self.filing.is_due(album, recorder) || album.wants_erasing_ahead())
    }

    /// Whether a recording can go on being written though nothing may be erased.
    pub(super) fn can_file_ahead(&self, recorder: &Recorder<'_>) -> bool {
        self.album.as_ref().is_some_and(|album| album.is_erased() && self.filing.is_due(album, recorder))
    }

    fn wants_tidying(&self) -> bool {
        let journal = self.journal.as_ref().is_some_and(Journal::wants_tidying);
        journal
            || self.heat.as_ref().is_some_and(HeatRing::wants_tidying)
            || self.proofs.as_ref().is_some_and(Marks::wants_tidying)
    }

    /// Erase ahead or file recordings, a little: while the leg stands and cannot start.
    pub(super) fn work(
        &mut self,
        recorder: &mut Recorder<'_>,
        about: About,
        book: &mut FaultBook,
        events: &mut EventLog,
        now: Micros,
    ) -> Work {
        if self.wants_tidying() {
            if let Some(journal) = self.journal.as_mut().filter(|journal| journal.wants_tidying()) {
                if journal.tidy(&mut self.flash).is_err() {
                    book.put(Fault::StateNotStored, true);
                    self.journal = None;
                }
            } else if let Some(heat) = self.heat.as_mut().filter(|heat| heat.wants_tidying()) {
                if heat.tidy(&mut self.flash).is_err() {
                    book.put(Fault::StateNotStored, true);
                    self.heat = None;
                }
            } else if let Some(proofs) = &mut self.proofs
                && proofs.tidy(&mut self.flash).is_err()
            {
                book.latch(Fault::RecordingNotStored);
                self.proofs = None;
            }
            return Work::None;
        }
        if let Some(album) = &mut self.album
            && !self.filing.is_due(album, recorder)
        {
            if album.wants_erasing_ahead() && album.erase_ahead(&mut self.flash).is_err() {
                book.latch(Fault::RecordingNotStored);
                self.album = None;
            }
            return Work::None;
        }
        self.file(recorder, about, book, events, now)
    }

    /// File recordings, a little.
    pub(super) fn file(
        &mut self,
        recorder: &mut Recorder<'_>,
        about: About,
        book: &mut FaultBook,
        events: &mut EventLog,
        now: Micros,
    ) -> Work {
        let Some(album) = &mut self.album else { return Work::None };
        match self.filing.step(album, &mut self.flash, recorder, about) {
            Step::Idle | Step::More => return Work::None,
            Step::Filed(number) => events.push(now, Happened::Recorded { number }),
            Step::Failed => book.latch(Fault::RecordingNotStored),
        }
        Work::Filed
    }
}

/// The part of what is kept that is stored as soon as it changes.
fn weight(kept: &Kept) -> (u32, Faults, Retained) {
    // Ages run on by themselves; another number of them means that a start came or lapsed.
    (kept.session, kept.faults, kept.retained.at_rest())
}
