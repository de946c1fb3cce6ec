//! Runs inputs through the monitor and keeps what came out.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::{Action, Checked};
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};
use slackside_desk::monitor::{Monitor, monitor};

/// All verdicts on `inputs`, from a monitor without a past.
pub fn verdicts(settings: &Checked, inputs: &[Input]) -> Vec<Verdict> {
    let mut monitor = monitor(settings, &Retained::default());
    observe(&mut monitor, inputs)
}

/// All verdicts on `inputs`, from this monitor.
pub fn observe(monitor: &mut Monitor, inputs: &[Input]) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for input in inputs {
        monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
    }
    verdicts
}

/// Inputs of several sources in one order of time; at equal times in order of the sources.
pub fn merge(sources: &[&[Input]]) -> Vec<Input> {
    let mut merged: Vec<Input> = sources.iter().flat_map(|source| source.iter().copied()).collect();
    merged.sort_by_key(|input| input.at);
    merged
}

/// One signal at a time in seconds after `begin_us`.
pub fn at(begin_us: u64, seconds: f64, signal: Signal) -> Input {
    Input::new(Micros::new(begin_us + (seconds * 1e6).round() as u64), signal)
}

/// When a permit was last dropped, if it is dropped at the end.
pub fn dropped(verdicts: &[Verdict], wanted: Permit) -> Option<Micros> {
    let newest = verdicts.iter().rev().find_map(|verdict| match verdict.change {
        Change::Permit { permit, allowed, .. } if permit == wanted => Some((verdict.at, allowed)),
        _ => None,
    });
    newest.and_then(|(at, allowed)| (!allowed).then_some(at))
}

/// How often a permit was given.
pub fn given(verdicts: &[Verdict], wanted: Permit) -> usize {
    let gives =
        |verdict: &&Verdict| matches!(verdict.change, Change::Permit { permit, allowed: true, .. } if permit == wanted);
    verdicts.iter().filter(gives).count()
}

/// Every condition that became an unacknowledged alarm, with its time.
pub fn raised(verdicts: &[Verdict]) -> Vec<(Micros, Condition)> {
    let alarms = verdicts.iter().filter_map(|verdict| match verdict.change {
        Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => Some((verdict.at, condition)),
        _ => None,
    });
    alarms.collect()
}

/// The conditions raised that stop the leg.
pub fn stops(settings: &Checked, verdicts: &[Verdict]) -> Vec<(Micros, Condition)> {
    let mut raised = raised(verdicts);
    raised.retain(|(_, condition)| settings.limits.of(*condition).action == Action::Stop);
    raised
}
