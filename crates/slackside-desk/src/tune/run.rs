//! Judging stored motion: judge itself sees every row that is out of the ordinary; between them it leaps.

use std::cell::Cell;
use std::sync::Arc;

use slackside::conditions::Condition;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::verdict::{Change, Verdict};

use super::columns::Cursor;
use super::heat::HeatTables;
use super::steady::Steady;
use super::store::{Store, show};
use crate::monitor::{Judge, judge as fresh_judge, plan_of};

/// How it went, for whoever wants to know what it cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cost {
    /// Rows shown to judge.
    pub shown: u64,
    /// Rows leapt over.
    pub leapt: u64,
    /// Leaps.
    pub leaps: u64,
}

/// Show every row to judge: the oracle of the tests.
pub fn judge_plainly(store: &Store, settings: &Checked, mut out: impl FnMut(Verdict) -> bool) {
    let mut judge = fresh_judge(settings, &Retained::default());
    let mut cursor = Cursor::new(store);
    let mut goes_on = true;
    while goes_on && let Some((at, row)) = cursor.next_row() {
        show(&mut judge, at, row, &cursor, &mut |verdict| goes_on = goes_on && out(*verdict));
    }
    if goes_on && !store.is_empty() {
        judge.wake(store.end(), &mut |verdict| goes_on = goes_on && out(*verdict));
    }
}

/// What a verdict says but for the value and the detail that go with an alarm: what turns in a leap is told without.
#[must_use]
pub const fn without_value(verdict: Verdict) -> Verdict {
    let change = match verdict.change {
        Change::Alarm { condition, from, to, setpoint, .. } => {
            Change::Alarm { condition, from, to, value: None, setpoint, detail: 0 }
        }
        other => other,
    };
    Verdict { at: verdict.at, change }
}

/// Judge the stored motion under these settings: the same verdicts as [`judge_plainly`], [without values](without_value). `out` says
/// whether to go on.
///
/// Slip heat under a budget of which no table is known is first taken for somewhat more than it is. Where that much would turn its
/// alarm, or slip [may be guessed at](Judge::may_guess), all is judged again with the heat as it is.
pub fn judge(store: &Store, settings: &Checked, heat: &HeatTables, mut out: impl FnMut(Verdict) -> bool) -> Cost {
    let mut told = 0;
    let mut judging = Judging { store, settings, plan: plan_of(settings), heat, exactly: false };
    judging.run(&mut told, &mut out).unwrap_or_else(|| {
        judging.exactly = true;
        judging.run(&mut told, &mut out).unwrap_or_default()
    })
}

struct Judging<'a> {
    store: &'a Store,
    settings: &'a Checked,
    plan: Sound<Arc<Plan>>,
    heat: &'a HeatTables,
    exactly: bool,
}

impl Judging<'_> {
    /// From the beginning; the first verdicts, so many as were `told`, are not told again. `None` if it must be done exactly.
    fn run(&self, told: &mut usize, out: &mut impl FnMut(Verdict) -> bool) -> Option<Cost> {
        let store = self.store;
        let mut judge = Judge::new(self.plan.clone(), &Retained::default());
        let (goes_on, over, hot) = (Cell::new(true), Cell::new(false), Cell::new(false));
        let mut steady = Steady::new(store, (self.settings, &self.plan), self.heat, (self.exactly, &over));
        let mut cursor = Cursor::new(store);
        let mut cost = Cost::default();
        let mut said = 0;
        let mut sink = |verdict: &Verdict| {
            let of_heat = matches!(verdict.change, Change::Alarm { condition: Condition::SlipHeat, .. });
            if over.get() && of_heat {
                hot.set(true);
                goes_on.set(false);
            }
            if goes_on.get() {
                said += 1;
                if said > *told {
                    *told = said;
                    goes_on.set(out(without_value(*verdict)));
                }
            }
        };
        while goes_on.get()
            && let Some((at, row)) = cursor.next_row()
        {
            if over.get() && judge.may_guess(at) {
                return None;
            }
            show(&mut judge, at, row, &cursor, &mut sink);
            cost.shown += 1;
            if !goes_on.get() {
                break;
            }
            let rows = steady.leap(&mut judge, &mut cursor, &goes_on, &mut sink);
            cost.leaps += u64::from(rows > 0);
            cost.leapt += rows as u64;
        }
        if goes_on.get() && !store.is_empty() {
            if over.get() && judge.may_guess(store.end()) {
                return None;
            }
            judge.wake(store.end(), &mut sink);
        }
        (!hot.get()).then_some(cost)
    }
}
