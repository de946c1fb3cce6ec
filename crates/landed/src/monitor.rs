//! Measure and judge in one: inputs in, verdicts out.

use crate::input::Input;
use crate::judge::{Judge, Status};
use crate::measure::Measure;
use crate::motion::Motion;
use crate::record::keep::{Keep, Page, Pen, Unreadable};
use crate::settings::Checked;
use crate::survivor::Survivor;
use crate::units::{Micros, Ppm};
use crate::verdict::Verdict;

/// The whole monitor. Before [`configure`](Self::configure) it holds both permits dropped.
///
/// `MARKS` is the most counted edges a turn that it has room for: 64 is room for every machine, and 8 do for four
/// targets and save RAM.
///
/// Built by `const fn new` so that it can be placed in a static: by value it would make a large stack frame.
#[derive(Clone, Debug)]
pub struct Monitor<const MARKS: usize = 64> {
    measure: Measure<MARKS>,
    judge: Judge,
}

impl<const MARKS: usize> Keep for Monitor<MARKS> {
    fn keep(&self, pen: &mut Pen<'_>) {
        self.measure.keep(pen);
        self.judge.keep_beside(self.measure.motion(), pen);
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.measure.fetch(page)?;
        self.judge.fetch_beside(self.measure.motion(), page)
    }
}

impl Monitor {
    /// A monitor with room for every machine, that knows nothing and allows nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self::with_room()
    }

    /// Take settings, and what survived the last loss of power. Starts afresh otherwise.
    pub fn configure(&mut self, settings: &Checked, survivor: &Survivor) {
        self.measure.configure(settings);
        self.judge.configure(settings, survivor);
    }
}

/// There is no room for this machine's marks: the monitor was built for fewer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

impl<const MARKS: usize> Monitor<MARKS> {
    /// A monitor that knows nothing and allows nothing.
    #[must_use]
    pub const fn with_room() -> Self {
        Self { measure: Measure::with_room(), judge: Judge::new() }
    }

    /// Take settings, and what survived the last loss of power, if there is room. Starts afresh otherwise.
    ///
    /// # Errors
    /// [`NoRoom`] if a shaft has more counted edges a turn than `MARKS`. The monitor is then as newly built: it allows nothing.
    pub fn try_configure(&mut self, settings: &Checked, survivor: &Survivor) -> Result<(), NoRoom> {
        *self = Self::with_room();
        if !Measure::<MARKS>::has_room(settings) {
            return Err(NoRoom);
        }
        self.measure.configure(settings);
        self.judge.configure(settings, survivor);
        Ok(())
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

    /// Slip heat at `now`, as a share of the budget.
    #[must_use]
    pub fn slip_heat_at(&self, now: Micros) -> Ppm {
        self.judge.slip_heat_at(now)
    }

    /// What must survive a loss of power, as it stands now.
    #[must_use]
    pub fn survivor(&self) -> Survivor {
        self.judge.survivor()
    }
}

impl<const MARKS: usize> Default for Monitor<MARKS> {
    fn default() -> Self {
        Self::with_room()
    }
}
