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

/// A head sensor that says nothing: named as such; by its wire where that is supervised.
const HEAD_SILENT: &[Condition] = &[Condition::HeadSilent, Condition::HeadSensorFault];

/// A boot sensor that says nothing cannot be told from a belt that stands: the stop for that, or by its wire where that is supervised.
const BOOT_SILENT: &[Condition] = &[Condition::DeepUnderspeed, Condition::BootSensorFault];

/// A sensor whose wire hums.
const HEAD_FAULT: &[Condition] = &[Condition::HeadSensorFault];
const BOOT_FAULT: &[Condition] = &[Condition::BootSensorFault];

/// A target that is gone, loose, or often missed.
const HEAD_TARGETS: &[Condition] = &[Condition::HeadTargets];
const BOOT_TARGETS: &[Condition] = &[Condition::BootTargets];

/// One target of two, or the only one, gone: half the speed or none, and nothing that could name a target.
const HEAD_HALVED: &[Condition] =
    &[Condition::HeadTargets, Condition::SlipImpossible, Condition::HeadSilent, Condition::HeadUnderspeed];
const BOOT_HALVED: &[Condition] = &[Condition::BootTargets, Condition::DeepUnderspeed];

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

/// What is due for a fault on a shaft with so many targets, or anywhere, beside what the truth calls for; `None`: nothing, and
/// [`no_alarm`] says why.
#[must_use]
pub fn rule(kind: Kind, shaft: End, targets: u8) -> Option<Rule> {
    let rule = |any_of: &'static [Condition], least, within_s| Some(Rule { any_of, least, within_s });
    let of = |head: &'static [Condition], boot: &'static [Condition]| if shaft == End::Head { head } else { boot };
    match kind {
        Kind::SensorCut | Kind::SensorStuckHigh | Kind::SensorStuckLow => rule(of(HEAD_SILENT, BOOT_SILENT), 0.0, 10.0),
        Kind::SensorCutHumming => rule(of(HEAD_FAULT, BOOT_FAULT), 0.0, 10.0),
        // At nine tenths no target is left in reach.
        Kind::SensorOutOfReach => rule(of(HEAD_SILENT, BOOT_SILENT), 0.95, 10.0),
        Kind::SensorDropout | Kind::TargetMissing if targets <= 2 => {
            let least = if kind == Kind::SensorDropout { 0.02 } else { 0.0 };
            rule(of(HEAD_HALVED, BOOT_HALVED), least, 300.0)
        }
        Kind::SensorDropout => rule(of(HEAD_TARGETS, BOOT_TARGETS), 0.02, 300.0),
        Kind::TargetMissing => rule(of(HEAD_TARGETS, BOOT_TARGETS), 0.0, 60.0),
        // A tenth of a pitch.
        Kind::TargetLoose => rule(of(HEAD_TARGETS, BOOT_TARGETS), 0.25, 300.0),
        Kind::ContactStuckRubbing => rule(&[Condition::Mistracking], 0.0, 5.0),
        Kind::ContactCut => rule(&[Condition::ContactFault], 0.0, 5.0),
        Kind::DriveContactChatter => rule(&[Condition::DriveContactFault], 0.1, 60.0),
        Kind::DriveContactCut => rule(&[Condition::DriveContactFault], 0.0, 30.0),
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
    let shaft = fault.shaft.unwrap_or(End::Boot);
    let targets = match shaft {
        End::Head => leg.fitted.head.as_ref().map_or(0, |targets| targets.count),
        End::Boot => leg.fitted.boot.count,
    };
    let Rule { any_of, mut least, within_s } = rule(fault.kind, shaft, targets)?;
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
