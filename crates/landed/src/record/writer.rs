//! Writes one segment into a piece of memory.

use crc::Digest;

use super::anchor::Anchor;
use super::code::{Context, Line, MOST_RECORD};
use super::header::{CoreVersion, HEADER, Header};
use super::keep::{CRC, Keep, Pen, Written};
use crate::Monitor;
use crate::input::Input;
use crate::settings::Checked;
use crate::units::Micros;

/// A check follows at the latest after so many bytes of records.
const BETWEEN_CHECKS: usize = 512;
const CHECK_BYTES: usize = 5;
/// What a record and a check before it, and then the end with its CRC, may need.
const RESERVE: usize = MOST_RECORD * 2 + CHECK_BYTES + 4;

/// There is no room for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

/// What a segment begins with besides the state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Opening {
    /// Its number within the session.
    pub sequence: u32,
    /// How often the box has been powered up.
    pub session: u32,
    /// Identity of the settings in force.
    pub settings: u32,
    /// Identity of the settings before them, 0 if none.
    pub previous_settings: u32,
    /// Settings were changed just before.
    pub settings_changed: bool,
    /// No segment precedes this one in its session.
    pub first: bool,
    /// Raw edges a turn of the head and the boot.
    pub edges_a_turn: [u8; 2],
    /// Inputs not recorded since the segment before.
    pub missed: u32,
}

impl Opening {
    /// The first segment of a session under these settings.
    #[must_use]
    pub fn first(settings: &Checked, session: u32) -> Self {
        let machine = &settings.machine;
        let edges =
            |targets: Option<crate::settings::Targets>| targets.map_or(0, |targets| targets.count.saturating_mul(2));
        Self {
            sequence: 0,
            session,
            settings: settings.identity(),
            previous_settings: 0,
            settings_changed: false,
            first: true,
            edges_a_turn: [edges(machine.head_targets), edges(machine.boot_targets)],
            missed: 0,
        }
    }

    /// The one after it, if nothing else happened.
    #[must_use]
    pub const fn next(self) -> Self {
        Self { sequence: self.sequence.wrapping_add(1), settings_changed: false, first: false, missed: 0, ..self }
    }
}

/// One segment being written. The memory is given to each call and must be the same each time.
#[derive(Clone)]
pub struct SegmentWriter {
    at: usize,
    digest: Digest<'static, u32, crc::NoTable>,
    unchecked: usize,
    inputs: u32,
    context: Context,
    keyframe_crc: u32,
}

impl SegmentWriter {
    /// Begin a segment: header and keyframe of `monitor` as it stands at `now`, the newest time it knows.
    ///
    /// # Errors
    /// [`NoRoom`] if header, keyframe, one record and the end do not fit.
    pub fn open<const MARKS: usize>(
        memory: &mut [u8],
        opening: &Opening,
        now: Micros,
        monitor: &Monitor<MARKS>,
    ) -> Result<Self, NoRoom> {
        let mut pen = Pen::new(memory.get_mut(HEADER..).ok_or(NoRoom)?, now);
        monitor.keep(&mut pen);
        let Written { length, fits: true, crc: keyframe_crc } = pen.finish() else { return Err(NoRoom) };
        let keyframe_length = u16::try_from(length).map_err(|_| NoRoom)?;
        let header = Header {
            settings_changed: opening.settings_changed,
            first: opening.first,
            edges_a_turn: opening.edges_a_turn,
            sequence: opening.sequence,
            session: opening.session,
            at: now,
            settings: opening.settings,
            previous_settings: opening.previous_settings,
            core: CoreVersion::THIS,
            missed: opening.missed,
            keyframe_crc,
            keyframe_length,
        };
        Self::begin(memory, &header)
    }

    /// Begin a segment that was read elsewhere anew, with its own header and keyframe: for the desk, which writes recordings
    /// back from other forms.
    ///
    /// # Errors
    /// [`NoRoom`], also if the keyframe is not the one of the header.
    pub fn again(memory: &mut [u8], header: &Header, keyframe: &[u8]) -> Result<Self, NoRoom> {
        if keyframe.len() != usize::from(header.keyframe_length) || CRC.checksum(keyframe) != header.keyframe_crc {
            return Err(NoRoom);
        }
        for (slot, byte) in memory.iter_mut().skip(HEADER).zip(keyframe) {
            *slot = *byte;
        }
        Self::begin(memory, header)
    }

    /// The keyframe is in its place: write the header before it.
    fn begin(memory: &mut [u8], header: &Header) -> Result<Self, NoRoom> {
        let bytes = header.to_bytes();
        for (slot, byte) in memory.iter_mut().zip(bytes) {
            *slot = byte;
        }
        let mut digest = CRC.digest();
        digest.update(&bytes);
        let writer = Self {
            at: HEADER.saturating_add(usize::from(header.keyframe_length)),
            digest,
            unchecked: 0,
            inputs: 0,
            context: Context::new(header.at, header.edges_a_turn),
            keyframe_crc: header.keyframe_crc,
        };
        if writer.has_room(memory) { Ok(writer) } else { Err(NoRoom) }
    }

    /// Whether one more record fits.
    #[must_use]
    pub const fn has_room(&self, memory: &[u8]) -> bool {
        self.at.saturating_add(RESERVE) <= memory.len()
    }

    /// Record an input.
    ///
    /// # Errors
    /// [`NoRoom`]: close this segment and begin the next one.
    pub fn push(&mut self, memory: &mut [u8], input: &Input) -> Result<(), NoRoom> {
        if !self.has_room(memory) {
            return Err(NoRoom);
        }
        self.check_if_due(memory);
        let line = self.context.write(input);
        self.append(memory, line.bytes());
        self.inputs = self.inputs.saturating_add(1);
        Ok(())
    }

    /// Record what the desk said of its time.
    ///
    /// # Errors
    /// [`NoRoom`]: close this segment and begin the next one.
    pub fn push_anchor(&mut self, memory: &mut [u8], anchor: &Anchor) -> Result<(), NoRoom> {
        if !self.has_room(memory) {
            return Err(NoRoom);
        }
        self.check_if_due(memory);
        let line = self.context.write_anchor(anchor);
        self.append(memory, line.bytes());
        Ok(())
    }

    /// End the segment at `newest`, the newest time the monitor knows, with the CRC of its state then. The length of the
    /// whole segment.
    pub fn close(mut self, memory: &mut [u8], newest: Micros, state: u32) -> usize {
        self.finish(memory, newest, state)
    }

    /// As [`close`](Self::close), in place.
    pub(super) fn finish(&mut self, memory: &mut [u8], newest: Micros, state: u32) -> usize {
        let line: Line = self.context.end(newest, self.inputs, state);
        self.append(memory, line.bytes());
        let crc = self.digest.clone().finalize();
        self.append(memory, &crc.to_le_bytes());
        self.at
    }

    /// End the memory without an end, after a check, as if power had gone: for the desk, which writes such recordings back. The
    /// length of what there is.
    pub fn cut(mut self, memory: &mut [u8]) -> usize {
        let line = Context::check(self.digest.clone().finalize());
        self.append(memory, line.bytes());
        self.at
    }

    /// CRC of the keyframe: what the segment before must have ended with.
    #[must_use]
    pub const fn keyframe_crc(&self) -> u32 {
        self.keyframe_crc
    }

    /// The time of the last record.
    #[must_use]
    pub const fn newest(&self) -> Micros {
        self.context.newest()
    }

    /// Inputs recorded.
    #[must_use]
    pub const fn inputs(&self) -> u32 {
        self.inputs
    }

    /// Bytes written so far.
    #[must_use]
    pub const fn length(&self) -> usize {
        self.at
    }

    fn check_if_due(&mut self, memory: &mut [u8]) {
        if self.unchecked >= BETWEEN_CHECKS {
            let line = Context::check(self.digest.clone().finalize());
            self.append(memory, line.bytes());
            self.unchecked = 0;
        }
    }

    fn append(&mut self, memory: &mut [u8], bytes: &[u8]) {
        for (slot, byte) in memory.iter_mut().skip(self.at).zip(bytes) {
            *slot = *byte;
        }
        self.digest.update(bytes);
        self.at = self.at.saturating_add(bytes.len());
        self.unchecked = self.unchecked.saturating_add(bytes.len());
    }
}
