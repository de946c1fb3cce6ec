//! The report: one file that needs nothing else, for a hazard review, on a screen, a phone or paper.

use std::collections::HashMap;
use std::fmt::Write;

use slackside::conditions::Condition;

use super::answer::{Answer, cannot_trade_off};
use super::choose::{Choice, cost, refusal, undecided};
use super::corpus::Case;
use super::pictures;
use super::results::{Row, Rows};
use super::score::{Outcome, Stop};
use super::session::{Found, held_out, none_held_out, tuned};
use super::stats::{CONFIDENCE, quantile, rate_guidance};
use super::study::{Method, Study};
use super::summary::Summary;
use crate::cautions::CAUTIONS;
use crate::lines::counted;
use crate::report::Clock;
use crate::report::escape::escape;

const STYLE: &str = include_str!("../report/page/page.css");
const OWN_STYLE: &str = "\
main { display: block; }\n\
svg { width: 100%; height: auto; min-width: 30rem; max-width: 46rem; display: block; }\n\
svg text { fill: var(--soft); font-size: 12px; }\n\
.dot { fill: var(--soft); fill-opacity: .35; } .front { fill: var(--l1); } .chosen { fill: var(--bad); } .asis { fill: none; stroke: var(--l0); stroke-width: 2.5; }\n\
.edge { fill: none; stroke: var(--l1); stroke-width: 1.5; } .grid { stroke: var(--line); stroke-width: 1; } .answer p { max-width: 46rem; } .answer p:first-of-type { font-size: 1.15rem; font-weight: 650; }\n\
.due { stroke-dasharray: 4 3; } .axis { stroke: var(--soft); stroke-width: 1; } .frame { fill: none; } .held { fill: var(--l2); } .tuned { fill: var(--l1); }\n\
td:first-child, th:first-child { padding-left: 0; } .scroll { overflow-x: auto; } code { overflow-wrap: anywhere; }\n\
.stack { margin-top: .8rem; } .stack td { padding-right: 1rem; } .time { white-space: nowrap; }\n\
@media (max-width: 44rem) {\n\
.stack thead { display: none; } .stack, .stack tbody, .stack tr, .stack th, .stack td { display: block; }\n\
.stack td, .stack th { border: 0; padding: .1rem 0; } .stack th { font-weight: 650; padding-top: .5rem; }\n\
.stack tr { border-bottom: 1px solid var(--line); padding-bottom: .4rem; } .stack td:empty { display: none; }\n\
.stack td::before { content: attr(data-of) \": \"; color: var(--soft); } }\n";

/// What to say of limits held against the rules for a test bench.
pub const BENCH_ONLY: &str = "Settings of a test bench, held against the rules for one only: no leg may run with them.";

/// How much was judged, in a sentence. `how`: how the settings were picked.
#[must_use]
pub fn judged(found: &Found, cases: &[Case], how: &str) -> String {
    let held = cases.iter().filter(|case| case.held_out).count();
    let refused = match found.refused.0 {
        0 => String::new(),
        1 => "; 1 more was refused, since it breaks a rule together".to_owned(),
        more => format!("; {more} more were refused, since they break a rule together"),
    };
    let held = match held {
        0 => "none of them".to_owned(),
        held => format!("{held} of them"),
    };
    format!(
        "{}{how} on {}, {held} held out{refused}.",
        counted(found.rows.len() as u64, "setting", "settings"),
        counted(cases.len() as u64, "trace", "traces")
    )
}

/// What to say where no trace is held out.
pub const NONE_HELD_OUT: &str = "No family is held out, so nothing here proves the choice: a setting always looks better on the traces \
                                 it was chosen on. Raise held_out_pct, add traces of other families or legs, or hold some out by name.";

fn seconds(time: Option<f64>) -> String {
    time.map_or_else(|| "–".to_owned(), Clock::length_of_seconds)
}

/// A time in microseconds, of which less than none is none.
fn micros(time: i64) -> String {
    u64::try_from(time).map_or_else(|_| "–".to_owned(), Clock::length)
}

fn spread(summary: &Summary, at: impl Fn(f64) -> Option<f64>) -> String {
    let never = if summary.missed > 0 { format!("; {} never came", summary.missed) } else { String::new() };
    if at(0.5).is_none() {
        return format!("–{never}");
    }
    format!("median {}, 95 % {}, worst {}{never}", seconds(at(0.5)), seconds(at(0.95)), seconds(at(1.0)))
}

/// The median and the worst of sorted figures; `low`: the lowest is the worst.
fn middle_and_worst(sorted: &[f64], low: bool, unit: &str) -> String {
    let worst = if low { sorted.first() } else { sorted.last() };
    match (quantile(sorted, 0.5), worst) {
        (Some(middle), Some(worst)) => format!("median {middle:.1}, worst {worst:.1} {unit}"),
        _ => "–".to_owned(),
    }
}

/// The figures of one setting as rows of name and value.
#[must_use]
pub fn figures(summary: &Summary) -> Vec<(&'static str, String)> {
    let stops = summary.times_s.len() as u64;
    let told = match summary.by_truth {
        _ if stops == 0 => "–".to_owned(),
        truth if truth == stops => "the plant's truth, at each stop".to_owned(),
        0 => "the monitor's own reckoning: the recordings have no truth beside them".to_owned(),
        truth => format!("the plant's truth at {truth} stops, the monitor's own reckoning at {}", stops - truth),
    };
    let an_hour = summary.alarms_an_hour();
    vec![
        ("stops that had to come", summary.failing_words()),
        ("time to stop, from when it was due", spread(summary, |share| summary.after_due_s(share))),
        ("time to stop, from the first sign", spread(summary, |share| summary.time_s(share))),
        ("timed after the feed had dropped", format!("{} of {stops}", summary.after_feed)),
        (
            "belt speed at a stop, running",
            middle_and_worst(&summary.belt_pct, true, "% of normal (29 CFR 1910.272(q)(5): 80 %)"),
        ),
        ("belt speed at a stop, starting", middle_and_worst(&summary.start_belt_pct, true, "% of normal")),
        ("slip heat at a stop", middle_and_worst(&summary.heat_kj, false, "kJ")),
        ("slid before a stop", middle_and_worst(&summary.slid_m, false, "m")),
        ("speed, heat and slid length are", told),
        ("nuisance stops, nothing wrong", summary.nuisance_words()),
        ("stops at a fault that called for none", summary.uncalled_words()),
        ("needless feed drops", summary.nuisance_feeds.to_string()),
        ("nuisance alarms", summary.alarm_words()),
        (
            "alarm rate",
            if summary.hours > 0.0 {
                format!("{an_hour:.2} an hour: {}; {} floods", rate_guidance(an_hour), summary.floods)
            } else {
                "no healthy hours: not known".to_owned()
            },
        ),
        (
            "alarms that should have come",
            if summary.alarms_due > 0 {
                format!("{} of {} did not", summary.alarms_missed, summary.alarms_due)
            } else {
                "no trace called for one".to_owned()
            },
        ),
    ]
}

/// What the page says of seeing its cases again.
#[derive(Clone, Debug, Default)]
pub struct Replays {
    /// Pages with a replay, by the number of the trace, as links from the report.
    pub links: HashMap<u32, String>,
    /// The file with the chosen settings, if one is written.
    pub chosen: Option<String>,
}

/// The page.
#[must_use]
pub fn page(study: &Study, cases: &[Case], found: &Found, choice: &Choice, replays: &Replays) -> String {
    let rows = &found.rows;
    let Some(present) = rows.get(&0) else { return String::new() };
    let row = &choice.row;
    let own = tuned(row);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{name}</title>\n<style>\n{STYLE}{OWN_STYLE}</style>\n</head>\n\
         <body>\n<header>\n<p class=\"leg\">{leg}</p>\n<h1><span>Tuning study</span> {name}</h1>\n",
        name = escape(&study.name),
        leg = escape(&study.base.machine.leg),
    );
    let method = match study.search.method {
        Method::Grid => "every combination of a grid",
        Method::LatinHypercube => "a Latin hypercube",
        Method::Evolution => "bred by evolution (NSGA-II)",
    };
    let _ = writeln!(
        out,
        "<p>{}{} Bounds are exact, {:.0} %.</p>\n<p class=\"note\">Study {}, identity {:016x}; leg and limits as they stand from \
         {}; slackside {}.</p>{}\n</header>\n<main>",
        judged(found, cases, &format!(", {method},")),
        found.refused.1.as_ref().map_or_else(String::new, |reason| format!(" The first refused: {}.", escape(reason))),
        CONFIDENCE * 100.0,
        escape(&study.path.display().to_string()),
        study.fingerprint,
        escape(&study.base_name),
        env!("CARGO_PKG_VERSION"),
        if study.bench { format!("\n<p><strong>{BENCH_ONLY}</strong></p>") } else { String::new() },
    );
    out.push_str("<section class=\"answer\">\n<h2>The answer</h2>\n");
    for line in Answer::of(study, rows, choice).lines() {
        let _ = writeln!(out, "<p>{}</p>", escape(line));
    }
    out.push_str("</section>\n");
    recommendation(&mut out, study, choice, &own, present, row);
    out.push_str("<section>\n<h2>What quickness costs</h2>\n");
    trade_off(&mut out, rows, choice);
    front(&mut out, study, rows, choice);
    out.push_str("</section>\n<section>\n<h2>When each stop came, recommended setting</h2>\n");
    times(&mut out, cases, choice);
    out.push_str("</section>\n");
    families(&mut out, cases, row);
    sensitivity(&mut out, study, choice, &own);
    worst(&mut out, study, cases, row, replays);
    traces(&mut out, cases, row);
    out.push_str("<section>\n<h2>How to read this</h2>\n<ul>\n");
    for line in [
        "A stop is due, in a simulated run, as the page of scores has it: by the plant's truth, once whoever sees the boot's edges \
         alone can know, which depends on no limit; in a recording, at the time its label gives as the latest. Counted from there, \
         a negative time is a stop that came before it was due.",
        "The first sign is when the fault begins, however slightly, or where the label says so. Faults that grow take minutes from \
         there to where a stop is due, so the slowest times from the first sign are theirs.",
        "The recorded leg ran on whatever a setting would have done. Scoring ends at the first run permit dropped, since from there \
         the leg would have behaved otherwise.",
        "From the first feed permit dropped on, nuisance is no longer counted and running hours no longer add up; a stop that must \
         come is still timed on the recorded motion, and counted as timed after the feed had dropped.",
        "The recording of a leg that obeyed its monitor ends, for scoring, at its first permit dropped or its drive switched off: of \
         a slower setting it is not known what would have come.",
        "Held-out traces are of other families or other legs and took no part in the choice. Quote their figures, not those of the \
         traces the setting was tuned on.",
        "Hours are healthy running that was judged: not what came after a stop, a feed drop, the first sign of a fault, or in a \
         stretch where anything is excused.",
        "None seen does not mean none: the upper bound says how many there may be.",
        "Runs of one family on one leg are the same upset again, so bounds of all traces together count families, of which one that \
         fails in any run fails. Bounds of one family hold for that upset on that leg alone.",
        "Alarm-rate guidance (IEC 62682, ISA-18.2) is for one operator's whole console, of which this leg is a small part.",
    ] {
        let _ = writeln!(out, "<li>{line}</li>");
    }
    for line in CAUTIONS {
        let _ = writeln!(out, "<li>{}</li>", escape(line));
    }
    out.push_str("</ul>\n</section>\n</main>\n</body>\n</html>\n");
    out
}

fn recommendation(out: &mut String, study: &Study, choice: &Choice, own: &Summary, present: &Row, row: &Row) {
    out.push_str("<section>\n<h2>Recommended</h2>\n<div class=\"scroll\"><table>\n<thead><tr><th>limit</th><th>as it stands</th><th>recommended</th></tr></thead>\n");
    for (number, knob) in study.knobs.iter().enumerate() {
        let now = knob.present(&study.base);
        let value = if choice.moved.contains(&number) {
            let value = knob.text_at(&study.base, choice.levels[number]);
            let loosens = if choice.loosened.contains(&number) { ", loosens a stop" } else { "" };
            format!("<strong>{value} {}</strong>{loosens}", knob.unit())
        } else {
            "as it stands".to_owned()
        };
        let (words, unit) = (escape(&knob.words()), knob.unit());
        let _ = writeln!(out, "<tr><th>{words}</th><td>{now} {unit}</td><td>{value}</td></tr>");
    }
    out.push_str("</table></div>\n<ol>\n");
    for reason in &choice.reasons {
        let _ = writeln!(out, "<li>{}</li>", escape(reason));
    }
    out.push_str("</ol>\n");
    if none_held_out(row) {
        let _ = writeln!(out, "<p><strong>{NONE_HELD_OUT}</strong></p>");
    }
    out.push_str("<div class=\"scroll\"><table class=\"stack\">\n<thead><tr><th></th><th>recommended, held-out families</th><th>recommended, tuned on</th><th>as it stands, held-out families</th></tr></thead>\n");
    let columns = [figures(&held_out(row)), figures(own), figures(&held_out(present))];
    for (line, (name, value)) in columns[0].iter().enumerate() {
        let _ = writeln!(
            out,
            "<tr><th>{name}</th><td data-of=\"recommended, held out\">{}</td><td data-of=\"recommended, tuned on\">{}</td>\
             <td data-of=\"as it stands, held out\">{}</td></tr>",
            escape(value),
            escape(&columns[1][line].1),
            escape(&columns[2][line].1)
        );
    }
    out.push_str("</table></div>\n</section>\n");
}

/// Nuisance against quickness, one dot a setting.
fn trade_off(out: &mut String, rows: &Rows, choice: &Choice) {
    if let Some(words) = cannot_trade_off(rows) {
        let _ = writeln!(out, "<p><strong>Cannot trade off.</strong> Not known: {}.</p>", escape(&words));
    }
    match pictures::trade_off(rows, choice) {
        None => out.push_str("<p>With no setting did every stop come in time: there is nothing to draw.</p>\n"),
        Some(svg) => {
            let _ = writeln!(
                out,
                "<div class=\"scroll\">{svg}</div>\n<p class=\"note\">A dot is a setting with which every stop came in time. The line joins \
                 those that no other beats in both: left is quicker, down is quieter. Dot filled red: recommended; ring: as it stands.</p>"
            );
        }
    }
}

fn front(out: &mut String, study: &Study, rows: &Rows, choice: &Choice) {
    out.push_str("<div class=\"scroll\"><table>\n<thead><tr><th>setting</th>");
    for knob in &study.knobs {
        let _ = write!(out, "<th>{} {}</th>", escape(&knob.words()), knob.unit());
    }
    out.push_str("<th>missed + late</th><th>false stops</th><th>not known</th><th>beyond 20 %, mean</th><th>95 % time from due</th><th>alarms</th></tr></thead>\n");
    for number in choice.front.iter().take(30) {
        let Some(row) = rows.get(number) else { continue };
        let summary = tuned(row);
        let arrow = if *number == choice.from { " ←" } else { "" };
        let _ = write!(out, "<tr><td>{number}{arrow}</td>");
        for (index, knob) in study.knobs.iter().enumerate() {
            let value = row.levels.get(index).map_or_else(|| knob.present(&study.base), |level| knob.text(*level));
            let _ = write!(out, "<td>{value}</td>");
        }
        let _ = writeln!(
            out,
            "<td>{} of {}</td><td>{}</td><td>{}</td><td>{:.1} %</td><td>{}</td><td>{}</td></tr>",
            summary.missed + summary.late,
            summary.needed,
            summary.false_stops(),
            summary.untold(),
            summary.shortfall_pct(),
            seconds(summary.after_due_s(0.95)),
            summary.annoyances()
        );
    }
    out.push_str("</table></div>\n");
    if choice.front.len() > 30 {
        let _ = writeln!(
            out,
            "<p class=\"note\">The first 30 of {} trade-offs; all are in the results file.</p>",
            choice.front.len()
        );
    }
}

/// When each stop came, by family.
fn times(out: &mut String, cases: &[Case], choice: &Choice) {
    match pictures::times(cases, choice) {
        None => out.push_str("<p>No trace needed a stop, or none came.</p>\n"),
        Some(svg) => {
            let _ = writeln!(
                out,
                "<div class=\"scroll\">{svg}</div>\n<p class=\"note\">One dot a stop, from when it was due to the run permit dropped; left of \
                 the broken line it came before it was due. Seconds near the line are drawn wider than minutes far from it.</p>"
            );
        }
    }
}

/// What each family tells, with the bounds of that family alone.
fn families(out: &mut String, cases: &[Case], row: &Row) {
    let sum = Summary::of(&row.outcomes);
    out.push_str("<section>\n<h2>By family and leg</h2>\n<div class=\"scroll\"><table class=\"stack\">\n<thead><tr><th>family</th><th>leg</th><th>traces</th><th>failed stops</th><th>slowest from due</th><th>nuisance stops</th><th>not called for</th><th>alarms</th></tr></thead>\n");
    for (number, group) in &sum.groups {
        let Some(case) = cases.iter().find(|case| case.group == *number) else { continue };
        let slowest = group.slowest_s.map_or_else(|| "–".to_owned(), Clock::difference);
        let _ = writeln!(
            out,
            "<tr><th>{}{}</th><td data-of=\"leg\">{}</td><td data-of=\"traces\">{}</td><td data-of=\"failed stops\">{}</td>\
             <td class=\"time\" data-of=\"slowest from due\">{slowest}</td><td data-of=\"nuisance stops\">{}</td>\
             <td data-of=\"not called for\">{}</td><td data-of=\"alarms\">{}</td></tr>",
            escape(&case.family),
            if case.held_out { " (held out)" } else { "" },
            escape(&case.leg),
            group.traces,
            group.failing_words(),
            group.nuisance_words(),
            group.uncalled,
            group.alarms
        );
    }
    out.push_str("</table></div>\n<p class=\"note\">Bounds are exact, 95 %: Clopper and Pearson of stops, Garwood's of events in hours.</p>\n</section>\n");
}

fn sensitivity(out: &mut String, study: &Study, choice: &Choice, own: &Summary) {
    out.push_str("<section>\n<h2>What each neighbour would cost</h2>\n");
    out.push_str("<div class=\"scroll\"><table>\n<thead><tr><th>limit</th><th>one step lower</th><th>one step higher</th></tr></thead>\n");
    for (number, knob) in study.knobs.iter().enumerate() {
        let Some(advice) = choice.advice.get(number) else { continue };
        let said = |side: &Option<(u16, Result<Summary, String>)>| match side {
            None => "end of the range".to_owned(),
            Some((level, found)) => {
                let found = match found {
                    Err(reason) => format!("not allowed: {}", escape(refusal(knob, reason))),
                    Ok(summary) => cost(own, summary),
                };
                format!("{} {}: {found}", knob.text(*level), knob.unit())
            }
        };
        let (words, value) = (escape(&knob.words()), knob.text_at(&study.base, choice.levels[number]));
        let (lower, higher) = (said(&advice.lower), said(&advice.higher));
        let _ = writeln!(out, "<tr><th>{words} {value} {}</th><td>{lower}</td><td>{higher}</td></tr>", knob.unit());
    }
    out.push_str("</table></div>\n<h2>Where the data do not decide</h2>\n<ul>\n");
    let open: Vec<String> = (0..study.knobs.len()).filter_map(|knob| undecided(study, choice, knob)).collect();
    for line in &open {
        let _ = writeln!(out, "<li>{}</li>", escape(line));
    }
    if open.is_empty() {
        out.push_str("<li>One step of any limit, either way, changes something that is weighed.</li>\n");
    }
    out.push_str("</ul>\n</section>\n");
}

fn stopped_by(outcome: &Outcome) -> &'static str {
    usize::try_from(outcome.first_out)
        .ok()
        .and_then(|index| Condition::ALL.get(index))
        .map_or("", |condition| condition.name())
}

/// The worst first: missed, late, nuisance, then the stops that came longest after they were due.
#[must_use]
pub fn worst_of(row: &Row) -> Vec<&Outcome> {
    let mut bad: Vec<&Outcome> = row
        .outcomes
        .iter()
        .filter(|outcome| {
            matches!(outcome.stop, Stop::Missed | Stop::Late | Stop::Nuisance | Stop::Uncalled) || outcome.took_us >= 0
        })
        .collect();
    let badness = |outcome: &Outcome| match outcome.stop {
        Stop::Missed => (0, 0),
        Stop::Late => (1, outcome.due_us - outcome.stop_us),
        Stop::Nuisance => (2, 0),
        Stop::Uncalled => (3, 0),
        _ => (4, outcome.due_us - outcome.stop_us),
    };
    bad.sort_by_key(|outcome| badness(outcome));
    bad.truncate(12);
    bad
}

fn worst(out: &mut String, study: &Study, cases: &[Case], row: &Row, replays: &Replays) {
    let bad = worst_of(row);
    if bad.is_empty() {
        out.push_str("<section>\n<h2>Worst cases</h2>\n<p>No stop had to come, and none came.</p>\n</section>\n");
        return;
    }
    let chosen = replays.chosen.as_deref().unwrap_or("CHOSEN.toml");
    out.push_str("<section>\n<h2>Worst cases</h2>\n<div class=\"scroll\"><table class=\"stack\">\n<thead><tr><th>trace</th><th>stop</th><th>from due</th><th>from first sign</th><th>stopped by</th><th>see it again</th></tr></thead>\n");
    for outcome in bad {
        let Some(case) = cases.get(outcome.case as usize) else { continue };
        let took = micros(outcome.took_us);
        let after = if outcome.due_us >= 0 && outcome.took_us >= 0 {
            Clock::difference((outcome.stop_us - outcome.due_us) as f64 / 1e6)
        } else {
            "–".to_owned()
        };
        let _ = writeln!(
            out,
            "<tr><th>{}{}</th><td data-of=\"stop\">{}</td><td class=\"time\" data-of=\"from due\">{after}</td>\
             <td class=\"time\" data-of=\"from first sign\">{took}</td><td data-of=\"stopped by\">{}</td>\
             <td data-of=\"see it again\">{}<code>{}</code></td></tr>",
            escape(&case.name),
            if outcome.held_out { " (held out)" } else { "" },
            outcome.stop.words(),
            stopped_by(outcome).replace('_', " "),
            replays
                .links
                .get(&outcome.case)
                .map_or_else(String::new, |link| format!("<a href=\"{}\">replay</a> or ", escape(link))),
            escape(&case.source.commands(chosen, study.bench))
        );
    }
    out.push_str("</table></div>\n</section>\n");
}

fn traces(out: &mut String, cases: &[Case], row: &Row) {
    let _ = writeln!(
        out,
        "<section>\n<details><summary>Every trace ({})</summary>\n<div class=\"scroll\"><table>\n<thead><tr><th>trace</th><th>wrong</th><th>stop</th><th>at</th><th>nuisance alarms</th></tr></thead>",
        cases.len()
    );
    for outcome in &row.outcomes {
        let Some(case) = cases.get(outcome.case as usize) else { continue };
        let at = micros(outcome.stop_us);
        let _ = writeln!(
            out,
            "<tr><th>{}{}</th><td>{}</td><td>{}</td><td>{at}</td><td>{}</td></tr>",
            escape(&case.name),
            if case.held_out { " (held out)" } else { "" },
            escape(&case.expected.wrong),
            outcome.stop.words(),
            outcome.nuisance_alarms
        );
    }
    out.push_str("</table></div>\n</details>\n</section>\n");
}
