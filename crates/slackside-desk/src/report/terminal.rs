//! The story on a terminal of eighty columns.

use std::fmt::Write;

use super::because::Because;
use super::sources::Told;
use super::story::{Event, RunUpRow, Story};
use crate::cautions;
use crate::lines::{WIDTH, fill};
use crate::replay::Outcome;

/// Events shown on each side of the first-out; the events file has them all.
pub const EVENTS: usize = 12;

/// Rows of the run-up in the first screen; the others are in the table further down.
const FIRST_ROWS: [&str; 5] = ["10 s before", "5 s before", "2 s before", "1 s before", "trip"];
/// What to check, in the first screen.
const FIRST_CHECKS: usize = 3;
/// Before anything is touched.
const LOCKOUT: &str = "Lock out and tag out the drive before anything is opened; prove it dead by trying to start it.";

/// The story in words, each line at most [`WIDTH`] wide: what matters first within the first 30 lines, the rest after.
#[must_use]
pub fn words(outcome: &Outcome, opening: &[&str]) -> String {
    let story = Story::of(outcome, EVENTS);
    let mut out = String::new();
    first_screen(&mut out, outcome, &story);
    heading(&mut out, "What it means");
    for line in &story.meaning {
        paragraph(&mut out, "  ", &line.words);
    }
    if !opening.is_empty() {
        heading(&mut out, "About this trace");
        for line in opening {
            paragraph(&mut out, "  ", line);
        }
    }
    if !story.run_up.is_empty() {
        heading(&mut out, "The seconds before, in full");
        run_up(&mut out, &story, |_| true);
    }
    events(&mut out, if story.run_up.is_empty() { "What happened" } else { "What came before" }, &story.before);
    events(&mut out, "What came with it and after", &story.after);
    if story.left_out > 0 {
        paragraph(&mut out, "  ", &format!("{} more events: see --events or --report.", story.left_out));
    }
    list(&mut out, "Permits", &story.permits);
    list(&mut out, "What was known", &story.known);
    list(&mut out, "What was not known", &story.unknown);
    if !story.findings.is_empty() {
        heading(&mut out, "What to check, in full");
        for (index, finding) in story.findings.iter().enumerate() {
            item(&mut out, &format!("{}. ", index + 1), &titled(finding));
            item(&mut out, "   ", finding.inspect);
        }
        paragraph(&mut out, "  ", GUESSES);
    }
    heading(&mut out, "Cautions");
    out.push_str(&cautions::as_text(WIDTH));
    // Names come from files: a terminal must not take them as orders.
    out.replace(|letter: char| letter.is_control() && letter != '\n', "?")
}

const GUESSES: &str = "These are guesses from the signals alone. Look before you act.";

/// What stopped the leg and when, the lockout, what to check first, the seconds before.
fn first_screen(out: &mut String, outcome: &Outcome, story: &Story) {
    for warning in &story.warnings {
        paragraph(out, "", &format!("WARNING: {warning}"));
    }
    let leg = &outcome.settings.machine.leg;
    paragraph(out, "", &format!("{leg} on {}", outcome.trace));
    let identity = outcome.settings.identity();
    paragraph(out, "", &format!("Settings: {}, identity {}.", outcome.settings_name, super::identity(identity)));
    out.push('\n');
    paragraph(out, "", &format!("{}: {}", story.importance.word(), story.headline));
    paragraph(out, "", LOCKOUT);
    if !story.findings.is_empty() {
        heading(out, "Check first");
        for (index, finding) in story.findings.iter().take(FIRST_CHECKS).enumerate() {
            item(out, &format!("{}. ", index + 1), &titled(finding));
            item(out, "   ", finding.first);
        }
    }
    if !story.run_up.is_empty() {
        heading(out, "The seconds before");
        run_up(out, story, |row| FIRST_ROWS.contains(&row.before.as_str()));
    }
}

fn titled(finding: &Because) -> String {
    let figure = finding.figure.as_ref().map_or_else(String::new, |figure| format!("; {figure}"));
    format!("{} ({}{figure}).", finding.title, finding.sureness)
}

fn run_up(out: &mut String, story: &Story, shown: impl Fn(&RunUpRow) -> bool) {
    let belt = format!("belt {}", story.belt_unit);
    put(out, format_args!("  {:<14}{:>10}{:>12}{:>16}{:>16}", "", "head rpm", belt, "slip, 1 turn", "slip, 4 turns"));
    let mut unknown = false;
    for row in story.run_up.iter().filter(|row| shown(row)) {
        unknown |= row.has_unknown();
        put(
            out,
            format_args!(
                "  {:<14}{:>10}{:>12}{:>16}{:>16}",
                row.before, row.head, row.belt, row.slip_short, row.slip_long
            ),
        );
    }
    if unknown {
        paragraph(out, "  ", "– is not known.");
    }
}

fn put(out: &mut String, line: std::fmt::Arguments<'_>) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{line}");
}

fn heading(out: &mut String, title: &str) {
    out.push('\n');
    out.push_str(title);
    out.push('\n');
}

fn paragraph(out: &mut String, indent: &str, text: &str) {
    out.push_str(&fill(indent, indent, text));
    out.push('\n');
}

fn item(out: &mut String, mark: &str, text: &str) {
    let first = format!("  {mark}");
    let rest = " ".repeat(first.chars().count());
    out.push_str(&fill(&first, &rest, text));
    out.push('\n');
}

fn list(out: &mut String, title: &str, lines: &[Told]) {
    if lines.is_empty() {
        return;
    }
    heading(out, title);
    for line in lines {
        item(out, "- ", &line.words);
    }
}

fn events(out: &mut String, title: &str, events: &[Event]) {
    if events.is_empty() {
        return;
    }
    heading(out, title);
    let width = events.iter().map(|event| event.time.chars().count()).max().unwrap_or(0);
    for event in events {
        item(out, &format!("{:>width$}  ", event.time), &event.what);
    }
}
