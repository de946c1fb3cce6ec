//! Measure and judge in one: inputs in, verdicts out.

use crate::input::Input;
use crate::judge::{Judge, Status};
use crate::measure::Measure;
use crate::motion::Motion;
use crate::settings::Checked;
use crate::survivor::Survivor;
use crate::units::Micros;
use crate::verdict::Verdict;

/// The whole monitor. Before [`configure`](Self::configure) it holds both permits dropped.
///
/// Built by `const fn new` so that it can be placed in a static: by value it would make a large stack frame.
#[derive(Clone, Debug)]
pub struct Monitor {
    measure: Measure,
    judge: Judge,
}

impl Monitor {
    /// A monitor that knows nothing and allows nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { measure: Measure::new(), judge: Judge::new() }
    }

    /// Take settings, and what survived the last loss of power. Starts afresh otherwise.
    pub fn configure(&mut self, settings: &Checked, survivor: &Survivor) {
        self.measure.configure(settings);
        self.judge.configure(settings, survivor);
    }

    /// Take one input: first everything that fell due before it, each with its own time, then the input itself.
    /// A tick promises that no earlier input follows.
    pub fn observe(&mut self, input: Input, out: &mut dyn FnMut(Verdict)) {
        let Self { measure, judge } = self;
        measure.observe(input, |seen| judge.observe(seen, out));
    }

    /// When to come back with a tick, if nothing else comes sooner. `None`: nothing will fall due by itself.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        match (self.measure.next_deadline(), self.judge.next_deadline()) {
            (Some(measure), Some(judge)) => Some(measure.min(judge)),
            (one, other) => one.or(other),
        }
    }

    /// What measure knows now.
    #[must_use]
    pub const fn motion(&self) -> &Motion {
        self.measure.motion()
    }

    /// What judge holds now.
    #[must_use]
    pub const fn status(&self) -> &Status {
        self.judge.status()
    }

    /// What must survive a loss of power, as it stands now.
    #[must_use]
    pub fn survivor(&self) -> Survivor {
        self.judge.survivor()
    }
}

impl Default for Monitor {
    fn default() -> Self {
        Self::new()
    }
}
