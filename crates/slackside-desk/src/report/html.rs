//! The page: one file that needs nothing else, for a screen, a phone or paper.

use std::fmt::Write;

use super::chart::{close_up, lanes};
use super::escape::escape;
use super::story::{Event, Importance, RunUpRow, Story};
use crate::cautions::CAUTIONS;
use crate::replay::Outcome;

/// Events on the page on each side of the first-out.
const EVENTS: usize = 200;
const STYLE: &str = include_str!("page.css");

/// The page of an outcome; `opening` is what the reader should know first.
#[must_use]
pub fn page(outcome: &Outcome, opening: &[&str]) -> String {
    let story = Story::of(outcome, EVENTS);
    let leg = escape(&outcome.settings.machine.leg);
    let class = match story.importance {
        Importance::Stop => "stop",
        Importance::Alarm | Importance::Incomplete => "warn",
        Importance::Quiet => "quiet",
    };
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{leg}: {}</title>\n<style>\n{STYLE}</style>\n</head>\n\
         <body>\n<header class=\"{class}\">\n<p class=\"leg\">{leg}</p>\n<h1><span>{}</span> {}</h1>\n",
        escape(&story.headline),
        story.importance.word(),
        escape(&story.headline)
    );
    for line in &story.warnings {
        let _ = writeln!(out, "<p><b>Warning: {}</b></p>", escape(line));
    }
    let _ = writeln!(out, "<p><b>{}</b></p>", escape(CAUTIONS[0]));
    for line in &story.meaning {
        let _ = writeln!(out, "<p>{}</p>", escape(line));
    }
    out.push_str("</header>\n<main>\n");
    if !opening.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"opening\">{}</p>",
            opening.iter().map(|line| escape(line)).collect::<Vec<_>>().join(" ")
        );
    }
    out.push_str("<section class=\"wide\">\n<h2>On one time axis</h2>\n");
    out.push_str(&lanes(outcome));
    out.push_str("<p class=\"note\">A grey foot marks where nothing was known. Speeds are the most the shafts can have turned.</p>\n</section>\n");
    run_up(&mut out, &story, &close_up(outcome));
    findings(&mut out, &story);
    list(&mut out, "Permits", &story.permits);
    list(&mut out, "What was known", &story.known);
    list(&mut out, "What was not known", &story.unknown);
    events(&mut out, &story);
    list(&mut out, "Cautions", &CAUTIONS.map(str::to_owned));
    let clock = outcome.clock();
    let _ = write!(
        out,
        "</main>\n<footer>Trace {}, {} to {}. Settings {}, identity {:08x}. Slackside core {}.</footer>\n</body>\n</html>\n",
        escape(&outcome.trace),
        clock.at(outcome.first()),
        clock.at(outcome.last()),
        escape(&outcome.settings_name),
        outcome.settings.plan().identity(),
        env!("CARGO_PKG_VERSION")
    );
    out
}

fn run_up(out: &mut String, story: &Story, drawing: &str) {
    if story.run_up.is_empty() {
        return;
    }
    out.push_str(
        "<section>\n<h2>The seconds before</h2>\n<table class=\"figures\"><thead><tr><th></th><th>head<br>rpm</th>",
    );
    let _ = writeln!(
        out,
        "<th>belt<br>{}</th><th>slip over<br>1 boot turn</th><th>slip over<br>4 boot turns</th></tr></thead><tbody>",
        story.belt_unit
    );
    for row in &story.run_up {
        let _ = writeln!(
            out,
            "<tr><th>{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            escape(&row.before),
            row.head,
            row.belt,
            row.slip_short,
            row.slip_long
        );
    }
    out.push_str("</tbody></table>\n");
    if story.run_up.iter().any(RunUpRow::has_unknown) {
        out.push_str("<p class=\"note\">– is not known.</p>\n");
    }
    out.push_str(drawing);
    out.push_str("</section>\n");
}

fn findings(out: &mut String, story: &Story) {
    if story.findings.is_empty() {
        return;
    }
    out.push_str("<section>\n<h2>What to check first</h2>\n<ol class=\"findings\">\n");
    for finding in &story.findings {
        let figure = finding.figure.as_ref().map_or_else(String::new, |figure| format!(", {}", escape(figure)));
        let _ = writeln!(
            out,
            "<li><b>{}</b> <span class=\"sure\">{}{figure}</span><br>{}</li>",
            escape(&finding.title),
            escape(finding.sureness),
            escape(finding.inspect)
        );
    }
    out.push_str(
        "</ol>\n<p class=\"note\">These are guesses from the signals alone. Look before you act.</p>\n</section>\n",
    );
}

fn list(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(out, "<section>\n<h2>{}</h2>\n<ul>", escape(title));
    for line in lines {
        let _ = writeln!(out, "<li>{}</li>", escape(line));
    }
    out.push_str("</ul>\n</section>\n");
}

fn events(out: &mut String, story: &Story) {
    if story.before.is_empty() && story.after.is_empty() {
        return;
    }
    out.push_str("<section class=\"wide\">\n<h2>Events</h2>\n<table class=\"events\"><tbody>\n");
    let rows = |out: &mut String, events: &[Event]| {
        for event in events {
            let class = if event.bad { " class=\"bad\"" } else { "" };
            let _ = writeln!(out, "<tr{class}><th>{}</th><td>{}</td></tr>", escape(&event.time), escape(&event.what));
        }
    };
    rows(out, &story.before);
    if !story.run_up.is_empty() {
        out.push_str("<tr class=\"split\"><th></th><td>the trip</td></tr>\n");
    }
    rows(out, &story.after);
    out.push_str("</tbody></table>\n");
    if story.left_out > 0 {
        let _ = writeln!(out, "<p class=\"note\">{} more events are in the events file.</p>", story.left_out);
    }
    out.push_str("</section>\n");
}
