//! The short way: a motion within every band in which nothing can change.
//!
//! After each scan the bands are drawn anew, and only where the leg runs at speed with nothing beyond a limit. Within
//! them a scan would find every condition as it was, so that only the moments of silence and the slip heat move on.

use super::cell::NEVER;
use super::reference::Reference;
use super::senses::microturns;
use super::speeds::{Open, Pace, Speeds, too_slow};
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
    /// When silence of each shaft leaves them; no time at all if its last edge does not lie within.
    head_until: Micros,
    boot_until: Micros,
}

/// From the limit below zero, given as a magnitude, up to the limit above: neither reached.
#[derive(Clone, Copy, Debug)]
struct Band {
    above: i32,
    below: i32,
}

keep!(Band { above, below });
keep!(Bands { drawn, slip, short, long, following, duty } fixed { head_until, boot_until });

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
    pub(super) const NONE: Self = Self {
        drawn: false,
        slip: false,
        short: Band::NONE,
        long: Band::NONE,
        following: Turns::ZERO,
        duty: i32::MIN,
        head_until: Micros::ZERO,
        boot_until: Micros::ZERO,
    };

    /// Whether the step from `old` to `new` lies within the bands at `now`; if so, when silence of head and boot will leave them.
    #[inline]
    pub(super) fn hold(
        &self,
        old: &Motion,
        new: &Motion,
        reference: &Reference,
        speeds: &Speeds,
        now: Micros,
    ) -> Option<(Micros, Micros)> {
        if !self.drawn {
            return None;
        }
        let boot = until_with(self.boot_until, &old.boot, &new.boot, &speeds.boot);
        let head =
            if self.slip { until_with(self.head_until, &old.head, &new.head, &speeds.head) } else { self.head_until };
        let holds = now < boot
            && (!self.slip
                || (now < head
                    && self.short.holds(&new.slip_short)
                    && self.long.holds(&new.slip_long)
                    && new.head_since_boot < self.following))
            && new.seen_ratio == old.seen_ratio
            && old.contacts.iter().zip(&new.contacts).all(|(old, new)| self.contact_holds(old, new))
            && new.head.pitch.is_none_or(|pitch| reference.agrees(&pitch));
        holds.then_some((head, boot))
    }

    fn contact_holds(&self, old: &ContactMotion, new: &ContactMotion) -> bool {
        new.rubbing_since.is_none()
            && old.rubbing_since.is_none()
            && new.state == old.state
            && new.duty.get() < self.duty
    }
}

/// Whether a shaft gave an edge, or one that was rejected, from `old` to `new`. Within the bands nothing else of it moves without.
const fn moved(old: &ShaftMotion, new: &ShaftMotion) -> bool {
    old.edges != new.edges || old.rejected != new.rejected
}

/// When silence of the shaft as it is `new` leaves the bands, if that of the `old` one did at `until`.
fn until_with(until: Micros, old: &ShaftMotion, new: &ShaftMotion, pace: &Pace) -> Micros {
    if new.distrust != old.distrust || new.pattern != old.pattern {
        Micros::ZERO
    } else if moved(old, new) {
        until_of(new, pace)
    } else {
        until
    }
}

/// When silence of the shaft leaves the bands: no time at all if its last pitch does not lie within.
fn until_of(shaft: &ShaftMotion, pace: &Pace) -> Micros {
    match (shaft.pitch, shaft.last_edge) {
        (Some(pitch), Some(since)) if shaft.next_largest > TurnFraction::ZERO && !too_slow(&pitch, pace.first) => {
            Open { since, largest: shaft.next_largest }.crossing(pace.first)
        }
        _ => Micros::ZERO,
    }
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
            head_until: self.until(&self.motion.head, &self.speeds.head),
            boot_until: self.until(&self.motion.boot, &self.speeds.boot),
        }
    }

    /// The same, and no time at all too if the last edge came before the last start: silence counts from that then.
    fn until(&self, shaft: &ShaftMotion, pace: &Pace) -> Micros {
        if shaft.last_edge < self.course.opened { Micros::ZERO } else { until_of(shaft, pace) }
    }

    /// Find again, after the rest was fetched, what is not kept of them.
    pub(super) fn draw_again(&mut self) {
        if self.bands.drawn {
            self.bands.head_until = self.until(&self.motion.head, &self.speeds.head);
            self.bands.boot_until = self.until(&self.motion.boot, &self.speeds.boot);
        }
    }

    /// Take a motion that lies within the bands.
    pub(super) fn glide(&mut self, motion: &Motion, (head, boot): (Micros, Micros), now: Micros) {
        self.bands.head_until = head;
        self.bands.boot_until = boot;
        self.motion.slip_short = motion.slip_short;
        self.motion.slip_long = motion.slip_long;
        self.motion.slipped = motion.slipped;
        self.motion.head_since_boot = motion.head_since_boot;
        // Duty does not move without the boot.
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
        self.silence = boot.min(if self.fitted.head { head } else { NEVER });
        self.find_due();
    }
}
