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
//!
//! Which times a slot covers is remembered to the second or so (2^20 µs), and when it began is read from there.

use core::ops::{Deref, Range};

use super::anchor::Anchor;
use super::writer::{Opening, SegmentWriter};
use crate::Monitor;
use crate::arith::divide;
use crate::input::{Input, Signal};
use crate::retained::Retained;
use crate::settings::plan::Plan;
use crate::settings::plan_check::Sound;
use crate::units::{Micros, Span};
use crate::verdict::{Change, Permit, Verdict};

/// Segments in the ring. Three: in 32 KiB the keyframe is then a small part of a segment, and two thirds of the memory always hold
/// what was before.
pub const SLOTS: usize = 3;
/// What is held before a trip, if the ring has it.
pub const BEFORE_TRIP: Span = Span::from_millis(60_000);
/// What is held after a trip.
pub const AFTER_TRIP: Span = Span::from_millis(15_000);

/// The most bytes of a slot: lengths are kept in 16 bits.
const MOST_SLOT: u32 = u16::MAX as u32;
/// Where in a segment its time lies.
const TIME_AT: usize = 16;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
enum State {
    Free,
    Open,
    Closed,
    Held,
}

/// What is known of one slot.
#[derive(Clone, Copy, Debug)]
struct Slot {
    /// The newest coarse time in it.
    until: u32,
    /// The number of the segment in it.
    sequence: u32,
    length: u16,
    state: State,
}

/// The coarse time of a moment: 2^20 µs, 142 years of them.
const fn coarse(at: Micros) -> u32 {
    (at.get() >> 20) as u32
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
    writer: SegmentWriter,
    opening: Opening,
    /// What the desk said last of its time, if it has.
    anchor: Anchor,
    /// The coarse time from which on a trip needs everything.
    needed_from: u32,
    /// The last coarse time that belongs to it.
    needed_until: u32,
    slots: [Slot; SLOTS],
    /// The slot that is open.
    open: u8,
    tripped: bool,
    configured: bool,
    /// The desk has told its time.
    anchored: bool,
    /// The open segment says so.
    anchor_written: bool,
}

impl<'b> Recorder<'b> {
    /// A recorder in this memory: 32 KiB suit most legs, more than 192 KiB are not used. It records nothing before
    /// [`configure`](Self::configure).
    #[must_use]
    pub const fn new(memory: &'b mut [u8]) -> Self {
        Self {
            memory,
            writer: SegmentWriter::NONE,
            opening: Opening::first(0),
            anchor: Anchor { at: Micros::ZERO, desk_us: 0, uncertainty: Span::ZERO },
            anchored: false,
            anchor_written: false,
            needed_from: 0,
            needed_until: 0,
            slots: [Slot { until: 0, sequence: 0, length: 0, state: State::Free }; SLOTS],
            open: 0,
            tripped: false,
            configured: false,
        }
    }

    /// Configure the monitor, and record that it starts afresh under this plan. `session` counts the power-ups.
    ///
    /// # Errors
    /// [`NoRoom`](crate::NoRoom) of the monitor; then nothing is recorded any more.
    pub fn configure<P: Deref<Target = Plan>, const MARKS: usize>(
        &mut self,
        monitor: &mut Monitor<P, MARKS>,
        plan: Sound<P>,
        retained: &Retained,
        session: u32,
    ) -> Result<(), crate::NoRoom> {
        self.close(monitor);
        let previous_plan = monitor.plan().map_or(0, Plan::identity);
        let changed = core::mem::take(&mut self.configured);
        monitor.configure(plan, retained)?;
        self.configured = true;
        if changed {
            self.opening = Opening { previous_plan, plan_changed: true, session, ..self.opening };
        } else {
            self.opening = Opening::first(session);
        }
        Ok(())
    }

    /// Give one input to the monitor, and record it.
    pub fn observe<P: Deref<Target = Plan>, const MARKS: usize>(
        &mut self,
        monitor: &mut Monitor<P, MARKS>,
        input: Input,
        out: &mut dyn FnMut(&Verdict),
    ) {
        if self.tripped && self.needed_until < coarse(input.at) {
            self.hold(monitor);
        }
        if input.signal != Signal::Tick || !self.writer.is_open() {
            self.record(monitor, &input);
        }
        let mut tripped = None;
        monitor.observe(input, &mut |verdict| {
            if let Change::Permit { permit: Permit::Run, allowed: false, .. } = verdict.change {
                tripped = Some(verdict.at);
            }
            out(verdict);
        });
        if let Some(at) = tripped {
            // A second trip within the stretch after the first makes it longer.
            if !core::mem::replace(&mut self.tripped, true) {
                self.needed_from = coarse(Micros::new(at.get().saturating_sub(u64::from(BEFORE_TRIP.get()))));
            }
            self.needed_until = coarse(at.after(AFTER_TRIP));
        }
    }

    /// The desk told its time: from now on each segment says so once, so that a desk that tells it again and again takes no room from
    /// what happens.
    pub fn anchor(&mut self, anchor: Anchor) {
        self.anchor = anchor;
        self.anchored = true;
        // Without room the next segment has it.
        if !self.anchor_written && self.has_room() {
            self.write_anchor();
        }
    }

    /// The newest anchor, if the desk has told its time in this session.
    #[must_use]
    pub const fn newest_anchor(&self) -> Option<Anchor> {
        if self.anchored { Some(self.anchor) } else { None }
    }

    /// Hold everything there is, as after a trip: for a person who asks for a recording.
    pub fn freeze<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>) {
        self.needed_from = 0;
        self.hold(monitor);
    }

    /// Where a trip has just been recorded: hold what led to it at once, so that it can be stored before the stretch after it is over.
    /// The rest of the stretch is held at its end.
    pub fn hold_early<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>) {
        if self.tripped {
            self.close(monitor);
            self.hold_closed();
        }
    }

    /// Whether the stretch after a trip is not over yet: more will be held.
    #[must_use]
    pub const fn is_waiting(&self) -> bool {
        self.tripped
    }

    /// What is held, oldest first.
    pub fn held(&self) -> impl Iterator<Item = Held<'_>> {
        let mut after = None;
        core::iter::from_fn(move || {
            let mut next: Option<Held<'_>> = None;
            for (index, slot) in self.slots.iter().enumerate().filter(|(_, slot)| slot.state == State::Held) {
                let sequence = slot.sequence;
                let is_later = after.is_none_or(|after| sequence > after);
                if is_later && next.is_none_or(|next| sequence < next.sequence) {
                    let bytes = self.memory_of(index).get(..slot.length.into()).unwrap_or(&[]);
                    next = Some(Held { sequence, bytes });
                }
            }
            after = next.map(|next| next.sequence);
            next
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
        let kept = self.slots.iter().enumerate().filter(|(_, slot)| slot.state != State::Free);
        let begin = |index| self.memory_of(index).get(TIME_AT..).and_then(|bytes| bytes.first_chunk()).copied();
        kept.filter_map(|(index, _)| begin(index)).map(|begin| Micros::new(u64::from_le_bytes(begin))).min()
    }

    /// Inputs missed since the last segment ended, for lack of room.
    #[must_use]
    pub const fn missed(&self) -> u32 {
        self.opening.missed
    }

    /// Where a slot lies in the memory.
    fn place(&self, index: usize) -> Range<usize> {
        let size = divide(self.memory.len() as u64, SLOTS as u32).min(MOST_SLOT) as usize;
        let begin = index.wrapping_mul(size);
        begin..begin.wrapping_add(size)
    }

    #[inline(never)]
    fn memory_of(&self, index: usize) -> &[u8] {
        self.memory.get(self.place(index)).unwrap_or_default()
    }

    /// The writer, and the memory of the slot that is open.
    fn writing(&mut self) -> (&mut SegmentWriter, &mut [u8]) {
        let place = self.place(self.open.into());
        (&mut self.writer, self.memory.get_mut(place).unwrap_or_default())
    }

    fn has_room(&self) -> bool {
        self.writer.is_open() && self.writer.has_room(self.memory_of(self.open.into()))
    }

    #[inline(never)]
    fn record<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>, input: &Input) {
        if !self.configured {
            return;
        }
        // A late input: what it is late against must be in the recording, always, because the newest record may be an anchor.
        let newest = monitor.newest();
        let late = input.at < newest;
        if !self.has_room() {
            self.roll(monitor, input.at);
        }
        let mut pushed = self.writer.is_open();
        if pushed && late {
            pushed = self.push(&Input::new(newest, Signal::Tick));
            if !self.has_room() {
                self.roll(monitor, input.at);
            }
        }
        pushed = pushed && self.push(input);
        if !pushed && input.signal != Signal::Tick {
            self.opening.missed = self.opening.missed.saturating_add(1);
        }
    }

    fn push(&mut self, input: &Input) -> bool {
        let (writer, slot) = self.writing();
        writer.is_open() && writer.push(slot, input).is_ok()
    }

    fn write_anchor(&mut self) {
        if self.anchored {
            let anchor = self.anchor;
            let (writer, memory) = self.writing();
            self.anchor_written = writer.push_anchor(memory, &anchor).is_ok();
        }
    }

    /// The slot for the next segment: a free one, else the oldest closed one that no trip needs.
    fn next_slot(&self) -> Option<usize> {
        let mut found = None;
        let mut oldest = u32::MAX;
        for (index, slot) in self.slots.iter().enumerate() {
            match slot.state {
                State::Free => return Some(index),
                State::Closed if slot.sequence <= oldest && !(self.tripped && slot.until >= self.needed_from) => {
                    oldest = slot.sequence;
                    found = Some(index);
                }
                _ => {}
            }
        }
        found
    }

    /// Close what is open, and open the next segment if there is a slot; its first record is of the moment `first`.
    #[inline(never)]
    fn roll<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>, first: Micros) {
        self.close(monitor);
        let mut next = self.next_slot();
        if next.is_none() && self.tripped {
            // No room for the rest of the stretch after the trip: what led to it counts more.
            self.hold(monitor);
            next = self.next_slot();
        }
        let Some(index) = next else { return };
        self.open = index as u8;
        let opening = self.opening;
        let newest = monitor.newest();
        // A monitor that has observed nothing knows no time yet.
        let now = if newest == Micros::ZERO { first } else { newest };
        let (writer, memory) = self.writing();
        let is_open = writer.begin(memory, &opening, now, monitor).is_ok();
        if is_open {
            self.opening = opening.next();
            self.anchor_written = false;
            self.write_anchor();
        } else {
            self.writer.shut();
        }
        if let Some(slot) = self.slots.get_mut(index) {
            // What was there is overwritten, if only in part.
            slot.state = if is_open { State::Open } else { State::Free };
            slot.sequence = opening.sequence;
        }
    }

    /// Close what is open; nothing is open then.
    fn close<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>) {
        if !self.writer.is_open() {
            return;
        }
        let newest = monitor.newest();
        let (writer, slot) = self.writing();
        let length = writer.finish(slot, newest, monitor.state_crc());
        writer.shut();
        if let Some(slot) = self.slots.get_mut(usize::from(self.open)) {
            // No longer than the slot.
            (slot.until, slot.length, slot.state) = (coarse(newest), length as u16, State::Closed);
        }
    }

    /// The stretch after a trip is over: hold what belongs to it.
    #[inline(never)]
    fn hold<P: Deref<Target = Plan>, const MARKS: usize>(&mut self, monitor: &Monitor<P, MARKS>) {
        self.close(monitor);
        self.tripped = false;
        self.hold_closed();
    }

    fn hold_closed(&mut self) {
        for slot in &mut self.slots {
            if slot.state == State::Closed && slot.until >= self.needed_from {
                slot.state = State::Held;
            }
        }
    }
}
