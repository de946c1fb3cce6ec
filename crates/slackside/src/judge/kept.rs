//! Judge as bytes.

use super::{AlarmState, Condition, Judge, Status};
use crate::record::keep::{keep, keep_one_of};
use crate::verdict::Phase;

keep_one_of!(AlarmState:
    AlarmState::Normal,
    AlarmState::Unacknowledged,
    AlarmState::Acknowledged,
    AlarmState::ReturnedUnacknowledged,
    AlarmState::LatchedUnacknowledged,
    AlarmState::LatchedAcknowledged,
    AlarmState::Shelved,
    AlarmState::Suppressed,
    AlarmState::OutOfService,
);
keep_one_of!(Phase:
    Phase::Unsure,
    Phase::Standstill,
    Phase::Starting,
    Phase::Running,
    Phase::CoastDown,
    Phase::Inching,
);
keep!(Status { run_permit, feed_permit, phase, first_out, boot_cleared_needed, alarms });
keep!(Judge { status });

impl crate::record::keep::Keep for Option<Condition> {
    fn keep(&self, pen: &mut crate::record::keep::Pen<'_>) {
        // 0 stands for none.
        pen.varint(self.map_or(0, |condition| (condition.index() as u64).wrapping_add(1)));
    }

    fn fetch(&mut self, page: &mut crate::record::keep::Page<'_>) -> Result<(), crate::record::keep::Unreadable> {
        *self = match page.varint()?.checked_sub(1) {
            None => None,
            Some(index) => {
                let index = usize::try_from(index).unwrap_or(usize::MAX);
                Some(Condition::ALL.get(index).copied().ok_or(crate::record::keep::Unreadable)?)
            }
        };
        Ok(())
    }
}
