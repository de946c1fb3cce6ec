//! The page: one file that needs nothing else, for a screen, a phone or paper. Without script it is whole; with script the drawing can be
//! taken apart.

use std::fmt::Write;

use slackside::conditions::Condition;
use slackside::settings::{Field, LimitPart, Quantity};

use super::belt::belt;
use super::chart::lanes;
use super::embed;
use super::escape::escape;
use super::identity;
use super::sources::{Notes, Place, Sources, Told, row_name};
use super::story::{Event, Importance, RunUpRow, Story};
use crate::cautions::CAUTIONS;
use crate::replay::{Columns, Outcome};

/// Events on the page on each side of the first-out.
const EVENTS: usize = 200;
/// Of these, so many on each side are printed.
const PRINTED: usize = 7;
/// What can be checked first, on the first screen.
const FIRST: usize = 3;
/// The picture on the first screen shows at most and at least so much on each side of the trip.
const CLOSE_US: (u64, u64) = (20_000_000, 5_000_000);

const STYLE: &str = include_str!("page/page.css");

/// The page may ask for nothing, from nowhere.
const ALONE: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline' 'wasm-unsafe-eval'";
/// The sign for a general warning of ISO 7010, W001: a triangle with an exclamation mark.
const WARNING_SIGN: &str = "<svg class=\"sign\" viewBox=\"0 0 24 22\" aria-hidden=\"true\"><path class=\"sign-edge\" \
    d=\"M12 1.5 23 20.5H1Z\"/><path class=\"sign-mark\" d=\"M12 8v6.2M12 16.6v1.6\"/></svg>";

/// The page of an outcome; `opening` is what the reader should know first.
#[must_use]
pub fn page(outcome: &Outcome, opening: &[&str]) -> String {
    let story = Story::of(outcome, EVENTS);
    let columns = Columns::of(outcome);
    let (mut out, mut notes) = (String::new(), Notes::default());
    begin(&mut out, &format!("{}: {}", outcome.settings.machine.leg, story.headline));
    let _ = writeln!(out, "<header class=\"{}\">", class(&story));
    cause(&mut out, &mut notes, outcome, &story, "h1");
    lockout(&mut out);
    out.push_str("</header>\n<main>\n");
    check_first(&mut out, &mut notes, outcome, &story, "wide");
    picture(&mut out, &mut notes, outcome, &columns);
    out.push_str(&embed::live(outcome, &columns, &story));
    out.push_str(&embed::bench(outcome));
    belt(&mut out, &mut notes, outcome, &columns);
    out.push_str("<div class=\"columns\">\n");
    list(&mut out, &mut notes, outcome, "What it means", &story.meaning);
    run_up(&mut out, &mut notes, outcome, &story);
    in_full(&mut out, &mut notes, outcome, &story);
    list(&mut out, &mut notes, outcome, "Permits", &story.permits);
    let said = Sources::how("As whoever wrote this trace says.");
    let opening: Vec<Told> = opening.iter().map(|line| Told::new(*line, said.clone())).collect();
    list(&mut out, &mut notes, outcome, "About this trace", &opening);
    list(&mut out, &mut notes, outcome, "What was known", &story.known);
    list(&mut out, &mut notes, outcome, "What was not known", &story.unknown);
    events(&mut out, &mut notes, outcome, &story);
    cautions(&mut out);
    out.push_str("</div>\n");
    limits(&mut out, outcome);
    notes.section(&mut out, outcome);
    end(&mut out, &[outcome]);
    out
}

/// Everything up to the body; the title comes from a file.
pub(super) fn begin(out: &mut String, title: &str) {
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"{ALONE}\">\n\
         <title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        escape(title)
    );
}

/// What stopped the leg and when.
pub(super) fn cause(out: &mut String, notes: &mut Notes, outcome: &Outcome, story: &Story, heading: &str) {
    // Of a stop the figures stand on a line of their own, so that cause and time are read first.
    let (headline, figures) = match story.headline.split_once(": ").filter(|_| story.importance == Importance::Stop) {
        Some((headline, figures)) => (headline, Some(figures)),
        // A heading is no sentence, but for what is said of a leg that was not stopped.
        None if story.importance == Importance::Stop => (story.headline.trim_end_matches('.'), None),
        None => (story.headline.as_str(), None),
    };
    let since = if outcome.clock().knows_the_day() { "" } else { ": times count from the start of the recording" };
    let _ = writeln!(
        out,
        "<p class=\"leg\">{}{since}</p>\n<{heading}><span class=\"state\">{}</span> {}</{heading}>",
        escape(&outcome.settings.machine.leg),
        story.importance.word(),
        notes.traced(outcome, headline, &story.headline_from)
    );
    if let Some(figures) = figures {
        // Whoever was not trained to alarms knows a limit, and no setpoint.
        let figures = super::capital(figures).replace(", setpoint ", ", the limit is ");
        let figures = notes.traced(outcome, &figures, &story.headline_from);
        let _ = writeln!(out, "<p class=\"figure\">{figures}</p>");
    }
    for line in &story.warnings {
        let _ = writeln!(out, "<p><b>Warning: {}</b></p>", escape(line));
    }
}

/// The colour of a story.
pub(super) const fn class(story: &Story) -> &'static str {
    match story.importance {
        Importance::Stop => "stop",
        Importance::Alarm | Importance::Incomplete => "warn",
        Importance::Quiet => "quiet",
    }
}

/// The line about lockout.
pub(super) fn lockout(out: &mut String) {
    let _ = writeln!(out, "<p class=\"lockout\">{WARNING_SIGN}<span>{}</span></p>", escape(CAUTIONS[0]));
}

/// Where it all comes from, and the end of the page.
pub(super) fn end(out: &mut String, outcomes: &[&Outcome]) {
    out.push_str("</main>\n<footer>");
    for outcome in outcomes {
        let clock = outcome.clock();
        let _ = write!(
            out,
            "Trace {}, {} to {}. Settings {}, identity {}. ",
            escape(&outcome.trace),
            clock.at(outcome.first()),
            clock.at(outcome.last()),
            escape(&outcome.settings_name),
            identity(outcome.settings.plan().identity())
        );
    }
    let core = env!("CARGO_PKG_VERSION");
    let _ = write!(out, "Slackside core {core}.</footer>\n{}</body>\n</html>\n", embed::scripts());
}

/// The first things to check, each with its caution.
pub(super) fn check_first(out: &mut String, notes: &mut Notes, outcome: &Outcome, story: &Story, wide: &str) {
    if story.findings.is_empty() {
        return;
    }
    let _ = writeln!(out, "<section class=\"{wide}\">\n<h2>Check first</h2>\n<ol class=\"first\">");
    for finding in story.findings.iter().take(FIRST) {
        let (title, sure) = (escape(&finding.title), sure(notes, outcome, story, finding));
        let _ = writeln!(out, "<li><b>{title}</b> {sure}<br>{}</li>", escape(finding.first));
    }
    out.push_str("</ol>\n<p class=\"note\">Guesses from the signals alone. Look before you act.</p>\n</section>\n");
}

fn sure(notes: &mut Notes, outcome: &Outcome, story: &Story, finding: &super::because::Because) -> String {
    let figure = finding.figure.as_ref().map_or_else(String::new, |figure| format!("; {figure}"));
    let words = format!("{}{figure}", finding.sureness);
    format!("<span class=\"sure\">{}</span>", notes.traced(outcome, &words, &story.headline_from))
}

/// The drawing for readers without script, and for paper: the trip in the middle; then the whole trace, where that is more.
pub(super) fn picture(out: &mut String, notes: &mut Notes, outcome: &Outcome, columns: &Columns) {
    let (first, last) = (outcome.first().get(), outcome.last().get());
    let trip = outcome.first_outs.first().map(|first_out| first_out.at.get());
    let note = "<p class=\"note\">A grey foot marks where nothing was known. Speeds are the most the shafts can have turned.</p>\n";
    let mut draw = |out: &mut String, class: &str, title: &str, begin: u64, end: u64| {
        let drawn = lanes(notes, outcome, columns, begin, end);
        let _ = writeln!(out, "<section class=\"wide still {class}\">\n<h2>{title}</h2>\n{drawn}{note}</section>");
    };
    if let Some(trip) = trip {
        // With the trip in the middle, as far as the trace goes on after it.
        let reach = last.saturating_sub(trip).clamp(CLOSE_US.1, CLOSE_US.0);
        draw(
            out,
            "close",
            "Before and after the trip",
            trip.saturating_sub(reach).max(first),
            trip.saturating_add(reach).min(last),
        );
    }
    if trip.is_none() || last.saturating_sub(first) > 2 * CLOSE_US.0 {
        draw(out, if trip.is_some() { "whole" } else { "close" }, "The whole trace", first, last);
    }
}

fn run_up(out: &mut String, notes: &mut Notes, outcome: &Outcome, story: &Story) {
    if story.run_up.is_empty() {
        return;
    }
    out.push_str(
        "<section>\n<h2>The seconds before</h2>\n<table class=\"figures\"><thead><tr><td></td><th scope=\"col\">head<br>rpm</th>",
    );
    let _ = writeln!(
        out,
        "<th scope=\"col\">belt<br>{}</th><th scope=\"col\">slip over<br>one boot turn</th><th scope=\"col\">slip over<br>four boot turns</th></tr></thead><tbody>",
        story.belt_unit
    );
    for row in &story.run_up {
        let _ = write!(out, "<tr><th scope=\"row\">{}</th>", notes.traced(outcome, &row.before, &row.from));
        for cell in [&row.head, &row.belt, &row.slip_short, &row.slip_long] {
            let _ = write!(out, "<td>{}</td>", notes.traced_in(Place::CELL, outcome, cell, &row.from));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
    if story.run_up.iter().any(RunUpRow::has_unknown) {
        out.push_str("<p class=\"note\">– is not known.</p>\n");
    }
    out.push_str("</section>\n");
}

fn in_full(out: &mut String, notes: &mut Notes, outcome: &Outcome, story: &Story) {
    if story.findings.is_empty() {
        return;
    }
    out.push_str("<section>\n<h2>What to check, in full</h2>\n<ol class=\"findings\">\n");
    for (index, finding) in story.findings.iter().enumerate() {
        let (title, sure) = (escape(&finding.title), sure(notes, outcome, story, finding));
        // On paper the first ones are enough.
        let class = if index < FIRST { "" } else { " class=\"far\"" };
        let _ = writeln!(out, "<li{class}><b>{title}</b> {sure}<br>{}</li>", escape(finding.inspect));
    }
    out.push_str("</ol>\n</section>\n");
}

pub(super) fn list(out: &mut String, notes: &mut Notes, outcome: &Outcome, title: &str, lines: &[Told]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(out, "<section>\n<h2>{}</h2>\n<ul>", escape(title));
    for line in lines {
        let _ = writeln!(out, "<li>{}</li>", notes.traced(outcome, &line.words, &line.from));
    }
    out.push_str("</ul>\n</section>\n");
}

/// What to beware of, always the same.
pub(super) fn cautions(out: &mut String) {
    out.push_str("<section class=\"cautions\">\n<h2>Cautions</h2>\n<ul>\n");
    for line in CAUTIONS {
        let _ = writeln!(out, "<li>{}</li>", escape(line));
    }
    out.push_str("</ul>\n</section>\n");
}

fn events(out: &mut String, notes: &mut Notes, outcome: &Outcome, story: &Story) {
    if story.before.is_empty() && story.after.is_empty() {
        return;
    }
    out.push_str("<section class=\"wide log\">\n<h2>Events</h2>\n<table class=\"events\"><tbody>\n");
    let mut row = |out: &mut String, event: &Event, printed: bool| {
        let class = match (event.bad, printed) {
            (true, true) => " class=\"bad\"",
            (true, false) => " class=\"bad far\"",
            (false, true) => "",
            (false, false) => " class=\"far\"",
        };
        // On paper the row stands beside the time, and the settings of the limits are told above.
        let time = notes.traced_in(Place { printed: false, stop: true }, outcome, &event.time, &event.from);
        let what = notes.traced_in(Place { printed: false, stop: false }, outcome, &event.what, &event.from);
        let line = event.from.rows.first().map_or_else(String::new, |row| row_name(outcome, *row));
        let _ = writeln!(
            out,
            "<tr{class}><th scope=\"row\">{time}</th><td>{what}<span class=\"printed line\"> {line}</span></td></tr>"
        );
    };
    let far = story.before.len().saturating_sub(PRINTED);
    for (index, event) in story.before.iter().enumerate() {
        row(out, event, index >= far);
    }
    if !story.run_up.is_empty() {
        out.push_str("<tr class=\"split\"><td></td><td>the trip</td></tr>\n");
    }
    for (index, event) in story.after.iter().enumerate() {
        row(out, event, index < PRINTED);
    }
    out.push_str("</tbody></table>\n");
    let unprinted = far + story.after.len().saturating_sub(PRINTED);
    if unprinted > 0 {
        let _ =
            writeln!(out, "<p class=\"note printed count\">{unprinted} more events are in the page on a screen.</p>");
    }
    if story.left_out > 0 {
        let _ = writeln!(out, "<p class=\"note count\">{} more events are in the events file.</p>", story.left_out);
    }
    out.push_str("</section>\n");
}

/// The limits that are drawn in the picture.
const DRAWN: [Condition; 5] = [
    Condition::SlipVeryHigh,
    Condition::SlipHigh,
    Condition::SlipHeat,
    Condition::DeepUnderspeed,
    Condition::Underspeed,
];

/// What the leg was held against: each limit that is drawn or whose alarm came, with its key in the settings and the reason for its
/// starting value.
fn limits(out: &mut String, outcome: &Outcome) {
    let told = |condition: &Condition| {
        let is_drawn = DRAWN.contains(condition) && outcome.settings.limits.of(*condition).enabled;
        is_drawn || outcome.raised[condition.rank()].times > 0
    };
    let rows: Vec<String> = Condition::ALL
        .into_iter()
        .filter(told)
        .map(|condition| {
            let quantity = |part| {
                let field = Field::Limit(condition, part);
                let value = field.get(&outcome.settings)?;
                Some(format!("{} <code>{}</code>", Quantity::new(value, field.unit()), field.key()))
            };
            let parts: Vec<String> =
                [LimitPart::Setpoint, LimitPart::OnDelay].into_iter().filter_map(quantity).collect();
            let entry = condition.entry();
            format!(
                "<tr><th scope=\"row\">{}</th><td>{}<br><span class=\"note\">{}</span></td></tr>\n",
                escape(entry.title),
                parts.join("<br>"),
                escape(entry.reason)
            )
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "<section class=\"wide far limits\">\n<h2>Where these limits come from</h2>\n<p class=\"note\">Setpoint and delay of each alarm that \
         came or is drawn, with its key in the settings file, and why its starting value is what it is.</p>\n<table class=\"events\"><tbody>\n{}\
         </tbody></table>\n</section>",
        rows.concat()
    );
}
