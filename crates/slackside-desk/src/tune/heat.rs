//! Slip heat over a trace: tables of it, one for each way of reckoning it, and what it is within a steady stretch.

use std::collections::HashMap;
use std::sync::Arc;

use slackside::alone::leap::{HeatCourse, Outlook};
use slackside::conditions::Condition;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::{Plan, fitted};
use slackside::settings::plan_check::Sound;
use slackside::time::SWEEP;
use slackside::units::{Joules, Micros, Watts};

use super::columns::{BLOCK, Cursor, unpack};
use super::index::Layered;
use super::store::{Store, show};
use super::walk::power_before;
use crate::monitor::{Judge, judge as fresh_judge, plan_of};

/// So many rows at once are fed to a heat that no table knows.
const FED: usize = 64 * BLOCK;
/// One budget as heat is counted.
const BUDGET: f64 = (1_u64 << 30) as f64;
/// What rounding may bring, in 2^-30 of a budget: so much with each row and each cell of 2^17 µs; and so much of all at once, in shares.
const ROUNDED: f64 = 6.0;
const ROUNDED_AT_ONCE: f64 = 1e-4;

/// What slip heat depends on, of all that is tuned: time constant in microseconds, budget in joules, setpoints in ppm of heat and of
/// slip below zero.
pub(super) type HeatKey = (u32, u32, i32, i32);

pub(super) fn heat_key(settings: &Checked) -> HeatKey {
    let (heat, setpoint) = (&settings.limits.slip_heat, |condition| settings.limits.of(condition).setpoint);
    (heat.time_constant.get(), heat.budget.get(), setpoint(Condition::SlipHeat), setpoint(Condition::SlipNegative))
}

/// Slip heat over a whole trace, at every block.
#[derive(Clone, Debug)]
pub struct HeatTable {
    key: HeatKey,
    plan: Sound<Arc<Plan>>,
    at_block: Vec<HeatCourse>,
    /// How near to the limit it comes in a block.
    most: Layered<u32>,
}

impl HeatTable {
    /// Work it out by a whole pass of judge.
    #[must_use]
    pub fn build(store: &Store, settings: &Checked) -> Self {
        let mut judge = fresh_judge(settings, &Retained::default());
        let mut cursor = Cursor::new(store);
        let blocks = store.len().div_ceil(BLOCK);
        let mut at_block = Vec::with_capacity(blocks);
        let mut peaks = Vec::with_capacity(blocks);
        for block in 0..blocks {
            at_block.push(judge.heat_course());
            let mut most = 0;
            for _ in block * BLOCK..((block + 1) * BLOCK).min(store.len()) {
                let Some((at, row)) = cursor.next_row() else { break };
                most = most.max(judge.heat_course().reach(judge.plan(), at));
                show(&mut judge, at, row, &cursor, &mut |_| {});
                most = most.max(judge.heat_course().reach(judge.plan(), at));
            }
            peaks.push(most);
        }
        Self { key: heat_key(settings), plan: plan_of(settings), at_block, most: Layered::build(peaks, u32::max) }
    }
}

/// The heat tables of a trace, one for each way of reckoning heat that is tried.
#[derive(Clone, Debug, Default)]
pub struct HeatTables {
    tables: HashMap<HeatKey, HeatTable>,
}

impl HeatTables {
    /// So many of one trace are worth it: more would cost more than they save.
    pub const MOST: usize = 64;

    /// For the slip heat of these settings.
    #[must_use]
    pub fn build<'a>(store: &Store, settings: impl IntoIterator<Item = &'a Checked>) -> Self {
        let mut tables = HashMap::new();
        for settings in settings {
            tables.entry(heat_key(settings)).or_insert_with(|| HeatTable::build(store, settings));
        }
        Self { tables }
    }

    /// One with the time constant of these settings: the heat is the same but for rounding.
    #[must_use]
    pub fn like(&self, settings: &Checked) -> Option<&HeatTable> {
        let tau = heat_key(settings).0;
        let like = || self.tables.values().filter(|table| table.key.0 == tau).min_by_key(|table| table.key);
        self.tables.get(&heat_key(settings)).or_else(like)
    }

    /// The same, of which as much slip or more makes heat.
    fn no_less(&self, key: HeatKey) -> Option<&HeatTable> {
        let no_less = |table: &&HeatTable| table.key.0 == key.0 && table.key.3 <= key.3;
        let like = || self.tables.values().filter(no_less).min_by_key(|table| table.key);
        self.tables.get(&key).or_else(like)
    }
}

/// The heat of one steady stretch.
pub(super) struct Feeding<'a> {
    store: &'a Store,
    outlook: Outlook,
    plan: &'a Plan,
    /// Its first row, and the heat before it.
    from: usize,
    course: HeatCourse,
    known: Known<'a>,
}

/// What is known of it beforehand.
enum Known<'a> {
    /// It is on the course of a table.
    Table(&'a HeatTable),
    /// It is no more than what a table of another budget has, and so much besides, in joules.
    Below(&'a HeatTable, f64),
    /// Nothing: it was fed up to a row.
    Fed(usize, HeatCourse),
}

impl<'a> Feeding<'a> {
    /// From row `from` on, before which judge stands.
    pub(super) fn new(
        store: &'a Store,
        tables: &'a HeatTables,
        (key, plan): (HeatKey, &'a Plan),
        judge: &Judge,
        outlook: Outlook,
        from: usize,
    ) -> Self {
        let course = judge.heat_course();
        let mut feeding = Self { store, outlook, plan, from, course, known: Known::Fed(from, course) };
        let Some(table) = tables.no_less(key) else { return feeding };
        let first = from / BLOCK * BLOCK;
        let mut there = table.at_block[from / BLOCK];
        feeding.feed(&mut there, &table.plan, (first, from), false);
        if table.key == key && there == course {
            feeding.known = Known::Table(table);
        } else {
            let now = judge.newest();
            let more = (course.at(plan, now) as f64 - there.at(&table.plan, now) as f64).max(0.0) / 1e3;
            feeding.known = Known::Below(table, more);
        }
        feeding
    }

    /// The first row up to which the heat surely stays clear of its limit.
    pub(super) fn calm_until(&mut self, to: usize) -> usize {
        if to <= self.from {
            return to;
        }
        if let Known::Below(table, more) = &mut self.known {
            // The two are rounded each in its own way.
            let took = self.store.at(to - 1).get().saturating_sub(self.store.at(self.from).get());
            let times = (to - self.from) as f64 + (took >> 17) as f64;
            *more += (ROUNDED_AT_ONCE + ROUNDED * times / BUDGET) * (joules(self.plan) + joules(&table.plan));
        }
        let blocks = (self.from / BLOCK, to.div_ceil(BLOCK));
        let calm = |table: &HeatTable, limit| {
            table.most.first(blocks.0, blocks.1, |most| most >= limit).map_or(to, |block| to.min(block * BLOCK))
        };
        let found = match self.known {
            Known::Table(table) => return calm(table, HeatCourse::limit(self.plan)),
            Known::Below(table, more) => {
                let room = f64::from(HeatCourse::limit(self.plan)) / BUDGET * joules(self.plan) - more;
                // A table holds no more than four budgets.
                calm(table, ((room / joules(&table.plan)).clamp(0.0, 3.9) * BUDGET) as u32)
            }
            Known::Fed(..) => self.from,
        };
        if found > self.from {
            return found;
        }
        let mut course = self.course;
        let to = self.feed(&mut course, self.plan, (self.from, to.min(self.from + FED)), true);
        self.known = Known::Fed(to, course);
        to
    }

    /// The heat after the last row before `to`, and whether it is not just that but no less.
    pub(super) fn course_at(&self, to: usize, exactly: bool) -> (HeatCourse, bool) {
        let block = (to - 1) / BLOCK;
        let (mut course, start) = match &self.known {
            Known::Table(table) if block > self.from / BLOCK => (table.at_block[block], block * BLOCK),
            Known::Fed(fed, course) if *fed == to => (*course, to),
            Known::Below(table, more) if !exactly && to > self.from => return (self.no_less(table, *more, to), true),
            _ => (self.course, self.from),
        };
        self.feed(&mut course, self.plan, (start, to), false);
        (course, false)
    }

    fn no_less(&self, table: &HeatTable, more: f64, to: usize) -> HeatCourse {
        let (block, at) = ((to - 1) / BLOCK, self.store.at(to - 1));
        let mut there = table.at_block[block];
        self.feed(&mut there, &table.plan, (block * BLOCK, to - 1), false);
        let held = there.at(&table.plan, at) as f64 / 1e3 + more;
        let mut course = HeatCourse::holding(self.plan, Joules::new(held.ceil() as u32), at);
        self.feed(&mut course, self.plan, (to - 1, to), false);
        course
    }

    /// Feed the heat what the rows `from..to` say. The first row by which it may come to its limit, if that is a stop; else `to`.
    fn feed(&self, course: &mut HeatCourse, plan: &Plan, (from, to): (usize, usize), stops: bool) -> usize {
        let (store, outlook) = (self.store, &self.outlook);
        let mut power = power_before(store, from, outlook);
        let mut powers = if outlook.power_meter {
            store.index.powers.partition_point(|row| (*row as usize) < from)
        } else {
            usize::MAX
        };
        let mut sweep = next_sweep(outlook, from.checked_sub(1).map_or(Micros::ZERO, |before| store.at(before)));
        for row in from..to {
            let (at, before) = (store.at(row), *course);
            let mut clear = true;
            while sweep <= at {
                clear &= course.pass(plan, sweep);
                course.sweep(plan, sweep);
                sweep = Micros::new(sweep.get() + u64::from(SWEEP));
            }
            if store.index.powers.get(powers).is_some_and(|next| *next as usize == row) {
                powers += 1;
                if let Some(watts) = store.power_at(row) {
                    power = Some((at, watts));
                }
            }
            let watts = outlook.power_at(power, at);
            let slip = unpack(store.short[row]);
            clear &= if slip.is_known() { course.feed(plan, at, watts, slip) } else { course.pass(plan, at) };
            if stops && !clear {
                *course = before;
                return row;
            }
        }
        to
    }
}

/// The budget in joules.
fn joules(plan: &Plan) -> f64 {
    f64::from(plan.drive.heat_budget)
}

/// The first sweep after `time`.
fn next_sweep(outlook: &Outlook, time: Micros) -> Micros {
    let (sweep, step) = (outlook.sweep.get(), u64::from(SWEEP));
    let phase = sweep % step;
    let past = time.get().saturating_sub(phase) / step;
    let next = phase + past * step;
    Micros::new(if next > time.get() { next } else { next + step })
}

impl HeatTable {
    /// The heat at `at`, in millijoules, as judge's image has it; from the start of the block on with the slip of each row.
    #[must_use]
    pub fn heat_at(&self, store: &Store, at: Micros) -> u64 {
        let plan = &*self.plan;
        let row = store.row_at(Micros::new(at.get().saturating_add(1)));
        let Some(last) = row.checked_sub(1) else { return 0 };
        let Some(mut course) = self.at_block.get(last / BLOCK).copied() else { return 0 };
        let first = last / BLOCK * BLOCK;
        let mut power = store.index.powers.partition_point(|power| (*power as usize) < first).checked_sub(1);
        for row in first..=last {
            let next = power.map_or(0, |power| power + 1);
            if store.index.powers.get(next).is_some_and(|power| *power as usize == row) {
                power = Some(next);
            }
            let told = power.and_then(|power| store.index.powers.get(power));
            let watts = match told.and_then(|row| store.power_at(*row as usize)) {
                Some(watts) if plan.has(fitted::POWER_METER) && watts > Watts::ZERO => watts,
                _ => Watts::new(plan.drive.assumed_power),
            };
            let slip = unpack(store.short[row]);
            if slip.is_known() {
                course.feed(plan, store.at(row), watts, slip);
            }
        }
        course.at(plan, at)
    }
}
