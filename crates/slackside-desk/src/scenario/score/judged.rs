//! One run, judged by the truth.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::verdict::Change;

use super::super::Scenario;
use super::super::due::Call;
use super::super::guard::Guard;
use super::super::run::{Obeys, Summary, run};
use super::super::settings::Commissioned;
use super::alarms::Wanted;
use super::calls::Calls;

/// What became of the stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// None called for, none given.
    Quiet,
    /// Called for, given before it was due.
    InTime,
    /// Given before it was called for, with the fault at work that then called for it.
    Early,
    /// Called for, given after it was due.
    Late,
    /// Called for, never given.
    Missed,
    /// Not called for, given while a sensor or a contact was at fault.
    FailSafe,
    /// False: a fault of the machine was at work, and never called for a stop.
    Uncalled,
    /// False: nothing was wrong, or not yet.
    Nuisance,
}

impl Class {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Quiet => "quiet",
            Self::InTime => "in time",
            Self::Early => "early",
            Self::Late => "late",
            Self::Missed => "missed",
            Self::FailSafe => "fail-safe",
            Self::Uncalled => "false, fault at work",
            Self::Nuisance => "false, nothing wrong",
        }
    }
}

/// One run.
#[derive(Clone, Debug)]
pub struct Scored {
    /// What it came to.
    pub class: Class,
    /// What dropped the run permit, and when in microseconds.
    pub stop: Option<(u64, Option<Condition>)>,
    /// What dropped the feed permit first.
    pub feed: Option<Condition>,
    /// The call that counts.
    pub call: Option<Call>,
    /// The first alarm once a fault was at work, and when in microseconds.
    pub told: Option<(u64, Condition)>,
    /// Alarms that were due.
    pub due: Vec<Wanted>,
    /// Those of them that did not come in time.
    pub missed: Vec<Wanted>,
    /// From being called for to the alarm, in s, where one came in time.
    pub told_s: Vec<f64>,
    /// Alarms before the stop that nothing called for.
    pub false_alarms: Vec<Condition>,
    /// Alarms of each condition.
    pub raised: [u32; Condition::COUNT],
    /// Seconds with the motor on.
    pub drive_s: f64,
}

impl Scored {
    /// From when the stop was due to when it came, in s; below zero if it came before. Only of stops that were called for.
    #[must_use]
    pub fn after_due_s(&self) -> Option<f64> {
        self.after(|call| call.due_us)
    }

    /// From when the stop was called for to when it came, in s; below zero if it came before. Only of stops that were called for.
    #[must_use]
    pub fn after_call_s(&self) -> Option<f64> {
        self.after(|call| call.from_us)
    }

    fn after(&self, moment_us: impl Fn(&Call) -> u64) -> Option<f64> {
        if !matches!(self.class, Class::InTime | Class::Early | Class::Late) {
            return None;
        }
        Some((self.stop?.0 as f64 - moment_us(&self.call?) as f64) * 1e-6)
    }
}

/// How to score a run.
#[derive(Clone, Copy, Debug, Default)]
pub struct How {
    /// What motor and feed obey. By default the interlock alone: the monitor looks on, and no feed heaps up in a leg that stands.
    pub obeys: Obeys,
    /// The faults of the scenario are what any healthy leg lives with: they excuse nothing but, with so many dropouts that a
    /// sensor may be named, an alarm that names it.
    pub healthy: bool,
}

/// Run once with the monitor looking on.
///
/// # Errors
/// Never for want of disk: nothing is written.
pub fn score(
    scenario: &Scenario,
    commissioned: &Commissioned,
    settings: &Checked,
    seed: u64,
    how: How,
) -> crate::error::Result<Scored> {
    let mut guard = Guard::new(settings);
    let summary = run(scenario, commissioned, seed, how.obeys, &mut guard)?;
    Ok(judged(scenario, &summary, &guard, how))
}

fn judged(scenario: &Scenario, summary: &Summary, guard: &Guard, how: How) -> Scored {
    let stop = guard.dropped.map(|(at, because)| (at.get(), because));
    let calls = Calls::of(scenario, summary, how.healthy);
    let class = calls.class(stop.map(|(at, _)| at));

    // The first time of each alarm, and all before the stop.
    let stopped_us = stop.map_or(u64::MAX, |(at, _)| at);
    let mut alarms: Vec<(u64, Condition)> = guard
        .verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => Some((verdict.at.get(), condition)),
            _ => None,
        })
        .collect();
    alarms.sort_by_key(|(at, _)| *at);

    let mut missed = Vec::new();
    let mut told_s = Vec::new();
    for wanted in &calls.due {
        let told = alarms
            .iter()
            .find(|(at, condition)| *at >= wanted.from_us && *at <= wanted.due_us && wanted.any_of.contains(condition));
        match told {
            Some((at, _)) => told_s.push((*at as f64 - wanted.from_us as f64) * 1e-6),
            None => missed.push(*wanted),
        }
    }

    let false_alarms = alarms
        .iter()
        .filter(|(at, condition)| *at <= stopped_us && *at < calls.alarm_from_us(*condition))
        .map(|(_, condition)| *condition)
        .collect();
    Scored {
        class,
        stop,
        feed: guard.feed_dropped.map(|(_, because)| because),
        call: calls.call,
        told: alarms.iter().copied().find(|(at, _)| *at >= calls.first_us()),
        due: calls.due,
        missed,
        told_s,
        false_alarms,
        raised: guard.raised,
        drive_s: summary.drive_s,
    }
}
