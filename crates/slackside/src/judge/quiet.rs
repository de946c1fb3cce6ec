//! The short way: a motion within every band in which nothing can change.
//!
//! After each scan the bands are drawn anew, and only where the leg runs at speed with nothing beyond a limit. Within
//! them a scan would find every condition as it was, so that only the moments of silence and the slip heat move on.

use super::cell::NEVER;
use super::reference::Reference;
use super::senses::microturns;
use super::speeds::{Open, Pace, Speeds, pitch_time, too_slow};
use super::{Condition, ConditionSet, Judge};
use crate::input::Place;
use crate::motion::{ContactMotion, Motion, ShaftMotion, Slip, SlipReading};
use crate::record::keep::keep;
use crate::units::{Micros, TurnFraction, Turns};
use crate::verdict::Phase;

/// What must be right for the bands to be drawn: the conditions that every motion may change.
const WATCHED: ConditionSet = ConditionSet::of(&[
    Condition::BeltNotFollowing,
    Condition::SlipVeryHigh,
    Condition::SlipHigh,
    Condition::SlipImpossible,
    Condition::SlipNegative,
    Condition::DeepUnderspeed,
    Condition::Underspeed,
    Condition::NoMotion,
    Condition::HeadUnderspeed,
    Condition::Mistracking,
    Condition::MistrackingDuty,
    Condition::MistrackingSustained,
    Condition::HeadSilent,
    Condition::BothSilent,
    Condition::ReferenceFault,
]);

/// The bands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bands {
    drawn: bool,
    /// Both shafts are fitted, so slip must be known and within its bands.
    slip: bool,
    short: Band,
    long: Band,
    following: Turns,
    duty: i32,
}

/// From the limit below zero, given as a magnitude, up to the limit above: neither reached.
#[derive(Clone, Copy, Debug)]
struct Band {
    above: i32,
    below: i32,
}

keep!(Band { above, below });
keep!(Bands { drawn, slip, short, long, following, duty });

impl Band {
    const NONE: Self = Self { above: i32::MIN, below: i32::MIN };

    const fn holds(self, slip: &Slip) -> bool {
        match slip.reading {
            SlipReading::Known(ppm) => ppm.get() < self.above && ppm.get().saturating_neg() < self.below,
            _ => false,
        }
    }
}

impl Bands {
    pub(super) const NONE: Self =
        Self { drawn: false, slip: false, short: Band::NONE, long: Band::NONE, following: Turns::ZERO, duty: i32::MIN };

    /// Whether the step from `old` to `new` lies within the bands at `now`.
    pub(super) fn hold(&self, old: &Motion, new: &Motion, reference: &Reference, speeds: &Speeds, now: Micros) -> bool {
        self.drawn
            && shaft_holds(&old.boot, &new.boot, &speeds.boot, now)
            && (!self.slip
                || (shaft_holds(&old.head, &new.head, &speeds.head, now)
                    && self.short.holds(&new.slip_short)
                    && self.long.holds(&new.slip_long)
                    && new.head_since_boot < self.following))
            && new.seen_ratio == old.seen_ratio
            && old.contacts.iter().zip(&new.contacts).all(|(old, new)| self.contact_holds(old, new))
            && new.head.pitch.is_none_or(|pitch| reference.agrees(&pitch))
    }

    fn contact_holds(&self, old: &ContactMotion, new: &ContactMotion) -> bool {
        new.rubbing_since.is_none()
            && old.rubbing_since.is_none()
            && new.state == old.state
            && new.duty.get() < self.duty
    }
}

fn shaft_holds(old: &ShaftMotion, new: &ShaftMotion, pace: &Pace, now: Micros) -> bool {
    let (Some(pitch), Some(edge)) = (new.pitch, new.last_edge) else { return false };
    new.distrust == old.distrust
        && new.pattern == old.pattern
        && new.next_largest > TurnFraction::ZERO
        && !too_slow(&pitch, pace.first)
        && now.get().saturating_sub(edge.get()) <= pitch_time(new.next_largest, pace.first)
}

impl Judge {
    pub(super) fn bands_now(&self) -> Bands {
        let quiet = self.status.phase == Phase::Running
            && self.course.at_speed
            && self.unknown_since.is_none()
            && self.cells.beyond.and(WATCHED).is_empty()
            && self.fitted.boot;
        if !quiet {
            return Bands::NONE;
        }
        // What is out of service bounds nothing.
        let setpoint = |condition| {
            if self.out_of_service.contains(condition) { i32::MAX } else { self.limits.of(condition).setpoint }
        };
        Bands {
            drawn: true,
            slip: self.fitted.head,
            short: Band { above: setpoint(Condition::SlipVeryHigh), below: setpoint(Condition::SlipImpossible) },
            long: Band { above: setpoint(Condition::SlipHigh), below: setpoint(Condition::SlipNegative) },
            following: microturns(setpoint(Condition::BeltNotFollowing)),
            duty: setpoint(Condition::MistrackingDuty),
        }
    }

    /// Take a motion that lies within the bands.
    pub(super) fn glide(&mut self, motion: &Motion, now: Micros) {
        self.motion.slip_short = motion.slip_short;
        self.motion.slip_long = motion.slip_long;
        self.motion.slipped = motion.slipped;
        self.motion.head_since_boot = motion.head_since_boot;
        // Within the bands nothing else of a shaft moves without one of these, and duty not without the boot.
        let moved = |old: &ShaftMotion, new: &ShaftMotion| old.edges != new.edges || old.rejected != new.rejected;
        if moved(&self.motion.boot, &motion.boot) {
            self.motion.boot = motion.boot;
            let contacts: &mut [ContactMotion; Place::COUNT] = &mut self.motion.contacts;
            for (kept, new) in contacts.iter_mut().zip(&motion.contacts) {
                kept.duty = new.duty;
                kept.count = new.count;
            }
        }
        if moved(&self.motion.head, &motion.head) {
            self.motion.head = motion.head;
        }
        // Power and drive are as they were at the last step: only slip can have changed what goes in.
        if let Some(slip) = motion.slip_short.reading.ppm().filter(|slip| slip.get() != self.heat_slip) {
            self.heat_slip = slip.get();
            self.feed_heat(now);
        }
        let first = |open: Option<Open>, pace: &Pace| open.map_or(NEVER, |open| open.crossing(pace.first));
        let head = if self.fitted.head { first(self.open_head(), &self.speeds.head) } else { NEVER };
        self.silence = head.min(first(self.open_boot(), &self.speeds.boot));
        self.find_due();
    }
}
