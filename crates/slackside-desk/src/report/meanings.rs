//! Every condition in plain language, from the list of conditions.

use slackside::conditions::Condition;

/// A condition for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meaning {
    /// A few words.
    pub title: &'static str,
    /// What it means, for someone new to the trade.
    pub sentence: &'static str,
}

/// What a condition means.
#[must_use]
pub const fn meaning(condition: Condition) -> Meaning {
    let entry = condition.entry();
    Meaning { title: entry.title, sentence: entry.meaning }
}
