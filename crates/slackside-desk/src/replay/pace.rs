//! How often speeds are drawn, and written.

use slackside::units::{Micros, Span};

/// Stretches kept at most; when they are full, neighbours are joined and each becomes twice as long.
pub(super) const STRETCHES: u64 = 1_024;
/// How long a stretch is at first.
const FIRST_WIDTH_US: u64 = 20_000;
/// So many samples in a stretch are enough.
const A_STRETCH: u64 = 4;

/// A trace as a fixed number of stretches of time, which grow with it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    start: Option<Micros>,
    width: u64,
    next: Micros,
}

impl Default for Pace {
    fn default() -> Self {
        Self { start: None, width: FIRST_WIDTH_US, next: Micros::ZERO }
    }
}

impl Pace {
    /// When the first stretch begins.
    pub const fn start(&self) -> Option<Micros> {
        self.start
    }

    /// How long each is, in microseconds.
    pub const fn width_us(&self) -> u64 {
        self.width
    }

    /// In which stretch `at` lies, each having been joined with its neighbour so many times.
    pub fn reach(&mut self, at: Micros) -> (usize, u32) {
        let since = at.get().saturating_sub(self.start.get_or_insert(at).get());
        let mut joined = 0;
        // A time far off would join forever; each joining doubles the width, so 64 are enough for any time.
        while since / self.width >= STRETCHES {
            self.width = self.width.saturating_mul(2);
            joined += 1;
        }
        ((since / self.width) as usize, joined)
    }

    /// Whether a sample of speeds at `at` is wanted.
    pub fn wants(&self, at: Micros) -> bool {
        at >= self.next
    }

    /// A sample was taken.
    pub fn took(&mut self, at: Micros) {
        self.next = Micros::new(at.get().saturating_add(self.width / A_STRETCH));
        self.reach(at);
    }
}

/// At most so often; zero: every time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Every {
    every: Span,
    next: Micros,
}

impl Every {
    pub const fn new(every: Span) -> Self {
        Self { every, next: Micros::ZERO }
    }

    /// Whether one at `at` is wanted.
    pub fn wants(&self, at: Micros) -> bool {
        at >= self.next
    }

    /// One was taken.
    pub fn took(&mut self, at: Micros) {
        self.next = at.after(self.every);
    }
}
