//! Sums of deviations that tell when a level has moved: Page 1954.

/// Half of the smallest move that matters, in deviations: a move of one deviation is found soonest.
pub const SLACK: f64 = 0.5;
/// The sum at which a move is told, in deviations. At 8 a level that does not move is said to have moved once in some 9,500 days, and one
/// that moved by one deviation is found after 16 (computed as in the tests, by the method of Brook and Evans 1972).
pub const DECISION: f64 = 8.0;

/// The two-sided tabular CUSUM.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cusum {
    slack: f64,
    decision: f64,
    up: f64,
    down: f64,
}

impl Cusum {
    /// A chart with this slack and decision interval, in deviations.
    #[must_use]
    pub const fn new(slack: f64, decision: f64) -> Self {
        Self { slack, decision, up: 0.0, down: 0.0 }
    }

    /// One more value, in deviations from the level. Whether the level has moved.
    pub fn moves(&mut self, value: f64) -> bool {
        self.up = (self.up + value - self.slack).max(0.0);
        self.down = (self.down - value - self.slack).max(0.0);
        self.up > self.decision || self.down > self.decision
    }
}
