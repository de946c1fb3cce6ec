//! The box's own check of a plan: no box runs on what a desk, of whatever age, only says is sound.
//!
//! Everything that follows from the rest is worked out again by the functions the desk used, and compared whole. What is free is held to
//! its range, a row a number. Then come the rules between numbers, and those of the list of conditions.

use core::mem::offset_of;
use core::ops::Deref;

use zerocopy::IntoBytes;

use super::cross::{
    CODE_LOSS, LEARNED_PITCH_ERROR, PAIRS, WINDOW_ERROR, boot_by_ratio, feigning_hum, longest_width, loss,
    slowest_pitch, speed_error, wait_for_edges,
};
use super::derived::{ONE, in_its_unit, limit, shaft_of};
use super::plan::{Plan, ShaftPlan, act, fitted};
use crate::arith::{mul_div, ppm_of_turn, share};
use crate::conditions::{Condition, Must, Needs, Rule};
use crate::input::Shaft;
use crate::time::SLOW_SHIFT;

/// A plan that was found sound. Only such a plan can be given to the monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sound<P>(P);

/// What is wrong with a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Broken {
    /// The kind of rule.
    pub rule: PlanRule,
    /// Where: the row of `RANGES` and then of those for legs, the rank of a condition, a shaft (0 head, 1 boot, 2 between both), or the
    /// row of the pairs.
    pub at: u8,
}

/// A kind of rule that a plan must keep.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
#[non_exhaustive]
pub enum PlanRule {
    /// It begins as a plan does, with the version and length that this program knows.
    Header,
    /// Its CRC matches.
    Crc,
    /// A number lies in its range.
    Range,
    /// What follows from other numbers is what follows from them.
    Derived,
    /// Targets on the boot, and on the head or else a drive contact.
    Fittings,
    /// Marks, pitches and speeds of a shaft make sense.
    Shaft,
    /// The minimum width is at most a quarter of the closest pitch at top speed.
    Width,
    /// No mains hum on a line that is not supervised would look like a healthy speed.
    Hum,
    /// Normal speeds agree with the ratio.
    Speeds,
    /// What is judged has what it needs.
    NotFitted,
    /// What may not be switched off is judged where it can be.
    MustBeJudged,
    /// What must stop the leg does.
    MustStop,
    /// A stop latches.
    MustLatch,
    /// A setpoint lies in its condition's range.
    Setpoint,
    /// A limit is what its setpoint says.
    Limit,
    /// The level at which it is right again lies inside the limit.
    Clear,
    /// Delays are no longer than allowed.
    Delay,
    /// A stop lies above its alarm, deadbands between them.
    Pair,
    /// Setpoint, error, wait and delay together keep within the code's 20 %.
    Late,
}

/// A number of the plan, where it lies, and the least and the most that it may be.
type Bounds = (u16, u32, u32);

macro_rules! bounds {
    ($($($field:ident).+: $least:expr, $most:expr;)*) => {
        &[$((offset_of!(Plan, $($field).+) as u16, $least, $most)),*]
    };
}

const MINUTE: u32 = 60_000_000;

/// Ranges that hold for every plan.
const RANGES: &[Bounds] = bounds! {
    minimum_width: 5, 1_000_000;
    contacts.bridge: 1_000, 1_000_000;
    drive.start_window: MINUTE >> SLOW_SHIFT, (71 * MINUTE) >> SLOW_SHIFT;
    drive.inching_time: 1_000_000 >> SLOW_SHIFT, (10 * MINUTE) >> SLOW_SHIFT;
    drive.bypass_time: 1_000_000, 60 * MINUTE;
    drive.coast_down: 0, 2 * MINUTE;
    drive.reference_minimum: 100_000, 1_000_000;
    drive.reference_rate: 1_500, 3_000_000;
    drive.assumed_power: 50, 2_000_000;
    drive.heat_budget: 10_000, 50_000_000;
    // Time constants of one to 71 minutes.
    drive.heat_left_half: 4_290_278_606, 4_294_901_224;
};

/// What legs are built like, rounded outwards.
const LEG: &[Bounds] = bounds! {
    head.normal: 166_666, 5_000_000;
    boot.normal: 166_666, 5_000_000;
    slip.ratio: 500_000, 2_000_000;
    slip.boot_circumference: 634_602, 6_565_929;
    contacts.bin_length: 144_831, 9_580_200;
};

/// What the arithmetic bears.
const BENCH: &[Bounds] = bounds! {
    head.normal: 16_667, 100_000_000;
    boot.normal: 16_667, 100_000_000;
    slip.ratio: 200_000, 5_000_000;
    slip.boot_circumference: 3_141, 40_840_705;
    contacts.bin_length: 31, 31_250_000;
};

/// Belt speeds of legs: 0.5 to 5 m/s, in micrometres a second, with the rounding of one micrometre.
const BELT_SPEED: (u32, u32) = (499_999, 5_000_001);
/// Ten minutes, in microseconds.
const LONGEST_OFF_DELAY: u32 = 10 * MINUTE;
/// One part in a million of a turn.
const PPM_OF_TURN: u32 = 4_295;

impl<P: Deref<Target = Plan>> Sound<P> {
    /// Check a plan.
    ///
    /// # Errors
    /// The first rule that it breaks.
    pub fn new(plan: P) -> Result<Self, Broken> {
        check(&plan, LEG)?;
        at(1, belt_speed(&plan))?;
        at(Condition::DeepUnderspeed.rank(), prompt_speed(&plan))?;
        at(Condition::SlipVeryHigh.rank(), prompt_slip(&plan))?;
        Ok(Self(plan))
    }

    /// As [`new`](Self::new), for recordings from a test bench: without what legs are built like, and without asking that wheels so slow or
    /// with so few teeth could stop a leg in time. Never for a leg.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    #[doc(hidden)]
    pub fn for_bench(plan: P) -> Result<Self, Broken> {
        check(&plan, BENCH)?;
        Ok(Self(plan))
    }

    /// The plan again.
    pub fn into_inner(self) -> P {
        self.0
    }
}

impl<P: Deref<Target = Plan>> Deref for Sound<P> {
    type Target = Plan;

    fn deref(&self) -> &Plan {
        &self.0
    }
}

/// What one rule says. Where it is broken is said by whoever asked, so that each rule is a byte.
type Kept = Result<(), PlanRule>;

const fn hold(kept: bool, rule: PlanRule) -> Kept {
    if kept { Ok(()) } else { Err(rule) }
}

fn at(place: usize, kept: Kept) -> Result<(), Broken> {
    kept.map_err(|rule| Broken { rule, at: place as u8 })
}

/// Whether two parts of a plan are the same.
#[inline(never)]
fn same(part: &[u8], other: &[u8]) -> bool {
    part.iter().zip(other).all(|(byte, other)| byte == other)
}

/// Whether `value` is from `least` to `most` ppm of `whole`.
#[inline(never)]
fn is_within(value: u32, whole: u32, least: i32, most: i32) -> bool {
    share(whole, least) <= value && value <= share(whole, most)
}

#[inline(never)]
fn check(plan: &Plan, built: &[Bounds]) -> Result<(), Broken> {
    at(0, whole(plan))?;
    let bytes = plan.as_bytes();
    for (row, (offset, least, most)) in RANGES.iter().chain(built).enumerate() {
        let word = bytes.get(usize::from(*offset)..).and_then(|rest| rest.first_chunk()).copied();
        let value = u32::from_ne_bytes(word.unwrap_or_default());
        at(row, hold(*least <= value && value <= *most, PlanRule::Range))?;
    }
    at(0, shaft(plan, Shaft::Head))?;
    at(1, shaft(plan, Shaft::Boot))?;
    at(2, between(plan))?;
    for (rank, rule) in Condition::RULES.iter().enumerate() {
        at(rank, condition(plan, rank, rule))?;
    }
    for (number, (alarm, stop)) in PAIRS.into_iter().enumerate() {
        at(number, pair(plan, alarm.rank(), stop.rank()))?;
    }
    Ok(())
}

/// It is a plan, whole, of a leg with a name that can be seen.
fn whole(plan: &Plan) -> Kept {
    hold(plan.is_known() && is_named(plan), PlanRule::Header)?;
    hold(plan.crc == plan.computed_crc(), PlanRule::Crc)?;
    let sees = plan.boot.is_fitted() && (plan.head.is_fitted() || plan.has(fitted::DRIVE_CONTACT));
    let places = plan.fitted <= fitted::ALL && (plan.contacts.fitted | plan.contacts.temperatures) < 16;
    hold(sees && places, PlanRule::Fittings)
}

/// Whether the leg has a name, printable and not blank, so that boxes can be told apart: nothing stands behind its end.
fn is_named(plan: &Plan) -> bool {
    let (mut seen, mut ended) = (false, false);
    for letter in plan.leg {
        ended |= letter == 0;
        if (ended && letter != 0) || (!ended && (letter < b' ' || letter == 0x7F)) {
            return false;
        }
        seen |= letter > b' ';
    }
    seen
}

#[inline(never)]
fn shaft(plan: &Plan, which: Shaft) -> Kept {
    let shaft = plan.shaft(which);
    let mut again = *shaft;
    again.complete();
    hold(same(again.as_bytes(), shaft.as_bytes()), PlanRule::Derived)?;
    let both = shaft.edges == 2;
    let marks = shaft.marks <= 64 && (!both || shaft.marks & 1 == 0);
    let turn = shaft.normal_turn;
    // Top speed is 105 to 300 % of normal, and some roundings; it stands below 2 to 30 %.
    let speeds =
        is_within(shaft.top_turn, turn, 333_330, 952_430) && is_within(shaft.standing, turn, 3_333_333, 50_000_000);
    let rejects = shaft.rejects_a_turn.wrapping_sub(1) < 64;
    let words = shaft.edges <= 2 && shaft.uneven <= 1;
    hold(marks && speeds && rejects && words && pitches(shaft), PlanRule::Shaft)?;
    if !shaft.is_fitted() {
        return Ok(());
    }
    hold(plan.minimum_width <= longest_width(shaft), PlanRule::Width)?;
    let line = match which {
        Shaft::Head => fitted::HEAD_SUPERVISED,
        Shaft::Boot => fitted::BOOT_SUPERVISED,
    };
    let edges_a_period = if both { 2 } else { 1 };
    let minimum = plan.drive.reference_minimum;
    let hum = feigning_hum(which, shaft.normal, shaft.marks.into(), edges_a_period, minimum);
    hold(plan.has(line) || hum == 0, PlanRule::Hum)
}

/// Whether pitches of this size can add up to one turn.
fn pitches(shaft: &ShaftPlan) -> bool {
    let ShaftPlan { even, least, largest, .. } = *shaft;
    let others = u32::from(shaft.marks).saturating_sub(1);
    if shaft.uneven == 0 {
        // At most a fifth either way; a whole turn is one.
        let lies_between = least.wrapping_add(largest) == even.wrapping_mul(2) && least <= even;
        return lies_between && least >= if others == 0 { even } else { share(even, 800_000) };
    }
    // All but one at their closest leave room for the largest; all but one at their largest leave no more than the closest. In 2^-26 turn, so
    // that all together fit a word; some parts in a million of rounding are let pass.
    let with_others = |one: u32, other: u32| others.wrapping_mul(other >> 6).wrapping_add(one >> 6);
    let slack = (PPM_OF_TURN >> 6).wrapping_mul(others.wrapping_add(4));
    others != 0
        && least >= ppm_of_turn(1_000)
        && least <= largest.saturating_add(PPM_OF_TURN)
        && with_others(largest, least) <= slack.wrapping_add(1 << 26)
        && with_others(least, largest) >= (1_u32 << 26).wrapping_sub(slack)
}

/// What follows from both shafts, and from the limits.
fn between(plan: &Plan) -> Kept {
    let (head, boot) = (&plan.head, &plan.boot);
    let mut slip = plan.slip;
    slip.complete(head, boot);
    let row = |condition: Condition| plan.row(condition.rank());
    let mut drive = plan.drive;
    drive.complete(head, boot, row(Condition::DeepUnderspeed), row(Condition::StartFailed));
    let follows = same(slip.as_bytes(), plan.slip.as_bytes()) && same(drive.as_bytes(), plan.drive.as_bytes());
    hold(follows, PlanRule::Derived)?;
    let (least, most) = boot_by_ratio(head.normal, plan.slip.ratio);
    hold(least <= boot.normal && boot.normal <= most, PlanRule::Speeds)
}

fn belt_speed(plan: &Plan) -> Kept {
    let speed = mul_div(plan.slip.boot_circumference, plan.boot.normal, ONE);
    let (least, most) = BELT_SPEED;
    hold(least <= speed && speed <= most, PlanRule::Speeds)
}

/// Whether what a condition needs is fitted. A boot always is.
const fn has(plan: &Plan, needs: Needs) -> bool {
    let head = plan.head.is_fitted();
    match needs {
        Needs::Nothing => true,
        Needs::Head | Needs::BothShafts => head,
        Needs::Contacts => plan.contacts.fitted != 0,
        Needs::Temperatures => plan.contacts.temperatures != 0,
        Needs::Outlet => plan.has(fitted::OUTLET),
        Needs::Reference => plan.has(fitted::REFERENCE),
        Needs::DriveContact => plan.has(fitted::DRIVE_CONTACT),
        Needs::DriveContactOrHead => head || plan.has(fitted::DRIVE_CONTACT),
    }
}

/// A value of this condition's setpoint in what judge compares with.
#[inline(never)]
fn compared(plan: &Plan, rule: &Rule, value: i32) -> i32 {
    in_its_unit(rule.compared, value, plan.shaft(shaft_of(rule.compared)).normal_turn)
}

#[inline(never)]
fn condition(plan: &Plan, rank: usize, rule: &Rule) -> Kept {
    let row = plan.row(rank);
    let follows = limit(rule.compared, compared(plan, rule, row.setpoint), &plan.boot, &plan.slip);
    hold(row.limit == follows, PlanRule::Limit)?;
    let is_fitted = has(plan, rule.needs);
    let acts = plan.acts(rank);
    if acts & act::JUDGED == 0 {
        hold(!is_fitted || matches!(rule.must, Must::Nothing), PlanRule::MustBeJudged)?;
        // By this one a start ends, judged or not.
        if rank != Condition::Underspeed.rank() {
            return Ok(());
        }
    }
    hold(is_fitted || acts & act::JUDGED == 0, PlanRule::NotFitted)?;
    let stops = acts & act::STOP != 0;
    hold(stops || !matches!(rule.must, Must::Stop), PlanRule::MustStop)?;
    hold(!stops || acts & act::LATCHING != 0, PlanRule::MustLatch)?;
    let (least, most) = rule.setpoint();
    hold(least <= row.setpoint && row.setpoint <= most, PlanRule::Setpoint)?;
    // A deadband smaller than the setpoint.
    let lowest = if rule.has_band { compared(plan, rule, 1) } else { row.limit };
    hold(lowest <= row.clear && row.clear <= row.limit, PlanRule::Clear)?;
    let longest = rule.longest_on_delay_ms().wrapping_mul(1_000);
    hold(row.on_delay <= longest && row.off_delay <= LONGEST_OFF_DELAY, PlanRule::Delay)
}

fn pair(plan: &Plan, alarm: usize, stop: usize) -> Kept {
    // The two look at the same thing, so that what one compares with the other can be compared with.
    let Some(rule) = Condition::RULES.get(alarm) else { return Ok(()) };
    if plan.acts(alarm) & plan.acts(stop) & act::JUDGED == 0 {
        return Ok(());
    }
    let (first, second) = (plan.row(alarm), plan.row(stop));
    // Both setpoints are in their ranges.
    let below = first.setpoint.wrapping_mul(2).wrapping_sub(second.setpoint);
    let kept =
        second.setpoint > first.setpoint && second.clear >= first.limit && first.clear >= compared(plan, rule, below);
    hold(kept, PlanRule::Pair)
}

/// 29 CFR 1910.272(q)(5): the leg is told to stop before belt speed has fallen by 20 %.
fn prompt_speed(plan: &Plan) -> Kept {
    let deep = plan.row(Condition::DeepUnderspeed.rank());
    let pitch = slowest_pitch(plan.boot.largest, plan.boot.normal_turn, plan.drive.reference_minimum);
    let error = speed_error(LEARNED_PITCH_ERROR, deep.setpoint);
    let lost = loss(deep.setpoint, error, wait_for_edges(pitch, deep.setpoint), deep.on_delay);
    hold(lost <= CODE_LOSS.unsigned_abs(), PlanRule::Late)
}

/// The same by slip.
fn prompt_slip(plan: &Plan) -> Kept {
    let slip = plan.row(Condition::SlipVeryHigh.rank());
    let lost = loss(slip.setpoint, WINDOW_ERROR, 0, slip.on_delay);
    hold(!plan.head.is_fitted() || lost <= CODE_LOSS.unsigned_abs(), PlanRule::Late)
}

#[cfg(feature = "desk")]
impl core::fmt::Display for Broken {
    fn fmt(&self, out: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let shaft = if self.at == 0 { "head" } else { "boot" };
        let condition = Condition::of_rank(self.at.into()).map_or("?", Condition::name);
        match self.rule {
            PlanRule::Header => {
                out.write_str("it does not begin as a plan of this version does, or the leg has no name")
            }
            PlanRule::Crc => out.write_str("its CRC does not match: a byte was changed on the way or in memory"),
            PlanRule::Range => write!(out, "number {} of the list of ranges is out of range", self.at),
            PlanRule::Derived => write!(out, "numbers of part {} do not follow from the settings in it", self.at),
            PlanRule::Fittings => out.write_str("what is fitted cannot see the belt"),
            PlanRule::Shaft => write!(out, "marks, pitches or speeds of the {shaft} shaft make no sense"),
            PlanRule::Width => write!(out, "the minimum width would swallow true targets of the {shaft} shaft"),
            PlanRule::Hum => write!(out, "mains hum on the {shaft} sensor's line would look like a healthy speed"),
            PlanRule::Speeds => out.write_str("normal speeds contradict the ratio, or are no leg's"),
            PlanRule::NotFitted => write!(out, "{condition} is judged without what it needs"),
            PlanRule::MustBeJudged => write!(out, "{condition} may not be switched off"),
            PlanRule::MustStop => write!(out, "{condition} may not do less than stop the leg"),
            PlanRule::MustLatch => write!(out, "{condition} stops the leg and does not latch"),
            PlanRule::Setpoint => write!(out, "the setpoint of {condition} is out of range"),
            PlanRule::Limit => write!(out, "the limit of {condition} is not what its setpoint says"),
            PlanRule::Clear => write!(out, "{condition} would be right again outside its limit, or never"),
            PlanRule::Delay => write!(out, "a delay of {condition} is too long"),
            PlanRule::Pair => {
                let (alarm, stop) =
                    PAIRS.get(usize::from(self.at)).copied().unwrap_or((Condition::SlipHigh, Condition::SlipVeryHigh));
                write!(out, "{} must lie above {}, with room for the deadbands", stop.name(), alarm.name())
            }
            PlanRule::Late => write!(out, "{condition} would stop the leg beyond the 20 % of 29 CFR 1910.272(q)(5)"),
        }?;
        out.write_str("; check the settings file and make the plan anew, with a program as new as the box's")
    }
}

#[cfg(feature = "desk")]
impl core::error::Error for Broken {}

#[cfg(all(test, feature = "desk"))]
mod tests;
