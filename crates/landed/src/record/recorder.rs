//! The ring of segments in the box's memory.
//!
//! The memory is cut into [`SLOTS`] equal slots, one segment each. The oldest is overwritten, unless it is held:
//!
//! ```text
//!            roll                    trip + 15 s                  released
//!  free ──► open ──► closed ──────────────────────► held ──────────────────► free
//!                      │  ▲ (as far as 60 s before the trip)
//!                      └──┘ overwritten by the next segment
//! ```
//!
//! When the run permit drops, everything from [`BEFORE_TRIP`] before to [`AFTER_TRIP`] after is held, until the caller has
//! stored it elsewhere and releases it. Recording goes on meanwhile in the slots that are not held. Where there are none, inputs are
//! counted as missed. A flood after the trip never overwrites what led to it: the stretch after is then cut short.
//!
//! Ticks are not recorded: they change no verdict. The exceptions keep replay exact: a first tick that opens a segment, and a
//! tick that an earlier input follows, because that input then counts as late.

use super::anchor::Anchor;
use super::writer::{NoRoom, Opening, SegmentWriter};
use crate::Monitor;
use crate::input::{Input, Signal};
use crate::settings::Checked;
use crate::survivor::Survivor;
use crate::units::{Micros, Span};
use crate::verdict::{Change, Permit, Verdict};

/// Segments in the ring. Three: in 32 KiB the keyframe is then at most a tenth of a segment even with 32 targets on each shaft, and
/// two thirds of the memory always hold what was before.
pub const SLOTS: usize = 3;
/// What is held before a trip, if the ring has it.
pub const BEFORE_TRIP: Span = Span::from_millis(60_000);
/// What is held after a trip.
pub const AFTER_TRIP: Span = Span::from_millis(15_000);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Free,
    Open,
    Closed,
    Held,
}

#[derive(Clone, Copy, Debug)]
struct Slot {
    state: State,
    sequence: u32,
    length: usize,
    /// The time of its keyframe.
    from: Micros,
    /// The newest time in it.
    until: Micros,
}

/// A trip whose stretch after is being recorded.
#[derive(Clone, Copy, Debug)]
struct Trip {
    from: Micros,
    until: Micros,
}

/// A segment held for storing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held<'a> {
    /// Its number: [`Recorder::release`] it when it is stored.
    pub sequence: u32,
    /// The whole segment.
    pub bytes: &'a [u8],
}

/// Records what goes into a monitor, in the memory given to it.
pub struct Recorder<'b> {
    memory: &'b mut [u8],
    slots: [Slot; SLOTS],
    writer: Option<(usize, SegmentWriter)>,
    opening: Option<Opening>,
    anchor: Option<Anchor>,
    trip: Option<Trip>,
    trips: u32,
    /// The newest time the monitor knows.
    newest: Micros,
}

impl<'b> Recorder<'b> {
    /// A recorder in this memory: 32 KiB suit most legs. It records nothing before [`configure`](Self::configure).
    #[must_use]
    pub const fn new(memory: &'b mut [u8]) -> Self {
        const FREE: Slot = Slot { state: State::Free, sequence: 0, length: 0, from: Micros::ZERO, until: Micros::ZERO };
        Self {
            memory,
            slots: [FREE; SLOTS],
            writer: None,
            opening: None,
            anchor: None,
            trip: None,
            trips: 0,
            newest: Micros::ZERO,
        }
    }

    /// Configure the monitor, and record that it starts afresh under these settings. `session` counts the power-ups.
    ///
    /// # Errors
    /// [`NoRoom`](crate::NoRoom) of the monitor; then nothing is recorded any more.
    pub fn configure<const MARKS: usize>(
        &mut self,
        monitor: &mut Monitor<MARKS>,
        settings: &Checked,
        survivor: &Survivor,
        session: u32,
    ) -> Result<(), crate::NoRoom> {
        self.close(monitor);
        let before = self.opening.take();
        monitor.try_configure(settings, survivor)?;
        let first = Opening::first(settings, session);
        self.opening = Some(before.map_or(first, |before| Opening {
            previous_settings: before.settings,
            settings_changed: true,
            first: before.first,
            sequence: before.sequence,
            missed: before.missed,
            ..first
        }));
        Ok(())
    }

    /// Give one input to the monitor, and record it.
    pub fn observe<const MARKS: usize>(
        &mut self,
        monitor: &mut Monitor<MARKS>,
        input: Input,
        out: &mut dyn FnMut(Verdict),
    ) {
        if self.trip.is_some_and(|trip| trip.until < input.at) {
            self.hold(monitor);
        }
        let is_news = input.signal != Signal::Tick;
        if is_news || self.writer.is_none() {
            self.record(monitor, &input);
        }
        self.newest = self.newest.max(input.at);
        let mut tripped = None;
        monitor.observe(input, &mut |verdict| {
            if let Change::Permit { permit: Permit::Run, allowed: false, .. } = verdict.change {
                tripped = Some(verdict.at);
            }
            out(verdict);
        });
        if let Some(at) = tripped {
            self.tripped(at);
        }
    }

    /// The desk told its time: from now on each segment says so.
    pub fn anchor<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>, anchor: Anchor) {
        self.anchor = Some(anchor);
        if !self.has_room() {
            self.roll(monitor);
        }
        self.write_anchor();
    }

    /// The newest anchor, if the desk has told its time in this session.
    #[must_use]
    pub const fn newest_anchor(&self) -> Option<Anchor> {
        self.anchor
    }

    /// Hold everything there is, as after a trip: for a person who asks for a recording.
    pub fn freeze<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>) {
        self.trip.get_or_insert(Trip { from: Micros::ZERO, until: Micros::ZERO }).from = Micros::ZERO;
        self.hold(monitor);
    }

    /// What is held, oldest first.
    pub fn held(&self) -> impl Iterator<Item = Held<'_>> {
        let mut after = None;
        core::iter::from_fn(move || {
            let held = self.slots.iter().enumerate().filter(|(_, slot)| slot.state == State::Held);
            let later = held.filter(|(_, slot)| after.is_none_or(|after| slot.sequence > after));
            let (index, slot) = later.min_by_key(|(_, slot)| slot.sequence)?;
            after = Some(slot.sequence);
            let bytes = self.slot_bytes(index)?.get(..slot.length)?;
            Some(Held { sequence: slot.sequence, bytes })
        })
    }

    /// A held segment is stored: its slot may be used again.
    pub fn release(&mut self, sequence: u32) {
        for slot in &mut self.slots {
            if slot.state == State::Held && slot.sequence == sequence {
                slot.state = State::Free;
            }
        }
    }

    /// Since when everything is kept, if anything is.
    #[must_use]
    pub fn kept_since(&self) -> Option<Micros> {
        self.slots.iter().filter(|slot| slot.state != State::Free).map(|slot| slot.from).min()
    }

    /// Trips seen, wrapping.
    #[must_use]
    pub const fn trips(&self) -> u32 {
        self.trips
    }

    /// Inputs missed since the last segment ended, for lack of room.
    #[must_use]
    pub fn missed(&self) -> u32 {
        self.opening.map_or(0, |opening| opening.missed)
    }

    fn tripped(&mut self, at: Micros) {
        self.trips = self.trips.wrapping_add(1);
        let from = Micros::new(at.get().saturating_sub(u64::from(BEFORE_TRIP.get())));
        let until = at.after(AFTER_TRIP);
        // A second trip within the stretch after the first makes it longer.
        self.trip = Some(self.trip.map_or(Trip { from, until }, |trip| Trip { from: trip.from, until }));
    }

    fn slot_size(&self) -> usize {
        self.memory.len() / SLOTS
    }

    fn slot_bytes(&self, index: usize) -> Option<&[u8]> {
        let begin = index.checked_mul(self.slot_size())?;
        self.memory.get(begin..begin.checked_add(self.slot_size())?)
    }

    fn has_room(&self) -> bool {
        self.writer
            .as_ref()
            .is_some_and(|(index, writer)| self.slot_bytes(*index).is_some_and(|slot| writer.has_room(slot)))
    }

    fn record<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>, input: &Input) {
        if self.opening.is_none() {
            return;
        }
        if !self.has_room() {
            self.roll(monitor);
        }
        let newest = self.newest;
        let mut pushed = self.writer.as_ref().is_some_and(|(_, writer)| {
            // A late input: what it is late against must be in the recording.
            input.at >= newest || writer.newest() >= newest
        }) || self.push(&Input::new(newest, Signal::Tick));
        if pushed && !self.has_room() {
            self.roll(monitor);
        }
        pushed = pushed && self.push(input);
        if let (false, Some(opening)) = (pushed || input.signal == Signal::Tick, &mut self.opening) {
            opening.missed = opening.missed.saturating_add(1);
        }
    }

    fn push(&mut self, input: &Input) -> bool {
        self.with_writer(|writer, slot| writer.push(slot, input)).is_some_and(|pushed| pushed.is_ok())
    }

    fn write_anchor(&mut self) {
        if let Some(anchor) = self.anchor {
            // Without room the next segment has it.
            let _ = self.with_writer(|writer, slot| writer.push_anchor(slot, &anchor));
        }
    }

    fn with_writer<T>(&mut self, act: impl FnOnce(&mut SegmentWriter, &mut [u8]) -> T) -> Option<T> {
        let size = self.slot_size();
        let (index, writer) = self.writer.as_mut()?;
        let begin = index.checked_mul(size)?;
        let slot = self.memory.get_mut(begin..begin.checked_add(size)?)?;
        Some(act(writer, slot))
    }

    /// The slot for the next segment: a free one, else the oldest closed one that no trip needs.
    fn next_slot(&self) -> Option<usize> {
        let free = self.slots.iter().position(|slot| slot.state == State::Free);
        let needed_from = self.trip.map_or(Micros::MAX, |trip| trip.from);
        let oldest = || {
            let closed = self.slots.iter().enumerate().filter(|(_, slot)| slot.state == State::Closed);
            closed.min_by_key(|(_, slot)| slot.until).filter(|(_, slot)| slot.until < needed_from)
        };
        free.or_else(|| oldest().map(|(index, _)| index))
    }

    /// Close what is open, and open the next segment if there is a slot.
    fn roll<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>) {
        let Some(opening) = self.opening else { return };
        let mut next = self.next_slot();
        if next.is_none() && self.trip.is_some() {
            // No room for the rest of the stretch after the trip: what led to it counts more.
            self.hold(monitor);
            next = self.next_slot();
        }
        let Some(index) = next else {
            self.close(monitor);
            return;
        };
        let size = self.slot_size();
        let begin = index.saturating_mul(size);
        let Some(memory) = self.memory.get_mut(begin..begin.saturating_add(size)) else { return };
        let opened: Result<SegmentWriter, NoRoom> = SegmentWriter::open(memory, &opening, self.newest, monitor);
        let state = match &opened {
            Ok(writer) => writer.keyframe_crc(),
            Err(NoRoom) => monitor.state_crc(self.newest),
        };
        self.close_with(state);
        let Some(slot) = self.slots.get_mut(index) else { return };
        if let Ok(writer) = opened {
            *slot = Slot {
                state: State::Open,
                sequence: opening.sequence,
                length: 0,
                from: self.newest,
                until: self.newest,
            };
            self.writer = Some((index, writer));
            self.opening = Some(opening.next());
            self.write_anchor();
        } else {
            // What was there is overwritten in part.
            slot.state = State::Free;
        }
    }

    /// Close what is open; nothing is open then.
    fn close<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>) {
        if self.writer.is_some() {
            self.close_with(monitor.state_crc(self.newest));
        }
    }

    fn close_with(&mut self, state: u32) {
        let newest = self.newest;
        let length = self.with_writer(|writer, slot| writer.finish(slot, newest, state));
        let index = self.writer.take().map(|(index, _)| index);
        if let (Some(length), Some(slot)) = (length, index.and_then(|index| self.slots.get_mut(index))) {
            *slot = Slot { state: State::Closed, length, until: newest, ..*slot };
        }
    }

    /// The stretch after a trip is over: hold what belongs to it.
    fn hold<const MARKS: usize>(&mut self, monitor: &Monitor<MARKS>) {
        self.close(monitor);
        let Some(trip) = self.trip.take() else { return };
        for slot in &mut self.slots {
            if slot.state == State::Closed && slot.until >= trip.from {
                slot.state = State::Held;
            }
        }
    }
}
