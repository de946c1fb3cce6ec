//! What happened in a stretch of the trace, in order: handed on from who judges to who looks on, so that both can work at once.

use slackside::input::Signal;
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

/// A stretch of the trace.
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
    /// Empty it, for the next stretch.
    pub fn clear(&mut self) {
        let Self { events, signals, verdicts } = self;
        events.clear();
        signals.clear();
        verdicts.clear();
    }
}
