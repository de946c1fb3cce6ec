//! What each condition looks at, and when that may change by itself. Pure functions of what is known and the time.
//!
//! | condition | beyond when | not judged |
//! |---|---|---|
//! | belt not following | head angle since the last boot edge at the setpoint | at rest |
//! | slip very high, impossible | slip over one turn, upwards or below zero | at rest, drive off |
//! | slip high, negative | slip over four turns, upwards or below zero | at rest, drive off |
//! | deep underspeed, underspeed, no motion | boot's last pitch, closed or open, against normal | at rest, drive off; suppressed while starting or inching |
//! | head underspeed | the same at the head | the same |
//! | start failed | the start time was up before the belt was at speed | |
//! | too many starts | more starts in the window than allowed; right again once fewer | |
//! | rollback | drive off: both shafts turn from standstill (two edges each), or every fitted shaft gets 1.5 times faster for two pitches, above twice the standstill speed | drive on |
//! | edges at rest | so many edges of one shaft at standstill; forgotten after 10 s without | turning |
//! | mistracking, sustained | the longest rub, chatter bridged | |
//! | head silent | the head gave no edge for three pitches at half speed, then the boot gave one at a third of its speed or more | at rest, drive off |
//! | both silent (1) | both shafts' last pitch at 80 % of normal or more, and neither gave an edge for 1.6 pitches | at rest |
//! | both silent (2) | the same with the drive off, sooner than half the shortest run-down known | |
//! | slip unknown | no slip over one turn for so long | not running |
//! | drive contact fault | more than four changes in two seconds, more than ten in ten seconds unless inching, the belt still at speed ten seconds after the drive went off, or edges a minute after it | |
//! | permit bypassed | the drive came on while the run permit was dropped, and is on; without a drive contact: the head turned from standstill then, and its last pitch is at 80 % of normal or more | |
//!
//! Slip that is not known leaves its condition as it was: a delay runs on, what was beyond stays beyond. A lower limit
//! of slip counts as slip upwards; below zero it can only clear.

use super::cell::{NEVER, Sense};
use super::course::{LONGEST_COAST_DOWN, STILL_DRIVEN};
use super::people::held_from;
use super::ratio;
use super::speeds::{self, Open, closed, fast_enough, too_slow};
use super::{Condition, ConditionSet, Judge, Mode};
use crate::input::{ContactState, Place};
use crate::math::divide;
use crate::motion::{Pitch, SlipReading, TargetPattern};
use crate::settings::Checked;
use crate::units::{Micros, Ppm, Span, Turns};
use crate::verdict::Phase;

/// Late inputs are counted over a minute, up to sixteen: a larger setpoint counts as sixteen.
pub(super) const LATE_WINDOW: Span = Span::from_millis(60_000);
const LATES: i32 = 16;
/// Starts are counted up to eight: a larger allowance counts as seven.
const STARTS: i32 = 7;
/// A block in which slip varied more says nothing of the ratio.
pub(super) const STEADY: Ppm = Ppm::new(3_000);

/// The last pitch of each shaft, closed and open: worked out once for all conditions that look at it.
pub(super) struct Pitches {
    open_head: Option<Open>,
    closed_head: Option<Pitch>,
    open_boot: Option<Open>,
    closed_boot: Option<Pitch>,
}

/// What the design may suppress: see [`Judge::mode`].
pub(super) const SUPPRESSIBLE: [Condition; 4] =
    [Condition::DeepUnderspeed, Condition::Underspeed, Condition::NoMotion, Condition::HeadUnderspeed];

/// Whether the condition's own deadline moves with every edge.
pub(super) const fn follows_silence(condition: Condition) -> bool {
    matches!(
        condition,
        Condition::DeepUnderspeed
            | Condition::Underspeed
            | Condition::NoMotion
            | Condition::HeadUnderspeed
            | Condition::BothSilent
    )
}

/// What is switched off or lacks its sensor.
pub(super) fn out_of_service(settings: &Checked) -> ConditionSet {
    let machine = &settings.machine;
    let both = machine.head_targets.is_some() && machine.boot_targets.is_some();
    let mut set = ConditionSet::EMPTY;
    for condition in Condition::ALL {
        let fitted = match condition {
            Condition::BeltNotFollowing
            | Condition::SlipVeryHigh
            | Condition::SlipHigh
            | Condition::SlipHeat
            | Condition::SlipImpossible
            | Condition::SlipNegative
            | Condition::HeadSilent
            | Condition::BothSilent
            | Condition::SlipUnknown
            | Condition::RatioShifted => both,
            Condition::HeadUnderspeed | Condition::HeadSensorFault | Condition::HeadTargets => {
                machine.head_targets.is_some()
            }
            Condition::Mistracking
            | Condition::MistrackingDuty
            | Condition::MistrackingSustained
            | Condition::ContactFault => machine.contacts.iter().any(Option::is_some),
            Condition::RubHot => machine.temperatures.contains(&true),
            Condition::OutletPlugged => machine.outlet_switch,
            Condition::ReferenceFault => machine.speed_reference.is_some(),
            Condition::DriveContactFault | Condition::Rollback => machine.drive_contact,
            Condition::PermitBypassed => machine.drive_contact || machine.head_targets.is_some(),
            _ => true,
        };
        if !fitted || !settings.limits.of(condition).enabled {
            set = set.with(condition);
        }
    }
    set
}

impl Judge {
    /// Inlined, so that of a condition known beforehand only its own arm is left.
    #[inline(always)]
    pub(super) fn mode(&self, condition: Condition) -> Mode {
        if self.out_of_service.contains(condition) {
            return Mode::Out;
        }
        let phase = self.status.phase;
        let off = self.course.drive_off();
        let live = !off && !matches!(phase, Phase::Standstill | Phase::CoastDown);
        let judged = match condition {
            Condition::DeepUnderspeed | Condition::Underspeed | Condition::NoMotion | Condition::HeadUnderspeed => {
                if matches!(phase, Phase::Starting | Phase::Inching) {
                    return Mode::Suppressed;
                }
                live
            }
            // A contact that reads off may lie, and a head that turns two turns under a standing belt burns it all the same.
            Condition::BeltNotFollowing => live || phase == Phase::CoastDown,
            Condition::SlipVeryHigh
            | Condition::SlipHigh
            | Condition::SlipImpossible
            | Condition::SlipNegative
            | Condition::HeadSilent => live,
            // While starting no shaft has its speed yet, and one narrow pitch of targets not learned yet may look like it.
            Condition::BothSilent => (live && phase != Phase::Starting) || phase == Phase::CoastDown,
            Condition::SlipUnknown | Condition::ReferenceFault => phase == Phase::Running && !off,
            Condition::Rollback => off,
            Condition::EdgesAtRest => phase == Phase::Standstill,
            _ => true,
        };
        if judged { Mode::Judged } else { Mode::Idle }
    }

    /// Inlined for the same reason.
    #[inline(always)]
    pub(super) fn sense(&self, condition: Condition, pitches: &Pitches, now: Micros) -> (Sense, Micros) {
        let limit = self.limits.of(condition);
        let (setpoint, deadband) = (limit.setpoint, limit.deadband);
        let (head, boot) = (&self.motion.head, &self.motion.boot);
        let short = self.motion.slip_short.reading;
        let long = self.motion.slip_long.reading;
        let still = |sense| (sense, NEVER);
        match condition {
            Condition::BeltNotFollowing => still(self.following(setpoint, deadband)),
            Condition::SlipVeryHigh => still(self.slip_above(short, setpoint, deadband)),
            Condition::SlipHigh => still(self.slip_above(long, setpoint, deadband)),
            Condition::SlipImpossible => still(self.slip_below(short, setpoint, deadband)),
            Condition::SlipNegative => still(self.slip_below(long, setpoint, deadband)),
            Condition::SlipHeat => still(self.heat.sense(now)),
            Condition::DeepUnderspeed => speeds::sense(pitches.open_boot, pitches.closed_boot, self.speeds.deep, now),
            Condition::Underspeed => speeds::sense(pitches.open_boot, pitches.closed_boot, self.speeds.under, now),
            Condition::NoMotion => speeds::sense(pitches.open_boot, pitches.closed_boot, self.speeds.still, now),
            Condition::HeadUnderspeed => {
                speeds::sense(pitches.open_head, pitches.closed_head, self.speeds.head_under, now)
            }
            Condition::StartFailed => still(Sense::flag(self.course.start_failed)),
            Condition::TooManyStarts => {
                let allowed = setpoint.clamp(0, STARTS);
                let count = self.starts.count();
                let sense = if count > allowed {
                    Sense::Beyond
                } else if count < allowed.max(1) {
                    Sense::Within
                } else {
                    Sense::Hold
                };
                (sense, self.starts.next())
            }
            Condition::Rollback if self.status.phase == Phase::Standstill => {
                still(Sense::flag(self.rest.rolls_from_rest(head, boot)))
            }
            Condition::Rollback if self.rest.speeds_up(head, boot) => still(Sense::Beyond),
            Condition::Rollback => still(Sense::Hold),
            Condition::EdgesAtRest => {
                let edges = i32::try_from(self.rest.edges_of_one(head, boot)).unwrap_or(i32::MAX);
                still(Sense::flag(edges >= setpoint.max(1)))
            }
            Condition::Mistracking | Condition::MistrackingSustained => self.rubs(setpoint, deadband, now),
            Condition::MistrackingDuty => {
                still(self.worst_duty().map_or(Sense::Within, |(duty, _)| Sense::upper(duty, setpoint, deadband)))
            }
            Condition::RubHot => {
                still(self.hottest().map_or(Sense::Hold, |(value, _)| Sense::upper(value, setpoint, deadband)))
            }
            Condition::RatioShifted => still(
                self.ratio_shift()
                    .map_or(Sense::Hold, |shift| Sense::upper(shift.saturating_abs(), setpoint, deadband)),
            ),
            Condition::OutletPlugged => still(Sense::flag(self.outlet)),
            Condition::HeadSensorFault => still(Sense::flag(!head.distrust.is_empty())),
            Condition::BootSensorFault => still(Sense::flag(!boot.distrust.is_empty())),
            Condition::HeadTargets => still(Sense::flag(head.pattern != TargetPattern::Whole)),
            Condition::BootTargets => still(Sense::flag(boot.pattern != TargetPattern::Whole)),
            Condition::HeadSilent => still(self.head_silent(pitches, now)),
            Condition::BothSilent => self.both_silent(pitches, now),
            Condition::SlipUnknown => match self.unknown_since {
                None => still(Sense::Within),
                Some(since) => {
                    let due = later(since, setpoint);
                    if now >= due { still(Sense::Beyond) } else { (Sense::Within, due) }
                }
            },
            Condition::ContactFault => still(Sense::flag(self.faulty_contact().is_some())),
            Condition::DriveContactFault => {
                let long = self.course.off_at.after(LONGEST_COAST_DOWN);
                let coasting = self.status.phase == Phase::CoastDown;
                let next = if coasting && now < long { long } else { NEVER };
                let driven = coasting && self.still_driven();
                let (chatters, ends) = (self.contact_chatters(now), self.chatter_ends(now));
                let next = if chatters { next.min(ends) } else { next };
                (Sense::flag(chatters || driven || (coasting && now >= long)), next)
            }
            Condition::PermitBypassed => still(Sense::flag(self.runs_unpermitted())),
            Condition::ReferenceFault => still(self.reference.sense(now)),
            Condition::TimeBaseFault => {
                (Sense::flag(self.lates.count() >= setpoint.clamp(1, LATES)), self.lates.next())
            }
            // Only unreadable settings or storage set it, and only before the first start of the program.
            Condition::SettingsFault => still(Sense::Within),
            Condition::ResetHeld => {
                still(Sense::flag(self.people.pressed.is_some_and(|pressed| now >= held_from(pressed))))
            }
            Condition::BypassActive => still(Sense::flag(self.people.bypassed.is_some())),
        }
    }

    pub(super) fn pitches(&self) -> Pitches {
        Pitches {
            open_head: self.open_head(),
            closed_head: self.closed_head(),
            open_boot: self.open_boot(),
            closed_boot: self.closed_boot(),
        }
    }

    pub(super) fn open_head(&self) -> Option<Open> {
        Open::of(&self.motion.head, self.course.opened, self.names.head_largest)
    }

    pub(super) fn open_boot(&self) -> Option<Open> {
        Open::of(&self.motion.boot, self.course.opened, self.names.boot_largest)
    }

    pub(super) fn closed_head(&self) -> Option<Pitch> {
        closed(&self.motion.head, self.course.opened)
    }

    pub(super) fn closed_boot(&self) -> Option<Pitch> {
        closed(&self.motion.boot, self.course.opened)
    }

    fn following(&self, setpoint: i32, deadband: i32) -> Sense {
        let turned = self.motion.head_since_boot;
        if self.waits_for_head() {
            Sense::Within
        } else if turned >= microturns(setpoint) {
            Sense::Beyond
        } else if turned < microturns(setpoint.saturating_sub(deadband)) {
            Sense::Within
        } else {
            Sense::Hold
        }
    }

    /// Whether slip counts as known: not while the head is silent, whatever a window may say.
    fn slip_counts(&self) -> bool {
        !self.cell(Condition::HeadSilent).beyond && !self.waits_for_head()
    }

    /// Whether a start from standstill has not moved the head yet: what measure then says of slip and of the belt following
    /// belongs to the run before.
    pub(super) fn waits_for_head(&self) -> bool {
        matches!(self.status.phase, Phase::Starting | Phase::Inching) && !self.rest.head_has_turned(&self.motion.head)
    }

    fn slip_above(&self, reading: SlipReading, setpoint: i32, deadband: i32) -> Sense {
        match reading {
            _ if !self.slip_counts() => Sense::Hold,
            SlipReading::Known(slip) => Sense::upper(slip.get(), setpoint, deadband),
            // Slip may be more than a lower limit: it can be beyond, but it proves nothing to be right.
            SlipReading::AtLeast(slip) if slip.get() >= setpoint => Sense::Beyond,
            SlipReading::AtLeast(_) | SlipReading::Unknown => Sense::Hold,
            SlipReading::Retracted => Sense::Within,
        }
    }

    fn slip_below(&self, reading: SlipReading, setpoint: i32, deadband: i32) -> Sense {
        match reading {
            _ if !self.slip_counts() => Sense::Hold,
            SlipReading::Known(slip) => Sense::upper(slip.get().saturating_neg(), setpoint, deadband),
            SlipReading::AtLeast(slip) if slip.get().saturating_neg() < setpoint.saturating_sub(deadband) => {
                Sense::Within
            }
            SlipReading::AtLeast(_) | SlipReading::Unknown => Sense::Hold,
            SlipReading::Retracted => Sense::Within,
        }
    }

    /// Whether the head has lost its speed too.
    pub(super) fn head_is_slow(&self, now: Micros) -> bool {
        let limit = self.speeds.head_deep;
        self.open_head().is_some_and(|open| now >= open.crossing(limit))
            || self.closed_head().is_some_and(|pitch| too_slow(&pitch, limit))
    }

    fn head_silent(&self, pitches: &Pitches, now: Micros) -> Sense {
        let Some(open) = pitches.open_head else { return Sense::Hold };
        let silent = open.crossing(self.speeds.head_silent);
        if now < silent {
            return Sense::Within;
        }
        let turns = pitches.closed_boot.is_some_and(|pitch| fast_enough(&pitch, self.speeds.boot_turns));
        let since = self.motion.boot.last_edge.is_some_and(|edge| edge >= silent);
        if turns && since { Sense::Beyond } else { Sense::Hold }
    }

    fn both_silent(&self, pitches: &Pitches, now: Micros) -> (Sense, Micros) {
        let brisk = |pitch: Option<Pitch>, limit| pitch.is_some_and(|pitch| fast_enough(&pitch, limit));
        let (Some(head), Some(boot)) = (pitches.open_head, pitches.open_boot) else { return (Sense::Within, NEVER) };
        if !brisk(pitches.closed_head, self.speeds.head.brisk) || !brisk(pitches.closed_boot, self.speeds.boot.brisk) {
            return (Sense::Within, NEVER);
        }
        if self.status.phase == Phase::CoastDown && !self.stopped_too_soon() {
            return (Sense::Within, NEVER);
        }
        let crossing = head.crossing(self.speeds.head.sudden).max(boot.crossing(self.speeds.boot.sudden));
        if now >= crossing { (Sense::Beyond, NEVER) } else { (Sense::Within, crossing) }
    }

    /// Whether the belt is still at speed when a leg without its drive cannot be.
    fn still_driven(&self) -> bool {
        let from = self.course.off_at.after(STILL_DRIVEN);
        self.motion.boot.last_edge.is_some_and(|last| last >= from)
            && self.closed_boot().is_some_and(|pitch| fast_enough(&pitch, self.speeds.under.clear))
    }

    /// Whether the last edge came sooner after the drive went off than half the shortest run-down known.
    fn stopped_too_soon(&self) -> bool {
        let set = self.limits.starts.shortest_coast_down;
        let set = (set > Span::ZERO).then_some(set);
        let shortest = match (set, self.course.learned_coast_down) {
            (Some(set), Some(learned)) => set.min(learned),
            (one, other) => match one.or(other) {
                Some(shortest) => shortest,
                None => return false,
            },
        };
        let last = self.motion.head.last_edge.max(self.motion.boot.last_edge);
        last.is_some_and(|last| last.since(self.course.off_at).get() < shortest.get() / 2)
    }

    /// Slip became unknown, or known again.
    pub(super) fn settle_slip_unknown(&mut self, now: Micros) {
        let judged = self.mode(Condition::SlipUnknown) == Mode::Judged;
        let known = self.slip_counts() && self.motion.slip_short.reading.ppm().is_some();
        self.unknown_since = if judged && !known { self.unknown_since.or(Some(now)) } else { None };
    }

    /// The rub that has lasted longest, in microseconds, and where.
    pub(super) fn longest_rub(&self, now: Micros) -> Option<(u64, Place)> {
        self.contacts()
            .filter_map(|(place, contact)| {
                let until = contact.bridged_until.map_or(now, |end| end.min(now));
                Some((until.get().saturating_sub(contact.rubbing_since?.get()), place))
            })
            .max_by_key(|(dwell, place)| (*dwell, core::cmp::Reverse(place.index())))
    }

    fn rubs(&self, setpoint: i32, deadband: i32, now: Micros) -> (Sense, Micros) {
        let limit = millis(setpoint);
        let dwell = self.longest_rub(now).map_or(0, |(dwell, _)| dwell);
        let next = self
            .contacts()
            .filter_map(|(_, contact)| {
                let due = later(contact.rubbing_since?, setpoint);
                // A rub that ends before that will be told by measure.
                let ends = contact.bridged_until.is_some_and(|end| end < due);
                (due > now && !ends).then_some(due)
            })
            .min()
            .unwrap_or(NEVER);
        let rubbing = self.contacts().any(|(_, contact)| contact.rubbing_since.is_some());
        let sense = if rubbing && dwell >= limit {
            Sense::Beyond
        } else if !rubbing || dwell < millis(setpoint.saturating_sub(deadband)) {
            Sense::Within
        } else {
            Sense::Hold
        };
        (sense, next)
    }

    pub(super) fn worst_duty(&self) -> Option<(i32, Place)> {
        self.contacts()
            .map(|(place, contact)| (contact.duty.get(), place))
            .max_by_key(|(duty, place)| (*duty, core::cmp::Reverse(place.index())))
    }

    pub(super) fn faulty_contact(&self) -> Option<Place> {
        self.contacts().find(|(_, contact)| contact.state == ContactState::Faulty).map(|(place, _)| place)
    }

    fn contacts(&self) -> impl Iterator<Item = (Place, &crate::motion::ContactMotion)> {
        Place::ALL
            .into_iter()
            .zip(&self.motion.contacts)
            .zip(self.fitted.contacts)
            .filter_map(|(contact, fitted)| fitted.then_some(contact))
    }

    pub(super) fn hottest(&self) -> Option<(i32, Place)> {
        Place::ALL
            .into_iter()
            .zip(self.temperatures)
            .filter_map(|(place, value)| Some((i32::from(value?.get()), place)))
            .max_by_key(|(value, place)| (*value, core::cmp::Reverse(place.index())))
    }

    /// The shift of the seen ratio against the one in force, if a steady block says so.
    pub(super) fn ratio_shift(&self) -> Option<i32> {
        let seen = self.motion.seen_ratio.filter(|seen| seen.spread < STEADY)?;
        ratio::shift(seen.ratio, self.expected_ratio)
    }

    /// The first stop, by rank, that holds the permits dropped.
    pub(super) fn first_holding_stop(&self) -> Option<Condition> {
        self.holding.and(self.stopping).first()
    }
}

/// Millionths of a turn as an angle; below nothing counts as nothing.
pub(super) fn microturns(value: i32) -> Turns {
    Turns::new(divide(u64::from(value.max(0).unsigned_abs()) << 32, 1_000_000).unwrap_or(0).saturating_sub(1 << 12))
}

/// Milliseconds in microseconds; below nothing counts as nothing.
fn millis(value: i32) -> u64 {
    u64::from(value.max(0).unsigned_abs()).saturating_mul(1_000)
}

fn later(at: Micros, value: i32) -> Micros {
    Micros::new(at.get().saturating_add(millis(value)))
}
