//! Slip heat over a trace: tables of it, one for each way of reckoning it, and what it is within a steady stretch.

use std::cell::Cell;
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
use super::steady::{NoOne, Steady};
use super::store::{Store, show};
use super::walk::power_before;
use crate::monitor::{Judge, plan_of};

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
    /// Work it out by a whole pass of judge, which leaps where the leg runs steadily: there heat alone is fed, row by row.
    #[must_use]
    pub fn build(store: &Store, settings: &Checked) -> Self {
        let plan = plan_of(settings);
        let mut judge = Judge::new(plan.clone(), &Retained::default());
        let (goes_on, over, none) = (Cell::new(true), Cell::new(false), HeatTables::default());
        let mut steady = Steady::new(store, (settings, &plan), &none, (true, &over));
        let mut cursor = Cursor::new(store);
        let mut gathered = Gathered::with_room(store.len());
        while let Some((at, row)) = cursor.next_row() {
            let number = cursor.row() - 1;
            gathered.see(&plan, number, at, &judge.heat_course());
            show(&mut judge, at, row, &cursor, &mut |_| {});
            gathered.see(&plan, number, at, &judge.heat_course());
            let (from, mut course, outlook) = (cursor.row(), judge.heat_course(), judge.outlook());
            let leapt = steady.leap(&mut judge, &mut cursor, &goes_on, &mut NoOne);
            if let Some(outlook) = outlook.filter(|_| leapt > 0) {
                let see = |row, at, course: &HeatCourse| gathered.see(&plan, row, at, course);
                feed::<false>(store, &outlook, &mut course, &plan, (from, cursor.row()), see);
            }
        }
        let Gathered { at_block, most } = gathered;
        Self { key: heat_key(settings), plan, at_block, most: Layered::build(most, u32::max) }
    }
}

/// What a table is made of while it is.
struct Gathered {
    at_block: Vec<HeatCourse>,
    most: Vec<u32>,
}

impl Gathered {
    fn with_room(rows: usize) -> Self {
        let blocks = rows.div_ceil(BLOCK);
        Self { at_block: Vec::with_capacity(blocks), most: Vec::with_capacity(blocks) }
    }

    /// The heat as it stands when `row` comes, and once more when it has been taken.
    fn see(&mut self, plan: &Plan, row: usize, at: Micros, course: &HeatCourse) {
        let block = row / BLOCK;
        if self.at_block.len() == block {
            self.at_block.push(*course);
            self.most.push(0);
        }
        self.most[block] = self.most[block].max(course.reach(plan, at));
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
        feeding.feed(&mut there, &table.plan, (first, from));
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
        let rows = (self.from, to.min(self.from + FED));
        let to = feed::<true>(self.store, &self.outlook, &mut course, self.plan, rows, |_, _, _| {});
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
        self.feed(&mut course, self.plan, (start, to));
        (course, false)
    }

    fn no_less(&self, table: &HeatTable, more: f64, to: usize) -> HeatCourse {
        let (block, at) = ((to - 1) / BLOCK, self.store.at(to - 1));
        let mut there = table.at_block[block];
        self.feed(&mut there, &table.plan, (block * BLOCK, to - 1));
        let held = there.at(&table.plan, at) as f64 / 1e3 + more;
        let mut course = HeatCourse::holding(self.plan, Joules::new(held.ceil() as u32), at);
        self.feed(&mut course, self.plan, (to - 1, to));
        course
    }

    fn feed(&self, course: &mut HeatCourse, plan: &Plan, rows: (usize, usize)) {
        feed::<false>(self.store, &self.outlook, course, plan, rows, |_, _, _| {});
    }
}

/// Feed the heat what the rows `from..to` say; `see` looks at it when each row comes, and once more when it has been taken. The first
/// row by which it may come to its limit, if that `STOPS` it; else `to`.
fn feed<const STOPS: bool>(
    store: &Store,
    outlook: &Outlook,
    course: &mut HeatCourse,
    plan: &Plan,
    (from, to): (usize, usize),
    mut see: impl FnMut(usize, Micros, &HeatCourse),
) -> usize {
    let mut power = power_before(store, from, outlook);
    let mut powers =
        if outlook.power_meter { store.index.powers.partition_point(|row| (*row as usize) < from) } else { usize::MAX };
    let mut sweep = next_sweep(outlook, from.checked_sub(1).map_or(Micros::ZERO, |before| store.at(before)));
    for row in from..to {
        let (at, before) = (store.at(row), *course);
        let mut clear = true;
        see(row, at, course);
        while sweep <= at {
            if STOPS {
                clear &= course.pass(plan, sweep);
            } else {
                course.wait(plan, sweep);
            }
            course.sweep(plan, sweep);
            sweep = Micros::new(sweep.get() + u64::from(SWEEP));
        }
        if store.index.powers.get(powers).is_some_and(|next| *next as usize == row) {
            powers += 1;
            if let Some(watts) = store.power_at(row) {
                power = Some((at, watts));
            }
        }
        let slip = unpack(store.short[row]);
        match (STOPS, slip.is_known()) {
            (true, true) => clear &= course.feed(plan, at, outlook.power_at(power, at), slip),
            (true, false) => clear &= course.pass(plan, at),
            (false, true) => course.take(plan, at, outlook.power_at(power, at), slip),
            (false, false) => course.wait(plan, at),
        }
        if STOPS && !clear {
            *course = before;
            return row;
        }
        see(row, at, course);
    }
    to
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
