//! Stand-in.
use core::ops::Deref;

use super::plan::Plan;

/// A plan found sound.
#[derive(Clone, Copy, Debug)]
pub struct Sound<P>(P);

/// Which row is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Broken(pub u16);

impl<P: Deref<Target = Plan>> Sound<P> {
    /// Check it.
    ///
    /// # Errors
    /// Never yet.
    pub fn new(plan: P) -> Result<Self, Broken> {
        Ok(Self(plan))
    }
}

impl<P: Deref<Target = Plan>> Deref for Sound<P> {
    type Target = Plan;

    fn deref(&self) -> &Plan {
        &self.0
    }
}
