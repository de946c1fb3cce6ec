//! Where each number comes from: the row of the trace, the setting and its reason. On the page a number leads to its note; on paper it
//! carries the note's number.

use std::fmt::Write;
use std::ops::Range;

use slackside::conditions::Condition;
use slackside::input::Shaft;
use slackside::settings::schema::{AcceptedRatioPart, PulleyPart, SlipHeatPart};
use slackside::settings::{Field, LimitPart, Quantity};

use super::capital;
use super::escape::escape;
use crate::replay::{Outcome, Row};
use crate::trace::write_row;

/// Where the numbers of a sentence come from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sources {
    /// How they follow from what is named after it; empty where that is plain.
    pub how: &'static str,
    /// Rows of the trace.
    pub rows: Vec<Row>,
    /// Settings.
    pub fields: Vec<Field>,
}

impl Sources {
    /// So it follows.
    pub const fn how(how: &'static str) -> Self {
        Self { how, rows: Vec::new(), fields: Vec::new() }
    }

    /// From this row, too.
    pub fn row(mut self, row: Option<Row>) -> Self {
        self.rows.extend(row.filter(|row| !self.rows.contains(row)));
        self
    }

    /// From this setting, too.
    pub fn field(mut self, field: Field) -> Self {
        self.fields.push(field);
        self
    }

    /// From setpoint and on-delay of a condition, too.
    pub fn limit(self, condition: Condition) -> Self {
        self.field(Field::Limit(condition, LimitPart::Setpoint)).field(Field::Limit(condition, LimitPart::OnDelay))
    }

    /// From all rows of a trace.
    pub fn all_rows(outcome: &Outcome) -> Self {
        Self::how("Counted from the first row to the last.").row(outcome.rows.first()).row(outcome.rows.newest())
    }

    /// From what slip is reckoned with, too.
    pub fn slip(self) -> Self {
        self.field(Field::Pulley(Shaft::Head, PulleyPart::BareDiameter))
            .field(Field::Pulley(Shaft::Boot, PulleyPart::BareDiameter))
            .field(Field::AcceptedRatio(AcceptedRatioPart::Ratio))
    }

    /// From what slip heat is reckoned with, too.
    pub fn heat(self) -> Self {
        self.field(Field::SlipHeat(SlipHeatPart::Budget)).field(Field::SlipHeat(SlipHeatPart::TimeConstant))
    }
}

/// A sentence, and where its numbers come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The sentence.
    pub words: String,
    /// Where they come from.
    pub from: Sources,
}

impl Told {
    /// A sentence with its sources.
    pub fn new(words: impl Into<String>, from: Sources) -> Self {
        Self { words: words.into(), from }
    }
}

/// A sentence without a number of its own, or whose numbers are those of the settings file.
impl From<String> for Told {
    fn from(words: String) -> Self {
        Self::new(words, Sources::how("As the settings have it."))
    }
}

impl From<&str> for Told {
    fn from(words: &str) -> Self {
        words.to_owned().into()
    }
}

/// The notes of a page, each told once.
#[derive(Default)]
pub struct Notes {
    /// Whether each names its trace and its settings, since there are several.
    of_several: bool,
    /// What each says, and whether it is printed.
    notes: Vec<(String, bool)>,
}

impl Notes {
    /// Those of a page about several traces.
    pub fn of_several() -> Self {
        Self { of_several: true, ..Self::default() }
    }

    /// The number of the note that tells these sources; 0 where there is nothing to tell.
    fn number(&mut self, outcome: &Outcome, from: &Sources, printed: bool) -> usize {
        let text = self.told(outcome, from);
        if text.is_empty() {
            return 0;
        }
        let at = self.notes.iter().position(|(known, _)| *known == text).unwrap_or_else(|| {
            self.notes.push((text, false));
            self.notes.len() - 1
        });
        if let Some((_, is_printed)) = self.notes.get_mut(at) {
            *is_printed |= printed;
        }
        at + 1
    }

    /// What a note says.
    fn told(&self, outcome: &Outcome, from: &Sources) -> String {
        let of = |name: &str| if self.of_several { format!(" of {}", escape(name)) } else { String::new() };
        let (trace, settings) = (of(&outcome.trace), of(&outcome.settings_name));
        let mut parts = Vec::new();
        if !from.how.is_empty() {
            parts.push(escape(from.how));
        }
        parts.extend(from.rows.iter().map(|row| row_words(outcome, *row, &trace)));
        let mut reason = "";
        for field in &from.fields {
            // A reason is told once for all settings that have it.
            let told = if field.reason() == reason { "" } else { field.reason() };
            parts.extend(field_words(outcome, *field, &settings, told));
            reason = field.reason();
        }
        parts.join(" ")
    }

    /// A sentence for the page, its numbers leading to their note.
    pub fn traced(&mut self, outcome: &Outcome, words: &str, from: &Sources) -> String {
        self.traced_in(Place::TEXT, outcome, words, from)
    }

    /// The same, in a place of its own.
    pub fn traced_in(&mut self, place: Place, outcome: &Outcome, words: &str, from: &Sources) -> String {
        let mut out = String::new();
        let mut past = 0;
        let numbers = numbers(words);
        let note = if numbers.is_empty() { 0 } else { self.number(outcome, from, place.printed) };
        if note == 0 {
            return escape(words);
        }
        let last = numbers.len() - 1;
        for (index, range) in numbers.into_iter().enumerate() {
            let (before, number) = (&words[past..range.start], &words[range.clone()]);
            // One mark a sentence is enough on paper, and one stop in a row is enough for the keyboard.
            let mark = if index == last { format!(" data-note=\"{note}\"") } else { String::new() };
            let stop = if place.stop { "" } else { " tabindex=\"-1\"" };
            let _ =
                write!(out, "{}<a class=\"src\" href=\"#s{note}\"{mark}{stop}>{}</a>", escape(before), escape(number));
            past = range.end;
        }
        out.push_str(&escape(&words[past..]));
        out
    }

    /// The notes, all of them; `outcome` is what they are about, if it is one.
    pub fn section(&self, out: &mut String, outcome: &Outcome) {
        if self.notes.is_empty() {
            return;
        }
        let about = if self.of_several {
            String::new()
        } else {
            let what = if outcome.is_text { "Lines" } else { "Inputs" };
            let (trace, settings) = (escape(&outcome.trace), escape(&outcome.settings_name));
            format!(" {what} are those of {trace}, settings those of {settings}.")
        };
        let _ = writeln!(
            out,
            "<section class=\"wide sources\">\n<h2>Where each number comes from</h2>\n<p class=\"note\"><span class=\"screen\">Point at an \
             underlined number, tap it, or go to it with the Tab key.</span>{about}</p>\n<ol>"
        );
        for (index, (note, printed)) in self.notes.iter().enumerate() {
            let class = if *printed { "" } else { " class=\"far\"" };
            let _ = writeln!(out, "<li id=\"s{0}\" value=\"{0}\"{class}>{note}</li>", index + 1);
        }
        out.push_str("</ol>\n</section>\n");
    }
}

/// Where a number stands.
#[derive(Clone, Copy)]
pub struct Place {
    /// Whether it is printed.
    pub printed: bool,
    /// Whether the keyboard stops at it. In a row of a table one stop is enough.
    pub stop: bool,
}

impl Place {
    /// In a text.
    pub const TEXT: Self = Self { printed: true, stop: true };
    /// In a row of a table that has a stop already.
    pub const CELL: Self = Self { printed: true, stop: false };
}

/// Which row of the trace it is: `line 1793`.
pub fn row_name(outcome: &Outcome, row: Row) -> String {
    format!("{} {}", if outcome.is_text { "line" } else { "input" }, row.number)
}

fn row_words(outcome: &Outcome, row: Row, of: &str) -> String {
    let mut text = Vec::new();
    write_row(&row.input, &mut text);
    let text = String::from_utf8_lossy(&text);
    format!(
        "{}{of}<span class=\"row\">: <code>{}</code></span>.",
        capital(&row_name(outcome, row)),
        escape(text.trim_end())
    )
}

fn field_words(outcome: &Outcome, field: Field, of: &str, reason: &str) -> Option<String> {
    let value = field.get(&outcome.settings)?;
    let starting = match field.starting() {
        Some(starting) if starting != value => format!(" (starting value {})", Quantity::new(starting, field.unit())),
        _ => String::new(),
    };
    Some(format!(
        "Setting <code>{}</code>{of}: {}{starting}. {}",
        field.key(),
        Quantity::new(value, field.unit()),
        escape(reason)
    ))
}

/// The units that follow a number.
const UNITS: [&str; 17] =
    ["%", "s", "min", "h", "ms", "µs", "°C", "kW", "kJ", "rpm", "m/s", "ft/min", "m", "mm", "turns", "turn", "UTC"];

/// The stretches of a text that are numbers, each with its unit; `1 h 02 min` is one.
fn numbers(text: &str) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    let mut open = false;
    let mut at = 0;
    for word in text.split(' ') {
        let begin = at + word.len() - word.trim_start_matches(['(', '"', '[']).len();
        let core = word.trim_matches(|letter| "()\"[],;:.?!".contains(letter));
        let end = begin + core.len();
        let is_bound = core == "≥";
        let is_number = core.trim_start_matches(['-', '+', '−', '≥']).starts_with(|first: char| first.is_ascii_digit());
        match found.last_mut() {
            Some(last) if open && (is_number || UNITS.contains(&core)) => last.end = end,
            _ if is_number || is_bound => found.push(begin..end),
            _ => {}
        }
        // What a comma or a bracket ends is another number.
        open = (is_number || is_bound || (open && UNITS.contains(&core))) && at + word.len() == end;
        at += word.len() + 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_found_with_their_units() {
        for (text, wanted) in [
            ("Largest slip over one boot turn: at least 23.4 % at 1 h 02 min 03 s.", vec!["23.4 %", "1 h 02 min 03 s"]),
            (
                "Belt far too slow at 2026-03-02 06:45:30.250 UTC: 14.1 %, setpoint 14.0 %.",
                vec!["2026-03-02 06:45:30.250 UTC", "14.1 %", "14.0 %"],
            ),
            ("≥ 12.5 %", vec!["≥ 12.5 %"]),
            ("(3 more here)", vec!["3"]),
            ("No number", vec![]),
            ("–", vec![]),
        ] {
            let found: Vec<&str> = numbers(text).into_iter().map(|range| &text[range]).collect();
            assert_eq!(found, wanted, "{text}");
        }
    }
}
