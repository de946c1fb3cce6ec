//! Days for wear: the box looks on beside its monitor and keeps what each day was.
//!
//! A day is 24 hours powered. Once it is over, it waits for a place in the ring of days. What power would take of the day under way is
//! written down in a ring beside it: every two hours, and once the leg comes to rest after half an hour of running, for that is when people
//! switch off. At the next start that becomes a short day, if the leg ran for half an hour of it; else its number is used again, lest a
//! supply that comes and goes fill the ring.
//!
//! Nothing that is judged hangs on any of this: where flash has no room, is full, rotten or broken, days are missing and nothing else.

use embedded_storage::nor_flash::NorFlash;
use slackside::daily::{Gatherer, Kind, LOOKS_A_DAY, Summary, Work};
use slackside::input::Input;
use slackside::settings::plan::Plan;
use slackside::wire::{Reason, Today};

use super::BoxMonitor;
use super::marked::Marked;
use crate::store::{DAY, Days, Layout, StoreError};

/// The day under way is written down so often: every two hours.
const EVERY: u16 = LOOKS_A_DAY / 12;
/// Or at rest, after so much more running: half an hour. A short day in which the leg ran for less is none.
const AT_REST: u16 = LOOKS_A_DAY / 48;
/// A mark leaves so many places to days.
const FOR_DAYS: u32 = 2;

/// The diary.
pub(super) struct Diary {
    gatherer: Gatherer,
    /// The ring of days, and that of the day under way; `None` where there is no room for them or they are broken.
    rings: Option<(Days, Days)>,
    /// The number of the day under way.
    day: u16,
    /// A day that is over and has no place yet.
    waits: Option<[u8; DAY]>,
    settings_changed: bool,
    /// The day under way is to be written down as soon as may be.
    urgent: bool,
    /// Looks, and looks while running, of the day under way that are written down.
    written: (u16, u16),
    marked: Marked,
}

impl Diary {
    /// Before it is [opened](Self::open): it keeps nothing.
    pub(super) const fn new() -> Self {
        Self {
            gatherer: Gatherer::new(),
            rings: None,
            day: 1,
            waits: None,
            settings_changed: false,
            urgent: false,
            written: (0, 0),
            marked: Marked::NONE,
        }
    }

    /// Open it where it lies, for it is large: the number of the day under way, and what power left of the one before.
    #[inline(never)]
    pub(super) fn open<F: NorFlash>(&mut self, layout: &Layout, flash: &mut F) {
        let Some((start, count)) = layout.days() else { return };
        let Self { day, marked, .. } = self;
        let days = Days::open(start, count, layout.page_length, flash, &mut |record| {
            marked.see(record);
            let is_over = !matches!(record.kind, Kind::Done(_));
            *day = (*day).max(record.day.saturating_add(is_over.into()));
        });
        let mut left = None;
        let beside = layout.day_under_way();
        let under_way = Days::open(beside, 2, layout.page_length, flash, &mut |record| left = Some(record.to_bytes()));
        self.rings = days.ok().zip(under_way.ok());
        if let Some(left) = left.and_then(|left| Summary::of_bytes(&left)).filter(|left| left.day >= self.day) {
            self.take_up(&left);
        }
    }

    /// What was written down of a day that power cut short.
    fn take_up(&mut self, left: &Summary) {
        self.marked.see(left);
        self.day = left.day;
        if left.running >= AT_REST {
            self.waits = Some(left.to_bytes());
            self.day = self.day.saturating_add(1);
        } else {
            self.settings_changed = left.settings_changed;
        }
    }

    /// Hear an input that the monitor is given.
    pub(super) fn hear(&mut self, input: &Input) {
        if self.rings.is_some() {
            self.gatherer.hear(input);
        }
    }

    /// Look at what the monitor knows after a round.
    #[inline(never)]
    pub(super) fn look<const MARKS: usize>(&mut self, monitor: &BoxMonitor<MARKS>) {
        let Some(plan) = monitor.plan().filter(|_| self.rings.is_some()) else { return };
        if self.gatherer.look(monitor.newest(), monitor.status().phase, monitor.signals(), plan) {
            let summary = self.summary(plan);
            // One that still waits goes first; the number of the other is missing.
            self.waits.get_or_insert(summary);
            self.gatherer.next_day();
            self.day = self.day.saturating_add(1);
            (self.settings_changed, self.written) = (false, (0, 0));
        }
    }

    #[inline(never)]
    fn summary(&self, plan: &Plan) -> [u8; DAY] {
        Summary { settings_changed: self.settings_changed, ..self.gatherer.summary(self.day, plan) }.to_bytes()
    }

    /// Other settings are in force.
    pub(super) const fn settings_changed(&mut self) {
        self.settings_changed = true;
        self.urgent = true;
        self.marked.settle();
    }

    /// Write what is to be written, a record at the most; erases nothing. `false` if the flash did not take it.
    #[inline(never)]
    pub(super) fn keep<F: NorFlash>(&mut self, flash: &mut F, plan: Option<&Plan>, at_rest: bool) -> bool {
        let Some((days, under_way)) = &mut self.rings else { return true };
        if let Some(day) = self.waits.filter(|_| days.left() > 0) {
            self.waits = None;
            let wrote = days.append(flash, &day);
            return self.held(wrote).is_ok();
        }
        let (looks, running) = (self.gatherer.looks(), self.gatherer.running());
        let (looks_written, running_written) = self.written;
        let is_due = self.urgent
            || looks.saturating_sub(looks_written) >= EVERY
            || at_rest && running.saturating_sub(running_written) >= AT_REST;
        let has_place = under_way.left() > 0;
        let Some(plan) = plan.filter(|_| is_due && has_place) else { return true };
        let summary = self.summary(plan);
        (self.written, self.urgent) = ((looks, running), false);
        let Some((_, under_way)) = &mut self.rings else { return true };
        let wrote = under_way.append(flash, &summary);
        self.held(wrote).is_ok()
    }

    /// A flash that did not take something is not asked again.
    fn held(&mut self, outcome: Result<(), StoreError>) -> Result<(), StoreError> {
        if outcome.is_err() {
            self.rings = None;
        }
        outcome
    }

    /// Whether a page is to be erased ahead.
    pub(super) fn wants_tidying(&self) -> bool {
        self.rings.as_ref().is_some_and(|(days, under_way)| days.wants_tidying() || under_way.wants_tidying())
    }

    /// Erase one, at rest. `false` if the flash did not.
    pub(super) fn tidy<F: NorFlash>(&mut self, flash: &mut F) -> bool {
        let Some((days, under_way)) = &mut self.rings else { return true };
        let outcome = if days.wants_tidying() { days.tidy(flash) } else { under_way.tidy(flash) };
        self.held(outcome).is_ok()
    }

    /// Write down that work was done.
    #[inline(never)]
    pub(super) fn mark<F: NorFlash>(&mut self, flash: &mut F, work: Work, note: &[u8]) -> Result<(), Reason> {
        let Some((days, _)) = &mut self.rings else { return Err(Reason::KeepsNoDays) };
        let mark = Summary::mark(self.day, work, note).ok_or(Reason::TooLong)?;
        let bytes = mark.to_bytes();
        if self.marked.is_newest(&bytes) {
            return Ok(());
        }
        if !self.marked.may(self.day) {
            return Err(Reason::TooOften);
        }
        // A page is erased once the leg stands.
        if days.left() < FOR_DAYS {
            return Err(Reason::LegTurns);
        }
        let wrote = days.append(flash, &bytes);
        self.held(wrote).map_err(|_| Reason::Memory)?;
        self.marked.see(&mark);
        Ok(())
    }

    /// The ring of days, for whoever reads it.
    pub(super) fn days(&self) -> Option<&Days> {
        self.rings.as_ref().map(|(days, _)| days)
    }

    /// The day under way.
    pub(super) fn today(&self) -> Today {
        Today { day: self.day, looks: self.gatherer.looks(), doubt: self.marked.doubt() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the integrator's page says; on a processor of 32 bits it is less.
    #[test]
    fn it_takes_less_than_900_bytes_of_memory() {
        let taken = size_of::<Diary>();
        std::println!("{taken} bytes");
        assert!(taken < 900, "{taken}");
    }
}
