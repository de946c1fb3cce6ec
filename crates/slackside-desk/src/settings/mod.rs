//! Settings for people: TOML with the unit in every key's name.
//!
//! Numbers are taken exactly as written and rounded once, to the core's integer units. Unknown keys are refused, two units for
//! one value are refused, and everything that is wrong is told at once, each with its line and its key as written.

mod decimal;
mod limits;
mod machine;
mod new_leg;
mod section;
mod write;

use std::path::Path;

use slackside::settings::{Advice, Checked, Rule, Settings, Violation};
use toml::de::DeTable;

pub use new_leg::{QUESTIONS, Question, new_leg};
pub use write::{write, write_for};

use crate::files::{Files, WANTED_SETTINGS, unreadable};
use crate::problem::{self, Problem, Refused, SETTINGS};
use decimal::FEET_AND_HORSES;
use section::{Gathered, Section};

/// The name that stands for the built-in leg in messages.
pub const BUILT_IN: &str = "the built-in example leg";

/// Settings that were read, found sound, and what is worth knowing about them.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The settings.
    pub checked: Checked,
    /// Where they came from.
    pub source_name: String,
    /// What is allowed but worth knowing.
    pub advice: Vec<Advice>,
    /// Whether whoever wrote them measures in feet and inches, and is to be answered so.
    pub feet: bool,
}

impl Loaded {
    fn new(checked: Checked, source_name: &str) -> Self {
        let mut advice = Vec::new();
        checked.advice(&mut |piece| advice.push(piece));
        Self { checked, source_name: source_name.to_owned(), advice, feet: false }
    }

    /// Settings that came with something else, such as a recording.
    #[must_use]
    pub fn from_checked(checked: Checked, source_name: &str) -> Self {
        Self::new(checked, source_name)
    }

    /// The built-in example leg.
    ///
    /// # Panics
    /// Never: a test holds the example against every rule.
    #[must_use]
    pub fn example() -> Self {
        let checked = Settings::example().check().expect("the example leg is sound");
        Self::new(checked, BUILT_IN)
    }
}

/// Read a settings file.
///
/// # Errors
/// If it cannot be read, is not TOML, says something that cannot be understood, or breaks a rule: all of it at once.
pub fn read(files: &dyn Files, path: &Path) -> Result<Loaded, Refused> {
    let source_name = path.display().to_string();
    parse(&text_of(files, path, &source_name)?, &source_name)
}

/// As [`read`], under the rules for recordings from a test bench: see `Settings::check_for_bench`. Say so where you print.
///
/// # Errors
/// As [`read`].
pub fn read_for_bench(files: &dyn Files, path: &Path) -> Result<Loaded, Refused> {
    let source_name = path.display().to_string();
    parse_with(&text_of(files, path, &source_name)?, &source_name, Scope::Bench)
}

/// The path of a settings file, or the built-in leg without one.
///
/// # Errors
/// As [`read`].
pub fn read_or_example(files: &dyn Files, path: Option<&Path>) -> Result<Loaded, Refused> {
    path.map_or_else(|| Ok(Loaded::example()), |path| read(files, path))
}

/// Read settings from text; `source_name` stands for the file in messages. Takes any text at all.
///
/// # Errors
/// As [`read`].
pub fn parse(text: &str, source_name: &str) -> Result<Loaded, Refused> {
    parse_with(text, source_name, Scope::Leg)
}

/// As [`parse`], under the rules for recordings from a test bench.
///
/// # Errors
/// As [`read`].
pub fn parse_for_bench(text: &str, source_name: &str) -> Result<Loaded, Refused> {
    parse_with(text, source_name, Scope::Bench)
}

#[derive(Clone, Copy)]
enum Scope {
    Leg,
    Bench,
}

fn text_of(files: &dyn Files, path: &Path, source_name: &str) -> Result<String, Refused> {
    files.text(path).map_err(|error| Refused::whole(SETTINGS, source_name, unreadable(&error, WANTED_SETTINGS)))
}

fn parse_with(text: &str, source_name: &str, scope: Scope) -> Result<Loaded, Refused> {
    problem::refuse_another(SETTINGS, "a leg's settings", source_name, text, WANTED_SETTINGS)?;
    let mut gathered = Gathered::default();
    let settings = understand(text, &mut gathered);
    if gathered.problems.is_empty()
        && let Some(settings) = settings
    {
        let checked = match scope {
            Scope::Leg => settings.check(),
            Scope::Bench => settings.check_for_bench(),
        };
        match checked {
            Ok(checked) => {
                let in_feet = |key: &str| ["_in", "_ft", "_fpm"].iter().any(|ending| key.ends_with(ending));
                let feet = gathered.places.values().any(|(key, _)| in_feet(key));
                return Ok(Loaded { feet, ..Loaded::new(checked, source_name) });
            }
            Err(violations) => {
                for violation in &violations {
                    tell(violation, &mut gathered);
                }
            }
        }
    }
    let mut problems = gathered.problems;
    problems.sort_by_key(|problem| problem.at.unwrap_or(usize::MAX));
    let problems = problems
        .into_iter()
        .map(|found: section::Found| Problem {
            place: found.at.map(|at| problem::place(text, at)),
            key: found.key,
            text: found.text,
        })
        .collect();
    Err(Refused { what: SETTINGS, file: source_name.to_owned(), problems })
}

/// The rules that a text breaks which can be read as settings, each with the key as it was written; `None` if it cannot be read.
pub(crate) fn broken(text: &str) -> Option<Vec<(String, Violation)>> {
    let mut gathered = Gathered::default();
    let settings = understand(text, &mut gathered).filter(|_| gathered.problems.is_empty())?;
    let violations = settings.check().err().unwrap_or_default();
    let key = |violation: &Violation| match gathered.places.get(&violation.field) {
        Some((key, _)) => key.clone(),
        None => violation.field.key().to_string(),
    };
    Some(violations.iter().map(|violation| (key(violation), *violation)).collect())
}

fn understand(text: &str, gathered: &mut Gathered) -> Option<Settings> {
    let document = match DeTable::parse(text) {
        Ok(document) => document,
        Err(error) => {
            gathered.tell(error.span().map(|span| span.start), "", problem::not_toml(error.message()));
            return None;
        }
    };
    let mut root = Section::root(document.get_ref());
    let machine = machine::read(&mut root, gathered);
    let limits = limits::read(&mut root, gathered);
    root.close(gathered);
    Some(Settings { machine, limits })
}

/// A broken rule, with the key as the user wrote it, or as it would be written.
fn tell(violation: &Violation, gathered: &mut Gathered) {
    let reason = violation.reason();
    match gathered.places.get(&violation.field).cloned() {
        Some((key, at)) => {
            let text = format!("{reason}{}", in_feet(violation, &key).unwrap_or_default());
            gathered.tell(Some(at), key, text);
        }
        None => gathered.tell(
            None,
            violation.field.key().to_string(),
            format!("{reason} (not given here: starting value or derived)"),
        ),
    }
}

/// Value and bound of a broken rule once more, where they were written in feet, inches or horsepower and are told in metres and watts.
fn in_feet(violation: &Violation, key: &str) -> Option<String> {
    let tells_both = matches!(
        violation.rule,
        Rule::Range | Rule::LegGeometry | Rule::FaceNarrowerThanBelt | Rule::CrownTooHigh | Rule::LoopAgainstCentres
    );
    let (unit, sign) = FEET_AND_HORSES.into_iter().find(|(unit, _)| tells_both && key.ends_with(unit.suffix))?;
    let at_least = violation.value < violation.bound;
    let side = if at_least { "at least" } else { "at most" };
    let value = decimal::written(violation.value, unit);
    Some(format!(" ({value} {sign}; {side} {} {sign})", decimal::bound(violation.bound, unit, at_least)))
}

#[cfg(test)]
mod tests;
