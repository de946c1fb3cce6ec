//! What is wrong with a TOML file that a person wrote: all of it at once, each with its place and how to mend it.

use std::fmt;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What the file of a leg is to hold, as [`Refused::what`] says it.
pub const SETTINGS: &str = "settings";
/// What is said of a key that is not there and has no starting value.
pub const MISSING: &str = "must be given";

/// Line and column, both from 1; columns count characters.
pub type Place = (usize, usize);

/// One thing wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where in the file; `None` if it is about something that is not in it.
    pub place: Option<Place>,
    /// The key, as it was written or should be; empty for the file as a whole.
    pub key: String,
    /// What is wrong, what was expected, how to mend it.
    pub text: String,
}

/// A file that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// What the file ought to hold, in a word: "settings", "scenario".
    pub what: &'static str,
    /// The file, or what stands for it.
    pub file: String,
    /// All that is wrong, in the order of the file where it has a place.
    pub problems: Vec<Problem>,
}

impl Refused {
    /// A file with one thing wrong that is about no key.
    #[must_use]
    pub fn whole(what: &'static str, file: impl Into<String>, text: impl Into<String>) -> Self {
        let problem = Problem { place: None, key: String::new(), text: text.into() };
        Self { what, file: file.into(), problems: vec![problem] }
    }

    /// A file with one thing wrong.
    #[must_use]
    pub fn one(
        what: &'static str,
        file: impl Into<String>,
        place: Option<Place>,
        key: impl Into<String>,
        text: impl Into<String>,
    ) -> Self {
        let problem = Problem { place, key: key.into(), text: text.into() };
        Self { what, file: file.into(), problems: vec![problem] }
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, file, problems } = self;
        let things = if problems.len() == 1 { "one thing is" } else { "several things are" };
        write!(out, "{file}: the {what} cannot be used, {things} wrong:")?;
        for Problem { place, key, text } in problems {
            write!(out, "\n  {file}")?;
            if let Some((line, column)) = place {
                write!(out, ":{line}:{column}")?;
            }
            if key.is_empty() {
                write!(out, ": {text}")?;
            } else {
                write!(out, ": {key}: {text}")?;
            }
        }
        // Whoever has so little of a file had better be asked for the rest.
        if *what == SETTINGS && problems.iter().filter(|problem| problem.text == MISSING).count() > 2 {
            out.write_str("\n  mend: `slackside new-leg MY-LEG.toml` asks for each of them and writes the file")?;
        }
        Ok(())
    }
}

impl std::error::Error for Refused {}

/// Gathers what is wrong with a text, each with the place of its key.
#[derive(Debug)]
pub struct Findings<'t> {
    text: &'t str,
    /// All that was found so far.
    pub problems: Vec<Problem>,
}

impl<'t> Findings<'t> {
    /// Nothing yet.
    #[must_use]
    pub const fn new(text: &'t str) -> Self {
        Self { text, problems: Vec::new() }
    }

    /// Tell what is wrong with a key.
    pub fn tell(&mut self, key: impl Into<String>, text: impl Into<String>) {
        let key = key.into();
        self.problems.push(Problem { place: place_of(self.text, &key), key, text: text.into() });
    }

    /// Tell what is wrong with a key unless it is sound.
    pub fn hold(&mut self, sound: bool, key: impl Into<String>, text: impl Into<String>) {
        if !sound {
            self.tell(key, text);
        }
    }

    /// What is wrong, if anything.
    ///
    /// # Errors
    /// Whatever was found.
    pub fn refuse(self, what: &'static str, file: impl Into<String>) -> Result<(), Refused> {
        if self.problems.is_empty() {
            Ok(())
        } else {
            Err(Refused { what, file: file.into(), problems: self.problems })
        }
    }
}

/// The place of the byte at `offset`.
#[must_use]
pub fn place(text: &str, offset: usize) -> Place {
    let offset = (0..=offset.min(text.len())).rev().find(|offset| text.is_char_boundary(*offset)).unwrap_or(0);
    let before = &text[..offset];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}

/// The place of a key, its parts joined by dots and those of an array counted from 0, or of the nearest table above it that is
/// there.
#[must_use]
pub fn place_of(text: &str, key: &str) -> Option<Place> {
    let document = DeTable::parse(text).ok()?;
    let mut found = None;
    let mut table = Some(document.get_ref());
    let mut array: Option<&[Spanned<DeValue<'_>>]> = None;
    for part in key.split('.') {
        let (at, value) = match (table, array) {
            (Some(here), _) => {
                let Some((name, value)) = here.get_key_value(part) else { break };
                (name.span().start, value)
            }
            (None, Some(here)) => {
                let Some(value) = part.parse::<usize>().ok().and_then(|index| here.get(index)) else { break };
                (value.span().start, value)
            }
            (None, None) => break,
        };
        found = Some(at);
        table = value.get_ref().as_table();
        array = value.get_ref().as_array().map(|array| &**array);
    }
    found.map(|at| place(text, at))
}

/// What a file holds that was named in another's place, if it is seen at once: with its article, to be told of.
#[must_use]
pub fn looks_like(text: &str) -> Option<&'static str> {
    if text.trim_start_matches('\u{feff}').trim_start().starts_with("time_us") {
        return Some("a trace");
    }
    let document = DeTable::parse(text).ok()?;
    let has = |key: &str| document.get_ref().contains_key(key);
    match () {
        () if has("head_pulley") || has("boot_pulley") || has("boot_targets") => Some("a leg's settings"),
        () if has("timeline") || has("duration_s") => Some("a scenario"),
        () if has("search") || has("family") || (has("trace") && has("limit")) => Some("a study"),
        () => None,
    }
}

/// Refuse a file that holds something else than was wanted, where that is seen at once; `wanted` is as [`looks_like`] says it.
///
/// # Errors
/// It does.
pub fn refuse_another(what: &'static str, wanted: &str, file: &str, text: &str, mend: &str) -> Result<(), Refused> {
    match looks_like(text).filter(|looks| *looks != wanted) {
        Some(looks) => Err(Refused::whole(what, file, format!("this is {looks}\n  mend: {mend}"))),
        None => Ok(()),
    }
}

/// What the reader of TOML says, and how people would.
const PLAINLY: [(&str, &str); 5] = [
    ("expected u64", "expected a whole number from 0 up"),
    ("expected u32", "expected a whole number from 0 up"),
    ("expected usize", "expected a whole number from 0 up"),
    ("expected f64", "expected a number"),
    ("expected an array of length 2", "expected two numbers, such as [0.3, 1.0]"),
];

/// What the reader of TOML says, with its place: of a text that is not TOML at all, that it is not.
#[must_use]
pub fn of_toml(text: &str, error: &toml::de::Error) -> (Option<Place>, String) {
    let said = error.message().lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("; ");
    let said = PLAINLY.iter().fold(said, |said, (from, to)| said.replace(from, to));
    let said = if DeTable::parse(text).is_err() { not_toml(&said) } else { said };
    (error.span().map(|span| place(text, span.start)), said)
}

/// What the reader says of a table that was taken out of a text, where it stood under `name`: the place of the key that it is about, or
/// of the nearest table above it that is there, that key, and what is wrong with it.
#[must_use]
pub fn of_table(text: &str, name: &str, error: &toml::de::Error) -> (Option<Place>, String, String) {
    let (_, said) = of_toml(text, error);
    let whole = error.to_string();
    let within = whole.lines().find_map(|line| line.strip_prefix("in `")?.strip_suffix('`'));
    let unknown = said.strip_prefix("unknown field `").and_then(|rest| rest.split('`').next());
    let key = [Some(name), within, unknown].into_iter().flatten().collect::<Vec<_>>().join(".");
    (place_of(text, &key), key, said)
}

/// A text is not TOML, for a reason.
#[must_use]
pub fn not_toml(reason: &str) -> String {
    let mend = match reason {
        "duplicate key" => "it stands there twice: leave one out, or put what both say into one",
        _ => {
            "a line is `key = value`, with words in quotes and a point, not a comma, in numbers; a table begins with `[name]`"
        }
    };
    format!("is not TOML: {reason}\n  mend: {mend}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_place_of_a_key_or_of_its_table() {
        let text = "a = 1\n[leg_changes.belt]\n  width_mm = -3\n[[fault]]\nkind = 1\n[[fault]]\nseverity = 2\n";
        assert_eq!(place_of(text, "a"), Some((1, 1)));
        assert_eq!(place_of(text, "leg_changes.belt.width_mm"), Some((3, 3)));
        assert_eq!(place_of(text, "fault.1.severity"), Some((7, 1)));
        assert_eq!(place_of(text, "fault.1.side"), Some((6, 1)));
        assert_eq!(place_of(text, "leg_changes.belt.mass"), Some((2, 14)));
        assert_eq!(place_of(text, "nothing"), None);
    }

    #[test]
    fn a_file_named_in_anothers_place_is_seen() {
        for (text, looks) in [
            ("\u{feff}time_us,channel,value\n0,head,1\n", Some("a trace")),
            ("# one leg\n[head_pulley]\n", Some("a leg's settings")),
            ("duration_s = 3\n", Some("a scenario")),
            ("[[trace]]\n[[limit]]\n", Some("a study")),
            ("", None),
            ("name = \"x\"\n", None),
            ("[", None),
        ] {
            assert_eq!(looks_like(text), looks, "{text}");
        }
        assert!(refuse_another("study", "a study", "a.toml", "[search]\n", "").is_ok());
        let refused = refuse_another("study", "a study", "a.toml", "duration_s = 3\n", "name a study");
        assert!(refused.expect_err("a scenario").to_string().contains("this is a scenario\n  mend: name a study"));
    }

    #[test]
    fn columns_count_characters() {
        assert_eq!(place("µ = 1\nµµ", 9), (2, 2));
    }
}
