//! Judging stored motion: judge itself sees every row that may turn an alarm or is out of the ordinary; between them it leaps.

use std::cell::Cell;
use std::collections::HashMap;
use std::sync::Arc;

use slackside::alone::leap::{HeatCourse, LEAPT, LeaptCell, Outlook};
use slackside::conditions::Condition;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::{Plan, fitted};
use slackside::settings::plan_check::Sound;
use slackside::units::{Micros, Watts};
use slackside::verdict::Verdict;

use super::columns::{BLOCK, Cursor, Row};
use super::follow::Follower;
use super::index::Layered;
use super::store::Store;
use super::walk::{self, Shaft, Walk};
use crate::monitor::{Judge, judge as fresh_judge, plan_of};

/// Rows that a leap must save to be worth its trouble.
const LEAST_LEAP: usize = 6;
/// Rows looked ahead at least; doubled as long as nothing turns, and cut back to twice the last leap when something does.
const FIRST_CHUNK: usize = 1 << 7;
const LAST_CHUNK: usize = 1 << 21;
/// Where underspeed stands in [`LEAPT`].
const UNDERSPEED: usize = 6;

/// What slip heat depends on, of all that is tuned: time constant in microseconds, budget in joules, setpoints in ppm of heat and of
/// slip below zero.
type HeatKey = (u32, u32, i32, i32);

fn heat_key(settings: &Checked) -> HeatKey {
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

    /// That of these settings.
    #[must_use]
    pub fn of(&self, settings: &Checked) -> Option<&HeatTable> {
        self.tables.get(&heat_key(settings))
    }

    /// One with the time constant of these settings: the heat is the same but for rounding.
    #[must_use]
    pub fn like(&self, settings: &Checked) -> Option<&HeatTable> {
        let tau = heat_key(settings).0;
        self.of(settings)
            .or_else(|| self.tables.values().filter(|table| table.key.0 == tau).min_by_key(|table| table.key))
    }
}

/// Tell judge what a row says.
fn show(judge: &mut Judge, at: Micros, row: Row<'_>, cursor: &Cursor<'_>, sink: &mut dyn FnMut(&Verdict)) {
    match row {
        Row::Told(told) => judge.observe(at, told, cursor.signals(), sink),
        Row::Wake => judge.wake(at, sink),
    }
}

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

/// Judge the stored motion under these settings: the same verdicts as [`judge_plainly`]. `out` says whether to go on.
pub fn judge(
    store: &Store,
    settings: &Checked,
    heat: Option<&HeatTable>,
    mut out: impl FnMut(Verdict) -> bool,
) -> Cost {
    let mut judge = fresh_judge(settings, &Retained::default());
    let heat = heat.filter(|table| table.key == heat_key(settings));
    let mut leaper =
        Leaper { store, heat, chunk: FIRST_CHUNK, left: None, stop: 0, followers: [const { None }; LEAPT.len()] };
    let mut cursor = Cursor::new(store);
    let mut cost = Cost::default();
    let goes_on = Cell::new(true);
    let mut sink = |verdict: &Verdict| goes_on.set(goes_on.get() && out(*verdict));
    let mut patience = 0_u32;
    let mut wait = 0_u32;
    while let Some((at, row)) = cursor.next_row() {
        show(&mut judge, at, row, &cursor, &mut sink);
        cost.shown += 1;
        if !goes_on.get() {
            return cost;
        }
        if wait > 0 {
            wait -= 1;
            continue;
        }
        let rows = leaper.leap(&mut judge, &mut cursor, &mut sink);
        if rows == 0 {
            // Not here: wait a little longer every time, since looking costs as much as a few rows.
            patience = (patience + 1).min(4);
            wait = patience;
        } else {
            patience = 0;
            cost.leaps += 1;
            cost.leapt += rows as u64;
        }
    }
    if !store.is_empty() {
        judge.wake(store.end(), &mut sink);
    }
    cost
}

struct Leaper<'a> {
    store: &'a Store,
    heat: Option<&'a HeatTable>,
    chunk: usize,
    /// The row that the last leap led to, and the heat there, if it is on the course of the table.
    left: Option<(usize, HeatCourse)>,
    /// Where in the list of stops the search goes on.
    stop: usize,
    /// The tables of crossings, once a condition was asked for.
    followers: [Option<Follower>; LEAPT.len()],
}

impl Leaper<'_> {
    /// Leap as far as nothing turns. How many rows were saved.
    fn leap(&mut self, judge: &mut Judge, cursor: &mut Cursor<'_>, sink: &mut dyn FnMut(&Verdict)) -> usize {
        let store = self.store;
        let from = cursor.row();
        let index = &store.index;
        while index.stops.get(self.stop).is_some_and(|row| (*row as usize) < from) {
            self.stop += 1;
        }
        let mut to = index.stops.get(self.stop).map_or(store.len(), |row| *row as usize);
        if to < from + LEAST_LEAP {
            return 0;
        }
        let Some(outlook) = judge.outlook() else { return 0 };
        let signals = cursor.signals();
        let shaft = |shaft| Shaft::at(judge.newest(), shaft);
        let (Some(head), Some(boot)) = (shaft(&signals.head), shaft(&signals.boot)) else { return 0 };
        if outlook.awaits_power(judge.newest()) {
            let next = index.powers.partition_point(|row| (*row as usize) < from);
            to = index.powers.get(next).map_or(to, |row| to.min(*row as usize));
        }
        to = to.min(from + self.chunk);
        let mut course = judge.heat_course();
        let on_course = self.heat.filter(|table| {
            let (start, mut there) = match self.left {
                // Where the last leap left the table's course is nearer than the beginning of the block.
                Some((row, left)) if from / BLOCK * BLOCK <= row && row <= from => (row, left),
                _ => (from / BLOCK * BLOCK, table.at_block[from / BLOCK]),
            };
            self.feed(&mut there, judge.plan(), self.power_before(start, &outlook), &outlook, (start, from), false);
            there == course
        });
        if on_course.is_none() {
            // The heat must be followed row by row: not too far at once.
            to = to.min(from + 64 * BLOCK);
        }
        to = self.calm_until((from, to), &outlook, on_course, HeatCourse::limit(judge.plan()));
        if outlook.until < Micros::MAX && to > from && store.at(to - 1) >= outlook.until {
            to = to.min(store.row_at(outlook.until));
        }
        if to < from + LEAST_LEAP {
            return 0;
        }
        let whole = to;
        let mut walks = [None::<(Walk, usize)>; LEAPT.len()];
        // The one whose delay ends first is most likely to turn first, and spares the others the way beyond.
        let mut order: [usize; LEAPT.len()] = std::array::from_fn(|number| number);
        order.sort_unstable_by_key(|number| outlook.cells[*number].due);
        for number in order {
            let cell = &outlook.cells[number];
            if !cell.judged {
                continue;
            }
            let walk = self.walk(number, cell, head, boot, from, to);
            walks[number] = Some((walk, to));
            to = to.min(walk.turns);
            if to < from + LEAST_LEAP {
                self.chunk = FIRST_CHUNK;
                return 0;
            }
        }
        if on_course.is_none() {
            to = self.feed(&mut course, judge.plan(), outlook.power, &outlook, (from, to), true);
            if to < from + LEAST_LEAP {
                return 0;
            }
            course = judge.heat_course();
        }
        let mut cells = [(false, Micros::MAX); LEAPT.len()];
        for (number, cell) in outlook.cells.iter().enumerate() {
            cells[number] = match walks[number] {
                None => (cell.beyond, cell.due),
                Some((walk, upto)) if upto == to => (walk.beyond, walk.due),
                Some(_) => {
                    let walk = self.walk(number, cell, head, boot, from, to);
                    (walk.beyond, walk.due)
                }
            };
        }
        let last = to - 1;
        course = self.course_at(course, on_course, judge.plan(), &outlook, (from, to));
        self.left = on_course.map(|_| (to, course));
        cursor.go_past(last);
        let brisk = walk::brisk(store, &outlook.cells[UNDERSPEED], boot, outlook.brisk, (from, to));
        let power = self.power_before(to, &outlook);
        judge.leap(store.at(last), cursor.signals(), &cells, brisk, power, &course, sink);
        self.chunk = if to == whole { (self.chunk * 2).min(LAST_CHUNK) } else { FIRST_CHUNK.max(2 * (to - from)) };
        to - from
    }

    /// The first row up to which nothing but delays may change, by whole blocks.
    fn calm_until(
        &self,
        (from, to): (usize, usize),
        outlook: &Outlook,
        on_course: Option<&HeatTable>,
        limit: u32,
    ) -> usize {
        let index = &self.store.index;
        let (first, last) = (from / BLOCK, to.div_ceil(BLOCK));
        let rough = [
            index.head.calm.first(first, last, |calm| calm > outlook.guard.head),
            index.boot.calm.first(first, last, |calm| calm > outlook.guard.boot),
            index.boot.quick.first(first, last, |quick| quick <= outlook.guard.fast),
            on_course.and_then(|table| table.most.first(first, last, |most| most >= limit)),
        ];
        rough.into_iter().flatten().min().map_or(to, |block| to.min(block * BLOCK))
    }

    /// The heat after the last row of the leap, from what it was before the first.
    fn course_at(
        &self,
        mut course: HeatCourse,
        on_course: Option<&HeatTable>,
        plan: &Plan,
        outlook: &Outlook,
        (from, to): (usize, usize),
    ) -> HeatCourse {
        let block = (to - 1) / BLOCK;
        let (mut start, mut power) = (from, outlook.power);
        if let Some(table) = on_course.filter(|_| block > from / BLOCK) {
            start = block * BLOCK;
            course = table.at_block[block];
            power = self.power_before(start, outlook);
        }
        self.feed(&mut course, plan, power, outlook, (start, to), false);
        course
    }

    fn walk(&mut self, number: usize, cell: &LeaptCell, head: Shaft, boot: Shaft, from: usize, to: usize) -> Walk {
        let store = self.store;
        let follower = match &mut self.followers[number] {
            Some(follower) if follower.is_of(cell) => follower,
            other => other.insert(Follower::new(store, number, cell)),
        };
        if let Some(walk) = follower.follow(store, cell, from, to) {
            return walk;
        }
        match number {
            5..=7 => walk::speed(store, cell, &store.index.boot, false, boot, (from, to)),
            8 => walk::speed(store, cell, &store.index.head, true, head, (from, to)),
            _ => walk::values(store, cell, from, to, |row, above| {
                walk::next_value(store, number, cell, (row, to), above)
            }),
        }
    }

    /// Feed the heat what the rows `from..to` say. The first row by which the heat may come to its limit, if that is a stop; else `to`.
    fn feed(
        &self,
        course: &mut HeatCourse,
        plan: &Plan,
        mut power: Option<(Micros, Watts)>,
        outlook: &Outlook,
        (from, to): (usize, usize),
        stops: bool,
    ) -> usize {
        let store = self.store;
        let mut powers = if outlook.power_meter {
            store.index.powers.partition_point(|row| (*row as usize) < from)
        } else {
            usize::MAX
        };
        for row in from..to {
            let at = store.at(row);
            if store.index.powers.get(powers).is_some_and(|next| *next as usize == row) {
                powers += 1;
                if let Some(watts) = store.power_at(row) {
                    power = Some((at, watts));
                }
            }
            let watts = outlook.power_at(power, at);
            let slip = super::columns::unpack(store.short[row]);
            let clear = if slip.is_known() { course.feed(plan, at, watts, slip) } else { course.pass(plan, at) };
            if stops && !clear {
                return row;
            }
        }
        to
    }

    /// The newest power reading before `row`.
    fn power_before(&self, row: usize, outlook: &Outlook) -> Option<(Micros, Watts)> {
        let store = self.store;
        let powers = store.index.powers.partition_point(|power| (*power as usize) < row);
        let Some(last) = powers.checked_sub(1) else { return outlook.power };
        let at_row = store.index.powers[last] as usize;
        store.power_at(at_row).map(|watts| (store.at(at_row), watts))
    }
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
            let slip = super::columns::unpack(store.short[row]);
            if slip.is_known() {
                course.feed(plan, store.at(row), watts, slip);
            }
        }
        course.at(plan, at)
    }
}
