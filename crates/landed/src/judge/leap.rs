//! For the desk: leaping over stored motion. Not for the box.
//!
//! Tuning judges the same motion under thousands of limits. While the leg runs at speed most rows can change nothing but the
//! delays of a few conditions, each by itself; whoever has the motion stored can work those out without a scan. [`Outlook`]
//! says what to watch and until when, [`Judge::leap`] puts judge where it would be had it seen every row. Whatever turns an
//! alarm, and everything out of the ordinary, must still be shown to [`Judge::observe`].

use super::cell::NEVER;
use super::heat::Heat;
use super::senses::{follows_silence, microturns};
use super::speeds::Open;
use super::{Condition, Judge, Mode, POWER_STALE, Sense, counted_power, ratio};
use crate::motion::{Motion, SeenRatio};
use crate::settings::Machine;
use crate::units::{Micros, Ppm, Span, Turns, Watts};
use crate::verdict::Phase;

/// The conditions whose delays a leap follows: every motion of a running leg may move them.
pub const LEAPT: [Condition; 11] = [
    Condition::SlipVeryHigh,
    Condition::SlipHigh,
    Condition::SlipImpossible,
    Condition::SlipNegative,
    Condition::BeltNotFollowing,
    Condition::DeepUnderspeed,
    Condition::Underspeed,
    Condition::NoMotion,
    Condition::HeadUnderspeed,
    Condition::MistrackingDuty,
    Condition::RatioShifted,
];

/// One condition as a leap sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeaptCell {
    /// Whether it is judged at all.
    pub judged: bool,
    /// Beyond its limit now, deadband counted.
    pub beyond: bool,
    /// An alarm, delays counted.
    pub active: bool,
    /// When the delay now running ends; [`Micros::MAX`] if none runs.
    pub due: Micros,
    /// The delay before it becomes an alarm.
    pub on_delay: Span,
    /// The delay before it ends.
    pub off_delay: Span,
    /// From here on it is beyond: in the condition's unit; 2^-32 turn for belt not following; for speeds microseconds a turn,
    /// and beyond if longer.
    pub limit: i64,
    /// Below this it is within; for speeds microseconds a turn, and within if no longer.
    pub clear: i64,
}

/// So many boot pitches at speed, with none surely slow between them, are as good as more.
pub const BRISK_ENOUGH: u8 = super::course::AT_SPEED;

/// How slow a shaft may get, in microseconds a turn, before more than delays can change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Guard {
    /// At the head.
    pub head: u32,
    /// At the boot.
    pub boot: u32,
}

/// What judge waits for.
#[derive(Clone, Copy, Debug)]
pub struct Outlook {
    /// Nothing but what is watched here, silence and slip heat can change anything before.
    pub until: Micros,
    /// The watched conditions, in the order of [`LEAPT`].
    pub cells: [LeaptCell; LEAPT.len()],
    /// Silence and pitches beyond this need a scan.
    pub guard: Guard,
    /// Boot pitches at speed since the last that was surely slow, up to [`BRISK_ENOUGH`]: at speed is where underspeed clears,
    /// slow where it is beyond.
    pub brisk: u8,
    /// Power where it is not measured, or its reading is stale.
    pub assumed_power: Watts,
    /// Whether measured power counts.
    pub power_meter: bool,
    /// The newest power reading.
    pub power: Option<(Micros, Watts)>,
}

impl Outlook {
    /// The power that makes slip heat at `now`, with `newest` the newest reading.
    #[must_use]
    pub fn power_at(&self, newest: Option<(Micros, Watts)>, now: Micros) -> Watts {
        counted_power(newest.filter(|_| self.power_meter), now).unwrap_or(self.assumed_power)
    }

    /// Whether power is measured and its newest reading has gone stale by `now`, or never came.
    #[must_use]
    pub fn awaits_power(&self, now: Micros) -> bool {
        self.power_meter && self.power.is_none_or(|(at, _)| now >= at.after(POWER_STALE))
    }
}

/// The thermal image apart from judge.
#[derive(Clone, Copy, Debug)]
pub struct HeatCourse(Heat);

impl HeatCourse {
    /// What goes in from `now` on: so many watts times so much slip.
    pub fn feed(&mut self, now: Micros, watts: Watts, slip: Ppm) {
        self.0.feed_course(now, watts.get(), slip.get());
    }

    /// The heat at `now`, in millijoules.
    #[must_use]
    pub fn at(&self, now: Micros) -> u64 {
        self.0.at(now)
    }

    /// The heat from which the condition is beyond, in millijoules.
    #[must_use]
    pub const fn limit(&self) -> u64 {
        self.0.limit_mj()
    }

    /// Whether both hold the same heat and take in the same, whatever their limits.
    #[must_use]
    pub fn is_on_the_course_of(&self, other: &Self) -> bool {
        self.0.same_course(&other.0)
    }
}

/// The shift of a seen ratio against the one in force, if its block was steady enough to say so.
#[must_use]
pub fn steady_shift(machine: &Machine, seen: &SeenRatio) -> Option<i32> {
    if seen.spread >= super::senses::STEADY {
        return None;
    }
    ratio::shift(seen.ratio, machine.ratio_in_force())
}

impl Judge {
    /// What judge waits for, where leaping is allowed: a leg with both shafts fitted and no speed reference that runs at speed, or
    /// is held to be too slow, with slip known, nothing rubbing, no shaft silent and heat below its limit.
    #[must_use]
    pub fn outlook(&self) -> Option<Outlook> {
        let beyond = |condition| self.cell(condition).beyond;
        // While one of these holds, every step would find the leg at speed or not and end with it not at speed.
        let slow = [Condition::Underspeed, Condition::DeepUnderspeed].into_iter().any(|slow| self.state(slow).holds());
        let steady = self.begun
            && self.status.phase == Phase::Running
            && self.course.at_speed != slow
            && !self.course.drive_off()
            && self.unknown_since.is_none()
            && self.motion.slip_short.reading.ppm().is_some()
            && self.fitted.head
            && self.fitted.boot
            && !self.reference.is_fitted()
            && self.closed_head().is_some()
            && self.closed_boot().is_some()
            && self.motion.contacts.iter().all(|contact| contact.rubbing_since.is_none())
            && !beyond(Condition::HeadSilent)
            && !beyond(Condition::BothSilent)
            && !beyond(Condition::Mistracking)
            && !beyond(Condition::MistrackingSustained)
            && !beyond(Condition::SlipHeat);
        if !steady {
            return None;
        }
        let mut cells = [LeaptCell {
            judged: false,
            beyond: false,
            active: false,
            due: NEVER,
            on_delay: Span::ZERO,
            off_delay: Span::ZERO,
            limit: 0,
            clear: 0,
        }; LEAPT.len()];
        for (slot, condition) in cells.iter_mut().zip(LEAPT) {
            let cell = self.cell(condition);
            let limit = self.limits.of(condition);
            let speed = |limit: super::speeds::SpeedLimit| (i64::from(limit.limit), i64::from(limit.clear));
            let (upper, lower) = match condition {
                Condition::DeepUnderspeed => speed(self.speeds.deep),
                Condition::Underspeed => speed(self.speeds.under),
                Condition::NoMotion => speed(self.speeds.still),
                Condition::HeadUnderspeed => speed(self.speeds.head_under),
                Condition::BeltNotFollowing => (
                    angle(microturns(limit.setpoint)),
                    angle(microturns(limit.setpoint.saturating_sub(limit.deadband))),
                ),
                _ => (i64::from(limit.setpoint), i64::from(limit.setpoint.saturating_sub(limit.deadband))),
            };
            *slot = LeaptCell {
                judged: self.mode(condition) == Mode::Judged,
                beyond: cell.beyond,
                active: cell.active,
                due: cell.due,
                on_delay: limit.on_delay,
                off_delay: limit.off_delay,
                limit: upper,
                clear: lower,
            };
        }
        Some(Outlook {
            until: self.other_than_leapt(),
            cells,
            guard: Guard {
                head: self.speeds.head.sudden.min(self.speeds.head.standing).min(self.speeds.head_silent),
                boot: self.speeds.boot.sudden.min(self.speeds.boot.standing),
            },
            brisk: self.course.brisk,
            assumed_power: self.assumed_power,
            power_meter: self.fitted.power_meter,
            power: self.power,
        })
    }

    /// The thermal image as it stands.
    #[must_use]
    pub const fn heat_course(&self) -> HeatCourse {
        HeatCourse(self.heat)
    }

    /// When judge last did anything.
    #[must_use]
    pub const fn newest(&self) -> Micros {
        self.newest
    }

    /// Go to `to` as if everything up to it had been observed, the last of it `motion`. The caller has made sure that no alarm
    /// turned on the way, and gives the state of the watched delays, the count of brisk pitches, the newest power reading and the
    /// heat at that moment.
    #[allow(clippy::too_many_arguments, reason = "each of them is a state of its own")]
    pub fn leap(
        &mut self,
        to: Micros,
        motion: &Motion,
        outlook: &Outlook,
        cells: &[(bool, Micros); LEAPT.len()],
        brisk: u8,
        power: Option<(Micros, Watts)>,
        heat: &HeatCourse,
    ) {
        self.newest = to;
        self.motion = *motion;
        if let Some(slip) = motion.slip_short.reading.ppm() {
            self.heat_slip = slip.get();
        }
        self.power = power;
        self.course.brisk = brisk;
        self.heat.take_course(&heat.0, to);
        let mut other = outlook.until;
        for ((beyond, due), condition) in cells.iter().zip(LEAPT) {
            self.with_cell(condition, |cell| {
                cell.beyond = *beyond;
                cell.due = *due;
            });
            other = other.min(*due);
        }
        self.other = other;
        let first = |open: Option<Open>, limit| open.map_or(NEVER, |open: Open| open.crossing(limit));
        let head = first(self.open_head(), self.speeds.head.first);
        self.silence = head.min(first(self.open_boot(), self.speeds.boot.first));
        self.find_due();
        self.bands = self.bands_now();
    }

    /// The earliest moment at which anything but the watched delays, silence and heat may change something.
    fn other_than_leapt(&self) -> Micros {
        let now = self.newest;
        let mut other = self.people.next(now).min(self.course_next());
        if let (true, Some((at, _))) = (self.fitted.power_meter, self.power) {
            let stale = at.after(POWER_STALE);
            other = other.min(if stale > now { stale } else { NEVER });
        }
        let pitches = self.pitches();
        for condition in Condition::ALL {
            if LEAPT.contains(&condition) {
                continue;
            }
            other = other.min(self.cell(condition).due);
            if !follows_silence(condition) && self.mode(condition) == Mode::Judged {
                let (_, next): (Sense, Micros) = self.sense(condition, &pitches, now);
                other = other.min(next);
            }
        }
        other
    }
}

/// Below 2^31 millionths of a turn: it fits.
const fn angle(turns: Turns) -> i64 {
    turns.get() as i64
}
