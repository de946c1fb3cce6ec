//! What the box says of itself, for whoever holds it: nothing here changes anything.

use slackside::settings::plan::Plan;
use slackside::units::Micros;

use super::{BoxMonitor, Nameplate, SensorBox, Verdicts};
use crate::events::EventLog;
use crate::fault::Faults;

impl<I, O, A, F, const MARKS: usize> SensorBox<'_, I, O, A, F, MARKS> {
    /// Who it is.
    #[must_use]
    pub const fn nameplate(&self) -> Nameplate {
        self.nameplate
    }

    /// The leg's name; empty without settings.
    #[must_use]
    pub fn leg(&self) -> &str {
        self.monitor.plan().map_or("", Plan::leg_name)
    }

    /// The identity of the settings in force, if there are any.
    #[must_use]
    pub const fn settings_identity(&self) -> Option<u32> {
        self.armed.identity
    }

    /// When the main loop last came round; `None` before the first round.
    #[must_use]
    pub const fn polled(&self) -> Option<Micros> {
        self.polled
    }

    /// How often it was switched on.
    #[must_use]
    pub const fn session(&self) -> u32 {
        self.memory.session
    }

    /// Every fault, present or waiting for a reset.
    #[must_use]
    pub const fn faults(&self) -> Faults {
        self.book.all()
    }

    /// The flash, for a test to break.
    #[cfg(feature = "bench")]
    pub fn flash_mut(&mut self) -> &mut F {
        &mut self.memory.flash
    }

    /// Switch off: what is left is the flash.
    #[cfg(feature = "bench")]
    pub fn into_flash(self) -> F {
        self.memory.flash
    }

    /// The newest verdicts.
    #[must_use]
    pub const fn verdicts(&self) -> &Verdicts {
        &self.verdicts
    }

    /// What the box did, beside verdicts.
    #[must_use]
    pub const fn events(&self) -> &EventLog {
        &self.events
    }

    /// The monitor: what it knows and what it holds.
    #[must_use]
    pub const fn monitor(&self) -> &BoxMonitor<MARKS> {
        self.monitor
    }
}
