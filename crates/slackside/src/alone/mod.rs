//! For the desk: a judge apart from measure, told what measure told. Not for the box.
//!
//! Whoever has signals stored, or makes them up, has judge say what it would have said of them live: the same verdicts at the same
//! times as in a [`Monitor`](crate::Monitor).

pub mod leap;

use core::ops::Deref;

use crate::alarm::AlarmState;
use crate::conditions::Condition;
use crate::judge::{Judge, Out, Status, View};
use crate::monitor::{ROUND_SHIFT, SETTLED, Told};
use crate::retained::Retained;
use crate::settings::plan::Plan;
use crate::settings::plan_check::Sound;
use crate::signals::Signals;
use crate::time::{Now, sweep_wait};
use crate::units::{Micros, Ppm};
use crate::verdict::Verdict;

/// A judge with all it needs but measure.
#[derive(Clone, Debug)]
pub struct Alone<P> {
    plan: Sound<P>,
    judge: Judge,
    signals: Signals,
    newest: u64,
    begun: bool,
    /// When the first thing was observed.
    first: u32,
    plainly: bool,
}

impl<P: Deref<Target = Plan>> Alone<P> {
    /// One that has seen nothing, with a plan and what survived the last loss of power.
    #[must_use]
    pub fn new(plan: Sound<P>, retained: &Retained) -> Self {
        let mut judge = Judge::new();
        judge.configure(&plan, retained);
        Self { plan, judge, signals: Signals::NONE, newest: 0, begun: false, first: 0, plainly: false }
    }

    /// Begin afresh, with a plan and what survived the last loss of power.
    pub fn configure(&mut self, plan: Sound<P>, retained: &Retained) {
        self.judge.configure(&plan, retained);
        (self.plan, self.signals, self.begun) = (plan, Signals::NONE, false);
        self.newest = 0;
    }

    /// From here on every motion takes a step: the oracle of the tests.
    pub const fn plainly(&mut self) {
        self.plainly = true;
    }

    /// What it goes by.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The judge itself.
    #[must_use]
    pub const fn judge(&self) -> &Judge {
        &self.judge
    }

    /// The newest signals it was told.
    #[must_use]
    pub const fn signals(&self) -> &Signals {
        &self.signals
    }

    /// The newest time.
    #[must_use]
    pub const fn newest(&self) -> Micros {
        Micros::new(self.newest)
    }

    fn now(&self) -> Now {
        Now::new(self.newest())
    }

    /// Be told something at a moment: first everything that fell due before it is settled, each with its own time. `signals` is what
    /// is known then.
    pub fn observe(&mut self, at: Micros, told: Told<'_>, signals: &Signals, sink: &mut dyn FnMut(&Verdict)) {
        self.wake(at, sink);
        self.signals = *signals;
        if self.plainly {
            self.judge.plainly();
        }
        let view = View { plan: &self.plan, signals: &self.signals, now: self.now() };
        let mut out = Out { view: &view, sink };
        match told {
            Told::Moved(moved) => self.judge.moved(moved, &mut out),
            Told::Signal(signal) => self.judge.take(signal, &mut out),
            Told::Late => self.judge.late(&mut out),
        }
    }

    /// Time has passed up to a moment, and nothing else.
    pub fn wake(&mut self, at: Micros, sink: &mut dyn FnMut(&Verdict)) {
        let at = at.get().max(self.newest);
        if !self.begun {
            self.begun = true;
            self.newest = at;
            self.first = self.now().us();
            let view = View { plan: &self.plan, signals: &self.signals, now: self.now() };
            self.judge.begin(&mut Out { view: &view, sink });
        }
        let mut settled = self.newest.saturating_add(SETTLED);
        loop {
            let due = self.due();
            if at.wrapping_sub(self.newest) < u64::from(due) {
                break;
            }
            if self.newest >= settled {
                settled = u64::MAX;
                let rounds = at.wrapping_sub(self.newest) >> ROUND_SHIFT;
                self.newest = self.newest.wrapping_add(rounds << ROUND_SHIFT);
                continue;
            }
            let sweeps_now = due == self.sweep_wait();
            self.newest = self.newest.saturating_add(u64::from(due));
            let now = self.now();
            if sweeps_now {
                self.signals.sweep(now.us());
            }
            let view = View { plan: &self.plan, signals: &self.signals, now };
            if sweeps_now {
                self.judge.sweep(&view);
            }
            self.judge.settle(&mut Out { view: &view, sink });
        }
        self.newest = at;
    }

    fn due(&self) -> u32 {
        self.judge.wait(self.now().us()).min(self.sweep_wait())
    }

    /// How long until old stamps are held again.
    fn sweep_wait(&self) -> u32 {
        sweep_wait(self.now().us(), self.first)
    }

    /// When something may fall due by itself. `None` before anything was observed.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        self.begun.then(|| Micros::new(self.newest.saturating_add(u64::from(self.due()))))
    }

    /// What it holds now.
    #[must_use]
    pub fn status(&self) -> Status {
        self.judge.status()
    }

    /// The state of an alarm.
    #[must_use]
    pub fn alarm(&self, condition: Condition) -> AlarmState {
        self.judge.alarm(condition)
    }

    /// Slip heat at `now`, as a share of the budget.
    #[must_use]
    pub fn slip_heat_at(&self, now: Micros) -> Ppm {
        self.judge.slip_heat_at(&self.plan, now)
    }

    /// What must survive a loss of power, as it stands now.
    #[must_use]
    pub fn retained(&self) -> Retained {
        self.judge.retained(&self.plan, self.now())
    }
}
