//! Limits on speed in the domain of time: how long a turn takes at the limit. One definition of a shaft's speed: its last pitch, closed
//! or still open. Nothing is divided when an edge comes.

use super::view::View;
use crate::arith::{divide, high};
use crate::settings::plan::ShaftPlan;
use crate::signals::{self, ShaftSignals};
use crate::time::{FAR, SWEEP, age};

/// One shaft as judge looks at it.
#[derive(Clone, Copy)]
pub struct Pitches<'a> {
    /// What measure knows of it.
    pub shaft: &'a ShaftSignals,
    /// Since when the open pitch counts: from its edge, or from the opening of the start if that was later. `None`: from never.
    since: Option<u32>,
    /// The largest angle the open pitch can have.
    largest: u32,
    /// Whether the closed pitch counts: what was measured while running down says nothing of the start.
    closed: bool,
    now: u32,
}

impl<'a> Pitches<'a> {
    /// Of a shaft, given when the last start opened.
    pub fn new(view: &View<'_>, shaft: &'a ShaftSignals, plan: &ShaftPlan, opened: Option<u32>) -> Self {
        let now = view.now.us();
        let edge = age(now, shaft.last_edge);
        let since_opened = opened.map_or(u32::MAX, |opened| age(now, opened));
        let since = match opened {
            Some(opened) if !shaft.is_seen() || since_opened < edge => Some(opened),
            _ if shaft.is_seen() => Some(shaft.last_edge),
            _ => None,
        };
        let known = shaft.is_seen() && shaft.next_largest > 0;
        Self {
            shaft,
            since,
            largest: if known { shaft.next_largest } else { plan.largest },
            closed: shaft.pitch != 0 && edge.saturating_add(shaft.pitch) <= since_opened,
            now,
        }
    }

    /// How long until silence makes the open pitch too long for a turn in `limit` microseconds: nothing once it is.
    pub fn silence(&self, limit: u32) -> u32 {
        self.since.map_or(SWEEP, |since| silence(since, self.largest, limit, self.now))
    }

    /// Whether there is an open pitch.
    pub const fn is_open(&self) -> bool {
        self.since.is_some()
    }

    /// Whether the open pitch is too long for the limit.
    pub fn is_silent(&self, limit: u32) -> bool {
        self.silence(limit) == 0
    }

    /// Whether the open pitch was too long for the limit when `edge` came.
    pub fn was_silent_before(&self, edge: u32, limit: u32) -> bool {
        let since = age(self.now, self.since.unwrap_or(self.now));
        let (longest, edge) = (high(self.largest, limit), age(self.now, edge));
        longest < FAR && since.saturating_sub(edge) > longest
    }

    /// Whether the closed pitch is surely slower than the limit.
    pub const fn too_slow(&self, limit: u32) -> bool {
        self.closed && self.shaft.too_slow(limit)
    }

    /// Whether the closed pitch is, by its best estimate, at least as fast as the limit.
    pub const fn fast_enough(&self, limit: u32) -> bool {
        self.closed && self.shaft.fast_enough(limit)
    }

    /// Whether there is a closed pitch that counts.
    pub const fn is_closed(&self) -> bool {
        self.closed
    }

    /// Loss of speed in ppm of `normal`; `None` where neither pitch says anything. For people, not for decisions.
    pub fn loss(&self, normal: u32) -> Option<i32> {
        let waited = self.since.map_or(0, |since| age(self.now, since));
        let bound = if waited > 0 { Some(signals::speed(self.largest, waited)) } else { None };
        let speed = match (self.shaft.speed().filter(|_| self.closed), bound) {
            (Some(measured), Some(bound)) => measured.min(bound),
            (one, other) => one.or(other)?,
        };
        let share = divide(u64::from(speed.get()).wrapping_mul(1_000_000), normal);
        Some(1_000_000_i32.saturating_sub(i32::try_from(share).unwrap_or(i32::MAX)))
    }
}

/// How long until a pitch that began at `since` and has at most the angle `largest` is too long for a turn in `limit` microseconds: one
/// microsecond beyond. What takes longer than ages are held counts as never.
#[inline(never)]
pub fn silence(since: u32, largest: u32, limit: u32, now: u32) -> u32 {
    let longest = high(largest, limit);
    if longest >= FAR { SWEEP } else { longest.wrapping_add(1).saturating_sub(age(now, since)) }
}
