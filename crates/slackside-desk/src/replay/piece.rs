//! What is handed on from who reads to who judges, and from there to who looks on, so that all can work at once.

use slackside::input::{Input, Signal};
use slackside::signals::Signals;
use slackside::units::{Micros, Ppm};
use slackside::verdict::Verdict;

use super::rows::Row;

/// What judge held at a moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judged {
    /// Slip heat as a share of its budget.
    pub heat: Ppm,
    /// [Whether slip is known](slackside::Monitor::knows_slip).
    pub knows_slip: bool,
}

/// One thing that happened.
#[derive(Clone, Copy, Debug)]
pub(super) enum Event {
    /// A row came; the monitor has not taken it yet.
    Row(Row),
    /// The trace has ended by then.
    End(Micros),
    /// Something moved: the next of the [signals](Piece::signals).
    Moved(Micros),
    /// What moved was judged, and is wanted for drawing or for the samples file.
    Judged { at: Micros, judged: Judged, to_series: bool, to_file: bool },
    /// Nothing moved until then, and what that proves is wanted for drawing.
    Silent(Micros, Judged),
    /// An input of which measure knows nothing.
    Signal(Micros, Signal),
    /// A verdict: the next of the [verdicts](Piece::verdicts).
    Verdict,
    /// Slip heat where a first-out fell due.
    HeatAtFirstOut(Ppm),
}

/// Rows of the trace, as they were read together.
#[derive(Debug, Default)]
pub(super) struct Batch {
    /// What its rows say.
    pub inputs: Vec<Input>,
    /// The number of each row.
    pub numbers: Vec<u64>,
    /// The time of the last row of the trace, if that has ended and had any.
    pub ends: Option<Micros>,
}

/// What happened in a batch.
#[derive(Debug, Default)]
pub(super) struct Piece {
    /// What happened, in order.
    pub events: Vec<Event>,
    /// What measure knew each time something moved.
    pub signals: Vec<Signals>,
    /// The verdicts.
    pub verdicts: Vec<Verdict>,
}

impl Piece {
    /// Empty it, for the next batch.
    pub fn clear(&mut self) {
        let Self { events, signals, verdicts } = self;
        events.clear();
        signals.clear();
        verdicts.clear();
    }
}
