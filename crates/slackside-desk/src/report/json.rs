//! The story as one object, for other programs. Keys carry their units; their order is stable; `null` is "not known".

use serde_json::{Map, Value, json};
use slackside::conditions::{Condition, Unit};
use slackside::units::Ppm;

use super::sources::Told;
use super::story::Story;
use crate::replay::{FirstOut, Outcome, Peak, change_name, phase_name, state_name};

/// The whole outcome as one object.
#[must_use]
pub fn object(outcome: &Outcome) -> Value {
    let story = Story::of(outcome, usize::MAX);
    json!({
        "format": "slackside-replay",
        "format_version": 1,
        "core_version": env!("CARGO_PKG_VERSION"),
        "leg": outcome.settings.machine.leg.as_str(),
        "trace": outcome.trace,
        "settings": outcome.settings_name,
        "settings_identity": super::identity(outcome.settings.plan().identity()),
        "begin_us": outcome.first().get(),
        "end_us": outcome.last().get(),
        "begin_time": outcome.clock().time_of_day(outcome.first()),
        "end_time": outcome.clock().time_of_day(outcome.last()),
        "rows": outcome.survey.rows,
        "rows_out_of_order": outcome.survey.out_of_order,
        "stopped": !outcome.first_outs.is_empty(),
        "part_unread": outcome.part_unread,
        "warnings": story.warnings,
        "headline": story.headline,
        "first_outs": outcome.first_outs.iter().map(first_out).collect::<Vec<_>>(),
        "run_permit_dropped_us": outcome.run_dropped.map(|at| at.get()),
        "ran_on_s": outcome.ran_on_us.map(|ran_on| ran_on as f64 / 1e6),
        "feed_permit_dropped_us": outcome.feed_dropped.map(|(at, _)| at.get()),
        "run_up": run_up(outcome),
        "slip_watched": outcome.sees_slip(),
        "running_s": outcome.running_us as f64 / 1e6,
        "slip_known_s": outcome.slip_known_us as f64 / 1e6,
        "peak_slip_short": outcome.peak_short.map(peak),
        "peak_slip_long": outcome.peak_long.map(peak),
        "peak_slip_heat_pct": outcome.sees_slip().then(|| percent(outcome.peak_heat)),
        "alarms": alarms(outcome),
        "end": {
            "run_permit": outcome.status.run_permit,
            "feed_permit": outcome.status.feed_permit,
            "phase": phase_name(outcome.status.phase),
            "first_out": outcome.status.first_out.map(Condition::name),
            "boot_cleared_needed": outcome.status.boot_cleared_needed,
        },
        "events": outcome.verdicts.iter().map(|verdict| {
            json!({"time_us": verdict.at.get(), "change": change_name(&verdict.change),
                "condition": crate::replay::condition_of(&verdict.change).map(Condition::name)})
        }).collect::<Vec<_>>(),
        "events_in_all": outcome.verdicts_in_all,
        "findings": story.findings.iter().map(|finding| {
            json!({"title": finding.title, "sureness": finding.sureness, "figure": finding.figure, "first": finding.first, "inspect": finding.inspect})
        }).collect::<Vec<_>>(),
        "known": words(&story.known),
        "not_known": words(&story.unknown),
    })
}

fn words(told: &[Told]) -> Vec<&str> {
    told.iter().map(|told| told.words.as_str()).collect()
}

fn percent(ppm: Ppm) -> f64 {
    f64::from(ppm.get()) / 1e4
}

fn peak(peak: Peak) -> Value {
    json!({"time_us": peak.at.get(), "pct": percent(peak.value), "at_least": peak.at_least})
}

/// A value under a key that ends in its unit.
fn with_unit(object: &mut Map<String, Value>, key: &str, unit: Unit, value: Option<i32>) {
    let (suffix, divisor) = match unit {
        Unit::Ppm => ("_pct", 1e4),
        Unit::Milliseconds => ("_s", 1e3),
        Unit::Microturns => ("_turns", 1e6),
        Unit::DeciCelsius => ("_c", 10.0),
        Unit::Count => ("_count", 1.0),
        Unit::Flag => return,
    };
    object.insert(format!("{key}{suffix}"), value.map_or(Value::Null, |value| json!(f64::from(value) / divisor)));
}

fn first_out(first_out: &FirstOut) -> Value {
    let mut object = Map::new();
    object.insert("condition".to_owned(), json!(first_out.condition.name()));
    object.insert("time_us".to_owned(), json!(first_out.at.get()));
    with_unit(&mut object, "value", first_out.condition.unit(), first_out.value);
    with_unit(&mut object, "setpoint", first_out.condition.unit(), Some(first_out.setpoint));
    Value::Object(object)
}

fn run_up(outcome: &Outcome) -> Vec<Value> {
    let Some(trip) = outcome.run_up.until() else { return Vec::new() };
    [10_000_000, 5_000_000, 3_000_000, 2_000_000, 1_000_000, 500_000, 0]
        .into_iter()
        .map(|before_us: u64| {
            let sample = outcome.run_up.known_before(before_us, &outcome.settings.machine);
            json!({
                "time_us": trip.get().saturating_sub(before_us),
                "head_rpm": sample.and_then(|sample| sample.head).map(|speed| f64::from(speed.get()) * 60.0 / 1e6),
                "belt_speed_mps": sample.and_then(|sample| sample.belt).map(|speed| f64::from(speed.get()) / 1e6),
                "slip_short_pct": sample.and_then(|sample| sample.slip_short.ppm()).map(percent),
                "slip_short_at_least": sample.map(|sample| sample.slip_short.is_limit()),
                "slip_long_at_least": sample.map(|sample| sample.slip_long.is_limit()),
                "slip_long_pct": sample.and_then(|sample| sample.slip_long.ppm()).map(percent),
            })
        })
        .collect()
}

fn alarms(outcome: &Outcome) -> Vec<Value> {
    Condition::ALL
        .into_iter()
        .zip(&outcome.raised)
        .zip(outcome.alarms)
        .filter(|((_, raised), _)| raised.times > 0)
        .map(|((condition, raised), state)| {
            json!({
                "condition": condition.name(),
                "first_us": raised.first.map(|at| at.get()),
                "times": raised.times,
                "state_at_end": state_name(state),
            })
        })
        .collect()
}
