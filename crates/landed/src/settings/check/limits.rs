//! Rules about the limits: what may be set how far, and what may not be weakened.

use super::field::{Field, LimitPart};
use super::promptness::{CODE_LOSS, even};
use super::rule::{Mend, Rule, Violation};
use super::{Scope, broken, hold_between};
use crate::judge::Condition;
use crate::settings::{Action, Limit, Settings};
use crate::units::{Ppm, Span};

/// How far a condition's limit may be set.
struct Allowed {
    setpoint: (i32, i32),
    longest_on_delay_ms: u32,
}

const fn allowed(low: i32, high: i32, longest_on_delay_ms: u32) -> Allowed {
    Allowed { setpoint: (low, high), longest_on_delay_ms }
}

/// The range of each setpoint and the longest on-delay: engineering judgement unless a source is named.
const fn range(condition: Condition) -> Allowed {
    match condition {
        // One to three head turns: three is what a single target and one missed edge can ask for.
        Condition::BeltNotFollowing => allowed(1_000_000, 3_000_000, 500),
        // Creep and one uneven turn reach 3 %; the upper end is the code's, checked apart.
        Condition::SlipVeryHigh => allowed(40_000, CODE_LOSS.get(), 3_000),
        Condition::SlipHigh => allowed(15_000, 150_000, 30_000),
        // Half the budget to all of it; heat is its own delay.
        Condition::SlipHeat => allowed(500_000, 1_000_000, 1_000),
        Condition::SlipImpossible => allowed(50_000, 200_000, 5_000),
        Condition::SlipNegative => allowed(10_000, 100_000, 60_000),
        Condition::DeepUnderspeed => allowed(40_000, CODE_LOSS.get(), 3_000),
        // Below 2 % it follows motor load.
        Condition::Underspeed => allowed(20_000, 190_000, 30_000),
        Condition::NoMotion => allowed(500_000, 950_000, 2_000),
        Condition::HeadUnderspeed => allowed(20_000, 300_000, 30_000),
        Condition::StartFailed => allowed(1_000, 120_000, 5_000),
        // The box remembers eight starts, and it takes one more than allowed to be too many.
        Condition::TooManyStarts => allowed(1, 7, 0),
        Condition::Rollback => allowed(1, 1, 1_000),
        Condition::EdgesAtRest => allowed(1, 16, 1_000),
        Condition::Mistracking => allowed(50, 5_000, 5_000),
        Condition::MistrackingDuty => allowed(10_000, 500_000, 60_000),
        Condition::MistrackingSustained => allowed(1_000, 60_000, 60_000),
        // To 115 °C: 75 K below the layer ignition of soy flour (190 °C), the lowest of the dusts listed (from memory: NFPA
        // 499; the 75 K: IEC 60079-14).
        Condition::RubHot => allowed(300, 1_150, 30_000),
        Condition::RatioShifted => allowed(5_000, 100_000, 600_000),
        Condition::OutletPlugged => allowed(1, 1, 30_000),
        // Distrust stops: no waiting for it to go away.
        Condition::HeadSensorFault | Condition::BootSensorFault => allowed(1, 1, 500),
        Condition::HeadSilent | Condition::BothSilent => allowed(1, 1, 500),
        Condition::SlipUnknown => allowed(2_000, 120_000, 5_000),
        Condition::HeadTargets | Condition::BootTargets => allowed(1, 1, 60_000),
        Condition::ContactFault => allowed(1, 1, 10_000),
        Condition::DriveContactFault => allowed(1, 1, 2_000),
        Condition::ReferenceFault => allowed(1, 1, 5_000),
        Condition::TimeBaseFault => allowed(1, 64, 0),
        Condition::SettingsFault | Condition::BypassActive => allowed(1, 1, 0),
        Condition::ResetHeld => allowed(1, 1, 1_000),
        Condition::PermitBypassed => allowed(1, 1, 5_000),
    }
}

/// The conditions that stop the leg whatever anyone sets: between a stopped belt and a fire, or where trust is gone.
const fn must_stop(condition: Condition) -> bool {
    matches!(
        condition,
        Condition::BeltNotFollowing
            | Condition::SlipVeryHigh
            | Condition::SlipHeat
            | Condition::SlipImpossible
            | Condition::DeepUnderspeed
            | Condition::NoMotion
            | Condition::StartFailed
            | Condition::TooManyStarts
            | Condition::Rollback
            | Condition::EdgesAtRest
            | Condition::HeadSensorFault
            | Condition::BootSensorFault
            | Condition::HeadSilent
            | Condition::BothSilent
            | Condition::DriveContactFault
            | Condition::TimeBaseFault
            | Condition::SettingsFault
    )
}

/// The conditions that may be an alarm only, but not nothing, on a leg with these fittings.
fn must_be_enabled(condition: Condition, settings: &Settings) -> bool {
    let machine = &settings.machine;
    let contacts = machine.contacts.iter().any(Option::is_some);
    let both = machine.head_targets.is_some() && machine.boot_targets.is_some();
    match condition {
        Condition::SlipHigh | Condition::SlipUnknown => both,
        // 29 CFR 1910.272(q)(6): the alignment monitor alarms employees.
        Condition::Mistracking | Condition::ContactFault => contacts,
        Condition::RubHot => machine.temperatures.iter().any(|fitted| *fitted),
        Condition::OutletPlugged => machine.outlet_switch,
        Condition::ReferenceFault => machine.speed_reference.is_some(),
        Condition::ResetHeld | Condition::BypassActive => true,
        Condition::PermitBypassed => machine.drive_contact || machine.head_targets.is_some(),
        _ => must_stop(condition),
    }
}

/// Alarms and the stops that stand behind them, in the same unit.
const PAIRS: [(Condition, Condition); 5] = [
    (Condition::SlipHigh, Condition::SlipVeryHigh),
    (Condition::SlipNegative, Condition::SlipImpossible),
    (Condition::Underspeed, Condition::DeepUnderspeed),
    (Condition::DeepUnderspeed, Condition::NoMotion),
    (Condition::Mistracking, Condition::MistrackingSustained),
];

pub(super) fn check(settings: &Settings, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    for condition in Condition::ALL {
        one(settings, condition, tell);
    }
    for (alarm, stop) in PAIRS {
        pair(settings, alarm, stop, tell);
    }
    let stops: &[Condition] = match scope {
        Scope::Leg => &[Condition::SlipVeryHigh, Condition::DeepUnderspeed],
        Scope::Bench => &[],
    };
    for condition in stops.iter().copied() {
        prompt(settings, condition, tell);
    }
    starts_and_heat(settings, tell);
}

fn one(settings: &Settings, condition: Condition, tell: &mut dyn FnMut(Violation)) {
    let limit = settings.limits.of(condition);
    if !limit.enabled {
        if must_be_enabled(condition, settings) {
            broken(Rule::MustBeEnabled, Field::Limit(condition, LimitPart::Enabled), 0, 1, tell);
        }
        return;
    }
    if must_stop(condition) && limit.action != Action::Stop {
        broken(Rule::MustStop, Field::Limit(condition, LimitPart::Action), 0, 1, tell);
    }
    if (must_stop(condition) || limit.action == Action::Stop) && !limit.latching {
        broken(Rule::MustLatch, Field::Limit(condition, LimitPart::Latching), 0, 1, tell);
    }
    numbers(condition, limit, tell);
}

fn numbers(condition: Condition, limit: &Limit, tell: &mut dyn FnMut(Violation)) {
    let field = |part| Field::Limit(condition, part);
    let Allowed { setpoint: (low, high), longest_on_delay_ms } = range(condition);
    let range = (i64::from(low), i64::from(high));
    let setpoint = i64::from(limit.setpoint);
    let beyond_the_code =
        matches!(condition, Condition::DeepUnderspeed | Condition::SlipVeryHigh) && setpoint > range.1;
    let rule = if beyond_the_code { Rule::BeyondTheCode } else { Rule::Range };
    hold_between(rule, field(LimitPart::Setpoint), setpoint, range, tell);

    let deadband = i64::from(limit.deadband);
    if deadband >= setpoint && setpoint > 0 {
        broken(Rule::DeadbandSwallowsSetpoint, Field::Limit(condition, LimitPart::Deadband), deadband, setpoint, tell);
    } else if deadband < 0 {
        broken(Rule::Range, Field::Limit(condition, LimitPart::Deadband), deadband, 0, tell);
    }
    let longest = i64::from(longest_on_delay_ms).saturating_mul(1_000);
    hold_between(Rule::Range, field(LimitPart::OnDelay), i64::from(limit.on_delay.get()), (0, longest), tell);
    // Ten minutes: an alarm held longer than that says nothing of now.
    hold_between(Rule::Range, field(LimitPart::OffDelay), i64::from(limit.off_delay.get()), (0, 600_000_000), tell);
}

fn pair(settings: &Settings, alarm: Condition, stop: Condition, tell: &mut dyn FnMut(Violation)) {
    let (first, second) = (settings.limits.of(alarm), settings.limits.of(stop));
    if !first.enabled || !second.enabled {
        return;
    }
    let gap = i64::from(second.setpoint).saturating_sub(i64::from(first.setpoint));
    if gap <= 0 {
        let (value, bound) = (i64::from(second.setpoint), i64::from(first.setpoint));
        broken(Rule::TripBelowAlarm, Field::Limit(stop, LimitPart::Setpoint), value, bound, tell);
        return;
    }
    // The stop's deadband only: an alarm that clears late holds nothing but itself.
    let deadband = i64::from(second.deadband);
    if deadband > gap {
        broken(Rule::DeadbandBeyondGap, Field::Limit(stop, LimitPart::Deadband), deadband, gap, tell);
    }
    let deadband = i64::from(first.deadband);
    if deadband > gap {
        broken(Rule::DeadbandBeyondGap, Field::Limit(alarm, LimitPart::Deadband), deadband, gap, tell);
    }
}

fn prompt(settings: &Settings, condition: Condition, tell: &mut dyn FnMut(Violation)) {
    let limit = settings.limits.of(condition);
    let Some(found) = settings.promptness(condition) else {
        return;
    };
    // A setpoint beyond the code alone has been told already.
    if !limit.enabled || found.keeps_the_code() || limit.setpoint > CODE_LOSS.get() {
        return;
    }
    tell(Violation {
        rule: Rule::StopsTooLate,
        field: Field::Limit(condition, LimitPart::Setpoint),
        value: i64::from(found.loss.get()),
        bound: i64::from(CODE_LOSS.get()),
        mend: sooner(settings, condition, limit),
    });
}

/// The alarm that stands before a stop.
const fn alarm_before(condition: Condition) -> Condition {
    match condition {
        Condition::SlipVeryHigh => Condition::SlipHigh,
        _ => Condition::Underspeed,
    }
}

/// What would make `condition` stop within the code, each change by itself.
fn sooner(settings: &Settings, condition: Condition, limit: &Limit) -> Mend {
    let Some(boot) = settings.machine.boot_targets else {
        return Mend::KeepTheBound;
    };
    let keeps = |setpoint: i32, on_delay: Span, targets| {
        settings
            .promptness_with(condition, setpoint, on_delay, targets, true)
            .is_some_and(|found| found.keeps_the_code())
    };
    // In steps of half a per cent and 50 ms: both ladders are short.
    let alarm = settings.limits.of(alarm_before(condition));
    let lowest = if alarm.enabled { alarm.setpoint } else { 0 };
    let setpoint = (8..40_i32)
        .rev()
        .map(|half_percents| half_percents.saturating_mul(5_000))
        .find(|setpoint| *setpoint < limit.setpoint && keeps(*setpoint, limit.on_delay, boot))
        .filter(|setpoint| *setpoint > lowest)
        .map(Ppm::new);
    let on_delay = (0..60_u32)
        .rev()
        .map(|steps| Span::from_millis(steps.saturating_mul(50)))
        .find(|delay| *delay < limit.on_delay && keeps(limit.setpoint, *delay, boot));
    let boot_targets =
        (1..=32_u8).find(|count| *count > boot.count && keeps(limit.setpoint, limit.on_delay, even(*count, boot)));
    Mend::StopSooner { setpoint, on_delay, boot_targets }
}

fn starts_and_heat(settings: &Settings, tell: &mut dyn FnMut(Violation)) {
    const SECOND: i64 = 1_000_000;
    const MINUTE: i64 = 60 * SECOND;
    let starts = &settings.limits.starts;
    let heat = &settings.limits.slip_heat;
    let mut range = |field, value: i64, low: i64, high: i64| hold_between(Rule::Range, field, value, (low, high), tell);
    range(Field::Standstill, i64::from(starts.standstill_below.get()), 20_000, 300_000);
    range(Field::CoastDown, i64::from(starts.shortest_coast_down.get()), 0, 2 * MINUTE);
    // 71 minutes is what a span holds.
    range(Field::StartWindow, i64::from(starts.window.get()), MINUTE, 71 * MINUTE);
    range(Field::InchingTime, i64::from(starts.inching_time.get()), SECOND, 10 * MINUTE);
    range(Field::BypassTime, i64::from(starts.bypass_time.get()), SECOND, 60 * MINUTE);
    // 10 kJ warms one kilogram of rubber by 7 K; 50 MJ is a terminal leg's pulley by 50 K.
    range(Field::HeatBudget, i64::from(heat.budget.get()), 10_000, 50_000_000);
    range(Field::HeatTimeConstant, i64::from(heat.time_constant.get()), MINUTE, 71 * MINUTE);
}
