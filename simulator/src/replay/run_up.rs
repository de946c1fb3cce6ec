//! The last seconds before the first-out, kept in a ring until it happens.

use std::collections::VecDeque;

use slackside::units::Micros;

use super::sample::Sample;

/// How far back it reaches.
const REACH_US: u64 = 11_000_000;
/// How far apart samples are kept at least.
const STEP_US: u64 = 25_000;

/// The last seconds before a moment.
#[derive(Clone, Debug, Default)]
pub struct RunUp {
    ring: VecDeque<Sample>,
    next: Micros,
    until: Option<Micros>,
}

impl RunUp {
    /// Whether a sample at `at` is wanted: not too soon after the one before, and none once the moment has come.
    #[must_use]
    pub fn wants(&self, at: Micros) -> bool {
        self.until.is_none() && at >= self.next
    }

    /// Take a sample and let go of what is too long ago.
    pub fn take(&mut self, sample: &Sample) {
        let oldest = sample.at.get().saturating_sub(REACH_US);
        // One sample older than the reach stays: it says what was so when the reach began.
        while self.ring.get(1).is_some_and(|second| second.at.get() < oldest) {
            self.ring.pop_front();
        }
        self.ring.push_back(*sample);
        self.next = Micros::new(sample.at.get().saturating_add(STEP_US));
    }

    /// The moment has come: `last` is what is known at it.
    pub fn end(&mut self, last: &Sample) {
        if self.until.is_none() {
            self.take(last);
            self.until = Some(last.at);
        }
    }

    /// The moment, once it has come.
    #[must_use]
    pub const fn until(&self) -> Option<Micros> {
        self.until
    }

    /// What was known `before_us` before the moment; `None` if the trace does not reach so far back.
    #[must_use]
    pub fn known_before(&self, before_us: u64) -> Option<&Sample> {
        let at = self.until?.get().checked_sub(before_us)?;
        self.ring.iter().rev().find(|sample| sample.at.get() <= at)
    }
}
