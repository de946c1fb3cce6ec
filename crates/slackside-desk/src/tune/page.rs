//! The report: one file that needs nothing else, for a hazard review, on a screen, a phone or paper.

use std::collections::HashMap;
use std::fmt::Write;

use slackside::conditions::Condition;

use super::choose::{Choice, cost, refusal, undecided};
use super::corpus::Case;
use super::results::{Row, Rows};
use super::score::{Outcome, Stop, Summary};
use super::session::{Found, tuned};
use super::stats::{CONFIDENCE, rate_guidance};
use super::study::{Method, Study};
use crate::cautions::CAUTIONS;
use crate::drawing::{Anchor, Look, Scale, Svg};
use crate::report::Clock;
use crate::report::escape::escape;

const STYLE: &str = include_str!("../report/page/page.css");
const OWN_STYLE: &str = "\
main { display: block; }\n\
svg { width: 100%; height: auto; min-width: 30rem; max-width: 46rem; display: block; }\n\
svg text { fill: var(--soft); font-size: 12px; }\n\
.dot { fill: var(--line); } .front { fill: var(--belt); } .chosen { fill: var(--bad); } .asis { fill: none; stroke: var(--head); stroke-width: 2; }\n\
.due { stroke-dasharray: 4 3; } .axis { stroke: var(--soft); stroke-width: 1; } .frame { fill: none; } .held { fill: var(--head); } .tuned { fill: var(--belt); }\n\
td:first-child, th:first-child { padding-left: 0; } .scroll { overflow-x: auto; } code { overflow-wrap: anywhere; }\n\
.stack { margin-top: .8rem; } .stack td { padding-right: 1rem; } .time { white-space: nowrap; }\n\
@media (max-width: 44rem) {\n\
.stack thead { display: none; } .stack, .stack tbody, .stack tr, .stack th, .stack td { display: block; }\n\
.stack td, .stack th { border: 0; padding: .1rem 0; } .stack th { font-weight: 650; padding-top: .5rem; }\n\
.stack tr { border-bottom: 1px solid var(--line); padding-bottom: .4rem; } .stack td:empty { display: none; }\n\
.stack td::before { content: attr(data-of) \": \"; color: var(--soft); } }\n";

/// Held-out traces alone.
#[must_use]
pub fn held_out(row: &Row) -> Summary {
    Summary::of(row.outcomes.iter().filter(|outcome| outcome.held_out))
}

/// What to say of limits held against the rules for a test bench.
pub const BENCH_ONLY: &str = "Settings of a test bench, held against the rules for one only: no leg may run with them.";

/// So many things, in the plural where there are several: `1 trace`, `2 traces`.
fn counted(number: usize, thing: &str) -> String {
    if number == 1 { format!("1 {thing}") } else { format!("{number} {thing}s") }
}

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
        counted(found.rows.len(), "setting"),
        counted(cases.len(), "trace")
    )
}

/// What to say where no trace is held out.
pub const NONE_HELD_OUT: &str = "No trace is held out, so nothing here proves the choice: a setting always looks better on the traces \
                                 it was chosen on. Raise held_out_pct, or hold out traces by name.";

/// Whether there is no proof.
#[must_use]
pub fn none_held_out(row: &Row) -> bool {
    row.outcomes.iter().all(|outcome| !outcome.held_out)
}

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

/// The figures of one setting as rows of name and value.
#[must_use]
pub fn figures(summary: &Summary) -> Vec<(&'static str, String)> {
    let option =
        |value: Option<f64>, unit: &str| value.map_or_else(|| "–".to_owned(), |value| format!("{value:.1} {unit}"));
    let an_hour = summary.alarm_rate() / 1e3;
    vec![
        ("stops that had to come", summary.failing_words()),
        ("time to stop, from when it was due", spread(summary, |share| summary.after_due_s(share))),
        ("time to stop, from the first sign", spread(summary, |share| summary.time_s(share))),
        ("timed after the feed had dropped", format!("{} of {}", summary.after_feed, summary.times_s.len())),
        (
            "lowest belt speed at a stop",
            option(summary.least_margin_pct.map(|margin| 80.0 + margin), "% of normal (29 CFR 1910.272(q)(5): 80 %)"),
        ),
        ("most slip heat at a stop", option(summary.most_heat_kj, "kJ")),
        ("most slid before a stop", option(summary.most_slid_m, "m")),
        ("nuisance stops", summary.nuisance_words()),
        ("needless feed drops", summary.nuisance_feeds.to_string()),
        ("nuisance alarms", summary.alarm_words()),
        (
            "alarm rate",
            if summary.hours > 0.0 {
                format!("{an_hour:.2} an hour: {}; {} floods", rate_guidance(an_hour), summary.floods)
            } else {
                "no running hours: not known".to_owned()
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
    let (Some(row), Some(present)) = (rows.get(&choice.number), rows.get(&0)) else { return String::new() };
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
    recommendation(&mut out, study, choice, &own, present, row);
    out.push_str("<section>\n<h2>Trade-offs</h2>\n");
    trade_off(&mut out, rows, choice);
    front(&mut out, study, rows, choice);
    out.push_str("</section>\n<section>\n<h2>Times to stop, recommended setting</h2>\n");
    times(&mut out, row);
    out.push_str("</section>\n");
    sensitivity(&mut out, study, choice, &own);
    worst(&mut out, study, cases, row, replays);
    traces(&mut out, cases, row);
    out.push_str("<section>\n<h2>How to read this</h2>\n<ul>\n");
    for line in [
        "A stop is due, in a simulated run, when the modelled belt falls below 80 % of its speed or slip heat reaches the budget; in \
         a recording, at the time its label gives as the latest. Counted from there, a negative time is a stop that came before it \
         was due. A positive one came after, also where the grace of the study still counts it as in time.",
        "The first sign is when the fault begins, however slightly, or where the label says so. Faults that grow take minutes from \
         there to where a stop is due, so the slowest times from the first sign are theirs.",
        "The recorded leg ran on whatever a setting would have done. Scoring ends at the first run permit dropped, since from there \
         the leg would have behaved otherwise.",
        "From the first feed permit dropped on, nuisance is no longer counted and running hours no longer add up; a stop that must \
         come is still timed on the recorded motion, and counted as timed after the feed had dropped.",
        "Held-out traces took no part in the choice. Quote their figures, not those of the traces the setting was tuned on.",
        "None seen does not mean none: the upper bound says how many there may be.",
        "Bounds hold for traces like these. Traces of one leg, or of one simulated family, are not independent samples of all legs.",
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
        let value = choice.levels.get(number).map_or_else(|| now.clone(), |level| knob.text(*level));
        let _ = writeln!(
            out,
            "<tr><th>{}</th><td>{now} {unit}</td><td><strong>{value} {unit}</strong></td></tr>",
            escape(&knob.words()),
            unit = knob.unit()
        );
    }
    out.push_str("</table></div>\n<ol>\n");
    for reason in &choice.reasons {
        let _ = writeln!(out, "<li>{}</li>", escape(reason));
    }
    out.push_str("</ol>\n");
    if none_held_out(row) {
        let _ = writeln!(out, "<p><strong>{NONE_HELD_OUT}</strong></p>");
    }
    out.push_str("<div class=\"scroll\"><table class=\"stack\">\n<thead><tr><th></th><th>recommended, held-out traces</th><th>recommended, tuned on</th><th>as it stands, held-out traces</th></tr></thead>\n");
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
    let points: Vec<(u32, f64, f64)> = rows
        .iter()
        .filter_map(|(number, row)| {
            let summary = tuned(row);
            let time = summary.after_due_s(0.95).filter(|time| time.is_finite())?;
            let nuisance = (summary.nuisance_alarms + summary.nuisance_feeds + summary.nuisance_stops) as f64;
            Some((*number, time, nuisance))
        })
        .collect();
    if points.is_empty() {
        out.push_str("<p>No stop came with any setting: there is nothing to draw.</p>\n");
        return;
    }
    let (mut shortest, mut longest) = (f64::INFINITY, f64::NEG_INFINITY);
    for (_, time, _) in &points {
        (shortest, longest) = (shortest.min(*time), longest.max(*time));
    }
    // Some room at both ends, also where all take the same time.
    let room = (0.05 * (longest - shortest)).max(0.05);
    (shortest, longest) = (shortest - room, longest + room);
    // Marks at whole numbers: the top is four times a square.
    let loudest = points.iter().map(|point| point.2).fold(0.0, f64::max);
    let loudest = 4.0 * ((loudest / 4.0).sqrt().ceil().max(1.0)).powi(2);
    let (width, left, low) = (720.0, 50.0, 320.0);
    let times = Scale { figures: (shortest, longest), places: (left, width - 20.0) };
    // Square root: few and many nuisances on one axis.
    let nuisances = Scale { figures: (0.0, loudest.sqrt()), places: (low, 20.0) };
    let y = |nuisance: f64| nuisances.place(nuisance.sqrt());
    let mut svg = Svg::part(width, 360.0, "time to stop against nuisance");
    svg.path(Look::Class("axis frame"), &format!("M{left} 20V{low}H{}", width - 20.0));
    for part in 0..=4 {
        let time = shortest + (longest - shortest) * f64::from(part) / 4.0;
        let anchor = if part == 4 { Anchor::End } else { Anchor::Middle };
        svg.text((times.place(time), 338.0), anchor, &format!("{time:.2}"));
        let loud = loudest * f64::from(part * part) / 16.0;
        if loud.fract() > 0.0 {
            continue;
        }
        svg.text((left - 6.0, y(loud) + 4.0), Anchor::End, &format!("{loud:.0}"));
    }
    svg.text((width - 20.0, 356.0), Anchor::End, "95 % time to stop from when it was due, s");
    svg.text((4.0, 12.0), Anchor::Start, "nuisance stops, feed drops and alarms");
    // At most a few thousand dots: the front is always drawn, and what matters most is drawn last.
    let every = points.len().div_ceil(2_000).max(1);
    let mut points: Vec<_> = points.iter().enumerate().collect();
    points.sort_by_key(|(_, (number, ..))| (*number == 0, *number == choice.number, choice.front.contains(number)));
    for (index, (number, time, nuisance)) in points {
        let (class, radius) = if *number == 0 {
            ("asis", 9.0)
        } else if *number == choice.number {
            ("chosen", 6.0)
        } else if choice.front.contains(number) {
            ("front", 4.0)
        } else if index % every == 0 {
            ("dot", 2.5)
        } else {
            continue;
        };
        svg.circle(Look::Class(class), (times.place(*time), y(*nuisance)), radius);
    }
    let _ = write!(out, "<div class=\"scroll\">{}</div>\n<p class=\"note\">", svg.finish());
    out.push_str("Red: the recommended setting. Orange ring: as it stands. Teal: best trade-offs. Times are of the stops that came; settings with which none came are not drawn.</p>\n");
}

fn front(out: &mut String, study: &Study, rows: &Rows, choice: &Choice) {
    out.push_str("<div class=\"scroll\"><table>\n<thead><tr><th>setting</th>");
    for knob in &study.knobs {
        let _ = write!(out, "<th>{} {}</th>", escape(&knob.words()), knob.unit());
    }
    out.push_str("<th>missed + late</th><th>nuisance stops</th><th>95 % time from due</th><th>95 % from first sign</th><th>alarms</th></tr></thead>\n");
    for number in choice.front.iter().take(30) {
        let Some(row) = rows.get(number) else { continue };
        let summary = tuned(row);
        let _ = write!(out, "<tr><td>{number}{}</td>", if *number == choice.number { " ←" } else { "" });
        for (index, knob) in study.knobs.iter().enumerate() {
            let value = row.levels.get(index).map_or_else(|| knob.present(&study.base), |level| knob.text(*level));
            let _ = write!(out, "<td>{value}</td>");
        }
        let _ = writeln!(
            out,
            "<td>{} of {}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            summary.missed + summary.late,
            summary.needed,
            summary.nuisance_stops,
            seconds(summary.after_due_s(0.95)),
            seconds(summary.time_s(0.95)),
            summary.nuisance_alarms
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

/// A strip of dots: one a stop, counted from when it was due.
fn times(out: &mut String, row: &Row) {
    let stops: Vec<(f64, bool)> = row
        .outcomes
        .iter()
        .filter(|outcome| matches!(outcome.stop, Stop::InTime | Stop::Late) && outcome.due_us >= 0)
        .map(|outcome| ((outcome.stop_us - outcome.due_us) as f64 / 1e6, outcome.held_out))
        .collect();
    if stops.is_empty() {
        out.push_str("<p>No trace needed a stop, or none came.</p>\n");
        return;
    }
    // Due is always on it, and there is always some width.
    let first = stops.iter().map(|stop| stop.0).fold(-0.5, f64::min);
    let last = stops.iter().map(|stop| stop.0).fold(0.5, f64::max);
    let scale = Scale { figures: (first, last), places: (90.0, 700.0) };
    let mut svg = Svg::part(720.0, 130.0, "times to stop, from when it was due");
    svg.path(Look::Class("axis"), "M90 100H700");
    let due = scale.place(0.0);
    svg.path(Look::Class("axis due"), &format!("M{due:.1} 14V100"));
    svg.text((due, 10.0), Anchor::Middle, "due");
    for (held, level, name) in [(false, 36.0, "tuned on"), (true, 76.0, "held out")] {
        svg.text((4.0, level + 4.0), Anchor::Start, name);
        for (index, (time, _)) in stops.iter().filter(|stop| stop.1 == held).enumerate() {
            let y = level + (index % 5) as f64 * 4.0 - 8.0;
            svg.circle(Look::Class(if held { "held" } else { "tuned" }), (scale.place(*time), y), 3.0);
        }
    }
    for part in 0..=4 {
        let time = first + (last - first) * f64::from(part) / 4.0;
        svg.text((scale.place(time), 118.0), Anchor::Middle, &Clock::difference((time * 10.0).round() / 10.0));
    }
    let _ = writeln!(out, "<div class=\"scroll\">{}</div>", svg.finish());
    out.push_str(
        "<p class=\"note\">From when the stop was due to the run permit dropped, one dot a stop: left of the line it \
         came before it was due.</p>\n",
    );
}

fn sensitivity(out: &mut String, study: &Study, choice: &Choice, own: &Summary) {
    out.push_str("<section>\n<h2>What each neighbour would cost</h2>\n");
    if choice.advice.is_empty() {
        out.push_str("<p>The limits as they stand lie on no ladder of this study.</p>\n</section>\n");
        return;
    }
    out.push_str("<div class=\"scroll\"><table>\n<thead><tr><th>limit</th><th>one step lower</th><th>one step higher</th></tr></thead>\n");
    for (number, knob) in study.knobs.iter().enumerate() {
        let Some(advice) = choice.advice.get(number) else { continue };
        let said = |side: &Option<Result<Summary, String>>| match side {
            None => "end of the range".to_owned(),
            Some(Err(reason)) => format!("not allowed: {}", escape(refusal(knob, reason))),
            Some(Ok(summary)) => cost(own, summary),
        };
        let level = choice.levels[number];
        let value = |level: Option<u16>| {
            level.map_or_else(String::new, |level| format!("{} {}: ", knob.text(level), knob.unit()))
        };
        let _ = writeln!(
            out,
            "<tr><th>{} {} {}</th><td>{}{}</td><td>{}{}</td></tr>",
            escape(&knob.words()),
            knob.text(level),
            knob.unit(),
            value(level.checked_sub(1)),
            said(&advice.lower),
            value((level + 1 < knob.levels()).then_some(level + 1)),
            said(&advice.higher)
        );
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
        .filter(|outcome| matches!(outcome.stop, Stop::Missed | Stop::Late | Stop::Nuisance) || outcome.took_us >= 0)
        .collect();
    let badness = |outcome: &Outcome| match outcome.stop {
        Stop::Missed => (0, 0),
        Stop::Late => (1, outcome.due_us - outcome.stop_us),
        Stop::Nuisance => (2, 0),
        _ => (3, outcome.due_us - outcome.stop_us),
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
            escape(&case.label.wrong),
            outcome.stop.words(),
            outcome.nuisance_alarms
        );
    }
    out.push_str("</table></div>\n</details>\n</section>\n");
}
