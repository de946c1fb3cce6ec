//! The part of the sheet about limits: each with its reason, starts, and the slip-heat budget.

use slackside::alarm::AlarmState;
use slackside::conditions::{Condition, Unit};
use slackside::retained::Retained;
use slackside::settings::{Action, Checked, Limit, Limits};

use super::page::Page;
use super::{Figures, heat, trimmed};
use crate::monitor::judge;
use crate::report::Clock;

pub(super) fn write(page: &mut Page, settings: &Checked) {
    page.heading("Limits, each with its reason");
    page.say("Setpoint, on-delay, action. L: latches until reset. *: changed from the starting value.");
    page.gap();
    // Judge itself says what it has no sensor for.
    let judge = judge(settings, &Retained::default());
    for condition in Condition::ALL {
        one(page, condition, settings.limits.of(condition), judge.alarm(condition));
    }
    starts(page, settings);
    slip_heat(page, settings);
}

/// A setpoint in the words of its unit.
fn setpoint(condition: Condition, value: i32) -> String {
    let value = f64::from(value);
    match condition.unit() {
        Unit::Ppm => format!("{} %", trimmed(value / 1e4, 3)),
        Unit::Milliseconds => Clock::span(value / 1e3),
        Unit::Microturns => format!("{} turns", trimmed(value / 1e6, 3)),
        Unit::DeciCelsius => format!("{} C ({:.0} F)", trimmed(value / 10.0, 1), value / 10.0 * 1.8 + 32.0),
        Unit::Count => trimmed(value, 0),
        Unit::Flag if value > 1.0 => format!("{value:.0} times"),
        Unit::Flag => "yes".to_owned(),
    }
}

fn one(page: &mut Page, condition: Condition, limit: &Limit, state: AlarmState) {
    let changed = if limit == Limits::STARTING.of(condition) { " " } else { "*" };
    if !limit.enabled {
        page.line(&format!("{changed}{:<23}switched off", condition.name()));
        return;
    }
    if state == AlarmState::OutOfService {
        page.line(&format!("{changed}{:<23}out of service: its sensor is not fitted", condition.name()));
        return;
    }
    let action = match limit.action {
        Action::Alarm => "alarm",
        Action::DropFeed => "drop feed",
        Action::Stop => "stop",
    };
    let delay = f64::from(limit.on_delay.get()) / 1e6;
    let delay = if delay > 0.0 { format!("for {}", Clock::span(delay)) } else { "at once".to_owned() };
    page.line(&format!(
        "{changed}{:<23}{:<15}{:<16}{action}{}",
        condition.name(),
        setpoint(condition, limit.setpoint),
        delay,
        if limit.latching { ", L" } else { "" },
    ));
    page.note(condition.entry().reason);
}

fn starts(page: &mut Page, settings: &Checked) {
    page.heading("Starts");
    let limits = &settings.limits;
    let length = |span: slackside::units::Span| Clock::span(f64::from(span.get()) / 1e6);
    page.row(
        "Allowed",
        &format!(
            "{} in {}; one more is jogging and stops",
            limits.of(Condition::TooManyStarts).setpoint,
            length(limits.starts.window)
        ),
    );
    page.row(
        "At speed within",
        &format!(
            "{}, or the start has failed",
            setpoint(Condition::StartFailed, limits.of(Condition::StartFailed).setpoint)
        ),
    );
    page.row(
        "Standstill",
        &format!("proven below {} % of normal", trimmed(f64::from(limits.starts.standstill_below.get()) / 1e4, 2)),
    );
    let coast = f64::from(limits.starts.shortest_coast_down.get()) / 1e6;
    page.row("Shortest coast-down", &if coast > 0.0 { Clock::span(coast) } else { "not known: time one".to_owned() });
    page.row(
        "Inching, bypass",
        &format!("at most {} and {}", length(limits.starts.inching_time), length(limits.starts.bypass_time)),
    );
    page.note(
        "Only underspeed waits for the start; slip, slip heat and belt not following act from the first turn. After a slip or \
         choke trip the leg needs a reset here and \"boot cleared\". 29 CFR 1910.272(q)(1) forbids jogging a choked leg.",
    );
}

fn slip_heat(page: &mut Page, settings: &Checked) {
    page.heading("Slip heat");
    let figures = Figures::of(&settings.machine);
    let budget = f64::from(settings.limits.slip_heat.budget.get());
    let tau = f64::from(settings.limits.slip_heat.time_constant.get()) / 1e6;
    page.row("Budget", &format!("{} kJ", trimmed(budget / 1e3, 1)));
    page.note("It stands for mass x heat capacity x rise. Any of these is this budget:");
    for (what, capacity) in
        [("lagging and rubber", 1_400.0), ("rim and lagging together", 900.0), ("bare steel rim", 500.0)]
    {
        let mass = budget / heat::budget_j(1.0, capacity, 40.0);
        page.line(&format!("      {mass:>7.1} kg of {what:<26} x {:>5.1} kJ/(kg K) x 40 K", capacity / 1e3));
    }
    page.row("Time constant", &Clock::span(tau));
    page.row(
        "Power reckoned with",
        &format!(
            "{:.1} kW{}",
            figures.power_w / 1e3,
            if settings.machine.power_meter {
                "; measured where the meter speaks"
            } else {
                " (rated x service factor)"
            }
        ),
    );
    if settings.machine.head_targets.is_none() {
        page.note("Boot alone: slip is not known, so no slip heat is reckoned.");
        return;
    }
    page.line("  from cold, at full power:");
    for slip in [0.01, 0.02, 0.05, 0.10, 0.15, 0.20] {
        let time = heat::time_to_budget_s(budget, figures.power_w, slip, tau).map_or_else(
            || "never stops the leg: the image settles below the budget".to_owned(),
            |seconds| format!("stops the leg after {}", Clock::span(seconds.round())),
        );
        page.line(&format!("      {:>4.0} % slip {time}", slip * 100.0));
    }
    page.note("A belt that stands under a turning head heats one patch: that stops at once, whatever the budget.");
}
