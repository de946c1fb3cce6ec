//! Settings that have been found sound, and the rules they were held against: ranges by the rows of the schema, and what holds between
//! settings.

mod advice;
mod leg;
mod limits;
mod promptness;
mod rule;
mod signals;

use crate::conditions::Condition;
use heapless::Vec;

pub use advice::Advice;
pub use promptness::Promptness;
pub use rule::{Mend, Reason, Rule, Violation};

use super::schema::{Kind, Range};
use super::{Field, LimitPart, Section, Settings};
use crate::units::Ppm;

/// The code's bound: 20 % of normal operating speed, 29 CFR 1910.272(q)(5).
pub const CODE_LOSS: Ppm = Ppm::new(super::cross::CODE_LOSS);

/// The most violations told at once. Nothing that breaks more is worth reading further.
pub const MOST_VIOLATIONS: usize = 64;

/// Settings that passed every rule. Only these become a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked(Settings);

/// Which rules apply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Scope {
    /// All of them.
    Leg,
    /// Without those about what legs look like.
    Bench,
}

impl Settings {
    /// Tell every broken rule, in the order of the settings.
    fn hold_against_rules(&self, scope: Scope, tell: &mut dyn FnMut(Violation)) {
        Section::each(&mut |section| {
            section.fields(&mut |field| by_range(self, field, scope, tell));
            match section {
                Section::Leg => leg::name(&self.machine, tell),
                Section::Pulley(shaft) => leg::pulley(&self.machine, shaft, scope, tell),
                Section::Belt => leg::belt(&self.machine, scope, tell),
                Section::Speed => leg::speeds(&self.machine, scope, tell),
                Section::Targets(shaft) => signals::targets(&self.machine, shaft, tell),
                Section::Drive => leg::fitted(&self.machine, tell),
                Section::AcceptedRatio => leg::accepted(&self.machine, scope, tell),
                Section::Conditioning => signals::width(self, tell),
                Section::Limit(condition) => limits::one(self, condition, tell),
                _ => {}
            }
        });
        limits::between(self, scope, tell);
    }

    #[allow(clippy::result_large_err, reason = "no heap to put the list on")]
    fn checked(self, scope: Scope) -> Result<Checked, Vec<Violation, MOST_VIOLATIONS>> {
        let mut violations = Vec::new();
        // Beyond the capacity they are dropped: the first ones are enough to act on.
        self.hold_against_rules(scope, &mut |violation| {
            let _ = violations.push(violation);
        });
        if violations.is_empty() { Ok(Checked(self)) } else { Err(violations) }
    }

    /// Hold the settings against every rule; all violations at once.
    ///
    /// # Errors
    /// Every rule broken, with the field, the value and what would mend it: the first [`MOST_VIOLATIONS`] of them.
    #[allow(clippy::result_large_err, reason = "no heap to put the list on")]
    pub fn check(self) -> Result<Checked, Vec<Violation, MOST_VIOLATIONS>> {
        self.checked(Scope::Leg)
    }

    /// As [`check`](Self::check), for recordings from a test bench, such as coupled toothed wheels: without the rules about what
    /// a leg is built like (pulley sizes, belt speed, shaft speed, loop, an accepted ratio near geometry), and without asking
    /// that wheels so slow or with so few teeth could stop a leg in time. What limits may be set to, and what may not be
    /// weakened, stands. Not for a leg, and whoever uses it says so in what it prints.
    ///
    /// # Errors
    /// As [`check`](Self::check).
    #[doc(hidden)]
    #[allow(clippy::result_large_err, reason = "no heap to put the list on; desk only")]
    pub fn check_for_bench(self) -> Result<Checked, Vec<Violation, MOST_VIOLATIONS>> {
        self.checked(Scope::Bench)
    }
}

impl Checked {
    /// The settings again, to change and check anew.
    #[must_use]
    pub fn into_settings(self) -> Settings {
        self.0
    }
}

impl core::ops::Deref for Checked {
    type Target = Settings;

    fn deref(&self) -> &Settings {
        &self.0
    }
}

/// The range that a row of the schema gives. What a condition's limit is set to counts only while it is enabled.
fn by_range(settings: &Settings, field: Field, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    // By underspeed a start ends, enabled or not.
    let off = matches!(field, Field::Limit(condition, _)
        if condition != Condition::Underspeed && !settings.limits.of(condition).enabled);
    let numeric = field.row().is_some_and(|row| matches!(row.kind, Kind::Number(..) | Kind::Setpoint));
    if let (Some(value), false, true) = (field.get(settings), off, numeric) {
        let rule = match field {
            Field::Limit(condition, LimitPart::Setpoint) => limits::setpoint_rule(condition, value),
            _ => Rule::Range,
        };
        hold_in(rule, field, value, scope, tell);
    }
}

/// Hold a value to the range of its field in this scope.
fn hold_in(rule: Rule, field: Field, value: i64, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    match (field.range(), scope) {
        (Range::Works(low, high), _) => hold_between(rule, field, value, (low, high), tell),
        (Range::Built(leg, _), Scope::Leg) => hold_between(Rule::LegGeometry, field, value, leg, tell),
        (Range::Built(_, bench), Scope::Bench) => hold_between(Rule::Range, field, value, bench, tell),
        (Range::Own | Range::OfCondition, _) => {}
    }
}

/// Tell a violation of `rule` that its bound alone says how to mend.
fn broken(rule: Rule, field: Field, value: i64, bound: i64, tell: &mut dyn FnMut(Violation)) {
    tell(Violation { rule, field, value, bound, mend: Mend::KeepTheBound });
}

/// Tell a violation of `rule` if `value` is outside `low..=high`.
fn hold_between(rule: Rule, field: Field, value: i64, (low, high): (i64, i64), tell: &mut dyn FnMut(Violation)) {
    let bound = if value < low {
        low
    } else if value > high {
        high
    } else {
        return;
    };
    broken(rule, field, value, bound, tell);
}

#[cfg(test)]
mod tests;
