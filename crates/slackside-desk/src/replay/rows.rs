//! From a figure back to the row of the trace that it comes from.

use slackside::input::Input;
use slackside::units::Micros;

/// A row of the trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// Its line in the file, the header being line 1; of a recording, which has no lines, which input it is, counted from 1.
    pub number: u64,
    /// What it says.
    pub input: Input,
}

/// The first row, and the two newest while the trace goes by.
#[derive(Clone, Copy, Debug, Default)]
pub struct Rows {
    first: Option<Row>,
    before: Option<Row>,
    newest: Option<Row>,
}

impl Rows {
    /// A row comes; the monitor has not taken it yet.
    pub(super) fn take(&mut self, row: Row) {
        self.first.get_or_insert(row);
        self.before = self.newest.replace(row);
    }

    /// The first row of the trace.
    #[must_use]
    pub const fn first(&self) -> Option<Row> {
        self.first
    }

    /// The last row so far.
    #[must_use]
    pub const fn newest(&self) -> Option<Row> {
        self.newest
    }

    /// The newest row by which something can be known that fell due at `at`: what a delay ends is known only when a later row comes, and
    /// does not come of that one.
    pub(super) fn behind(&self, at: Micros) -> Option<Row> {
        self.newest.filter(|newest| newest.input.at <= at).or(self.before).or(self.newest)
    }
}
