//! Two streams of verdicts against each other: the same changes in the same order, and how far their times may lie apart.
//!
//! What the core built anew may do otherwise than the landed one is stated here and nowhere else:
//! - any verdict: [`TIGHT_US`] either way ([`STANDSTILL_US`] for standstill), and [`VALUE`] with [`VALUE_PART`], for a learned share of
//!   the turn is kept in 2^-19 turn and rounded;
//! - slow windows (starts, bypass, inching), kept in a count of 1.024 ms: [`SLOW_US`] either way;
//! - slip heat, kept on a grid of 131 ms and held at twice the budget: up to [`HEAT_EARLY_US`] early and never late, by as much more
//!   heat ([`VALUE_HEAT`]); it returns up to [`HEAT_BACK_US`] later, or as much sooner;
//! - the duty of a rub contact, kept in 32 bins of the belt loop where the landed core has 64: [`DUTY_US`] either way and [`VALUE_DUTY`],
//!   and where it only just crosses its setpoint it may do so in one of the two alone.
//!
//! What starts at a verdict that was moved (a delay that runs from the end of a bypass) is moved as much, so a shift once found at
//! such a verdict is allowed after it, and no other is.

use slackside_landed::judge::{Condition, Unit};
use slackside_landed::verdict::{Change, Phase, Verdict};

/// Any verdict may be moved by so much.
pub const TIGHT_US: i64 = 60;
/// A verdict of a slow window may be moved by so much.
pub const SLOW_US: i64 = 2_100;
/// A verdict of slip heat may come so much early.
pub const HEAT_EARLY_US: i64 = 400_000;
/// Heat may come back to its clear level so much sooner or later.
pub const HEAT_BACK_US: i64 = 2_000_000;
/// Heat is held here, in ppm of the budget.
pub const MOST_HEAT: i32 = 1_999_999;
/// A verdict of duty may be moved by so much: two bins of a long loop on a slow leg.
pub const DUTY_US: i64 = 8_000_000;
/// Duty may differ by so much: two bins.
pub const VALUE_DUTY: i64 = 62_500;
/// A value may differ by so much, in its unit; milliseconds, counts and flags by [`VALUE_COUNT`].
pub const VALUE: i64 = 200;
/// See [`VALUE`].
pub const VALUE_COUNT: i64 = 1;
/// Heat may differ by so much where it is raised: what a grain of its grid brings varies with power and budget.
pub const VALUE_HEAT: i64 = 300_000;
/// A speed far from normal may differ by this part of itself, too.
pub const VALUE_PART: i64 = 1_000;
/// Standstill is proven by a long silence, of which a share that is off by so little makes more.
pub const STANDSTILL_US: i64 = 250;
/// How far two streams may lie apart where neither slow windows nor heat are in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tolerance {
    /// A time, in microseconds.
    pub time_us: i64,
    /// A value in ppm or microturns.
    pub value: i64,
}

impl Tolerance {
    /// What is promised.
    pub const PROMISED: Self = Self { time_us: TIGHT_US, value: VALUE };
}

/// Verdicts may stand in another order within so many.
const AROUND: usize = 96;

/// How a comparison ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The same verdicts.
    Alike,
    /// The same up to here. Then a verdict that may be moved was moved past another that it decides on (heat stopped the leg
    /// 0.3 s before something else would have): from there on both are right and differ.
    Overtaken(String),
    /// Different, and how.
    Differ(String),
}

/// What one comparison saw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Shifts {
    /// Verdicts compared.
    pub verdicts: usize,
    /// The largest shift of any verdict that is neither slow nor heat, and follows from neither, in microseconds.
    pub tight_us: i64,
    /// The largest shift of a slow verdict.
    pub slow_us: i64,
    /// The earliest that heat came.
    pub heat_early_us: i64,
    /// The largest difference of a value that is not heat.
    pub value: i64,
    /// The largest difference of a heat value.
    pub heat_value: i64,
    /// The largest difference of duty.
    pub duty_value: i64,
}

impl Shifts {
    /// The larger of each.
    pub fn take(&mut self, other: &Self) {
        self.verdicts += other.verdicts;
        self.tight_us = self.tight_us.max(other.tight_us);
        self.slow_us = self.slow_us.max(other.slow_us);
        self.heat_early_us = self.heat_early_us.max(other.heat_early_us);
        self.value = self.value.max(other.value);
        self.heat_value = self.heat_value.max(other.heat_value);
        self.duty_value = self.duty_value.max(other.duty_value);
    }
}

/// Which tolerance a verdict has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Plain,
    Slow,
    Heat,
    HeatBack,
    Duty,
    Standstill,
}

/// `expected` against `found`, within this tolerance.
#[must_use]
pub fn compare(expected: &[Verdict], found: &[Verdict], within: Tolerance) -> (Outcome, Shifts) {
    let taken = vec![false; found.len()];
    let mut compared = Compared { within, expected, found, taken, first_free: 0, moved: vec![Moved::NONE] };
    let mut shifts = Shifts::default();
    let kinds = kinds(expected);
    for (at, kind) in kinds.into_iter().enumerate() {
        if let Err(why) = compared.pair(at, kind, &mut shifts) {
            return (compared.ended(at, why), shifts);
        }
        shifts.verdicts += 1;
    }
    match compared.taken.iter().position(|taken| !taken) {
        None => (Outcome::Alike, shifts),
        Some(left) => (compared.ended(expected.len(), format!("a verdict too many: {}", told(&found[left]))), shifts),
    }
}

/// A shift found at a slow or heat verdict.
#[derive(Clone, Copy)]
struct Moved {
    by_us: i64,
    at_us: i64,
}

impl Moved {
    const NONE: Self = Self { by_us: 0, at_us: i64::MIN / 2 };
}

struct Compared<'a> {
    within: Tolerance,
    expected: &'a [Verdict],
    found: &'a [Verdict],
    taken: Vec<bool>,
    first_free: usize,
    moved: Vec<Moved>,
}

impl Compared<'_> {
    /// Find the counterpart of one expected verdict.
    fn pair(&mut self, at: usize, kind: Kind, shifts: &mut Shifts) -> Result<(), String> {
        let wanted = &self.expected[at];
        let mut why = None;
        let mut passed = None;
        let end = (self.first_free + AROUND).min(self.found.len());
        for index in self.first_free..end {
            if self.taken[index] {
                continue;
            }
            let candidate = &self.found[index];
            let shift = micros(candidate) - micros(wanted);
            let most = match kind {
                Kind::Duty => DUTY_US,
                Kind::HeatBack => HEAT_BACK_US,
                _ => HEAT_EARLY_US,
            };
            if shift > most {
                break;
            }
            if let Err(differs) = same_change(&wanted.change, &candidate.change, self.within, shifts) {
                why.get_or_insert(differs);
                passed.get_or_insert(index);
                continue;
            }
            if !self.allows(shift, kind, micros(wanted), shifts) {
                why.get_or_insert(format!("moved by {shift} µs, which is more than may be"));
                passed.get_or_insert(index);
                continue;
            }
            // At one moment the order is a rule, not a matter of rounding.
            if let Some(passed) = passed
                && self.found[passed].at == candidate.at
                && self.expected[at + 1..].iter().take_while(|later| later.at == wanted.at).any(|later| {
                    same_change(&later.change, &self.found[passed].change, self.within, &mut Shifts::default()).is_ok()
                })
            {
                return Err("the same verdicts of one moment, in another order".to_owned());
            }
            self.taken[index] = true;
            while self.taken.get(self.first_free).is_some_and(|taken| *taken) {
                self.first_free += 1;
            }
            return Ok(());
        }
        Err(why.unwrap_or_else(|| "missing: nothing comes any more".to_owned()))
    }

    /// Whether a verdict of this kind may be moved by so much here; a new shift is remembered.
    fn allows(&mut self, shift: i64, kind: Kind, at_us: i64, shifts: &mut Shifts) -> bool {
        if shift.abs() <= self.within.time_us {
            shifts.tight_us = shifts.tight_us.max(shift.abs());
            return true;
        }
        if self.moved.iter().any(|moved| (shift - moved.by_us).abs() <= self.within.time_us) {
            return true;
        }
        match kind {
            Kind::HeatBack if shift.abs() <= HEAT_BACK_US => {}
            Kind::Slow if shift.abs() <= SLOW_US => shifts.slow_us = shifts.slow_us.max(shift.abs()),
            Kind::Standstill if shift.abs() <= STANDSTILL_US => {}
            // Nothing is timed by it.
            Kind::Duty if shift.abs() <= DUTY_US => return true,
            Kind::Heat if (-HEAT_EARLY_US..=self.within.time_us).contains(&shift) => {
                shifts.heat_early_us = shifts.heat_early_us.max(-shift);
            }
            _ => return false,
        }
        self.moved.push(Moved { by_us: shift, at_us });
        true
    }

    /// Whether a difference at `at` follows from a verdict that was rightly moved past another.
    fn ended(&self, at: usize, why: String) -> Outcome {
        let here = self.expected.get(at).or(self.expected.last()).map_or(0, micros);
        let next = self.found.get(self.first_free).map_or(here, micros);
        let text = self.context(at, &why);
        let overtaken = |moved: &Moved| {
            let reach = moved.by_us.abs() + self.within.time_us;
            moved.by_us != 0 && ((here - moved.at_us).abs() <= reach || (next - moved.at_us).abs() <= reach)
        };
        // Heat itself may be what came early and so is not expected yet; or it is not expected at all, where what came in at that moment
        // would have filled the budget within a grain of the grid, but stopped before. And where it turns just at its clear level it may
        // return in one of the two alone.
        let heat_next = self.found.get(self.first_free).is_some_and(|verdict| only_just(&verdict.change))
            || self.expected.get(at).is_some_and(|verdict| is_heat(&verdict.change) && !is_raised(&verdict.change));
        // Duty that crosses in one of the two alone.
        let duty = self.expected.get(at).is_some_and(|verdict| is_duty(&verdict.change))
            || self.found.get(self.first_free).is_some_and(|verdict| is_duty(&verdict.change));
        if self.moved.iter().any(overtaken) || heat_next || duty {
            Outcome::Overtaken(text)
        } else {
            Outcome::Differ(text)
        }
    }

    fn context(&self, at: usize, why: &str) -> String {
        let mut text = format!("{why}\n");
        let from = at.saturating_sub(4);
        for (index, verdict) in self.expected.iter().enumerate().skip(from).take(9) {
            let mark = if index == at { ">" } else { " " };
            text.push_str(&format!("{mark} expected {index:>5}  {}\n", told(verdict)));
        }
        let from = self.first_free.saturating_sub(4);
        for (index, verdict) in self.found.iter().enumerate().skip(from).take(9) {
            let mark = if index == self.first_free { ">" } else { " " };
            text.push_str(&format!("{mark} found    {index:>5}  {}\n", told(verdict)));
        }
        text
    }
}

/// A verdict in a line.
#[must_use]
pub fn told(verdict: &Verdict) -> String {
    format!("{:>14} µs  {:?}", verdict.at.get(), verdict.change)
}

fn micros(verdict: &Verdict) -> i64 {
    verdict.at.get() as i64
}

const fn is_duty(change: &Change) -> bool {
    matches!(change, Change::Alarm { condition: Condition::MistrackingDuty, .. })
}

const fn is_heat(change: &Change) -> bool {
    matches!(change, Change::Alarm { condition: Condition::SlipHeat, .. })
}

const fn is_raised(change: &Change) -> bool {
    matches!(change, Change::Alarm { to: slackside_landed::judge::AlarmState::Unacknowledged, .. })
}

/// Heat that is raised no more above its setpoint than a grain of the grid may bring, or returns.
fn only_just(change: &Change) -> bool {
    match change {
        Change::Alarm { condition: Condition::SlipHeat, value: Some(value), setpoint, .. } => {
            !is_raised(change) || i64::from(*value) <= i64::from(*setpoint) + VALUE_HEAT
        }
        _ => false,
    }
}

/// The tolerance of each: one verdict of a moment that has another tolerance lends it to all of the same moment.
fn kinds(verdicts: &[Verdict]) -> Vec<Kind> {
    use slackside_landed::judge::AlarmState;
    let mut phase = Phase::Unsure;
    let own: Vec<Kind> = verdicts
        .iter()
        .map(|verdict| match verdict.change {
            Change::Alarm { condition: Condition::SlipHeat, to: AlarmState::Unacknowledged, .. } => Kind::Heat,
            Change::Alarm { condition: Condition::SlipHeat, .. } => Kind::HeatBack,
            Change::Alarm { condition: Condition::MistrackingDuty, .. } => Kind::Duty,
            Change::Alarm { condition: Condition::BypassActive | Condition::TooManyStarts, .. }
            | Change::Alarm { from: AlarmState::Shelved, .. } => Kind::Slow,
            Change::Phase(now) => {
                let before = std::mem::replace(&mut phase, now);
                match (before, now) {
                    (Phase::Inching, _) => Kind::Slow,
                    (_, Phase::Standstill) => Kind::Standstill,
                    _ => Kind::Plain,
                }
            }
            _ => Kind::Plain,
        })
        .collect();
    let of_the_moment = |verdict: &Verdict| {
        let from = verdicts.partition_point(|other| other.at < verdict.at);
        let to = verdicts.partition_point(|other| other.at <= verdict.at);
        let all = &own[from.min(to)..to];
        if all.contains(&Kind::Duty) {
            Kind::Duty
        } else if all.contains(&Kind::Heat) {
            Kind::Heat
        } else if all.contains(&Kind::HeatBack) {
            Kind::HeatBack
        } else if all.contains(&Kind::Slow) {
            Kind::Slow
        } else if all.contains(&Kind::Standstill) {
            Kind::Standstill
        } else {
            Kind::Plain
        }
    };
    verdicts.iter().map(of_the_moment).collect()
}

/// Whether two changes are the same, values within their tolerance.
fn same_change(expected: &Change, found: &Change, within: Tolerance, shifts: &mut Shifts) -> Result<(), String> {
    let (
        Change::Alarm { condition, from, to, value, setpoint, detail },
        Change::Alarm {
            condition: other,
            from: other_from,
            to: other_to,
            value: other_value,
            setpoint: held,
            detail: more,
        },
    ) = (*expected, *found)
    else {
        return if expected == found { Ok(()) } else { Err("another change".to_owned()) };
    };
    if (condition, from, to) != (other, other_from, other_to) {
        return Err("another change".to_owned());
    }
    if setpoint != held {
        return Err(format!("another setpoint: {held} for {setpoint}"));
    }
    if detail != more {
        return Err(format!("another detail: {more} for {detail}"));
    }
    match (value, other_value) {
        (None, None) => Ok(()),
        (Some(one), Some(other)) => {
            let held = |value: i32| if condition == Condition::SlipHeat { value.min(MOST_HEAT) } else { value };
            let (one, other) = (held(one), held(other));
            let apart = (i64::from(one) - i64::from(other)).abs();
            let (allowed, largest) = match (condition, condition.unit()) {
                (Condition::SlipHeat, _) => (VALUE_HEAT, &mut shifts.heat_value),
                (Condition::MistrackingDuty, _) => (VALUE_DUTY, &mut shifts.duty_value),
                (_, Unit::Ppm | Unit::Microturns) => {
                    (within.value + (1_000_000 - i64::from(one)).abs() / VALUE_PART, &mut shifts.value)
                }
                _ => (VALUE_COUNT, &mut shifts.value),
            };
            if apart > allowed {
                return Err(format!("another value: {other} for {one}"));
            }
            *largest = (*largest).max(apart);
            Ok(())
        }
        (one, other) => Err(format!("another value: {other:?} for {one:?}")),
    }
}
