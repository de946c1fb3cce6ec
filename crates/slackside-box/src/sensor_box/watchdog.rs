//! The watchdog outside, proven before a start. One that stays closed whatever the heart does is seen by nothing else, until it is needed.
//!
//! ```text
//!        both contacts seen open,        as long as it        its contact stayed open      as long again
//!   due ─────────────────────► holding ────────────► looking ─────────────────────► waking ─────────────► proven
//!                              the heart stands       the first relay is driven alone       the heart beats
//! ```
//!
//! Nothing is driven that judge does not give: the proof is made where the run permit is about to close, and the second relay, seen open,
//! keeps the starter's circuit open all the while. What takes the permit away in between begins it anew.

use slackside::units::{Micros, Span};

use crate::relay::SETTLE;

/// Where the proof stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    Proven,
    Due,
    Holding(Micros),
    Looking(Micros),
    Waking(Micros),
}

/// What is to be done meanwhile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Meanwhile {
    /// Nothing: the permit may close.
    Go,
    /// Both relays stay off.
    Wait,
    /// The first relay is driven alone: its contact must stay open.
    Look,
}

/// The proof.
#[derive(Clone, Copy, Debug)]
pub(super) struct WatchdogProof {
    /// How long the watchdog needs to open; `None`: it is not proven.
    opens_within: Option<Span>,
    step: Step,
}

impl WatchdogProof {
    pub(super) const NONE: Self = Self { opens_within: None, step: Step::Proven };

    /// From now on it is proven, at once for the first time.
    pub(super) const fn begin(&mut self, opens_within: Span) {
        self.opens_within = Some(opens_within);
        self.step = Step::Due;
    }

    /// The leg may have run since: prove it before the next start.
    pub(super) const fn due(&mut self) {
        if self.opens_within.is_some() {
            self.step = Step::Due;
        }
    }

    /// Whether the heart is to stand still.
    pub(super) const fn holds_the_heart(&self) -> bool {
        matches!(self.step, Step::Holding(_) | Step::Looking(_))
    }

    /// One round. `wanted`: the leg stands, and the run permit is to be given; `open`: each of its contacts was seen open.
    pub(super) fn round(&mut self, wanted: bool, open: bool, now: Micros) -> Meanwhile {
        let Some(opens_within) = self.opens_within else { return Meanwhile::Go };
        let has_gone = |since: Micros, span: Span| now.since(since) >= span;
        self.step = match self.step {
            Step::Proven => Step::Proven,
            _ if !wanted => Step::Due,
            Step::Due if open => Step::Holding(now),
            Step::Holding(_) if !open => Step::Due,
            Step::Holding(since) if has_gone(since, opens_within) => Step::Looking(now),
            Step::Looking(since) if has_gone(since, SETTLE) => Step::Waking(now),
            Step::Waking(since) if has_gone(since, opens_within) => Step::Proven,
            step => step,
        };
        match self.step {
            Step::Proven => Meanwhile::Go,
            Step::Looking(_) => Meanwhile::Look,
            Step::Due | Step::Holding(_) | Step::Waking(_) => Meanwhile::Wait,
        }
    }
}
