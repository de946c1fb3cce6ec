//! The evidence: a fixed list of questions, each answered for a trace by a whole number or by "unknown".
//!
//! It is reckoned while a trace passes through the very core ([`Witness`]), for the moment that counts: the first stop, or the first
//! alarm where nothing stopped, or the end where nothing was said. Nothing is decided by it.

mod after;
mod borne;
mod entries;
mod reckon;
mod rubs;
mod ruled;
mod seconds;
mod shaft;
mod witness;

pub use entries::{Clue, Entry};
pub use ruled::{GRIP_LOST, LAGGING_LOST};
pub use witness::Witness;

use slackside::conditions::Condition;

/// How a condition stands in the evidence: not raised, raised before the moment or with it, raised within the half minute after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Raised {
    /// Not raised.
    #[default]
    No,
    /// Up to a second after the moment.
    With,
    /// Later.
    After,
}

/// The answers for one trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence {
    answers: [Option<i32>; Clue::COUNT],
    /// What stopped the leg, or the first alarm.
    pub first: Option<Condition>,
    /// Every condition, in order of rank.
    pub raised: [Raised; Condition::COUNT],
}

impl Default for Evidence {
    fn default() -> Self {
        Self { answers: [None; Clue::COUNT], first: None, raised: [Raised::No; Condition::COUNT] }
    }
}

impl Evidence {
    /// The answer to a question; `None` is "unknown".
    #[must_use]
    pub const fn get(&self, clue: Clue) -> Option<i32> {
        self.answers[clue as usize]
    }

    /// Answer a question.
    pub const fn set(&mut self, clue: Clue, answer: Option<i32>) {
        self.answers[clue as usize] = answer;
    }

    /// Nothing was alarmed: nothing is to be explained.
    #[must_use]
    pub const fn is_quiet(&self) -> bool {
        self.first.is_none()
    }
}
