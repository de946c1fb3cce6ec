//! The story on a terminal of eighty columns.

use std::fmt::Write;

use super::story::{Event, RunUpRow, Story};
use crate::cautions;
use crate::replay::Outcome;

/// The columns of a terminal.
pub const WIDTH: usize = 80;
/// Events shown on each side of the first-out; the events file has them all.
pub const EVENTS: usize = 12;

/// The story in words, each line at most [`WIDTH`] wide.
#[must_use]
pub fn words(outcome: &Outcome, opening: &[&str]) -> String {
    let story = Story::of(outcome, EVENTS);
    let mut out = String::new();
    let leg = format!("{} on {}", outcome.settings.machine.leg, outcome.trace);
    paragraph(&mut out, "", &leg);
    paragraph(
        &mut out,
        "",
        &format!("Settings: {}, identity {:08x}.", outcome.settings_name, outcome.settings.plan().identity()),
    );
    for line in opening {
        paragraph(&mut out, "", line);
    }
    out.push('\n');
    paragraph(&mut out, "", &format!("{}: {}", story.importance.word(), story.headline));
    out.push('\n');
    for line in &story.meaning {
        paragraph(&mut out, "", line);
    }
    if !story.run_up.is_empty() {
        heading(&mut out, "The seconds before");
        put(&mut out, format_args!("  {:<14}{:>10}{:>12}{:>16}{:>16}", "", "head", "belt", "slip over", "slip over"));
        put(
            &mut out,
            format_args!("  {:<14}{:>10}{:>12}{:>16}{:>16}", "", "rpm", "m/s", "1 boot turn", "4 boot turns"),
        );
        for row in &story.run_up {
            put(
                &mut out,
                format_args!(
                    "  {:<14}{:>10}{:>12}{:>16}{:>16}",
                    row.before, row.head, row.belt, row.slip_short, row.slip_long
                ),
            );
        }
        if story.run_up.iter().any(RunUpRow::has_unknown) {
            paragraph(&mut out, "  ", "– is not known.");
        }
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
        heading(&mut out, "What to check first");
        for (index, finding) in story.findings.iter().enumerate() {
            let figure = finding.figure.as_ref().map_or_else(String::new, |figure| format!(", {figure}"));
            item(&mut out, &format!("{}. ", index + 1), &format!("{} ({}{figure}).", finding.title, finding.sureness));
            item(&mut out, "   ", finding.inspect);
        }
        paragraph(&mut out, "  ", "These are guesses from the signals alone. Look before you act.");
    }
    heading(&mut out, "Cautions");
    out.push_str(&cautions::as_text(WIDTH));
    // Names come from files: a terminal must not take them as orders.
    out.replace(|letter: char| letter.is_control() && letter != '\n', "?")
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
    let options = textwrap::Options::new(WIDTH).initial_indent(indent).subsequent_indent(indent);
    out.push_str(&textwrap::fill(text, options));
    out.push('\n');
}

fn item(out: &mut String, mark: &str, text: &str) {
    let first = format!("  {mark}");
    let rest = " ".repeat(first.chars().count());
    out.push_str(&textwrap::fill(text, textwrap::Options::new(WIDTH).initial_indent(&first).subsequent_indent(&rest)));
    out.push('\n');
}

fn list(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    heading(out, title);
    for line in lines {
        item(out, "- ", line);
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
