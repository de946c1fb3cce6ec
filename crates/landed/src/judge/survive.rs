//! What goes into the value that survives a loss of power, and comes back out of it.

use super::cell::Cell;
use super::heat::Heat;
use super::{AlarmState, Condition, Judge};
use crate::settings::Limits;
use crate::survivor::Survivor;
use crate::units::Span;

impl Judge {
    /// Put back what survived: trips are latched, whatever caused them may be gone; bypasses have lapsed.
    #[inline(never)]
    pub(super) fn revive(&mut self, limits: &Limits, survivor: &Survivor) {
        for condition in Condition::ALL {
            let latched = survivor.latched.contains(condition);
            let state = if latched && survivor.acknowledged.contains(condition) {
                AlarmState::LatchedAcknowledged
            } else if latched {
                AlarmState::LatchedUnacknowledged
            } else if self.out_of_service.contains(condition) {
                AlarmState::OutOfService
            } else {
                AlarmState::Normal
            };
            self.set_state(condition, state);
            self.with_cell(condition, |cell| *cell = Cell { latches: latched, ..Cell::NEW });
        }
        self.status.first_out = survivor.first_out;
        self.status.boot_cleared_needed = survivor.boot_cleared_needed;
        self.starts = super::Window::new();
        self.start_ages.clone_from(&survivor.start_ages);
        self.heat = Heat::new(&limits.slip_heat, limits.of(Condition::SlipHeat), survivor.slip_heat);
    }

    /// What must survive a loss of power, as it stands now.
    #[must_use]
    #[inline(never)]
    pub fn survivor(&self) -> Survivor {
        let mut survivor = Survivor {
            first_out: self.status.first_out,
            boot_cleared_needed: self.status.boot_cleared_needed,
            slip_heat: self.heat.joules_at(self.newest),
            ..Survivor::default()
        };
        for condition in Condition::ALL {
            // Behind a bypass a latch is still a latch: bypasses lapse.
            let state = match self.state(condition) {
                AlarmState::Shelved if self.cell(condition).active => AlarmState::Unacknowledged,
                AlarmState::Shelved => self.people.before,
                state => state,
            };
            let latches = self.cell(condition).latches;
            if state.holds() && latches {
                survivor.latched = survivor.latched.with(condition);
                if matches!(state, AlarmState::Acknowledged | AlarmState::LatchedAcknowledged) {
                    survivor.acknowledged = survivor.acknowledged.with(condition);
                }
            }
        }
        if self.begun {
            let window = self.limits.starts.window;
            for end in self.starts.ends() {
                let left = end.since(self.newest);
                // There is room: both hold eight.
                let _ = survivor.start_ages.push(Span::new(window.get().saturating_sub(left.get())));
            }
        } else {
            survivor.start_ages.clone_from(&self.start_ages);
        }
        survivor
    }
}
