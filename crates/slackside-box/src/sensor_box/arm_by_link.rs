//! Arming by a link: challenge, tag, and a press at the box.
//!
//! ```text
//!        asks, once a second at the most           a right tag           acknowledge held for 4 to 10 s
//!  idle ────────────────────────────────► asked ──────────────► waiting ─────────────────────────────────► confirmed
//!        a minute, or any tag ◄─────────────┘     a minute, or the key off ◄──┘
//! ```

use slackside::units::{Micros, Span};
use slackside::wire::{Challenge, Reason};

use crate::arming::{BoxKey, Seal};

/// A challenge is given so often at the most.
const ASK_EVERY: Span = Span::from_millis(1_000);
/// A challenge counts for so long, and a plan waits so long for a person.
const PATIENCE: Span = Span::from_millis(60_000);
/// How long acknowledge is held to confirm: longer than any press that acknowledges or resets.
const HELD: core::ops::RangeInclusive<Span> = Span::from_millis(4_000)..=Span::from_millis(10_000);
/// How long the alarm output stays on, and off, while a plan waits.
const BLINK: u64 = 500_000;

/// What waits for a person, checked already.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    pub(super) challenge: Challenge,
    pub(super) identity: u32,
    pub(super) seal: Seal,
    since: Micros,
    /// Since when acknowledge is held that was pressed while waiting.
    held: Option<Micros>,
    pub(super) confirmed: bool,
}

/// How far arming by a link has come.
#[derive(Clone, Copy, Debug)]
pub(super) struct ArmByLink {
    pub(super) key: Option<BoxKey>,
    /// The number of this power-up; without one there are no challenges.
    power_up: Option<u32>,
    counter: u32,
    /// When the newest challenge was asked for, and whether it still counts.
    asked: Option<Micros>,
    counts: bool,
    pub(super) waiting: Option<Waiting>,
}

impl ArmByLink {
    pub(super) const fn new(key: Option<BoxKey>, power_up: Option<u32>) -> Self {
        Self { key, power_up, counter: 0, asked: None, counts: false, waiting: None }
    }

    /// A new challenge; the one before counts no more.
    pub(super) fn ask(&mut self, now: Micros) -> Result<Challenge, Reason> {
        if self.key.is_none() {
            return Err(Reason::NoKey);
        }
        let power_up = self.power_up.ok_or(Reason::Memory)?;
        if self.asked.is_some_and(|asked| now.since(asked) < ASK_EVERY) {
            return Err(Reason::TooOften);
        }
        // Never the same twice: a box that gave out all of them gives no more.
        self.counter = self.counter.checked_add(1).ok_or(Reason::Memory)?;
        self.asked = Some(now);
        self.counts = true;
        Ok(Challenge { power_up, counter: self.counter })
    }

    /// The key, and the challenge that a tag must be made over; it counts no more after this.
    pub(super) fn take(&mut self, now: Micros) -> Result<(BoxKey, Challenge), Reason> {
        let key = self.key.ok_or(Reason::NoKey)?;
        let power_up = self.power_up.ok_or(Reason::Memory)?;
        let fresh = self.asked.is_some_and(|asked| now.since(asked) <= PATIENCE);
        if core::mem::take(&mut self.counts) && fresh {
            Ok((key, Challenge { power_up, counter: self.counter }))
        } else {
            Err(Reason::NoChallenge)
        }
    }

    /// A plan waits from now on.
    pub(super) const fn wait(&mut self, challenge: Challenge, identity: u32, seal: Seal, now: Micros) {
        self.waiting = Some(Waiting { challenge, identity, seal, since: now, held: None, confirmed: false });
    }

    /// One round: acknowledge went down or up, and the key.
    pub(super) fn round(&mut self, acknowledge: Option<bool>, key_on: bool, now: Micros) {
        let Some(waiting) = &mut self.waiting else { return };
        if !key_on || now.since(waiting.since) > PATIENCE {
            self.waiting = None;
            return;
        }
        match acknowledge {
            Some(true) => waiting.held = Some(now),
            Some(false) => {
                let held = waiting.held.take().map(|since| now.since(since));
                waiting.confirmed |= held.is_some_and(|held| HELD.contains(&held));
            }
            None => {}
        }
    }

    /// What the alarm output shows instead while a plan waits: it blinks.
    pub(super) fn shows(&self, well: bool, now: Micros) -> bool {
        if self.waiting.is_some() { now.get().checked_rem(2 * BLINK).is_some_and(|at| at < BLINK) } else { well }
    }
}
