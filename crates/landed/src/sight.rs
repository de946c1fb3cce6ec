//! What measure hands to judge: motion, and the inputs that measure has no use for, each with its time.

use crate::input::{Command, Origin, Place};
use crate::motion::Motion;
use crate::units::{DeciCelsius, Micros, Ppm, Watts};

/// One thing judge is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen<'a> {
    /// When it is known. Never earlier than the one before.
    pub at: Micros,
    /// What it is.
    pub sight: Sight<'a>,
}

/// What judge can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sight<'a> {
    /// Something about the motion changed.
    Motion(&'a Motion),
    /// The drive contact.
    Drive(bool),
    /// Power at the head shaft.
    Power(Watts),
    /// The speed reference, of normal operating speed.
    Reference(Ppm),
    /// Temperature at a rub point.
    Temperature(Place, DeciCelsius),
    /// The outlet switch.
    Outlet(bool),
    /// A person's command.
    Command(Origin, Command),
    /// An input came late and was taken at the newest time instead.
    Late,
    /// No earlier input follows.
    Wake,
}
