//! What measure tells on the way through the monitor.

use slackside::input::Input;
use slackside::monitor::{Tap, Told};
use slackside::motion::Motion;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::Micros;
use slackside_desk::monitor::{Monitor, monitor};

/// Measure, as the monitor drives it.
pub struct Measure(Box<Monitor>);

struct Taps<F>(F);

impl<F: FnMut(Micros, &Motion)> Tap for Taps<F> {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, plan: &Plan) {
        if let Told::Moved(_) = told {
            (self.0)(now, &Motion::of(signals, plan, now));
        }
    }
}

impl Measure {
    /// One that has seen nothing.
    pub fn of(settings: &Checked) -> Self {
        Self(monitor(settings, &Retained::default()))
    }

    /// Take one input; `told` gets every motion that follows, with its time.
    pub fn observe(&mut self, input: Input, told: impl FnMut(Micros, &Motion)) {
        self.0.observe_with(input, &mut Taps(told), &mut |_| {});
    }

    /// What is known now.
    pub fn motion(&self) -> Motion {
        let plan = self.0.plan().expect("it was given one");
        Motion::of(self.0.signals(), plan, self.0.newest())
    }
}
