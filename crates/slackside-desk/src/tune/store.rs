//! A trace measured once, with what makes judging it under many settings quick.

use std::ops::Deref;
use std::sync::OnceLock;

use slackside::input::{Input, Signal};
use slackside::monitor::{Tap, Told};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::time::SWEEP;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use super::columns::{Builder, Columns, Cursor, Row};
use super::flips::Flips;
use super::index::Index;
use super::swings::Swings;
use crate::monitor::{Judge, Monitor, monitor};

/// One trace, measured.
#[derive(Clone, Debug)]
pub struct Store {
    columns: Columns,
    pub(super) index: Index,
    pub(super) flips: Flips,
    pub(super) swings: Swings,
    sweeps: OnceLock<Sweeps>,
}

/// The first row at or after each sweep: every setting asks for the same.
#[derive(Clone, Debug)]
struct Sweeps {
    /// How long after a whole number of [`SWEEP`] each comes.
    phase: u64,
    rows: Vec<u32>,
}

impl Deref for Store {
    type Target = Columns;

    fn deref(&self) -> &Columns {
        &self.columns
    }
}

impl Store {
    /// Index what was measured under this plan.
    #[must_use]
    pub fn new(columns: Columns, plan: &Plan) -> Self {
        let index = Index::build(&columns, plan);
        Self { columns, index, flips: Flips::default(), swings: Swings::default(), sweeps: OnceLock::new() }
    }

    /// [`Columns::row_from`], for the time of a sweep.
    pub(super) fn row_of_sweep(&self, from: usize, sweep: Micros) -> usize {
        let step = u64::from(SWEEP);
        let sweeps = self.sweeps.get_or_init(|| {
            let phase = sweep.get() % step;
            let times = (0..=self.end().get() / step).map(|number| Micros::new(phase + number * step));
            Sweeps { phase, rows: times.map(|time| self.row_at(time) as u32).collect() }
        });
        let row = sweeps.rows.get((sweep.get() / step) as usize).filter(|_| sweep.get() % step == sweeps.phase);
        row.map_or_else(|| self.row_from(from, sweep), |row| from.max(*row as usize))
    }

    /// Measure a trace: all its inputs, in order.
    ///
    /// # Errors
    /// The first that `inputs` gives.
    pub fn measure<E>(inputs: impl IntoIterator<Item = Result<Input, E>>, settings: &Checked) -> Result<Self, E> {
        let mut measuring = Measuring::new(settings);
        for input in inputs {
            measuring.take(input?);
        }
        Ok(measuring.finish())
    }

    /// What it takes in memory, with its index, in bytes.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.columns.bytes() + self.index.bytes() + self.swings.bytes()
    }
}

/// Tell judge what a row says.
pub(super) fn show(judge: &mut Judge, at: Micros, row: Row<'_>, cursor: &Cursor<'_>, sink: &mut dyn FnMut(&Verdict)) {
    match row {
        Row::Told(told) => judge.observe(at, told, cursor.signals(), sink),
        Row::Wake => judge.wake(at, sink),
    }
}

/// Measures a trace input by input.
pub struct Measuring {
    monitor: Box<Monitor>,
    kept: Kept,
}

/// Keeps what the monitor's judge is told.
struct Kept {
    builder: Builder,
    last: Micros,
}

impl Tap for Kept {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, _: &Plan) {
        self.builder.take(now, told, signals);
    }
}

impl Measuring {
    /// Under these settings.
    #[must_use]
    pub fn new(settings: &Checked) -> Self {
        let kept = Kept { builder: Builder::new(), last: Micros::ZERO };
        Self { monitor: monitor(settings, &Retained::default()), kept }
    }

    /// The next input.
    pub fn take(&mut self, input: Input) {
        let Self { monitor, kept } = self;
        kept.last = kept.last.max(input.at);
        kept.builder.begin(input.at);
        monitor.observe_with(input, kept, &mut |_| {});
    }

    /// All inputs are taken.
    #[must_use]
    pub fn finish(mut self) -> Store {
        self.monitor.observe_with(Input::new(self.kept.last, Signal::Tick), &mut self.kept, &mut |_| {});
        let columns = self.kept.builder.finish(self.kept.last);
        self.monitor.plan().map(|plan| Store::new(columns, plan)).unwrap_or_else(|| unreachable!("it was given one"))
    }
}
