//! What may be the cause, for people: each finding with its words, the figure that speaks for it, and what no signal tells apart.

use slackside::units::Ppm;

use super::causes::{inspection, out_of_true, place};
use super::figures;
use crate::findings::answer::{Answer, Group};
use crate::findings::cause::Cause;
use crate::findings::evidence::{Clue, Evidence};
use crate::findings::track::Track;
use crate::replay::Outcome;

/// A finding in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Because {
    /// What it may be.
    pub title: String,
    /// How sure.
    pub sureness: &'static str,
    /// The figure that speaks for it, with what it is a figure of.
    pub figure: Option<String>,
    /// What to do first, with its caution.
    pub first: &'static str,
    /// What to inspect.
    pub inspect: &'static str,
}

/// What a replay points to, in the order in which to look.
pub fn because(outcome: &Outcome) -> Vec<Because> {
    let answer = Answer::to(&outcome.asked, &outcome.evidence.rubs);
    let findings = answer.findings.iter().map(|finding| {
        let track = Track::of(&outcome.asked).filter(|_| finding.cause == Cause::OffCentre);
        let inspection = track.map_or_else(|| inspection(finding.cause), out_of_true);
        let title = match finding.place {
            Some(at) => format!("{}: {}", inspection.title, place(at)),
            None => inspection.title.to_owned(),
        };
        let (first, inspect) = (inspection.first, inspection.inspect);
        let figure = figure(finding.cause, &outcome.asked);
        Because { title, sureness: finding.sureness.words(), figure, first, inspect }
    });
    answer.cannot_tell.map(|group| together(&group)).into_iter().chain(findings).collect()
}

/// The figure that speaks for a cause, with what it is a figure of: beside a word of sureness a bare one would be read as how sure.
fn figure(cause: Cause, evidence: &Evidence) -> Option<String> {
    let percent = |clue: Clue| evidence.get(clue).map(|ppm| figures::percent(Ppm::new(ppm)));
    match cause {
        Cause::LaggingGone | Cause::WrongDiameters | Cause::HeadBuildup | Cause::BootBuildup => {
            let below_zero = evidence.get(Clue::SlipLeast).is_some_and(|least| least < 0);
            let words = if below_zero { "slip down to" } else { "slip never below" };
            percent(Clue::SlipLeast).map(|least| format!("{words} {least}"))
        }
        Cause::LaggingSlick | Cause::TakeUp | Cause::HeadPulleyLoose | Cause::Choke | Cause::BeltCaught => {
            percent(Clue::SlipAt).map(|slip| format!("slip {slip} then"))
        }
        Cause::Overload => evidence.get(Clue::PowerAt).map(|power| format!("power {} % of rated then", power / 10)),
        Cause::DriveSlow => percent(Clue::HeadSpeed).map(|speed| format!("head at {speed} of normal speed then")),
        _ => None,
    }
}

/// Causes that no signal tells apart, as one finding that stands before them.
fn together(group: &Group) -> Because {
    let names: Vec<&str> = group.causes.iter().map(|cause| cause.name()).collect();
    Because {
        title: format!("Signals do not tell these apart: {}", names.join(", ")),
        sureness: "one of these",
        figure: None,
        first: group.look,
        inspect: group.look,
    }
}
