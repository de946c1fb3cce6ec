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
use super::listen::{Listen, Turned};
use super::steady::{Steady, Tell};
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
/// whether to go on, and whether it [sums up](Listen::sums_up).
///
/// Slip heat under a budget of which no table is known is first taken for somewhat more than it is. Where that much would turn its
/// alarm, or slip [may be guessed at](Judge::may_guess), all is judged again with the heat as it is.
pub fn judge(store: &Store, settings: &Checked, heat: &HeatTables, out: &mut impl Listen) -> Cost {
    let mut told = 0;
    let mut judging = Judging { store, settings, plan: plan_of(settings), heat, exactly: false };
    judging.run(&mut told, out).unwrap_or_else(|| {
        judging.exactly = true;
        judging.run(&mut told, out).unwrap_or_default()
    })
}

struct Judging<'a> {
    store: &'a Store,
    settings: &'a Checked,
    plan: Sound<Arc<Plan>>,
    heat: &'a HeatTables,
    exactly: bool,
}

/// Hands on what is said, and finds out whether it must be done exactly.
struct Telling<'a, L> {
    out: &'a mut L,
    /// How many turns and other verdicts were told, and how many have been said this time.
    told: &'a mut usize,
    said: usize,
    goes_on: &'a Cell<bool>,
    /// Slip heat is more than it should be; and its alarm turned while it was.
    over: &'a Cell<bool>,
    hot: bool,
    exactly: bool,
}

impl<L: Listen> Tell for Telling<'_, L> {
    fn verdict(&mut self, verdict: &Verdict) {
        let of_heat = matches!(verdict.change, Change::Alarm { condition: Condition::SlipHeat, .. });
        if self.over.get() && of_heat {
            self.hot = true;
            self.goes_on.set(false);
        }
        if self.goes_on.get() {
            self.said += 1;
            if self.said > *self.told {
                *self.told = self.said;
                self.goes_on.set(self.out.verdict(without_value(*verdict)));
            }
        }
    }

    /// Not where it goes on after what was told before: that is known by its number in the order of time.
    fn sums_up(&self) -> bool {
        !self.exactly && self.out.sums_up()
    }

    fn turned(&mut self, turned: &Turned<'_>) {
        self.said += turned.count();
        *self.told = self.said;
        self.goes_on.set(self.out.turned(turned));
    }
}

impl Judging<'_> {
    /// From the beginning; the first verdicts, so many as were `told`, are not told again. `None` if it must be done exactly.
    fn run(&self, told: &mut usize, out: &mut impl Listen) -> Option<Cost> {
        let store = self.store;
        let mut judge = Judge::new(self.plan.clone(), &Retained::default());
        let (goes_on, over) = (&Cell::new(true), &Cell::new(false));
        let mut steady = Steady::new(store, (self.settings, &self.plan), self.heat, (self.exactly, over));
        let mut cursor = Cursor::new(store);
        let mut cost = Cost::default();
        let mut telling = Telling { out, told, said: 0, goes_on, over, hot: false, exactly: self.exactly };
        while goes_on.get()
            && let Some((at, row)) = cursor.next_row()
        {
            if over.get() && judge.may_guess(at) {
                return None;
            }
            show(&mut judge, at, row, &cursor, &mut |verdict| telling.verdict(verdict));
            cost.shown += 1;
            if !goes_on.get() {
                break;
            }
            let rows = steady.leap(&mut judge, &mut cursor, goes_on, &mut telling);
            cost.leaps += u64::from(rows > 0);
            cost.leapt += rows as u64;
        }
        if goes_on.get() && !store.is_empty() {
            if over.get() && judge.may_guess(store.end()) {
                return None;
            }
            judge.wake(store.end(), &mut |verdict| telling.verdict(verdict));
        }
        (!telling.hot).then_some(cost)
    }
}
