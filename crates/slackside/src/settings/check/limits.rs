//! Rules about the limits: what may be set how far, and what may not be weakened. Ranges are those of the list of conditions.

use super::promptness::even;
use super::rule::{Mend, Rule, Violation};
use super::{Scope, broken};
use crate::conditions::{Condition, Must};
use crate::settings::cross::{CODE_LOSS, PAIRS};
use crate::settings::derive::has;
use crate::settings::{Action, Field, Limit, LimitPart, Settings};
use crate::units::{Ppm, Span};

/// Which rule a setpoint out of its range breaks.
pub(super) const fn setpoint_rule(condition: Condition, value: i64) -> Rule {
    match condition {
        Condition::DeepUnderspeed | Condition::SlipVeryHigh if value > CODE_LOSS as i64 => Rule::BeyondTheCode,
        _ => Rule::Range,
    }
}

/// What holds between conditions, and the code's 20 %.
pub(super) fn between(settings: &Settings, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    for (alarm, stop) in PAIRS {
        pair(settings, alarm, stop, tell);
    }
    if scope == Scope::Leg {
        for condition in [Condition::SlipVeryHigh, Condition::DeepUnderspeed] {
            prompt(settings, condition, tell);
        }
    }
}

/// One condition.
pub(super) fn one(settings: &Settings, condition: Condition, tell: &mut dyn FnMut(Violation)) {
    let (limit, entry) = (settings.limits.of(condition), condition.entry());
    let field = |part| Field::Limit(condition, part);
    if !limit.enabled {
        // What stops the leg whatever anyone sets may not be switched off even where it has no sensor yet.
        if entry.must == Must::Stop || (entry.must == Must::Alarm && has(&settings.machine, entry.needs)) {
            broken(Rule::MustBeEnabled, field(LimitPart::Enabled), 0, 1, tell);
        }
        if condition != Condition::Underspeed {
            return;
        }
    }
    if entry.must_stop() && limit.action != Action::Stop {
        broken(Rule::MustStop, field(LimitPart::Action), 0, 1, tell);
    }
    if (entry.must_stop() || limit.action == Action::Stop) && !limit.latching {
        broken(Rule::MustLatch, field(LimitPart::Latching), 0, 1, tell);
    }
    let (deadband, setpoint) = (i64::from(limit.deadband), i64::from(limit.setpoint));
    if deadband >= setpoint && setpoint > 0 {
        broken(Rule::DeadbandSwallowsSetpoint, field(LimitPart::Deadband), deadband, setpoint, tell);
    } else if deadband < 0 {
        broken(Rule::Range, field(LimitPart::Deadband), deadband, 0, tell);
    }
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
    if !limit.enabled || found.keeps_the_code() || limit.setpoint > CODE_LOSS {
        return;
    }
    tell(Violation {
        rule: Rule::StopsTooLate,
        field: Field::Limit(condition, LimitPart::Setpoint),
        value: i64::from(found.loss.get()),
        bound: i64::from(CODE_LOSS),
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
