//! The inputs around the first trip, kept in constant memory as a box keeps them: segments of a recording, each with the state it
//! begins in. From these the report draws every channel finely, and judges again.

use std::collections::VecDeque;

use slackside::input::{Input, Signal};
use slackside::record::{Opening, SegmentWriter};
use slackside::units::Micros;

use super::rows::Row;
use crate::monitor::Monitor;
use crate::recording::{About, MadeUnder, Part, Recording};

/// Bytes of a segment: some 10,000 inputs, minutes of a leg.
const SEGMENT: usize = 32 * 1_024;
/// Whole segments kept before the one in which the leg is stopped.
const BEFORE: usize = 2;
/// Segments kept from that one on.
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

/// Keeps it while the trace goes by.
pub(super) struct Keeper {
    kept: VecDeque<(Vec<u8>, Vec<u64>)>,
    memory: Vec<u8>,
    open: Option<(SegmentWriter, Vec<u64>)>,
    opening: Opening,
    newest: Micros,
    /// Segments still to be closed, once the leg was stopped.
    left: Option<usize>,
    rows_before: u64,
    rows_after: u64,
}

impl Keeper {
    pub fn new() -> Self {
        Self {
            kept: VecDeque::new(),
            memory: vec![0; SEGMENT],
            open: None,
            opening: Opening::first(0),
            newest: Micros::ZERO,
            left: None,
            rows_before: 0,
            rows_after: 0,
        }
    }

    /// An input comes; the monitor has not taken it yet.
    pub fn take(&mut self, monitor: &Monitor, row: Row) {
        let input = &row.input;
        if self.left == Some(0) {
            self.rows_after += 1;
            return;
        }
        if self.open.as_ref().is_some_and(|(writer, _)| !writer.has_room(&self.memory)) {
            self.close(monitor);
            return self.take(monitor, row);
        }
        if self.open.is_none() {
            let newest = monitor.newest().max(if self.newest == Micros::ZERO { input.at } else { self.newest });
            // A keyframe has room in any segment of this size.
            self.open = SegmentWriter::open(&mut self.memory, &self.opening, newest, monitor)
                .ok()
                .map(|open| (open, Vec::new()));
            self.opening = self.opening.next();
        }
        if let Some((writer, rows)) = &mut self.open
            && writer.push(&mut self.memory, input).is_ok()
        {
            rows.push(row.number);
        }
        self.newest = self.newest.max(input.at);
    }

    /// The leg is stopped: what was kept stays.
    pub fn hold(&mut self) {
        self.left.get_or_insert(FROM);
    }

    fn close(&mut self, monitor: &Monitor) {
        let Some((writer, rows)) = self.open.take() else { return };
        let length = writer.close(&mut self.memory, self.newest, monitor.state_crc());
        self.kept.push_back((self.memory[..length].to_vec(), rows));
        match &mut self.left {
            Some(left) => *left -= 1,
            None if self.kept.len() > BEFORE => {
                self.rows_before += self.kept.pop_front().map_or(0, |(_, rows)| rows.len() as u64);
            }
            None => {}
        }
    }

    /// What was kept.
    pub fn finish(mut self, monitor: &Monitor) -> Window {
        self.close(monitor);
        let (bytes, numbers): (Vec<Vec<u8>>, Vec<Vec<u64>>) = self.kept.into_iter().unzip();
        let (bytes, numbers) = (bytes.concat(), numbers.concat());
        let parts = Recording::new("", About::default(), MadeUnder::default(), bytes.clone()).parts;
        Window { parts, bytes, numbers, rows_before: self.rows_before, rows_after: self.rows_after }
    }
}
