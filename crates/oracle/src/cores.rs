//! The two cores behind one trait, and a third that is wrong on purpose.

use std::sync::Arc;

use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside_landed::input::{Input, Signal};
use slackside_landed::settings::Checked;
use slackside_landed::survivor::Survivor;
use slackside_landed::units::Micros;
use slackside_landed::verdict::Verdict;

use crate::translate::{back, forth};

/// What takes inputs and gives verdicts, in the landed core's words.
pub trait Core {
    /// Take one input.
    fn feed(&mut self, input: &Input, out: &mut Vec<Verdict>);

    /// Settle what falls due up to `at`.
    fn settle(&mut self, at: Micros, out: &mut Vec<Verdict>) {
        self.feed(&Input::new(at, Signal::Tick), out);
    }

    /// When it wants to be looked at again.
    fn next_deadline(&self) -> Option<Micros>;

    /// Power goes and comes back: it starts again with what it kept.
    fn power_cycle(&mut self);
}

/// The landed core.
pub struct Landed {
    settings: Checked,
    monitor: Box<slackside_landed::Monitor>,
}

impl Landed {
    /// With these settings and no past.
    #[must_use]
    pub fn new(settings: &Checked) -> Self {
        let mut monitor = Box::new(slackside_landed::Monitor::new());
        monitor.configure(settings, &Survivor::default());
        Self { settings: settings.clone(), monitor }
    }
}

impl Core for Landed {
    fn feed(&mut self, input: &Input, out: &mut Vec<Verdict>) {
        self.monitor.observe(*input, &mut |verdict| out.push(verdict));
    }

    fn next_deadline(&self) -> Option<Micros> {
        self.monitor.next_deadline()
    }

    fn power_cycle(&mut self) {
        let survivor = self.monitor.survivor();
        *self.monitor = slackside_landed::Monitor::new();
        self.monitor.configure(&self.settings, &survivor);
    }
}

/// The core built anew.
pub struct Anew {
    plan: Arc<Plan>,
    is_leg: bool,
    monitor: Box<slackside::Monitor<Arc<Plan>>>,
}

/// The settings as the new core checks them: for a leg where the landed core takes them for one, else for a bench.
///
/// # Errors
/// If the new core's rules refuse what the landed one's accepted, or the other way round.
pub fn checked(settings: &Checked) -> Result<(slackside::settings::Checked, bool), String> {
    let is_leg = settings.clone().into_settings().check().is_ok();
    let anew = forth::settings(settings);
    let told = |violations: &[slackside::settings::Violation]| {
        violations.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
    };
    match (is_leg, anew.clone().check()) {
        (true, Ok(checked)) => Ok((checked, true)),
        (true, Err(violations)) => Err(format!("settings refused that the landed core accepts: {}", told(&violations))),
        (false, Ok(_)) => Err("settings accepted that the landed core accepts for a bench only".to_owned()),
        (false, Err(_)) => match anew.check_for_bench() {
            Ok(checked) => Ok((checked, false)),
            Err(violations) => Err(format!("settings refused for a bench: {}", told(&violations))),
        },
    }
}

impl Anew {
    /// With these settings and no past.
    ///
    /// # Errors
    /// If the new core refuses the plan, with the row that says so.
    pub fn new(settings: &Checked) -> Result<Self, String> {
        let (checked, is_leg) = checked(settings)?;
        let plan = Arc::new(checked.plan());
        let mut anew = Self { plan, is_leg, monitor: Box::new(slackside::Monitor::new()) };
        anew.configure(&Retained::default())?;
        Ok(anew)
    }

    fn configure(&mut self, retained: &Retained) -> Result<(), String> {
        let plan = Arc::clone(&self.plan);
        let sound = if self.is_leg { Sound::new(plan) } else { Sound::for_bench(plan) };
        let sound = sound.map_err(|broken| format!("the plan is refused: {broken:?}"))?;
        self.monitor.configure(sound, retained).map_err(|no_room| format!("{no_room:?}"))
    }
}

impl Core for Anew {
    fn feed(&mut self, input: &Input, out: &mut Vec<Verdict>) {
        self.monitor.observe(forth::input(input), &mut |verdict| out.push(back::verdict(verdict)));
    }

    fn next_deadline(&self) -> Option<Micros> {
        self.monitor.next_deadline().map(|at| Micros::new(at.get()))
    }

    fn power_cycle(&mut self) {
        let retained = self.monitor.retained().expect("it has a plan");
        *self.monitor = slackside::Monitor::new();
        self.configure(&retained).expect("the plan was sound before");
    }
}
