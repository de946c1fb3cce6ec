//! The part of the sheet about targets: what they resolve, how soon a loss is known, and what more of them buy.

use slackside::conditions::Condition;
use slackside::input::Shaft;
use slackside::settings::{Checked, Field, LimitPart, Promptness, Rule, Settings, Spacing, Targets, TargetsPart};
use slackside::units::Ppm;

use super::page::Page;
use super::{Figures, knowing, trimmed};

/// Jitter of one edge, in seconds, that the figures are reckoned with.
const JITTER_S: f64 = 5e-6;
/// So many counted edges a turn bear two lost running.
const ENOUGH_MARKS: f64 = 4.0;
/// The most there is room for; and what an even pitch may be wider by.
const MOST_MARKS: f64 = 64.0;
const EVEN: f64 = 1.02;
/// The speed that the code has as the lowest: 80 % of normal, 29 CFR 1910.272(q)(5).
const CODE_SHARE: f64 = 0.8;

pub(super) fn write(page: &mut Page, settings: &Checked) {
    let machine = &settings.machine;
    let figures = Figures::of(machine);
    page.heading("Targets and what they resolve");
    for (name, targets, rpm) in
        [("Head", machine.head_targets, figures.head_rpm), ("Boot", machine.boot_targets, figures.boot_rpm)]
    {
        match targets {
            Some(targets) => page.row(name, &described(targets, rpm)),
            None => page.row(name, "none"),
        }
    }
    let Some(boot) = machine.boot_targets else {
        return;
    };
    let turn = 60.0 / figures.boot_rpm;
    if machine.head_targets.is_some() {
        let percent = |windows: f64| knowing::slip_from_jitter(JITTER_S, turn * windows) * 100.0;
        page.row(
            "Slip resolution",
            &format!(
                "{:.4} % over one boot turn, {:.4} % over four, from 5 us of edge jitter",
                percent(1.0),
                percent(4.0)
            ),
        );
        page.note(
            "Slip is taken from head angle between boot edges over whole turns, so spacing errors cancel: up to 0.15 % before \
             spacing is learned, 0.01 % after eight steady turns. Counting edges alone would resolve only one edge a turn.",
        );
    } else {
        page.row("Slip resolution", "none: slip needs both shafts");
    }
    let pitch = turn * f64::from(boot.widest_pitch().get()) / 1e6;
    page.row(
        "20 % loss, known by silence",
        &format!(
            "{:.0} ms after the last edge (1/0.8 of the widest pitch)",
            knowing::silence_s(pitch, CODE_SHARE) * 1e3
        ),
    );
    page.row(
        "Belt stopped, known after",
        &format!("{:.0} ms to be below half speed", knowing::silence_s(pitch, 0.5) * 1e3),
    );
    if let Some(warning) = stops_by_a_lost_edge(settings) {
        page.note(&warning);
    }
    promptness(page, settings);
    more_targets(page, settings, boot, turn);
}

fn described(targets: Targets, rpm: f64) -> String {
    let spacing = match targets.spacing {
        Spacing::Even { tolerance } => format!("even within {} %", trimmed(f64::from(tolerance.get()) / 1e4, 2)),
        Spacing::Uneven { closest, widest } => {
            let degrees = |share: Ppm| f64::from(share.get()) * 360.0 / 1e6;
            format!("pitches {:.1} to {:.1} degrees", degrees(closest), degrees(widest))
        }
    };
    let marks = targets.marks();
    let line = if targets.supervised { "supervised" } else { "not supervised" };
    format!(
        "{} targets, {marks} counted edges a turn, {spacing}, {:.2} edges/s, line {line}",
        targets.count,
        rpm / 60.0 * f64::from(marks)
    )
}

fn parts(found: &Promptness) -> String {
    let percent = |ppm: Ppm| f64::from(ppm.get()) / 1e4;
    format!(
        "{:.1} % set + {:.2} % error + ({:.2} s wait + {:.2} s delay) x 5 %/s = {:.1} %",
        percent(found.setpoint),
        percent(found.error),
        f64::from(found.wait.get()) / 1e6,
        f64::from(found.on_delay.get()) / 1e6,
        percent(found.loss),
    )
}

fn promptness(page: &mut Page, settings: &Checked) {
    page.gap();
    page.line("Loss of belt speed when the leg is told to stop; the code allows 20 %:");
    for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
        if let Some(found) = settings.promptness(condition) {
            page.wrapped(&format!("  {:<17}", condition.name()), &" ".repeat(19), &parts(&found));
        }
    }
    page.note(
        "For a belt that loses 5 % of normal speed a second (design ramp, engineering judgement). One that stops at once is \
         caught by silence and by belt_not_following. slip_very_high looks back over one boot turn besides; deep_underspeed alone holds the code.",
    );
}

/// What is to be said where one edge that the boot sensor does not see may stop the leg: its silence is then that of a belt that stuck for
/// as long. Where the late edge comes before the delay of *belt far too slow* is over, the next one tells that nothing happened.
#[must_use]
pub fn stops_by_a_lost_edge(settings: &Checked) -> Option<String> {
    let boot = settings.machine.boot_targets?;
    let figures = Figures::of(&settings.machine);
    let turn = 60.0 / figures.boot_rpm;
    let pitch = turn * f64::from(boot.widest_pitch().get()) / 1e6;
    // Too slow from a little more than a pitch after the edge before it, until the late one: two pitches.
    let deep = settings.limits.of(Condition::DeepUnderspeed);
    let (kept, delay) = (1.0 - f64::from(deep.setpoint) / 1e6, f64::from(deep.on_delay.get()) / 1e6);
    let too_slow = pitch * (2.0 - 1.0 / kept);
    if too_slow < delay {
        return None;
    }
    let (marks, each) = (f64::from(boot.marks()), f64::from(boot.marks()) / f64::from(boot.count));
    // Two lost running are three pitches.
    let by_delay = turn * (3.0 - 1.0 / kept) / delay;
    let enough = f64::max(ENOUGH_MARKS, EVEN * by_delay) / each;
    let mend = if enough.ceil() * each <= MOST_MARKS {
        format!(
            "Fit {:.0} targets or more: then a lost edge is borne, and a sensor that loses many is named.",
            enough.ceil()
        )
    } else {
        "Within this delay no number of targets tells the two apart: lengthen it, or keep the sensor's gap, its bracket and its cable sound."
            .to_owned()
    };
    Some(format!(
        "WARNING: with {} boot {} a lost edge can stop the leg. One edge that the sensor does not see is {:.1} s of silence, as of a belt \
         that sticks for as long; nothing tells them apart. {mend}",
        boot.count,
        if boot.count == 1 { "target" } else { "targets" },
        2.0 * turn / marks,
    ))
}

/// What stands against so many boot targets, in a word.
fn objection(settings: &Settings, count: u8) -> &'static str {
    let mut changed = settings.clone();
    changed.machine.boot_targets = changed.machine.boot_targets.map(|targets| Targets {
        count,
        spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
        ..targets
    });
    let Err(violations) = changed.check() else {
        return "";
    };
    for violation in &violations {
        match (violation.rule, violation.field) {
            (Rule::StopsTooLate, Field::Limit(_, LimitPart::Setpoint)) => return "refused: too late",
            (Rule::HumLooksLikeSpeed, Field::Targets(Shaft::Boot, TargetsPart::Supervised)) => {
                return "refused: mains hum";
            }
            _ => {}
        }
    }
    "refused"
}

fn more_targets(page: &mut Page, settings: &Checked, boot: Targets, turn: f64) {
    page.gap();
    page.line("What other numbers of boot targets would give (even within 2 %, same limits):");
    page.line("  targets  edges/s  20 % known by silence  loss at stop");
    let mut counts = vec![1, 2, 3, 4, 6, 8, 12, 16, 24, 32];
    if !counts.contains(&boot.count) {
        counts.push(boot.count);
        counts.sort_unstable();
    }
    for count in counts {
        let Some(found) = settings.promptness_with_targets(Condition::DeepUnderspeed, count) else { continue };
        let marks = f64::from(Targets { count, ..boot }.marks());
        let widest = if marks > 1.0 { 1.02 / marks } else { 1.0 };
        let here = if count == boot.count { "<- fitted" } else { "" };
        page.line(&format!(
            "  {count:>7}  {:>7.2}  {:>18.0} ms  {:>10.1} %  {}{here}",
            marks / turn,
            knowing::silence_s(turn * widest, CODE_SHARE) * 1e3,
            f64::from(found.loss.get()) / 1e4,
            if count == boot.count { "" } else { objection(settings, count) },
        ));
    }
    let keeps = |count: &u8| {
        let found = settings.promptness_with_targets(Condition::DeepUnderspeed, *count);
        found.is_some_and(|found| found.keeps_the_code())
    };
    page.line(&(1..=64).find(keeps).map_or_else(
        || "The 20 % cannot be kept at this speed with these limits, however many targets.".to_owned(),
        |count| format!("At this speed the 20 % takes at least {count} boot targets, with these limits."),
    ));
}
