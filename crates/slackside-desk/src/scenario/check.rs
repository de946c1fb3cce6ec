//! What a scenario may say.

use super::Scenario;
use super::fault::{Fault, Where};
use super::timeline::{Act, Routine};
use crate::plant::Plant;
use crate::problem::Findings;

/// All that is wrong with a scenario that was read from `text`; `own_leg`: its leg is written out in it.
pub(super) fn check<'t>(scenario: &Scenario, text: &'t str, own_leg: bool) -> Findings<'t> {
    let mut found = Findings::new(text);
    for bad in scenario.leg.faults() {
        let table = if own_leg { "leg" } else { "leg_changes" };
        let message = format!("is {}, expected {}: {}", bad.value, bad.expected, bad.mend);
        found.tell(format!("{table}.{}", bad.field), message);
    }
    for (name, expected) in scenario.leg.grip.faults() {
        found.tell(format!("friction.{name}"), format!("is no curve, expected {expected}"));
    }
    let duration_s = scenario.duration_s;
    found.hold(
        duration_s > 0.0 && duration_s <= 1e8,
        "duration_s",
        format!("is {duration_s}, expected above 0 and no more than 100,000,000 s (three years)"),
    );
    let (step_us, slow_us) = (scenario.step_us, Plant::SLOW_US);
    found.hold(
        (100..=10_000).contains(&step_us) && slow_us.is_multiple_of(step_us),
        "step_us",
        format!("is {step_us}, expected a divisor of {slow_us} from 100 to 10,000: leave it out for 2,000"),
    );
    for (i, act) in scenario.timeline.iter().enumerate() {
        timeline(&mut found, i, act, duration_s);
    }
    if let Some(of) = &scenario.routine {
        routine(&mut found, of);
    }
    for (i, of) in scenario.faults.iter().enumerate() {
        fault(&mut found, i, of, duration_s);
    }
    found
}

fn timeline(found: &mut Findings<'_>, i: usize, act: &Act, duration_s: f64) {
    let key = |name: &str| format!("timeline.{i}.{name}");
    let at_s = act.at_s;
    found.hold(
        at_s >= 0.0 && at_s.is_finite(),
        key("at_s"),
        format!("is {at_s}, expected seconds from the beginning, 0 or more"),
    );
    found.hold(
        at_s < duration_s || at_s.is_infinite(),
        key("at_s"),
        format!("is {at_s}, after the end: the scenario lasts {duration_s} s"),
    );
    let something = act.press.is_some() || act.feed_pct.is_some() || act.speed_pct.is_some() || act.command.is_some();
    found.hold(something, key("at_s"), "nothing is done: give press, feed_pct, speed_pct or command");
    for (name, value) in [("feed_pct", act.feed_pct), ("speed_pct", act.speed_pct)] {
        let value = value.unwrap_or_default();
        found.hold((0.0..=300.0).contains(&value), key(name), format!("is {value}, expected 0 to 300 per cent"));
    }
}

fn routine(found: &mut Findings<'_>, routine: &Routine) {
    for (name, value) in
        [("run_s", routine.run_s), ("rest_s", routine.rest_s), ("feed_change_s", routine.feed_change_s)]
    {
        found.hold(value >= 1.0, format!("routine.{name}"), format!("is {value}, expected 1 s or more"));
    }
    for (name, value) in [("wet_share", routine.wet_share), ("wet_friction", routine.wet_friction)] {
        let key = format!("routine.{name}");
        found.hold((0.0..=1.0).contains(&value), key, format!("is {value}, expected 0 to 1"));
    }
    found.hold(
        0.0 <= routine.feed_min_pct && routine.feed_min_pct <= routine.feed_max_pct,
        "routine.feed_min_pct",
        format!("is {}, expected 0 or more and no more than feed_max_pct", routine.feed_min_pct),
    );
}

fn fault(found: &mut Findings<'_>, i: usize, fault: &Fault, duration_s: f64) {
    let key = |name: &str| format!("fault.{i}.{name}");
    let Fault { from_s, ramp_s, severity, .. } = *fault;
    found.hold(
        (0.0..=1.0).contains(&severity),
        key("severity"),
        format!("is {severity}, expected 0 to 1, where 1 means: {}", fault.kind.meaning()),
    );
    found.hold(from_s >= 0.0, key("from_s"), format!("is {from_s}, expected 0 s or more"));
    found.hold(
        from_s < duration_s,
        key("from_s"),
        format!("is {from_s}, after the end: the scenario lasts {duration_s} s"),
    );
    if let Some(until) = fault.until_s {
        let message = format!("is {until}, expected more than from_s, {from_s}: the fault would never act");
        found.hold(until > from_s, key("until_s"), message);
    }
    found.hold(ramp_s >= 0.0, key("ramp_s"), format!("is {ramp_s}, expected 0 s or more"));
    let needs = fault.kind.needs();
    let places = "\"head_left\", \"head_right\", \"boot_left\" or \"boot_right\"";
    for (name, given, wanted, example) in [
        ("side", fault.side.is_some(), needs == Where::Side, "\"left\" or \"right\""),
        ("shaft", fault.shaft.is_some(), needs == Where::Shaft, "\"head\" or \"boot\""),
        ("place", fault.place.is_some(), needs == Where::Place, places),
    ] {
        let message = if wanted {
            format!("is missing: this kind of fault needs {name} = {example}")
        } else {
            format!("has no meaning for this kind of fault: leave it out ({example})")
        };
        found.hold(given == wanted, key(name), message);
    }
}
