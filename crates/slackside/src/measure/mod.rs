//! Measure knows geometry and sensors, nothing of limits.

use crate::input::Input;
use crate::motion::Motion;
use crate::settings::Checked;
use crate::sight::Seen;
use crate::units::Micros;

/// Turns inputs into motion.
#[derive(Clone, Debug)]
pub struct Measure {
    motion: Motion,
}

impl Measure {
    /// A measure without settings: sees nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { motion: Motion::NONE }
    }

    /// Take the machine, and start afresh.
    pub fn configure(&mut self, _settings: &Checked) {}

    /// Settle what fell due before the input, then take the input; tell `tell` of every change in order of time.
    pub fn observe(&mut self, _input: Input, mut _tell: impl FnMut(Seen<'_>)) {}

    /// When an edge now waiting for its minimum width will count, or a bridged rub will end.
    #[must_use]
    pub const fn next_deadline(&self) -> Option<Micros> {
        None
    }

    /// What is known now.
    #[must_use]
    pub const fn motion(&self) -> &Motion {
        &self.motion
    }
}
