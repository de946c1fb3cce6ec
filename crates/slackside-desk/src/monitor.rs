//! The monitor as the desk uses it: on plans that are shared.

use std::sync::Arc;

use slackside::alone::Alone;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::{Plan, ShaftPlan};
use slackside::settings::plan_check::Sound;

/// The whole monitor, with room for every machine.
pub type Monitor = slackside::Monitor<Arc<Plan>>;

/// Judge apart from measure.
pub type Judge = Alone<Arc<Plan>>;

/// The plan of these settings.
#[must_use]
pub fn plan_of(settings: &Checked) -> Sound<Arc<Plan>> {
    sound(settings.plan()).unwrap_or_else(|| unreachable!("settings that passed the rules make a sound plan"))
}

/// A plan, if it is sound: for a leg, or at least for a test bench.
#[must_use]
pub fn sound(plan: Plan) -> Option<Sound<Arc<Plan>>> {
    let plan = Arc::new(plan);
    Sound::new(Arc::clone(&plan)).or_else(|_| Sound::for_bench(plan)).ok()
}

/// A monitor that has seen nothing, with these settings and what survived the last loss of power.
#[must_use]
pub fn monitor(settings: &Checked, retained: &Retained) -> Box<Monitor> {
    with(plan_of(settings), retained)
}

/// A monitor that has seen nothing, on this plan.
#[must_use]
pub fn on(plan: &Sound<Arc<Plan>>) -> Box<Monitor> {
    with(plan.clone(), &Retained::default())
}

fn with(plan: Sound<Arc<Plan>>, retained: &Retained) -> Box<Monitor> {
    let mut monitor = Box::new(Monitor::new());
    let Ok(()) = monitor.configure(plan, retained) else {
        unreachable!("there is room for the marks of every machine")
    };
    monitor
}

/// Whether measure does the same on both plans, whatever judge is held to.
#[must_use]
pub fn measure_alike(one: &Plan, other: &Plan) -> bool {
    let machine = |plan: &Plan| {
        // How slow a shaft stands is a limit.
        let shaft = |shaft: ShaftPlan| ShaftPlan { standing: 0, ..shaft };
        (plan.minimum_width, shaft(plan.head), shaft(plan.boot), plan.slip, plan.contacts)
    };
    machine(one) == machine(other)
}

/// A judge that was told nothing, likewise.
#[must_use]
pub fn judge(settings: &Checked, retained: &Retained) -> Box<Judge> {
    Box::new(Judge::new(plan_of(settings), retained))
}
