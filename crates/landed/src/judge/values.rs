//! The value and the detail that go with an alarm's change.
//!
//! Detail is: the place of a contact or rub point (0 to 3), the bits of distrust, 1 missing or 2 extra target, 1 for a
//! ratio below the one in force (as when lagging is gone) and 2 above, 1 with the drive on and 2 with it off for both
//! shafts silent, 1 for a speed reference that does not come and 0 for one that cannot be right; for the drive contact 1
//! changing too often, 2 off though the belt is driven; else 0.

use super::{Condition, Judge};
use crate::input::Place;
use crate::motion::TargetPattern;
use crate::units::Micros;
use crate::verdict::Phase;

impl Judge {
    pub(super) fn value(&self, condition: Condition, now: Micros) -> (Option<i32>, u8) {
        let (head, boot) = (&self.motion.head, &self.motion.boot);
        let short = self.motion.slip_short.reading.ppm();
        let long = self.motion.slip_long.reading.ppm();
        let boot_loss = || super::speeds::loss(self.open_boot(), self.closed_boot(), self.speeds.boot.normal, now);
        let at_place =
            |worst: Option<(i32, Place)>| (worst.map(|(value, _)| value), worst.map_or(0, |(_, place)| place as u8));
        let wrong = self.cell(condition).beyond;
        let flag = (Some(i32::from(wrong)), 0);
        match condition {
            Condition::BeltNotFollowing => {
                // 2^-32 turn to millionths: the whole is far below 2^44 turns.
                let turns = self.motion.head_since_boot.get();
                let part = (turns & 0xFFFF_FFFF).wrapping_mul(1_000_000) >> 32;
                let turned = (turns >> 32).wrapping_mul(1_000_000).wrapping_add(part);
                (Some(i32::try_from(turned).unwrap_or(i32::MAX)), 0)
            }
            Condition::SlipVeryHigh => (short.map(|slip| slip.get()), 0),
            Condition::SlipHigh => (long.map(|slip| slip.get()), 0),
            Condition::SlipImpossible => (short.map(|slip| slip.get().saturating_neg()), 0),
            Condition::SlipNegative => (long.map(|slip| slip.get().saturating_neg()), 0),
            Condition::SlipHeat => (Some(self.heat.ppm_at(now).get()), 0),
            Condition::DeepUnderspeed | Condition::Underspeed | Condition::NoMotion => (boot_loss(), 0),
            Condition::HeadUnderspeed => {
                (super::speeds::loss(self.open_head(), self.closed_head(), self.speeds.head.normal, now), 0)
            }
            Condition::StartFailed => {
                let took = self.course.opened.map(|opened| now.since(opened).get() / 1_000);
                (took.and_then(|took| i32::try_from(took).ok()), 0)
            }
            Condition::TooManyStarts => (Some(self.starts.count()), 0),
            Condition::EdgesAtRest => (i32::try_from(self.rest.edges_of_one(head, boot)).ok(), 0),
            Condition::Mistracking | Condition::MistrackingSustained => {
                let rub = self.longest_rub(now);
                at_place(rub.map(|(dwell, place)| (i32::try_from(dwell / 1_000).unwrap_or(i32::MAX), place)))
            }
            Condition::MistrackingDuty => at_place(self.worst_duty()),
            Condition::RubHot => at_place(self.hottest()),
            Condition::RatioShifted => {
                let shift = self.ratio_shift();
                let side = shift.map_or(0, |shift| if shift < 0 { 1 } else { 2 });
                (shift.map(i32::saturating_abs), side)
            }
            Condition::HeadSensorFault => (flag.0, head.distrust.bits()),
            Condition::BootSensorFault => (flag.0, boot.distrust.bits()),
            Condition::HeadTargets => (flag.0, pattern(head.pattern)),
            Condition::BootTargets => (flag.0, pattern(boot.pattern)),
            Condition::BothSilent => (flag.0, if self.status.phase == Phase::CoastDown { 2 } else { 1 }),
            Condition::SlipUnknown => {
                let lasts = self.unknown_since.map(|since| now.since(since).get() / 1_000);
                (lasts.and_then(|lasts| i32::try_from(lasts).ok()), 0)
            }
            Condition::ContactFault => (flag.0, self.faulty_contact().map_or(0, |place| place as u8)),
            Condition::TimeBaseFault => (Some(self.lates.count()), 0),
            Condition::ReferenceFault => (flag.0, u8::from(self.reference.is_missing(now))),
            Condition::DriveContactFault => (flag.0, if self.contact_chatters(now) { 1 } else { u8::from(wrong) << 1 }),
            Condition::PermitBypassed
            | Condition::Rollback
            | Condition::OutletPlugged
            | Condition::HeadSilent
            | Condition::SettingsFault
            | Condition::ResetHeld
            | Condition::BypassActive => flag,
        }
    }
}

const fn pattern(pattern: TargetPattern) -> u8 {
    match pattern {
        TargetPattern::Whole => 0,
        TargetPattern::Missing => 1,
        TargetPattern::Extra => 2,
        TargetPattern::Moved => 3,
    }
}
