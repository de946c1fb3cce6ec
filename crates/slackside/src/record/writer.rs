//! Writes one segment into a piece of memory.

use core::ops::Deref;

use zerocopy::IntoBytes;

use super::anchor::Anchor;
use super::code::{Context, MOST_RECORD, Sink, write_check};
use super::header::{CoreVersion, HEADER, Header};
use crate::Monitor;
use crate::codec::crc::{Crc, checksum};
use crate::codec::fold::Folder;
use crate::input::Input;
use crate::settings::plan::Plan;
use crate::units::Micros;

/// A check follows each record that ends in another stretch of so many bytes than it began in.
const BETWEEN_CHECKS: usize = 512;
const CHECK_BYTES: usize = 6;
/// What a record with a check after it, and then the end, may need.
const RESERVE: usize = MOST_RECORD * 2 + CHECK_BYTES;

/// The longest that a header can tell.
const MOST_KEYFRAME: usize = u16::MAX as usize;

/// There is no room for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

/// What a segment begins with besides the state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Opening {
    /// Its number within the session.
    pub sequence: u32,
    /// How often the box has been powered up.
    pub session: u32,
    /// Identity of the plan before the one in force, 0 if none.
    pub previous_plan: u32,
    /// The plan was changed just before.
    pub plan_changed: bool,
    /// No segment precedes this one in its session.
    pub first: bool,
    /// Inputs not recorded since the segment before.
    pub missed: u32,
}

impl Opening {
    /// The first segment of a session.
    #[must_use]
    pub const fn first(session: u32) -> Self {
        Self { sequence: 0, session, previous_plan: 0, plan_changed: false, first: true, missed: 0 }
    }

    /// The one after it, if nothing else happened.
    #[must_use]
    pub const fn next(self) -> Self {
        Self { sequence: self.sequence.wrapping_add(1), plan_changed: false, first: false, missed: 0, ..self }
    }
}

/// One segment being written. The memory is given to each call and must be the same each time.
#[derive(Clone)]
pub struct SegmentWriter {
    context: Context,
    place: Place,
}

/// How far it is written.
#[derive(Clone, Copy)]
struct Place {
    at: u32,
    crc: Crc,
    /// The upper half of the byte begun.
    half: u8,
    begun: bool,
}

impl Place {
    const NEW: Self = Self { at: 0, crc: Crc::NEW, half: 0, begun: false };
}

/// Writes on at its place.
struct Pen<'w> {
    place: &'w mut Place,
    memory: &'w mut [u8],
}

impl Pen<'_> {
    fn byte(&mut self, byte: u8) {
        if let Some(slot) = self.memory.get_mut(self.place.at as usize) {
            *slot = byte;
        }
        self.place.at = self.place.at.wrapping_add(1);
        self.place.crc.byte(byte);
    }

    fn fill(&mut self) {
        if self.place.begun {
            self.half(0xF);
        }
    }

    /// The sum so far.
    fn sum(&mut self) {
        let crc = self.place.crc.get();
        self.bytes(&crc.to_le_bytes());
    }

    fn check(&mut self) {
        self.fill();
        let crc = self.place.crc.get();
        write_check(self);
        self.bytes(&crc.to_le_bytes());
    }
}

impl Sink for Pen<'_> {
    #[inline(never)]
    fn half(&mut self, half: u8) {
        self.place.begun = !self.place.begun;
        if self.place.begun {
            self.place.half = half << 4;
        } else {
            self.byte(self.place.half | half);
        }
    }

    #[inline(never)]
    fn bytes(&mut self, bytes: &[u8]) {
        self.fill();
        for byte in bytes {
            self.byte(*byte);
        }
    }
}

impl SegmentWriter {
    /// Nothing is open.
    pub(super) const NONE: Self = Self { context: Context::new(Micros::ZERO), place: Place::NEW };

    /// Begin a segment: header and keyframe of `monitor` as it stands at `now`, the newest time it knows; before it has observed
    /// anything, the time of the first input.
    ///
    /// # Errors
    /// [`NoRoom`] if header, keyframe, one record and the end do not fit.
    pub fn open<P: Deref<Target = Plan>, const MARKS: usize>(
        memory: &mut [u8],
        opening: &Opening,
        now: Micros,
        monitor: &Monitor<P, MARKS>,
    ) -> Result<Self, NoRoom> {
        let mut writer = Self::NONE;
        writer.begin(memory, opening, now, monitor).map(|()| writer)
    }

    /// As [`open`](Self::open), in place.
    pub(super) fn begin<P: Deref<Target = Plan>, const MARKS: usize>(
        &mut self,
        memory: &mut [u8],
        opening: &Opening,
        now: Micros,
        monitor: &Monitor<P, MARKS>,
    ) -> Result<(), NoRoom> {
        let mut folder = Folder::new(memory.get_mut(HEADER..).ok_or(NoRoom)?);
        monitor.parts(&mut |part| folder.part(part));
        let folded = folder.finish();
        let header = Header {
            plan_changed: opening.plan_changed,
            first: opening.first,
            // What is longer does not fit the memory, or not the two bytes.
            keyframe_length: folded.length as u16,
            sequence: opening.sequence,
            session: opening.session,
            at: now,
            plan: monitor.plan().map_or(0, Plan::identity),
            previous_plan: opening.previous_plan,
            core: CoreVersion::THIS,
            missed: opening.missed,
            keyframe_crc: folded.crc,
        };
        self.put_header(memory, &header);
        if folded.length <= MOST_KEYFRAME && self.has_room(memory) { Ok(()) } else { Err(NoRoom) }
    }

    /// Begin a segment that was read elsewhere anew, with its own header and keyframe: for the desk, which writes recordings
    /// back from other forms.
    ///
    /// # Errors
    /// [`NoRoom`], also if the keyframe is not the one of the header.
    pub fn again(memory: &mut [u8], header: &Header, keyframe: &[u8]) -> Result<Self, NoRoom> {
        if keyframe.len() != usize::from(header.keyframe_length) || checksum(keyframe) != header.keyframe_crc {
            return Err(NoRoom);
        }
        for (slot, byte) in memory.iter_mut().skip(HEADER).zip(keyframe) {
            *slot = *byte;
        }
        let mut writer = Self::NONE;
        writer.put_header(memory, header);
        if writer.has_room(memory) { Ok(writer) } else { Err(NoRoom) }
    }

    /// The keyframe is in its place: write the header before it.
    fn put_header(&mut self, memory: &mut [u8], header: &Header) {
        self.context = Context::new(header.at);
        self.place = Place::NEW;
        let mut pen = self.pen(memory);
        pen.bytes(header.words().as_bytes());
        pen.sum();
        self.place.at = self.place.at.wrapping_add(u32::from(header.keyframe_length));
    }

    const fn pen<'w>(&'w mut self, memory: &'w mut [u8]) -> Pen<'w> {
        Pen { place: &mut self.place, memory }
    }

    /// Nothing is open any more.
    pub(super) const fn shut(&mut self) {
        self.place.at = 0;
    }

    /// Whether something is open.
    pub(super) const fn is_open(&self) -> bool {
        self.place.at != 0
    }

    /// Whether one more record fits.
    #[must_use]
    pub const fn has_room(&self, memory: &[u8]) -> bool {
        (self.place.at as usize).saturating_add(RESERVE) <= memory.len()
    }

    /// Record an input.
    ///
    /// # Errors
    /// [`NoRoom`]: close this segment and begin the next one.
    pub fn push(&mut self, memory: &mut [u8], input: &Input) -> Result<(), NoRoom> {
        self.record(memory, &mut |context, pen| context.write(input, pen))
    }

    /// Record what the desk said of its time.
    ///
    /// # Errors
    /// [`NoRoom`]: close this segment and begin the next one.
    pub fn push_anchor(&mut self, memory: &mut [u8], anchor: &Anchor) -> Result<(), NoRoom> {
        self.record(memory, &mut |context, pen| context.write_anchor(anchor, pen))
    }

    fn record(&mut self, memory: &mut [u8], write: &mut dyn FnMut(&mut Context, &mut Pen<'_>)) -> Result<(), NoRoom> {
        if !self.has_room(memory) {
            return Err(NoRoom);
        }
        let stretch = self.length() / BETWEEN_CHECKS;
        let mut pen = Pen { place: &mut self.place, memory };
        write(&mut self.context, &mut pen);
        if pen.place.at as usize / BETWEEN_CHECKS != stretch {
            pen.check();
        }
        Ok(())
    }

    /// End the segment at `newest`, the newest time the monitor knows, with the CRC of its state then. The length of the
    /// whole segment.
    #[must_use]
    pub fn close(mut self, memory: &mut [u8], newest: Micros, state: u32) -> usize {
        self.finish(memory, newest, state)
    }

    /// As [`close`](Self::close), in place.
    #[inline(never)]
    pub(super) fn finish(&mut self, memory: &mut [u8], newest: Micros, state: u32) -> usize {
        let mut pen = Pen { place: &mut self.place, memory };
        self.context.write_end(newest, state, &mut pen);
        pen.sum();
        self.length()
    }

    /// End the memory without an end, after a check, as if power had gone: for the desk, which writes such recordings back. The
    /// length of what there is.
    #[must_use]
    pub fn cut(mut self, memory: &mut [u8]) -> usize {
        self.pen(memory).check();
        self.length()
    }

    /// The time of the last record.
    #[must_use]
    pub const fn newest(&self) -> Micros {
        self.context.newest()
    }

    /// Bytes written so far.
    #[must_use]
    pub const fn length(&self) -> usize {
        self.place.at as usize
    }
}
