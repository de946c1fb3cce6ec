//! Which alarm is due for what, and by when.
//!
//! A belt that does not track and a belt that is slow call for theirs by the plant's truth, whatever the fault
//! ([`due`](super::super::due)). Faults of sensors, contacts and geometry have no such truth: for each it is written down here
//! which alarms lead a person to it, from which severity on, and within which time.

use slackside::conditions::Condition;

use super::super::fault::{End, Fault, Kind};
use crate::plant::leg::Leg;

/// Alarms for a belt off its track.
pub const ASTRAY: &[Condition] = &[
    Condition::Mistracking,
    Condition::MistrackingDuty,
    Condition::MistrackingSustained,
    Condition::RubAtOnePlace,
    Condition::RubHot,
];

/// Alarms for a belt that is slow or slips.
pub const SLOW: &[Condition] = &[
    Condition::Underspeed,
    Condition::DeepUnderspeed,
    Condition::HeadUnderspeed,
    Condition::NoMotion,
    Condition::BeltNotFollowing,
    Condition::SlipHigh,
    Condition::SlipVeryHigh,
    Condition::SlipMean,
    Condition::SlipHeat,
    Condition::StartFailed,
];

/// Alarms that name a sensor, or say that nothing comes from it.
const SILENT: &[Condition] = &[
    Condition::HeadSensorFault,
    Condition::BootSensorFault,
    Condition::HeadSilent,
    Condition::BothSilent,
    Condition::HeadTargets,
    Condition::BootTargets,
    Condition::SlipUnknown,
    Condition::SlipImpossible,
    Condition::BeltNotFollowing,
    Condition::NoMotion,
    Condition::DeepUnderspeed,
    Condition::HeadUnderspeed,
];

/// Alarms that name a sensor or its targets.
pub const NAMES_A_SENSOR: &[Condition] =
    &[Condition::HeadTargets, Condition::BootTargets, Condition::HeadSensorFault, Condition::BootSensorFault];

/// Alarms for a ratio that is not the accepted one.
const RATIO: &[Condition] = &[
    Condition::RatioShifted,
    Condition::SlipNegative,
    Condition::RatioOrWiring,
    Condition::SlipImpossible,
    Condition::SlipMean,
    Condition::SlipHigh,
    Condition::SlipVeryHigh,
];

/// An alarm that is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Any of these.
    pub any_of: &'static [Condition],
    /// From when it counts, in microseconds.
    pub from_us: u64,
    /// By when it must have come, in microseconds.
    pub due_us: u64,
    /// What for.
    pub what: &'static str,
}

/// A line of the table.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Any of these.
    pub any_of: &'static [Condition],
    /// The least severity for which one is due.
    pub least: f64,
    /// Within so many seconds of the fault having grown to that.
    pub within_s: f64,
}

/// What is due for a fault beside what the truth calls for; `None`: nothing, and [`no_alarm`] says why.
#[must_use]
pub fn rule(kind: Kind) -> Option<Rule> {
    let rule = |any_of: &'static [Condition], least, within_s| Some(Rule { any_of, least, within_s });
    match kind {
        Kind::SensorCut | Kind::SensorStuckHigh | Kind::SensorStuckLow | Kind::SensorCutHumming => {
            rule(SILENT, 0.0, 10.0)
        }
        // At nine tenths no target is left in reach.
        Kind::SensorOutOfReach => rule(SILENT, 0.95, 10.0),
        Kind::SensorDropout => rule(SILENT, 0.02, 300.0),
        Kind::TargetMissing => rule(SILENT, 0.0, 60.0),
        // A tenth of a pitch.
        Kind::TargetLoose => rule(SILENT, 0.25, 300.0),
        Kind::ContactStuckRubbing => rule(ASTRAY, 0.0, 30.0),
        Kind::ContactCut => rule(&[Condition::ContactFault], 0.0, 5.0),
        Kind::DriveContactChatter => rule(&[Condition::DriveContactFault], 0.1, 60.0),
        Kind::DriveContactCut => {
            rule(&[Condition::DriveContactFault, Condition::EdgesAtRest, Condition::Rollback], 0.0, 30.0)
        }
        // What shifts the ratio by 3 % on the pulley it is on: see `wanted`.
        Kind::LaggingMissing | Kind::HeadBuildup | Kind::BootBuildup => rule(RATIO, 0.0, 300.0),
        _ => None,
    }
}

/// Why no alarm is due for a fault as such.
#[must_use]
pub const fn no_alarm(kind: Kind) -> &'static str {
    match kind {
        Kind::SensorBounce | Kind::SensorNoise | Kind::SensorJitter => "the gates are there to take it",
        Kind::ContactStuckClear => "nothing on the wire tells it; the proof test finds it",
        Kind::ContactBouncing => "the dwell is there to take it",
        Kind::BearingFailing => "nothing fitted measures bearings",
        Kind::HeadOutOfRound | Kind::PeriodicDrag | Kind::Rocking => "a ripple within limits is no fault of the belt",
        _ => "when the belt is slow or astray, or a stop is called for",
    }
}

/// Severity from which a ratio has shifted by 3 %.
fn shifts_from(kind: Kind, leg: &Leg) -> f64 {
    let (radius_mm, most_mm) = match kind {
        Kind::LaggingMissing => (1_000.0 * leg.head_radius(), leg.head.lagging_mm),
        Kind::HeadBuildup => (1_000.0 * leg.head_radius(), 15.0),
        _ => (1_000.0 * leg.boot_radius(), 15.0),
    };
    let share = most_mm / radius_mm;
    if kind == Kind::LaggingMissing {
        // All of it is gone at any severity.
        if share >= 0.03 { 0.0 } else { f64::INFINITY }
    } else {
        0.03 / share
    }
}

/// The alarm due for one fault of a run, if any.
#[must_use]
pub fn wanted(fault: &Fault, leg: &Leg, end_us: u64) -> Option<Wanted> {
    let Rule { any_of, mut least, within_s } = rule(fault.kind)?;
    if matches!(fault.kind, Kind::LaggingMissing | Kind::HeadBuildup | Kind::BootBuildup) {
        least = shifts_from(fault.kind, leg);
    }
    if fault.severity < least.max(1e-9) || (fault.shaft == Some(End::Head) && leg.fitted.head.is_none()) {
        return None;
    }
    let grown_s = fault.from_s + fault.ramp_s * (least / fault.severity).min(1.0);
    // It must be there for as long as it may take to tell.
    let micros = |seconds: f64| (seconds * 1e6) as u64;
    let (from_us, due_us) = (micros(fault.from_s), micros(grown_s + within_s));
    let until_us = fault.until_s.map_or(end_us, micros).min(end_us);
    (due_us <= until_us).then_some(Wanted { any_of, from_us, due_us, what: "fault" })
}
