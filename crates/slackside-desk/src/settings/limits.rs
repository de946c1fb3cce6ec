//! The limits as people write them. All are optional: what is not given is the starting value.

use slackside::conditions::{Condition, Unit as ConditionUnit};
use slackside::settings::{Action, Field, Limit, LimitPart, Limits, Priority, SlipHeatPart, StartsPart};
use slackside::units::{Joules, Ppm, Span};

use super::decimal::{
    CELSIUS, COUNT, JOULES_A_KG_K, KELVIN, KILOGRAMS, KILOJOULES, MILLISECONDS, MINUTES, MS_IN_MS, PERCENT, SECONDS,
    SECONDS_IN_MS, TURNS, Unit,
};
use super::section::{Gathered, Section};

/// The units a condition's setpoint may be given in, the one written first.
pub(super) const fn setpoint_units(condition: Condition) -> &'static [Unit] {
    match condition.unit() {
        ConditionUnit::Ppm => &[PERCENT],
        ConditionUnit::Milliseconds => &[SECONDS_IN_MS, MS_IN_MS],
        ConditionUnit::Microturns => &[TURNS],
        ConditionUnit::DeciCelsius => &[CELSIUS],
        ConditionUnit::Count | ConditionUnit::Flag => &[COUNT],
    }
}

/// The words for actions.
pub(super) const ACTIONS: [(&str, Action); 3] =
    [("alarm", Action::Alarm), ("drop_feed", Action::DropFeed), ("stop", Action::Stop)];
/// The words for priorities.
pub(super) const PRIORITIES: [(&str, Priority); 3] =
    [("low", Priority::Low), ("medium", Priority::Medium), ("high", Priority::High)];

pub(super) fn read(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> Limits {
    let mut limits = Limits::STARTING;
    let mut all = root.section("limits", gathered);
    for condition in Condition::ALL {
        let mut section = all.section(condition.name(), gathered);
        limits.change(condition, |limit| one(&mut section, condition, limit, gathered));
        section.close(gathered);
    }
    all.close(gathered);
    starts(root, &mut limits, gathered);
    slip_heat(root, &mut limits, gathered);
    limits
}

fn one(section: &mut Section<'_, '_>, condition: Condition, limit: &mut Limit, gathered: &mut Gathered) {
    let field = |part| Field::Limit(condition, part);
    let units = setpoint_units(condition);
    let delay = [SECONDS, MILLISECONDS];
    if let Some(enabled) = section.flag("enabled", Some(field(LimitPart::Enabled)), gathered) {
        limit.enabled = enabled;
    }
    if let Some(setpoint) = section.small("setpoint", units, field(LimitPart::Setpoint), gathered) {
        limit.setpoint = setpoint;
    }
    if let Some(deadband) = section.small("deadband", units, field(LimitPart::Deadband), gathered) {
        limit.deadband = deadband;
    }
    if let Some(on_delay) = section.small("on_delay", &delay, field(LimitPart::OnDelay), gathered) {
        limit.on_delay = Span::new(on_delay);
    }
    if let Some(off_delay) = section.small("off_delay", &delay, field(LimitPart::OffDelay), gathered) {
        limit.off_delay = Span::new(off_delay);
    }
    if let Some(latching) = section.flag("latching", Some(field(LimitPart::Latching)), gathered) {
        limit.latching = latching;
    }
    if let Some(priority) = section.word("priority", &PRIORITIES, None, gathered) {
        limit.priority = priority;
    }
    if let Some(action) = section.word("action", &ACTIONS, Some(field(LimitPart::Action)), gathered) {
        limit.action = action;
    }
}

fn starts(root: &mut Section<'_, '_>, limits: &mut Limits, gathered: &mut Gathered) {
    let mut section = root.section("starts", gathered);
    let starts = &mut limits.starts;
    if let Some(standstill) =
        section.small("standstill_below", &[PERCENT], Field::Starts(StartsPart::Standstill), gathered)
    {
        starts.standstill_below = Ppm::new(standstill);
    }
    let mut span = |name, units: &[Unit], field, slot: &mut Span| {
        if let Some(micros) = section.small(name, units, field, gathered) {
            *slot = Span::new(micros);
        }
    };
    span("shortest_coast_down", &[SECONDS], Field::Starts(StartsPart::CoastDown), &mut starts.shortest_coast_down);
    span("window", &[MINUTES, SECONDS], Field::Starts(StartsPart::Window), &mut starts.window);
    span("inching_time", &[MINUTES, SECONDS], Field::Starts(StartsPart::InchingTime), &mut starts.inching_time);
    span("bypass_time", &[MINUTES, SECONDS], Field::Starts(StartsPart::BypassTime), &mut starts.bypass_time);
    section.close(gathered);
}

/// The budget, as heat or as what it stands for: mass × heat capacity × rise.
fn slip_heat(root: &mut Section<'_, '_>, limits: &mut Limits, gathered: &mut Gathered) {
    let mut section = root.section("slip_heat", gathered);
    let budget: Option<u32> = section.small("budget", &[KILOJOULES], Field::SlipHeat(SlipHeatPart::Budget), gathered);
    let mass = section.number("mass", &[KILOGRAMS], None, gathered);
    let capacity = section.number("heat_capacity", &[JOULES_A_KG_K], None, gathered);
    let rise = section.number("rise", &[KELVIN], None, gathered);
    match (budget, mass, capacity, rise) {
        (None, None, None, None) => {}
        (Some(budget), None, None, None) => limits.slip_heat.budget = Joules::new(budget),
        (None, Some(mass), Some(capacity), Some(rise)) => {
            // Grams and millikelvin: a millionth of a joule each.
            let joules = i128::from(mass) * i128::from(capacity) * i128::from(rise);
            match u32::try_from((joules + 500_000) / 1_000_000) {
                Ok(joules) => limits.slip_heat.budget = Joules::new(joules),
                Err(_) => {
                    gathered.tell(section.at(), section.key("mass_kg"), "mass × heat capacity × rise is out of range")
                }
            }
        }
        _ => {
            let text = "give budget_kj, or all of mass_kg, heat_capacity_j_kgk and rise_k";
            gathered.tell(section.at(), section.key("budget_kj"), text);
        }
    }
    if let Some(micros) =
        section.small("time_constant", &[MINUTES, SECONDS], Field::SlipHeat(SlipHeatPart::TimeConstant), gathered)
    {
        limits.slip_heat.time_constant = Span::new(micros);
    }
    section.close(gathered);
}
