//! The inputs around the first trip, kept in constant memory as a box keeps them: segments of a recording, each with the state it
//! begins in. From these the report draws every channel finely, and judges again.

use std::collections::VecDeque;

use slackside::input::{Input, Signal};
use slackside::record::{NoRoom, Opening, SegmentWriter};
use slackside::units::Micros;

use super::rows::Row;
use crate::monitor::Monitor;
use crate::recording::{About, MadeUnder, Part, Recording};

/// Rows of a stretch: minutes of a leg.
const STRETCH: usize = 16_384;
/// Bytes of a segment: as many inputs as that, where they come evenly.
const SEGMENT: usize = 32 * 1_024;
/// Whole stretches kept before the one in which the leg is stopped.
const BEFORE: usize = 2;
/// Stretches kept from that one on.
const FROM: usize = 2;

/// What was kept of a trace.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Window {
    /// The segments, oldest first.
    pub parts: Vec<Part>,
    /// The same as bytes.
    pub bytes: Vec<u8>,
    /// The row that each input is.
    pub numbers: Vec<u64>,
    /// Rows of the trace before them.
    pub rows_before: u64,
    /// Rows of the trace after them.
    pub rows_after: u64,
}

impl Window {
    /// Its inputs, oldest first.
    pub fn inputs(&self) -> impl Iterator<Item = Input> + '_ {
        self.parts.iter().flat_map(Part::inputs)
    }

    /// Its rows, oldest first.
    pub fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        self.inputs().zip(&self.numbers).map(|(input, number)| Row { number: *number, input })
    }

    /// The newest row of a kind by a moment, if the window has one.
    #[must_use]
    pub fn newest(&self, at: Micros, of: impl Fn(&Signal) -> bool) -> Option<Row> {
        self.rows().take_while(|row| row.input.at <= at).filter(|row| of(&row.input.signal)).last()
    }

    /// Whether the whole trace is in it.
    #[must_use]
    pub const fn is_whole(&self) -> bool {
        self.rows_before == 0 && self.rows_after == 0
    }
}

/// Rows that came one after another, and the monitor before the first of them.
struct Stretch {
    monitor: Box<Monitor>,
    /// The newest time known before them; of the first row, before there was any.
    newest: Micros,
    rows: Vec<Row>,
}

/// Keeps it while the trace goes by: rows as they come, since most are let go again. What is left at the end is put into segments.
pub(super) struct Keeper {
    whole: VecDeque<Stretch>,
    open: Option<Stretch>,
    newest: Micros,
    /// Stretches still to be filled, once the leg was stopped.
    left: Option<usize>,
    rows_before: u64,
    rows_after: u64,
}

impl Keeper {
    pub const fn new() -> Self {
        Self { whole: VecDeque::new(), open: None, newest: Micros::ZERO, left: None, rows_before: 0, rows_after: 0 }
    }

    /// An input comes; the monitor has not taken it yet.
    pub fn take(&mut self, monitor: &Monitor, row: Row) {
        match &mut self.open {
            Some(open) if open.rows.len() < STRETCH => open.rows.push(row),
            _ => self.begin(monitor, row),
        }
        self.newest = self.newest.max(row.input.at);
    }

    /// The leg is stopped: what was kept stays.
    pub fn hold(&mut self) {
        self.left.get_or_insert(FROM);
    }

    /// The stretch that was open is whole; begin the next one, if there is to be one.
    fn begin(&mut self, monitor: &Monitor, row: Row) {
        let mut dropped = None;
        if let Some(open) = self.open.take() {
            self.whole.push_back(open);
            match &mut self.left {
                Some(left) => *left = left.saturating_sub(1),
                None if self.whole.len() > BEFORE => dropped = self.whole.pop_front(),
                None => {}
            }
        }
        if self.left == Some(0) {
            self.rows_after += 1;
            return;
        }
        let newest = monitor.newest().max(if self.newest == Micros::ZERO { row.input.at } else { self.newest });
        // What was let go lends its memory to the next.
        let (monitor, mut rows) = match dropped {
            Some(Stretch { monitor: mut lent, mut rows, .. }) => {
                self.rows_before += rows.len() as u64;
                rows.clear();
                (*lent).clone_from(monitor);
                (lent, rows)
            }
            None => (Box::new(monitor.clone()), Vec::with_capacity(STRETCH)),
        };
        rows.push(row);
        self.open = Some(Stretch { monitor, newest, rows });
    }

    /// What was kept.
    pub fn finish(mut self) -> Window {
        self.whole.extend(self.open.take());
        let mut segments = Segments { opening: Opening::first(0), memory: vec![0; SEGMENT], bytes: Vec::new() };
        let numbers = self.whole.iter().flat_map(|stretch| stretch.rows.iter().map(|row| row.number)).collect();
        for stretch in self.whole {
            segments.write(stretch);
        }
        let Segments { bytes, .. } = segments;
        let parts = Recording::new("", About::default(), MadeUnder::default(), bytes.clone()).parts;
        Window { parts, bytes, numbers, rows_before: self.rows_before, rows_after: self.rows_after }
    }
}

/// Segments as a box would have written them.
struct Segments {
    opening: Opening,
    memory: Vec<u8>,
    bytes: Vec<u8>,
}

impl Segments {
    /// Write a stretch, in one segment if there is room: the monitor goes over it once more, so that each begins in the state it had.
    fn write(&mut self, stretch: Stretch) {
        let Stretch { mut monitor, mut newest, rows } = stretch;
        let mut writer = self.open(&monitor, newest);
        for Row { input, .. } in rows {
            if !writer.has_room(&self.memory) {
                self.close(writer, &monitor, newest);
                writer = self.open(&monitor, newest);
            }
            writer
                .push(&mut self.memory, &input)
                .unwrap_or_else(|NoRoom| unreachable!("a keyframe and a record have room in any segment of this size"));
            monitor.observe(input, &mut |_| {});
            newest = newest.max(input.at);
        }
        self.close(writer, &monitor, newest);
    }

    fn open(&mut self, monitor: &Monitor, newest: Micros) -> SegmentWriter {
        let opened = SegmentWriter::open(&mut self.memory, &self.opening, newest, monitor);
        self.opening = self.opening.next();
        opened.unwrap_or_else(|NoRoom| unreachable!("a keyframe has room in any segment of this size"))
    }

    fn close(&mut self, writer: SegmentWriter, monitor: &Monitor, newest: Micros) {
        let length = writer.close(&mut self.memory, newest, monitor.state_crc());
        self.bytes.extend_from_slice(&self.memory[..length]);
    }
}
