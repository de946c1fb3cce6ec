//! One shaft's speed as limits see it: its last pitch, closed or still open, counted from the opening of the start if that was later.

use slackside::settings::plan::ShaftPlan;
use slackside::signals::ShaftSignals;
use slackside::time::FAR;

/// `a * b / 2^32`.
pub fn share(a: u32, b: u32) -> u64 {
    (u64::from(a) * u64::from(b)) >> 32
}

/// `a * b / c`, held at the most a word holds.
pub fn ratio(a: u64, b: u64, c: u64) -> u64 {
    (u128::from(a) * u128::from(b)).checked_div(c.into()).map_or(u32::MAX.into(), |of| of.min(u32::MAX.into()) as u64)
}

/// A shaft at one moment.
#[derive(Clone, Copy)]
pub struct Speed<'a> {
    pub shaft: &'a ShaftSignals,
    /// How long the open pitch has lasted, if there is one.
    pub open: Option<u64>,
    /// The largest angle it can have.
    pub largest: u32,
    /// How long ago the newest edge was.
    pub edge: u64,
    /// Whether the closed pitch lies wholly after the opening of the start.
    pub closed: bool,
}

impl<'a> Speed<'a> {
    pub fn new(shaft: &'a ShaftSignals, plan: &ShaftPlan, now: u64, opened: Option<u64>) -> Self {
        let edge = u64::from((now as u32).wrapping_sub(shaft.last_edge));
        let open = match (shaft.is_seen(), opened) {
            (true, Some(opened)) => Some(edge.min(now - opened)),
            (true, None) => Some(edge),
            (false, opened) => opened.map(|opened| now - opened),
        };
        let largest = if shaft.is_seen() && shaft.next_largest != 0 { shaft.next_largest } else { plan.largest };
        let closed = shaft.pitch != 0 && opened.is_none_or(|opened| edge + u64::from(shaft.pitch) <= now - opened);
        Self { shaft, open, largest, edge, closed }
    }

    /// Whether silence alone says that a turn takes longer than `turn` microseconds.
    pub fn is_silent(&self, turn: u32) -> bool {
        let longest = share(self.largest, turn);
        longest < FAR.into() && self.open.is_some_and(|open| open > longest)
    }

    /// Whether it did when something happened that long ago.
    pub fn was_silent(&self, ago: u64, turn: u32) -> bool {
        let longest = share(self.largest, turn);
        longest < FAR.into() && self.open.is_some_and(|open| open.saturating_sub(ago) > longest)
    }

    /// Whether the last pitch was surely slower than a turn in `turn` microseconds.
    pub fn is_slow(&self, turn: u32) -> bool {
        self.closed && u64::from(self.shaft.pitch) > share(self.shaft.pitch_largest, turn)
    }

    /// Whether it was as fast, by the best estimate.
    pub fn is_fast(&self, turn: u32) -> bool {
        self.closed && u64::from(self.shaft.pitch) <= share(self.shaft.pitch_angle, turn)
    }

    /// Loss of speed in ppm of `normal` microturns a second.
    pub fn loss(&self, normal: u32) -> Option<i32> {
        // In nanoturns a microsecond, times a million; held at the most a word holds.
        let speed = |angle: u32, time: u64| {
            let nanoturns = (u64::from(angle) * 1_000_000_000 + (1 << 31)) >> 32;
            ratio(nanoturns, 1_000, time)
        };
        let measured = self.closed.then(|| speed(self.shaft.pitch_angle, self.shaft.pitch.into()));
        let bound = self.open.filter(|open| *open > 0).map(|open| speed(self.largest, open.min(FAR.into())));
        let least = measured.into_iter().chain(bound).min()?;
        let share = ratio(least, 1_000_000, normal.into());
        Some(1_000_000 - i32::try_from(share).unwrap_or(i32::MAX))
    }
}
