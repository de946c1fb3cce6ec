//! One run, judged by the truth.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::verdict::Change;

use super::super::Scenario;
use super::super::due::{ASTRAY_ALARM_US, Call, SLOW_ALARM_US};
use super::super::fault::Kind;
use super::super::guard::Guard;
use super::super::run::{Summary, run};
use super::super::settings::Commissioned;
use super::alarms::{ASTRAY, NAMES_A_SENSOR, SLOW, Wanted, wanted};

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
    /// The leg does what the monitor says.
    pub obey: bool,
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
    let summary = run(scenario, commissioned, seed, how.obey, &mut guard)?;
    Ok(judged(scenario, &summary, &guard, how))
}

/// When faults began, in microseconds: those of the machine, those of sensors and contacts.
fn begun(scenario: &Scenario, how: How) -> [u64; 2] {
    let mut begun = [u64::MAX; 2];
    if how.healthy {
        return begun;
    }
    for fault in scenario.faults.iter().filter(|fault| fault.severity > 0.0) {
        let of = &mut begun[usize::from(fault.kind.is_of_sensors())];
        *of = (*of).min((fault.from_s * 1e6) as u64);
    }
    begun
}

fn judged(scenario: &Scenario, summary: &Summary, guard: &Guard, how: How) -> Scored {
    let end_us = (scenario.duration_s * 1e6) as u64;
    let [machine_us, sensors_us] = begun(scenario, how);
    let stop = guard.dropped.map(|(at, because)| (at.get(), because));
    let call = summary.call;
    let class = match (call, stop) {
        (None, None) => Class::Quiet,
        (Some(_), None) => Class::Missed,
        (Some(call), Some((at, _))) if at >= call.from_us => {
            if at <= call.due_us {
                Class::InTime
            } else {
                Class::Late
            }
        }
        (call, Some((at, _))) => match call {
            _ if at >= sensors_us => Class::FailSafe,
            Some(_) if at >= machine_us => Class::Early,
            _ if at >= machine_us => Class::Uncalled,
            _ => Class::Nuisance,
        },
    };

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

    let mut due: Vec<Wanted> = Vec::new();
    if !how.healthy {
        due.extend(scenario.faults.iter().filter_map(|fault| wanted(fault, &scenario.leg, end_us)));
    }
    let first_us = machine_us.min(sensors_us);
    let by_truth = [
        (summary.astray_us, summary.touched_us, ASTRAY_ALARM_US, ASTRAY, "astray"),
        (summary.slow_us, None, SLOW_ALARM_US, SLOW, "slow"),
    ];
    for (called_us, since_us, within_us, any_of, what) in by_truth {
        let Some(called_us) = called_us else { continue };
        let due_us = called_us + within_us;
        if due_us <= end_us {
            let from_us = since_us.unwrap_or(called_us).min(first_us).min(called_us);
            due.push(Wanted { any_of, from_us, due_us, what });
        }
    }
    let mut missed = Vec::new();
    let mut told_s = Vec::new();
    for wanted in &due {
        let told = alarms
            .iter()
            .find(|(at, condition)| *at >= wanted.from_us && *at <= wanted.due_us && wanted.any_of.contains(condition));
        match told {
            Some((at, _)) => told_s.push((*at as f64 - wanted.from_us as f64) * 1e-6),
            None => missed.push(*wanted),
        }
    }

    let touched_us = summary.touched_us.unwrap_or(u64::MAX);
    let contact_us = scenario
        .faults
        .iter()
        .filter(|fault| matches!(fault.kind, Kind::ContactStuckRubbing | Kind::ContactCut | Kind::ContactBouncing))
        .map(|fault| (fault.from_s * 1e6) as u64)
        .min()
        .unwrap_or(u64::MAX);
    let named =
        how.healthy && scenario.faults.iter().any(|fault| fault.kind == Kind::SensorDropout && fault.severity > 0.001);
    let called_us = call.map_or(u64::MAX, |call| call.from_us);
    let false_alarms = alarms
        .iter()
        .filter(|(at, condition)| {
            let excused = if ASTRAY.contains(condition) {
                *at >= touched_us || *at >= contact_us
            } else {
                *at >= first_us || *at >= called_us || (named && NAMES_A_SENSOR.contains(condition))
            };
            *at <= stopped_us && !excused
        })
        .map(|(_, condition)| *condition)
        .collect();
    Scored {
        class,
        stop,
        feed: guard.feed_dropped.map(|(_, because)| because),
        call,
        told: alarms.iter().copied().find(|(at, _)| *at >= first_us),
        due,
        missed,
        told_s,
        false_alarms,
        raised: guard.raised,
        drive_s: summary.drive_s,
    }
}
