//! Settings that have been found sound, and the rules they were held against.

mod advice;
mod field;
mod leg;
mod limits;
mod promptness;
mod rule;
mod say;
mod signals;

use heapless::Vec;

pub use advice::Advice;
pub use field::{Field, FieldUnit, LimitPart, PulleyPart, TargetsPart};
pub use promptness::{CODE_LOSS, Promptness};
pub use rule::{Mend, Reason, Rule, Violation};
pub use say::Quantity;

use super::Settings;

/// The most violations told at once. Nothing that breaks more is worth reading further.
pub const MOST_VIOLATIONS: usize = 64;

/// Settings that passed every rule. Only these can be given to the monitor.
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
        leg::check(self, scope, tell);
        signals::check(self, tell);
        limits::check(self, scope, tell);
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
    #[allow(clippy::result_large_err, reason = "no heap to put the list on; the box uses `check_first`")]
    pub fn check(self) -> Result<Checked, Vec<Violation, MOST_VIOLATIONS>> {
        self.checked(Scope::Leg)
    }

    /// As [`check`](Self::check), telling only the first violation: for the box, which has no room for the list and
    /// nobody to read it.
    ///
    /// # Errors
    /// The first rule broken.
    #[inline(never)]
    pub fn check_first(self) -> Result<Checked, Violation> {
        let mut first = None;
        self.hold_against_rules(Scope::Leg, &mut |violation| {
            first.get_or_insert(violation);
        });
        match first {
            None => Ok(Checked(self)),
            Some(violation) => Err(violation),
        }
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

/// Tell a violation of `rule` that its bound alone says how to mend. Not inlined: rules are many, and held against settings
/// seldom.
#[inline(never)]
fn broken(rule: Rule, field: Field, value: i64, bound: i64, tell: &mut dyn FnMut(Violation)) {
    tell(Violation { rule, field, value, bound, mend: Mend::KeepTheBound });
}

/// Tell a violation of `rule` if `value` is outside `low..=high`.
#[inline(never)]
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
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::arithmetic_side_effects,
    reason = "a test that panics has failed, as it should"
)]
mod tests;
