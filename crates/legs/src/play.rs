//! A leg through the core: its verdicts, whoever looks when.

use std::sync::Arc;

use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use crate::{Leg, Make};

/// The whole monitor, with room for every machine.
pub type Monitor = slackside::Monitor<Arc<Plan>>;

impl Make {
    /// The plan, found sound as its box would find it: for a leg, or for a bench.
    ///
    /// # Panics
    /// If the box refuses what the desk's rules accepted.
    #[must_use]
    pub fn sound(&self) -> Sound<Arc<Plan>> {
        let plan = Arc::new(self.settings.plan());
        let sound = if self.is_leg { Sound::new(plan) } else { Sound::for_bench(plan) };
        sound.unwrap_or_else(|broken| panic!("the rules accepted what the box refuses: {broken:?}"))
    }

    /// A monitor that has seen nothing but what survived the last loss of power.
    ///
    /// # Panics
    /// As [`sound`](Self::sound).
    #[must_use]
    pub fn monitor(&self, retained: &Retained) -> Box<Monitor> {
        let mut monitor = Box::new(Monitor::new());
        monitor.configure(self.sound(), retained).unwrap_or_else(|no_room| panic!("no room: {no_room:?}"));
        monitor
    }
}

impl Leg {
    /// Every verdict of its box, with the cuts of its power.
    #[must_use]
    pub fn verdicts(&self) -> Vec<Verdict> {
        let mut monitor = self.make.monitor(&Retained::default());
        let mut cuts = self.power_cuts.iter().peekable();
        let mut all = Vec::new();
        for (index, input) in self.inputs.iter().enumerate() {
            while cuts.next_if(|cut| **cut <= index).is_some() {
                monitor = self.make.monitor(&monitor.retained().unwrap_or_default());
            }
            monitor.observe(*input, &mut |verdict| all.push(*verdict));
        }
        all
    }
}

/// Nothing but the time.
#[must_use]
pub const fn tick(at_us: u64) -> Input {
    Input::new(Micros::new(at_us), Signal::Tick)
}
