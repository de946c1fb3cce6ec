//! Two trips side by side, aligned at the trip: what was the same, and what was not.

use std::fmt::Write;

use super::embed;
use super::escape::escape;
use super::html::{begin, cause, cautions, check_first, class, end, list, lockout, picture};
use super::sources::{Notes, Place};
use super::story::Story;
use crate::replay::{Columns, Outcome};

/// Events in what the script works on, on each side of the first-out.
const EVENTS: usize = 200;

/// The page of two outcomes.
#[must_use]
pub fn pair(one: &Outcome, other: &Outcome) -> String {
    let sides = [one, other].map(|outcome| (outcome, Story::of(outcome, EVENTS), Columns::of(outcome)));
    let (mut out, mut notes) = (String::new(), Notes::of_several());
    let [(_, first, _), (_, second, _)] = &sides;
    begin(&mut out, &format!("Two trips: {} {}", first.headline, second.headline));
    out.push_str("<header class=\"pair\">\n<h1>Two trips, side by side</h1>\n");
    lockout(&mut out);
    out.push_str("</header>\n<main>\n");
    for (outcome, story, _) in &sides {
        let _ = writeln!(out, "<section class=\"side {}\">", class(story));
        cause(&mut out, &mut notes, outcome, story, "h2");
        check_first(&mut out, &mut notes, outcome, story, "");
        out.push_str("</section>\n");
    }
    run_ups(&mut out, &mut notes, &sides);
    for (outcome, story, columns) in &sides {
        let _ = writeln!(out, "<h2 class=\"wide\">{}</h2>", escape(&outcome.trace));
        picture(&mut out, &mut notes, outcome, columns);
        out.push_str(&embed::live(outcome, columns, story));
    }
    out.push_str("<div class=\"columns\">\n");
    for (outcome, story, _) in &sides {
        list(&mut out, &mut notes, outcome, &format!("What was not known of {}", outcome.trace), &story.unknown);
    }
    cautions(&mut out);
    out.push_str("</div>\n");
    notes.section(&mut out, one);
    end(&mut out, &[one, other]);
    out
}

/// The seconds before either trip, row beside row.
fn run_ups(out: &mut String, notes: &mut Notes, sides: &[(&Outcome, Story, Columns); 2]) {
    let [(of_one, one, _), (of_other, other, _)] = sides;
    if one.run_up.is_empty() || other.run_up.is_empty() {
        out.push_str("<p class=\"note wide\">They cannot be aligned at the trip: not both of them tripped.</p>\n");
        return;
    }
    out.push_str("<section class=\"wide\">\n<h2>The seconds before, first and second</h2>\n<table class=\"figures pairs\"><thead><tr><td></td>");
    for (name, unit) in [("head", "rpm"), ("belt", one.belt_unit), ("slip,", "one turn"), ("slip,", "four turns")] {
        let _ = write!(out, "<th scope=\"col\" colspan=\"2\">{name}<br>{unit}</th>");
    }
    out.push_str("</tr></thead><tbody>\n");
    for (first, second) in one.run_up.iter().zip(&other.run_up) {
        let _ = write!(out, "<tr><th scope=\"row\">{}</th>", notes.traced(of_one, &first.before, &first.from));
        let cells = [
            (&first.head, &second.head),
            (&first.belt, &second.belt),
            (&first.slip_short, &second.slip_short),
            (&first.slip_long, &second.slip_long),
        ];
        for (cell, beside) in cells {
            let cell = notes.traced_in(Place::CELL, of_one, cell, &first.from);
            let beside = notes.traced_in(Place::CELL, of_other, beside, &second.from);
            let _ = write!(out, "<td>{cell}</td><td>{beside}</td>");
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n</section>\n");
}
