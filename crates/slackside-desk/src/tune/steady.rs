//! Steady running, judged by what turns: each condition's delays are followed by themselves, and judge is told their turns in the order
//! in which it would have found them.

use std::cell::Cell;

use slackside::alone::leap::{BRISK_ENOUGH, LEAPT, LeaptCell, Outlook};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use super::columns::{BLOCK, Cursor};
use super::delays::{Bound, Delays, Moment};
use super::heat::{Feeding, HeatKey, HeatTables, heat_key};
use super::store::Store;
use super::walk::{self, HEAD_UNDERSPEED, Shaft, UNDERSPEED, power_before};
use crate::monitor::Judge;

/// Rows that a leap must save to be worth its trouble.
const LEAST: usize = 6;

/// Leaps over the steady stretches of one trace, under one setting.
pub(super) struct Steady<'a> {
    store: &'a Store,
    plan: &'a Plan,
    heat: (HeatKey, &'a HeatTables),
    delays: [Option<Delays>; LEAPT.len()],
    /// The places in [`LEAPT`] in order of rank.
    order: [usize; LEAPT.len()],
    /// Where in the list of stops the search goes on.
    stop: usize,
    /// Slip heat is to be known to the unit.
    exactly: bool,
    /// Judge's slip heat may be more than it should be, never less.
    over: &'a Cell<bool>,
}

/// One stretch while it is gone through.
struct Stretch {
    from: usize,
    /// When judge was told something last.
    newest: Micros,
    outlook: Outlook,
    head: Shaft,
    boot: Shaft,
    /// Where it matters when the belt will be at speed: the row up to which that was looked for, and when it is.
    speed: Option<(usize, Moment)>,
}

impl Stretch {
    /// Boot pitches at speed since the last that was surely slow, before row `to`, and whether the last was.
    fn brisk(&self, store: &Store, to: usize) -> (u8, bool) {
        walk::brisk(store, &self.outlook.cells[UNDERSPEED], (self.boot, self.outlook.brisk), (self.from, to))
    }

    /// Whether the belt is at speed before row `to`.
    fn is_at_speed(&self, store: &Store, to: usize) -> bool {
        let (count, last) = self.brisk(store, to);
        last && count == BRISK_ENOUGH
    }
}

/// How a hop ended.
enum Hop {
    /// At its bound.
    Whole,
    /// No one listens any more.
    Enough,
    /// Judge must be told from this row on.
    Seen(usize),
}

impl<'a> Steady<'a> {
    /// `over` tells when slip heat becomes more than it should be, which it never does `exactly`.
    pub(super) fn new(
        store: &'a Store,
        (settings, plan): (&Checked, &'a Plan),
        heat: &'a HeatTables,
        (exactly, over): (bool, &'a Cell<bool>),
    ) -> Self {
        let mut order: [usize; LEAPT.len()] = std::array::from_fn(|number| number);
        order.sort_unstable_by_key(|number| LEAPT[*number].rank());
        Self {
            store,
            plan,
            heat: (heat_key(settings), heat),
            delays: [const { None }; LEAPT.len()],
            order,
            stop: 0,
            exactly,
            over,
        }
    }

    /// Leap as far as the leg runs steadily, and no further than anyone listens. How many rows were saved.
    pub(super) fn leap(
        &mut self,
        judge: &mut Judge,
        cursor: &mut Cursor<'_>,
        goes_on: &Cell<bool>,
        sink: &mut dyn FnMut(&Verdict),
    ) -> usize {
        let store = self.store;
        let from = cursor.row();
        let index = &store.index;
        self.stop += index.stops[self.stop..].iter().take_while(|row| (**row as usize) < from).count();
        let to = index.stops.get(self.stop).map_or(store.len(), |row| *row as usize);
        if to < from + LEAST {
            return 0;
        }
        let Some(outlook) = judge.outlook() else { return 0 };
        let signals = cursor.signals();
        let shaft = |shaft| Shaft::at(judge.newest(), shaft);
        let (Some(head), Some(boot)) = (shaft(&signals.head), shaft(&signals.boot)) else { return 0 };
        let to = self.calm_until((from, to), judge.newest(), &outlook);
        let (key, tables) = self.heat;
        let mut feeding = Feeding::new(store, tables, (key, self.plan), judge, outlook, from);
        let to = feeding.calm_until(to);
        if to < from + LEAST || store.at(from + LEAST - 1) >= outlook.until {
            return 0;
        }
        let newest = judge.newest();
        let mut stretch = Stretch { from, newest, outlook, head, boot, speed: None };
        self.start(&stretch);
        let to = self.hops(judge, &mut stretch, to, goes_on, sink);
        if !goes_on.get() || (to == from && stretch.newest == newest) {
            return 0;
        }
        self.land(judge, cursor, &stretch, to, &feeding, sink);
        to - from
    }

    /// Set the delays on their way.
    fn start(&mut self, stretch: &Stretch) {
        for (number, cell) in stretch.outlook.cells.iter().enumerate().filter(|(_, cell)| cell.judged) {
            let shaft = if number == HEAD_UNDERSPEED { stretch.head } else { stretch.boot };
            let delays = match &mut self.delays[number] {
                Some(delays) if delays.is_of(cell) => delays,
                other => other.insert(Delays::new(self.store, number, cell)),
            };
            delays.start(self.store, cell, shaft, stretch.from);
        }
        for (delays, cell) in self.delays.iter_mut().zip(&stretch.outlook.cells) {
            if !cell.judged {
                *delays = None;
            }
        }
    }

    /// Go from sweep to sweep up to row `to`. The row before which judge is to be put.
    fn hops(
        &mut self,
        judge: &mut Judge,
        stretch: &mut Stretch,
        to: usize,
        goes_on: &Cell<bool>,
        sink: &mut dyn FnMut(&Verdict),
    ) -> usize {
        let store = self.store;
        let (mut until, mut sweep) = (stretch.outlook.until, stretch.outlook.sweep);
        let mut from = stretch.from;
        loop {
            let end = until.min(sweep);
            let row = if store.at(to - 1) < end { to } else { store.row_at(end) };
            let bound = |row| Bound { row, at: store.at(row - 1).get() };
            if row > from {
                match self.hop(judge, stretch, bound(row), goes_on, sink) {
                    Hop::Whole => {}
                    Hop::Enough => return row,
                    Hop::Seen(row) => {
                        for delays in self.delays.iter_mut().flatten() {
                            delays.go_back(store, bound(row));
                        }
                        return row;
                    }
                }
            }
            if row == to {
                return to;
            }
            let power = power_before(store, row, &stretch.outlook);
            let was = until;
            let now = if sweep < until { sweep } else { store.at(row - 1).max(stretch.newest) };
            (until, sweep) = judge.look_on(now, power);
            if was == end && until <= was {
                return row;
            }
            from = row;
        }
    }

    /// Tell judge what turns up to a bound.
    fn hop(
        &mut self,
        judge: &mut Judge,
        stretch: &mut Stretch,
        bound: Bound,
        goes_on: &Cell<bool>,
        sink: &mut dyn FnMut(&Verdict),
    ) -> Hop {
        let store = self.store;
        let mut nexts = [Moment::NEVER; LEAPT.len()];
        for (delays, next) in self.delays.iter_mut().zip(&mut nexts) {
            if let Some(delays) = delays {
                delays.look(store, bound);
                *next = delays.next();
            }
        }
        if let Some((from, Moment::NEVER)) = stretch.speed {
            stretch.speed = Some(self.find_speed(stretch, from, bound));
        }
        loop {
            let at_speed = stretch.speed.map_or(Moment::NEVER, |(_, moment)| moment);
            let first = nexts.iter().copied().fold(at_speed, Moment::min);
            if first == Moment::NEVER {
                return Hop::Whole;
            }
            let (at, step) = (first.at(), first.step());
            let comes = |moment: Moment| moment != Moment::NEVER && moment.step() == step;
            let seen = |(cell, next): (&LeaptCell, &Moment)| cell.seen && comes(*next);
            if stretch.outlook.cells.iter().zip(&nexts).any(seen) {
                return Hop::Seen(first.rows_before(store));
            }
            for at_once in [false, true] {
                for number in self.order {
                    let Some(delays) = &mut self.delays[number] else { continue };
                    if comes(nexts[number]) && nexts[number].is_at_once() == at_once {
                        judge.turn(at, LEAPT[number], &mut stretch.outlook.held, sink);
                        delays.take(store, bound);
                        nexts[number] = delays.next();
                    }
                }
            }
            let rows = || first.rows(store);
            let is_at_speed = || stretch.is_at_speed(store, rows());
            let mut held = stretch.outlook.held;
            let waits = judge.settle_turns(at, &mut held, is_at_speed, sink);
            stretch.outlook.held = held;
            stretch.newest = at;
            if !goes_on.get() {
                return Hop::Enough;
            }
            stretch.speed = match stretch.speed {
                _ if !waits => None,
                Some(known) if known.1 != first => Some(known),
                _ => Some(self.find_speed(stretch, rows(), bound)),
            };
        }
    }

    /// Find the row, from `from` on, with which the belt will be at speed: how far was looked, and when it is.
    fn find_speed(&self, stretch: &Stretch, from: usize, bound: Bound) -> (usize, Moment) {
        let store = self.store;
        let found = (from..bound.row).find(|row| !store.is_head(*row) && stretch.is_at_speed(store, row + 1));
        (bound.row.max(from), found.map_or(Moment::NEVER, |row| Moment::row(store, row)))
    }

    /// Put judge before row `to`.
    fn land(
        &self,
        judge: &mut Judge,
        cursor: &mut Cursor<'_>,
        stretch: &Stretch,
        to: usize,
        feeding: &Feeding<'_>,
        sink: &mut dyn FnMut(&Verdict),
    ) {
        let (store, outlook) = (self.store, &stretch.outlook);
        let mut cells = [(false, Micros::MAX); LEAPT.len()];
        for ((cell, before), delays) in cells.iter_mut().zip(&outlook.cells).zip(&self.delays) {
            *cell = delays.as_ref().map_or((before.beyond, before.due), Delays::stands);
        }
        let at = store.at(to - 1).max(stretch.newest);
        let (course, over) = feeding.course_at(to, self.exactly);
        self.over.set(self.over.get() || over);
        cursor.go_past(to - 1);
        let (brisk, _) = stretch.brisk(store, to);
        let power = power_before(store, to, outlook);
        judge.leap(at, cursor.signals(), &cells, brisk, power, &course, sink);
    }

    /// The first row up to which nothing but what is followed may change, by whole blocks.
    fn calm_until(&self, (from, to): (usize, usize), now: Micros, outlook: &Outlook) -> usize {
        let index = &self.store.index;
        let (first, last) = (from / BLOCK, to.div_ceil(BLOCK));
        let rough = [
            index.head.calm.first(first, last, |calm| calm > outlook.guard.head),
            index.boot.calm.first(first, last, |calm| calm > outlook.guard.boot),
            index.boot.quick.first(first, last, |quick| quick <= outlook.guard.fast),
        ];
        let mut to = rough.into_iter().flatten().min().map_or(to, |block| to.min(block * BLOCK));
        if let Some((least, most)) = outlook.swapped {
            to = to.min(index.mean.first((from, to), |mean| (least..=most).contains(&mean)).unwrap_or(to));
        }
        if outlook.awaits_power(now) {
            let next = index.powers.partition_point(|row| (*row as usize) < from);
            to = index.powers.get(next).map_or(to, |row| to.min(*row as usize));
        }
        to
    }
}
