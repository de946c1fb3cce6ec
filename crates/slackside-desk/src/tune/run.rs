//! Judging stored motion: judge itself sees every row that may turn an alarm or is out of the ordinary; between them it leaps.

use std::collections::HashMap;

use slackside::judge::Judge;
use slackside::judge::leap::{HeatCourse, LEAPT, LeaptCell, Outlook};
use slackside::settings::Checked;
use slackside::sight::{Seen, Sight};
use slackside::survivor::Survivor;
use slackside::units::{Micros, Span, Watts};
use slackside::verdict::Verdict;

use super::columns::{BLOCK, Cursor, Told};
use super::follow::Follower;
use super::index::Layered;
use super::store::Store;
use super::walk::{self, Shaft, Walk};

/// Rows that a leap must save to be worth its trouble.
const LEAST_LEAP: usize = 6;
/// Rows looked ahead at least; doubled as long as nothing turns, and cut back to twice the last leap when something does.
const FIRST_CHUNK: usize = 1 << 7;
const LAST_CHUNK: usize = 1 << 21;
/// Where underspeed stands in [`LEAPT`].
const UNDERSPEED: usize = 6;

/// Slip heat over a whole trace, at every block: it depends on the heat's time constant and on nothing else that is tuned.
#[derive(Clone, Debug)]
pub struct HeatTable {
    tau: Span,
    at_block: Vec<HeatCourse>,
    most: Layered<u64>,
}

impl HeatTable {
    /// Work it out by a whole pass of judge.
    #[must_use]
    pub fn build(store: &Store, settings: &Checked) -> Self {
        let mut judge = Box::new(Judge::new());
        judge.configure(settings, &Survivor::default());
        let mut cursor = Cursor::new(store);
        let blocks = store.len().div_ceil(BLOCK);
        let mut table = Self {
            tau: settings.limits.slip_heat.time_constant,
            at_block: Vec::with_capacity(blocks),
            most: Layered::default(),
        };
        let mut peaks = Vec::with_capacity(blocks);
        for block in 0..blocks {
            table.at_block.push(judge.heat_course());
            let mut most = 0;
            for _ in block * BLOCK..((block + 1) * BLOCK).min(store.len()) {
                let Some(seen) = cursor.next_seen() else { break };
                most = most.max(judge.heat_course().at(seen.at));
                judge.observe(seen, &mut |_| {});
            }
            peaks.push(most);
        }
        table.most = Layered::build(peaks, u64::max);
        table
    }
}

/// The heat tables of a trace, one for each time constant that is tried.
#[derive(Clone, Debug, Default)]
pub struct HeatTables {
    tables: HashMap<u32, HeatTable>,
}

impl HeatTables {
    /// For all the time constants of these settings.
    #[must_use]
    pub fn build<'a>(store: &Store, settings: impl IntoIterator<Item = &'a Checked>) -> Self {
        let mut tables = HashMap::new();
        for settings in settings {
            tables
                .entry(settings.limits.slip_heat.time_constant.get())
                .or_insert_with(|| HeatTable::build(store, settings));
        }
        Self { tables }
    }

    /// That of one time constant.
    #[must_use]
    pub fn of(&self, settings: &Checked) -> Option<&HeatTable> {
        self.tables.get(&settings.limits.slip_heat.time_constant.get())
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
    let mut judge = Box::new(Judge::new());
    judge.configure(settings, &Survivor::default());
    let mut cursor = Cursor::new(store);
    let mut goes_on = true;
    while goes_on && let Some(seen) = cursor.next_seen() {
        judge.observe(seen, &mut |verdict| goes_on = goes_on && out(verdict));
    }
    if goes_on && !store.is_empty() {
        judge.observe(Seen { at: store.end(), sight: Sight::Wake }, &mut |verdict| goes_on = goes_on && out(verdict));
    }
}

/// Judge the stored motion under these settings: the same verdicts as [`judge_plainly`]. `out` says whether to go on.
pub fn judge(
    store: &Store,
    settings: &Checked,
    heat: Option<&HeatTable>,
    mut out: impl FnMut(Verdict) -> bool,
) -> Cost {
    let mut judge = Box::new(Judge::new());
    judge.configure(settings, &Survivor::default());
    let heat = heat.filter(|table| table.tau == settings.limits.slip_heat.time_constant);
    let mut leaper =
        Leaper { store, heat, chunk: FIRST_CHUNK, left: None, stop: 0, followers: [const { None }; LEAPT.len()] };
    let mut cursor = Cursor::new(store);
    let mut cost = Cost::default();
    let mut goes_on = true;
    let mut patience = 0_u32;
    let mut wait = 0_u32;
    while goes_on {
        let Some(seen) = cursor.next_seen() else { break };
        judge.observe(seen, &mut |verdict| goes_on = goes_on && out(verdict));
        cost.shown += 1;
        if !goes_on {
            return cost;
        }
        if wait > 0 {
            wait -= 1;
            continue;
        }
        let rows = leaper.leap(&mut judge, &mut cursor);
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
        judge.observe(Seen { at: store.end(), sight: Sight::Wake }, &mut |verdict| goes_on = goes_on && out(verdict));
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
    fn leap(&mut self, judge: &mut Judge, cursor: &mut Cursor<'_>) -> usize {
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
        let motion = cursor.motion();
        let shaft = |shaft: &slackside::motion::ShaftMotion| {
            Some(Shaft { edge: shaft.last_edge?, next: shaft.next_largest, pitch: shaft.pitch? })
        };
        let (Some(head), Some(boot)) = (shaft(&motion.head), shaft(&motion.boot)) else { return 0 };
        if outlook.awaits_power(judge.newest()) {
            let next = index.powers.partition_point(|row| (*row as usize) < from);
            to = index.powers.get(next).map_or(to, |row| to.min(*row as usize));
        }
        to = to.min(from + self.chunk);
        let mut course = judge.heat_course();
        let limit = course.limit();
        let on_course = self.heat.filter(|table| {
            let (start, mut there) = match self.left {
                // Where the last leap left the table's course is nearer than the beginning of the block.
                Some((row, left)) if from / BLOCK * BLOCK <= row && row <= from => (row, left),
                _ => (from / BLOCK * BLOCK, table.at_block[from / BLOCK]),
            };
            self.feed(&mut there, self.power_before(start, &outlook), &outlook, start, from, u64::MAX);
            there.is_on_the_course_of(&course)
        });
        if on_course.is_none() {
            // The heat must be followed row by row: not too far at once.
            to = to.min(from + 64 * BLOCK);
        }
        // Blocks in which more than delays may change.
        let (first, last) = (from / BLOCK, to.div_ceil(BLOCK));
        let rough = [
            index.head.calm.first(first, last, |calm| calm > outlook.guard.head),
            index.boot.calm.first(first, last, |calm| calm > outlook.guard.boot),
            on_course.and_then(|table| table.most.first(first, last, |most| most >= limit)),
        ];
        if let Some(block) = rough.into_iter().flatten().min() {
            to = to.min(block * BLOCK);
        }
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
            let power = outlook.power;
            to = self.feed(&mut course, power, &outlook, from, to, limit);
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
        match on_course {
            Some(table) if last / BLOCK > from / BLOCK => {
                let start = last / BLOCK * BLOCK;
                course = table.at_block[last / BLOCK];
                self.feed(&mut course, self.power_before(start, &outlook), &outlook, start, to, u64::MAX);
            }
            _ => {
                self.feed(&mut course, outlook.power, &outlook, from, to, u64::MAX);
            }
        }
        self.left = on_course.map(|_| (to, course));
        cursor.go_past(last);
        let brisk = walk::brisk(store, &outlook.cells[UNDERSPEED], boot, outlook.brisk, (from, to));
        let power = self.power_before(to, &outlook);
        judge.leap(store.at(last), cursor.motion(), &outlook, &cells, brisk, power, &course);
        self.chunk = if to == whole { (self.chunk * 2).min(LAST_CHUNK) } else { FIRST_CHUNK.max(2 * (to - from)) };
        to - from
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

    /// Feed the heat what the rows `from..to` say. The first row by which the heat reaches `limit`, else `to`.
    fn feed(
        &self,
        course: &mut HeatCourse,
        mut power: Option<(Micros, Watts)>,
        outlook: &Outlook,
        from: usize,
        to: usize,
        limit: u64,
    ) -> usize {
        let store = self.store;
        let mut powers = if outlook.power_meter {
            store.index.powers.partition_point(|row| (*row as usize) < from)
        } else {
            usize::MAX
        };
        for row in from..to {
            let at = store.at(row);
            if limit < u64::MAX && course.at(at) >= limit {
                return row;
            }
            if store.index.powers.get(powers).is_some_and(|next| *next as usize == row) {
                powers += 1;
                let found = store.whole.binary_search_by_key(&(row as u32), |whole| whole.row);
                if let Some(Told::Power(watts)) = found.ok().map(|found| &store.whole[found].told) {
                    power = Some((at, *watts));
                }
            }
            let watts = outlook.power_at(power, at);
            if let Some(slip) = super::columns::unpack(store.short[row]).ppm() {
                course.feed(at, watts, slip);
            }
        }
        to
    }

    /// The newest power reading before `row`.
    fn power_before(&self, row: usize, outlook: &Outlook) -> Option<(Micros, Watts)> {
        let store = self.store;
        let powers = store.index.powers.partition_point(|power| (*power as usize) < row);
        let Some(last) = powers.checked_sub(1) else { return outlook.power };
        let at_row = store.index.powers[last];
        let found = store.whole.binary_search_by_key(&at_row, |whole| whole.row).ok()?;
        match &store.whole[found].told {
            Told::Power(watts) => Some((store.whole[found].at, *watts)),
            _ => None,
        }
    }
}

impl HeatTable {
    /// The heat at `at`, in millijoules, as judge's image has it on a leg whose power is not measured; from the start of the
    /// block on with the slip of each row.
    #[must_use]
    pub fn heat_at(&self, store: &Store, settings: &Checked, at: Micros) -> u64 {
        let row = store.row_at(Micros::new(at.get().saturating_add(1)));
        let Some(last) = row.checked_sub(1) else { return 0 };
        let Some(mut course) = self.at_block.get(last / BLOCK).copied() else { return 0 };
        let factor = u64::from(settings.machine.service_factor.get().unsigned_abs());
        let assumed = u64::from(settings.machine.rated_power.get()) * factor / 1_000_000;
        let first = last / BLOCK * BLOCK;
        let mut power = store.index.powers.partition_point(|power| (*power as usize) < first).checked_sub(1);
        for row in first..=last {
            let next = power.map_or(0, |power| power + 1);
            if store.index.powers.get(next).is_some_and(|power| *power as usize == row) {
                power = Some(next);
            }
            let told = power.and_then(|power| store.index.powers.get(power)).and_then(|row| {
                let found = store.whole.binary_search_by_key(row, |whole| whole.row).ok()?;
                match store.whole[found].told {
                    Told::Power(watts) => Some(watts),
                    _ => None,
                }
            });
            let watts = match told {
                Some(watts) if settings.machine.power_meter && watts > Watts::ZERO => watts,
                _ => Watts::new(u32::try_from(assumed).unwrap_or(u32::MAX)),
            };
            if let Some(slip) = super::columns::unpack(store.short[row]).ppm() {
                course.feed(store.at(row), watts, slip);
            }
        }
        course.at(at)
    }
}
