//! What a piece of work takes, by the clock and of the processor.

use std::time::{Duration, Instant};

use cpu_time::ProcessTime;

/// What it took. Less is what took less by the clock.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Took {
    /// By the clock.
    pub clock: Duration,
    /// Of the processor, all threads together: whatever else ran on the machine.
    pub processor: Duration,
}

impl Took {
    /// Of this work.
    pub fn of(work: impl FnOnce()) -> Self {
        let (began, before) = (Instant::now(), ProcessTime::now());
        work();
        Self { clock: began.elapsed(), processor: before.elapsed() }
    }
}
