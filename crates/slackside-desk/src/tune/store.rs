//! A trace measured once, with what makes judging it under many settings quick.

use std::ops::Deref;

use slackside::input::{Input, Signal};
use slackside::measure::Measure;
use slackside::settings::Checked;
use slackside::units::Micros;

use super::columns::{Builder, Columns};
use super::flips::Flips;
use super::index::Index;

/// One trace, measured.
#[derive(Clone, Debug)]
pub struct Store {
    columns: Columns,
    pub(super) index: Index,
    pub(super) flips: Flips,
}

impl Deref for Store {
    type Target = Columns;

    fn deref(&self) -> &Columns {
        &self.columns
    }
}

impl Store {
    /// Index what was measured under these settings.
    #[must_use]
    pub fn new(columns: Columns, settings: &Checked) -> Self {
        let index = Index::build(&columns, settings);
        Self { columns, index, flips: Flips::default() }
    }

    /// Measure a trace: all its inputs, in order.
    ///
    /// # Errors
    /// The first that `inputs` gives.
    pub fn measure<E>(inputs: impl IntoIterator<Item = Result<Input, E>>, settings: &Checked) -> Result<Self, E> {
        let mut measure = Box::new(Measure::new());
        measure.configure(settings);
        let mut builder = Builder::new();
        let mut last = Micros::ZERO;
        for input in inputs {
            let input = input?;
            last = last.max(input.at);
            measure.observe(input, |seen| builder.take(&seen));
        }
        measure.observe(Input::new(last, Signal::Tick), |seen| builder.take(&seen));
        Ok(Self::new(builder.finish(last), settings))
    }

    /// What it takes in memory, with its index, in bytes.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.columns.bytes() + self.index.bytes()
    }
}
