//! The answer of a study: what to set, what that buys, what is not known, a sentence each; and a line of its own, with the evidence,
//! for every stop that is let come later.

use super::choose::{Choice, cost, undecided};
use super::results::Rows;
use super::session::{held_out, none_held_out, tuned};
use super::study::Study;
use super::summary::{Summary, hours_words};
use crate::lines::counted;
use crate::report::Clock;

/// What comes first on page and terminal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// What to set.
    pub set: String,
    /// A line for each stop that is loosened.
    pub loosened: Vec<String>,
    /// What it buys.
    pub buys: String,
    /// What is not known.
    pub open: String,
}

impl Answer {
    /// Of a study.
    #[must_use]
    pub fn of(study: &Study, rows: &Rows, choice: &Choice) -> Self {
        let present = rows.get(&0).map(tuned);
        let own = tuned(&choice.row);
        Self {
            set: set(study, rows, choice),
            loosened: choice
                .loosened
                .iter()
                .map(|knob| loosened(study, choice, *knob, present.as_ref(), &own))
                .collect(),
            buys: buys(choice, present.as_ref(), &own),
            open: open(study, rows, choice, &own),
        }
    }

    /// Its lines, in order.
    pub fn lines(&self) -> impl Iterator<Item = &str> {
        let loosened = self.loosened.iter().map(String::as_str);
        std::iter::once(self.set.as_str()).chain(loosened).chain([self.buys.as_str(), self.open.as_str()])
    }
}

/// Names in a row: `a, b and c`.
fn joined(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn set(study: &Study, rows: &Rows, choice: &Choice) -> String {
    let all = study.knobs.len();
    if choice.moved.is_empty() {
        let others = counted(rows.len().saturating_sub(1) as u64, "other setting", "other settings");
        let limits =
            if all == 1 { "the limit as it stands".to_owned() } else { format!("all {all} limits as they stand") };
        return format!(
            "Leave {limits}: of {others} tried none does better on what is weighed than these traces can tell apart."
        );
    }
    let moves: Vec<String> = choice
        .moved
        .iter()
        .map(|number| {
            let knob = &study.knobs[*number];
            let (value, now) = (knob.text_at(&study.base, choice.levels[*number]), knob.present(&study.base));
            format!("{} to {value} {unit} (now {now} {unit})", knob.words(), unit = knob.unit())
        })
        .collect();
    let rest = match all - moves.len() {
        0 => String::new(),
        1 => "; leave the other limit as it stands".to_owned(),
        rest => format!("; leave the other {rest} limits as they stand"),
    };
    format!("Set {}{rest}.", joined(&moves))
}

fn loosened(study: &Study, choice: &Choice, number: usize, present: Option<&Summary>, own: &Summary) -> String {
    let knob = &study.knobs[number];
    let (families, failing) = own.failing_families();
    let slowest = own
        .after_due_s(1.0)
        .map_or_else(String::new, |slowest| format!(", the slowest {} of when it was due", Clock::difference(slowest)));
    let gain = present.map_or(0, |present| present.false_stops().saturating_sub(own.false_stops()));
    let unknown = match own.not_known {
        0 => String::new(),
        more => format!("; of {} the records do not tell", counted(more, "more stop", "more stops")),
    };
    format!(
        "This loosens a stop, {} from {} to {} {}. Evidence: with it {} of {} stops that had to come still came in time, in {} of {}{slowest}{unknown}; \
         it takes away {}.",
        knob.words(),
        knob.present(&study.base),
        knob.text_at(&study.base, choice.levels[number]),
        knob.unit(),
        own.needed - own.missed - own.late,
        own.needed,
        families - failing,
        counted(families, "family", "families"),
        counted(gain, "false stop", "false stops"),
    )
}

fn buys(choice: &Choice, present: Option<&Summary>, own: &Summary) -> String {
    let proof = held_out(&choice.row);
    let (of, whose) = if none_held_out(&choice.row) { (own, "tuned on") } else { (&proof, "held out") };
    let change = match present {
        Some(present) if !choice.moved.is_empty() => {
            format!("Against the limits as they stand: {}; ", cost(present, own))
        }
        _ => String::new(),
    };
    let quick = of.after_due_s(1.0).map_or_else(String::new, |slowest| {
        let (size, side) = (Clock::length_of_seconds(slowest.abs()), if slowest <= 0.0 { "before" } else { "after" });
        format!(", the slowest {size} {side} it was due")
    });
    let stops = if of.needed == 0 {
        format!("no trace {whose} tells of a stop that had to come")
    } else {
        let (families, _) = of.failing_families();
        format!(
            "{} of {} stops {whose} came in time, in {}{quick}",
            of.needed - of.missed - of.late,
            of.needed,
            counted(families, "family", "families")
        )
    };
    let healthy = if of.hours > 0.0 {
        let stops = counted(of.nuisance_stops, "nuisance stop", "nuisance stops");
        let alarms = counted(of.nuisance_alarms, "nuisance alarm", "nuisance alarms");
        format!("{} of healthy running {whose} had {stops} and {alarms}", hours_words(of.hours))
    } else {
        format!("no healthy running was {whose}")
    };
    let mut text = format!("{change}{stops}; {healthy}.");
    if let Some(first) = text.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    text
}

fn open(study: &Study, rows: &Rows, choice: &Choice, own: &Summary) -> String {
    let mut parts = Vec::new();
    if let Some(trade_off) = cannot_trade_off(rows) {
        parts.push(trade_off);
    }
    let proof = held_out(&choice.row);
    if none_held_out(&choice.row) {
        parts.push("nothing proves the choice, since no family is held out".to_owned());
    } else if proof.needed == 0 {
        parts.push("whether stops of another kind come in time, since no such family is held out".to_owned());
    } else {
        let (families, failing) = proof.failing_families();
        let most = super::stats::clopper_pearson(failing, families, 0.9).high * 100.0;
        let held = counted(families, "held-out family leaves", "held-out families leave");
        parts.push(format!("how other upsets go, of which {held} open that up to {most:.0} % fail (95 % sure)"));
    }
    if own.not_known + proof.not_known > 0 {
        let stops = counted(own.not_known + proof.not_known, "stop", "stops");
        parts.push(format!(
            "what becomes of {stops}, because the feed had been dropped or the recorded leg was stopped before"
        ));
    }
    if own.maybe_false + proof.maybe_false > 0 {
        let stops = counted(own.maybe_false + proof.maybe_false, "stop", "stops");
        parts.push(format!(
            "whether {stops} that nothing called for would have come, because the feed had been dropped before"
        ));
    }
    let undecided = (0..study.knobs.len()).filter(|knob| undecided(study, choice, *knob).is_some()).count();
    if undecided > 0 {
        let limits = counted(undecided as u64, "limit, which these traces do not", "limits, which these traces do not");
        parts.push(format!("the best value of {limits} decide"));
    }
    format!("Not known: {}.", parts.join("; "))
}

/// Where no setting tried is too quick, the traces cannot say what quickness costs; and what data would.
#[must_use]
pub fn cannot_trade_off(rows: &Rows) -> Option<String> {
    let all = || rows.values().map(tuned);
    if all().any(|summary| summary.false_stops() > 0) {
        return None;
    }
    let hours = all().map(|summary| summary.hours).fold(0.0, f64::max);
    let heard = if all().any(|summary| summary.annoyances() > 0) { "stops for nothing" } else { "gives any nuisance" };
    Some(format!(
        "what quickness costs: these traces cannot trade off, since no setting tried {heard} in {} of healthy running; hours of the \
         leg at its hardest would tell (slugs of feed, full starts, sagging mains, wet grain: recordings, or a [[population]])",
        hours_words(hours)
    ))
}
