//! A played run as a line of a table, so that a draw can be kept, gone on with and looked at with other tools.

use std::fmt::Write as _;

use slackside::conditions::Condition;
use slackside::diagnose::findings;

use super::super::cause::Cause;
use super::super::evidence::{Clue, Evidence, Raised};
use super::draw::Drawn;
use super::play::Played;

/// A run that was played.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its number in the draw.
    pub index: usize,
    /// What was wrong.
    pub cause: Cause,
    /// What else would be right to name.
    pub also: Option<Cause>,
    /// By which means it was made.
    pub means: String,
    /// Hours with the motor on.
    pub hours: f64,
    /// The evidence.
    pub evidence: Evidence,
    /// What the core's rules make of it, surest first: the causes' names in the core, with a bar between.
    pub rules: String,
}

/// The first line of such a table.
#[must_use]
pub fn header() -> String {
    let clues = Clue::ALL.map(|clue| clue.entry().name).join(",");
    let raised = Condition::ALL.map(Condition::name).join(",");
    format!("index,cause,also,means,hours,rules,first,{clues},{raised}\n")
}

impl Row {
    /// Of a played run.
    #[must_use]
    pub fn of(index: usize, drawn: &Drawn, played: Played) -> Self {
        let rules: Vec<String> =
            findings(&played.looked).iter().map(|finding| format!("{:?}", finding.cause)).collect();
        Self {
            index,
            cause: played.cause,
            also: played.also,
            means: drawn.means.replace(',', ""),
            hours: played.hours,
            evidence: played.evidence,
            rules: rules.join("|"),
        }
    }

    /// As a line.
    #[must_use]
    pub fn line(&self) -> String {
        let Self { index, cause, also, means, hours, evidence, rules } = self;
        let mut line = format!(
            "{index},{},{},{means},{hours:.5},{rules},{}",
            cause.name(),
            also.map_or("", Cause::name),
            evidence.first.map_or("", Condition::name)
        );
        for clue in Clue::ALL {
            let _ = match evidence.get(clue) {
                Some(answer) => write!(line, ",{answer}"),
                None => write!(line, ","),
            };
        }
        for raised in evidence.raised {
            let _ = write!(line, ",{}", raised as u8);
        }
        line.push('\n');
        line
    }

    /// From a line; `None` if it is cut off or of another list of questions.
    #[must_use]
    pub fn parse(line: &str) -> Option<Self> {
        let mut cells = line.trim_end_matches('\n').split(',');
        let index = cells.next()?.parse().ok()?;
        let cause = Cause::from_name(cells.next()?)?;
        let also = Cause::from_name(cells.next()?);
        let means = cells.next()?.to_owned();
        let hours = cells.next()?.parse().ok()?;
        let rules = cells.next()?.to_owned();
        let mut evidence = Evidence::default();
        evidence.first = Condition::from_name(cells.next()?);
        for clue in Clue::ALL {
            let cell = cells.next()?;
            evidence.set(clue, if cell.is_empty() { None } else { Some(cell.parse().ok()?) });
        }
        for raised in &mut evidence.raised {
            *raised = match cells.next()? {
                "0" => Raised::No,
                "1" => Raised::With,
                "2" => Raised::After,
                _ => return None,
            };
        }
        cells.next().is_none().then_some(Self { index, cause, also, means, hours, evidence, rules })
    }
}
