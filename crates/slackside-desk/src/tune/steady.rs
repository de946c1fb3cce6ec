//! Steady running, judged by what turns: each condition's delays are followed by themselves, and judge is told their turns in the order
//! in which it would have found them.

use std::cell::Cell;

use slackside::alone::leap::{LEAPT, Outlook};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use super::columns::{BLOCK, Cursor};
use super::delays::Delays;
use super::heat::{Feeding, HeatKey, HeatTables, heat_key};
use super::listen::Turned;
use super::moment::Moment;
use super::speeds::Speeds;
use super::store::Store;
use super::turning::Turning;
use super::walk::{HEAD_UNDERSPEED, Shaft, UNDERSPEED, power_before};
use crate::monitor::Judge;

/// Rows that a leap must save to be worth its trouble.
const LEAST: usize = 6;
/// So many times in turn it tries with each row; then every second row, every third and so on, and at the most so many are passed by.
const AT_ONCE: usize = 2;
const LONGEST_WAIT: usize = 4;

/// Whom a leap tells.
pub(super) trait Tell {
    fn verdict(&mut self, verdict: &Verdict);
    /// Whether turns of which nothing follows may be told together.
    fn sums_up(&self) -> bool;
    fn turned(&mut self, turned: &Turned<'_>);
}

/// No one asks what is said.
pub(super) struct NoOne;

impl Tell for NoOne {
    fn verdict(&mut self, _: &Verdict) {}

    fn sums_up(&self) -> bool {
        true
    }

    fn turned(&mut self, _: &Turned<'_>) {}
}

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
    /// Times in turn that it could not leap; and rows to be passed by before it tries again.
    refused: usize,
    wait: usize,
    /// Slip heat is to be known to the unit.
    exactly: bool,
    /// Judge's slip heat may be more than it should be, never less.
    over: &'a Cell<bool>,
}

/// One stretch while it is gone through.
struct Stretch {
    from: usize,
    /// When judge was told something last, and the last moment of the step in which a turn was told it.
    newest: Micros,
    told: Moment,
    outlook: Outlook,
    head: Shaft,
    boot: Shaft,
    speeds: Speeds,
    /// Where it matters when the belt will be at speed: up to when that was looked for, and when it is.
    speed: Option<(Moment, Moment)>,
    /// Where that matters only later: since when the belt is not slow any more.
    quickened: Option<Moment>,
    /// Conditions that must be seen, a bit for each place in [`LEAPT`].
    seen: u16,
    /// Those that judge has raised in it, likewise: while nothing follows, each goes on as it has.
    again: u16,
}

impl Stretch {
    /// It matters now whether the belt is at speed before the step of `next`; looked for up to `bound`.
    fn quicken(&mut self, store: &Store, judge: &mut Judge, (next, bound): (Moment, Moment)) {
        let Some(from) = self.quickened.take() else { return };
        let at_once = self.speeds.is_at_speed(store, from);
        let comes = if at_once { from } else { self.speeds.next(store, from, bound) };
        let is_at_speed = comes != Moment::NEVER && comes.step() < next.step();
        self.speed = (!is_at_speed).then_some((bound, comes));
        judge.settle_idle(Some(is_at_speed));
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
            refused: 0,
            wait: 0,
            exactly,
            over,
        }
    }

    /// Leap as far as the leg runs steadily, and no further than anyone listens. How many rows were saved. Where it cannot, it soon tries
    /// but now and then, since looking costs as much as a few rows.
    pub(super) fn leap(
        &mut self,
        judge: &mut Judge,
        cursor: &mut Cursor<'_>,
        goes_on: &Cell<bool>,
        tell: &mut dyn Tell,
    ) -> usize {
        if self.wait > 0 {
            self.wait -= 1;
            return 0;
        }
        let rows = self.leap_now(judge, cursor, goes_on, tell);
        self.refused = if rows == 0 { (self.refused + 1).min(AT_ONCE + LONGEST_WAIT) } else { 0 };
        self.wait = self.refused.saturating_sub(AT_ONCE);
        rows
    }

    fn leap_now(
        &mut self,
        judge: &mut Judge,
        cursor: &mut Cursor<'_>,
        goes_on: &Cell<bool>,
        tell: &mut dyn Tell,
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
        let speeds = Speeds::new(store, &outlook.cells[UNDERSPEED], (boot, outlook.brisk), from);
        let seen = outlook.cells.iter().enumerate().map(|(number, cell)| u16::from(cell.seen) << number).sum();
        let mut stretch = Stretch {
            from,
            newest,
            told: Moment::FIRST,
            outlook,
            head,
            boot,
            speeds,
            speed: None,
            quickened: None,
            seen,
            again: 0,
        };
        self.start(&stretch, to);
        let to = self.hops(judge, &mut stretch, to, goes_on, tell);
        if !goes_on.get() || (to == from && stretch.newest == newest) {
            return 0;
        }
        stretch.quicken(store, judge, (Moment::NEVER, Moment::before_row(store, to)));
        self.land(judge, cursor, &mut stretch, to, &feeding, tell);
        to - from
    }

    /// Set the delays on their way, to row `to` at the most.
    fn start(&mut self, stretch: &Stretch, to: usize) {
        for (number, cell) in stretch.outlook.cells.iter().enumerate().filter(|(_, cell)| cell.judged) {
            let shaft = if number == HEAD_UNDERSPEED { stretch.head } else { stretch.boot };
            let delays = match &mut self.delays[number] {
                Some(delays) if delays.is_of(cell) => delays,
                other => other.insert(Delays::new(self.store, number, cell)),
            };
            delays.start(self.store, cell, shaft, (stretch.from, to));
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
        tell: &mut dyn Tell,
    ) -> usize {
        let store = self.store;
        let (mut until, mut sweep) = (stretch.outlook.until, stretch.outlook.sweep);
        let mut from = stretch.from;
        loop {
            let end = until.min(sweep);
            let row = match store.at(to - 1) < end {
                true => to,
                false if end == sweep => store.row_of_sweep(from, sweep),
                false => store.row_from(from, end),
            };
            if row > from {
                match self.hop(judge, stretch, Moment::before_row(store, row), goes_on, tell) {
                    Hop::Whole => {}
                    Hop::Enough => return row,
                    Hop::Seen(row) => return row,
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
        bound: Moment,
        goes_on: &Cell<bool>,
        tell: &mut dyn Tell,
    ) -> Hop {
        let mut turning = Turning::gather(self.store, (&self.order, &mut self.delays), bound);
        if let Some((from, Moment::NEVER)) = stretch.speed {
            stretch.speed = Some((bound, stretch.speeds.next(self.store, from, bound)));
        }
        let ended = self.tell(judge, stretch, &mut turning, goes_on, tell);
        turning.give_back(&mut self.delays);
        ended
    }

    fn tell(
        &mut self,
        judge: &mut Judge,
        stretch: &mut Stretch,
        turning: &mut Turning,
        goes_on: &Cell<bool>,
        tell: &mut dyn Tell,
    ) -> Hop {
        let (store, bound) = (self.store, turning.bound);
        loop {
            let idle = if stretch.seen == 0 { judge.idle(&stretch.outlook.held) } else { 0 };
            if idle != 0 && !self.tell_idle(judge, stretch, (turning, idle), goes_on, tell) {
                return if goes_on.get() { Hop::Whole } else { Hop::Enough };
            }
            stretch.quicken(store, judge, (turning.first(Moment::NEVER).moment, bound));
            let first = turning.first(stretch.speed.map_or(Moment::NEVER, |(_, moment)| moment));
            if first.moment == Moment::NEVER {
                return Hop::Whole;
            }
            if stretch.seen != 0 && turning.comes_of(stretch.seen, first) {
                return Hop::Seen(first.moment.rows_before(store));
            }
            let held = &mut stretch.outlook.held;
            turning.turn(store, &mut self.delays, first, |number| {
                judge.turn(first.moment.at(), LEAPT[number], held, &mut |verdict| tell.verdict(verdict));
            });
            let first = first.moment;
            let at_speed = || match stretch.speed {
                Some((_, comes)) => comes.step() <= first.step(),
                None => stretch.speeds.is_at_speed(store, first),
            };
            let waits = judge.settle_turns(first.at(), held, at_speed, &mut |verdict| tell.verdict(verdict));
            (stretch.newest, stretch.told) = (first.at(), first.end_of_step());
            if !goes_on.get() {
                return Hop::Enough;
            }
            stretch.speed = match stretch.speed {
                _ if !waits => None,
                Some(known) if known.1 != first => Some(known),
                _ => Some((bound, stretch.speeds.next(store, first, bound))),
            };
        }
    }

    /// The same as long as only these turn, of which nothing follows: when the belt is at speed matters only after them. Whether others
    /// turn next.
    fn tell_idle(
        &mut self,
        judge: &mut Judge,
        stretch: &mut Stretch,
        (turning, idle): (&mut Turning, u16),
        goes_on: &Cell<bool>,
        tell: &mut dyn Tell,
    ) -> bool {
        let store = self.store;
        let Stretch { outlook, again, told, quickened, .. } = stretch;
        let held = &mut outlook.held;
        let mut slow = held.is_slow();
        let next = loop {
            let first = turning.first(Moment::NEVER);
            let (moment, at) = (first.moment, first.moment.at());
            if moment == Moment::NEVER || turning.comes_of(!idle, first) {
                break moment;
            }
            // Once each was raised in this leap they need not be told one by one.
            if tell.sums_up() && turning.only_of(*again, idle) {
                let next = turning.first_of(!idle);
                let mut cleared = None;
                turning.turn_all(store, &mut self.delays, (idle, next), |number, moments| {
                    let condition = LEAPT[number];
                    let turned = Turned::new(condition, moments, judge.turn_often(condition, moments.len(), held));
                    tell.turned(&turned);
                    if held.slows(condition) {
                        cleared = cleared.max(turned.cleared());
                    }
                    *told = (*told).max(moments.last().map_or(Moment::FIRST, |last| last.end_of_step()));
                    goes_on.get()
                });
                if !goes_on.get() {
                    return false;
                }
                slow = held.is_slow();
                *quickened = cleared.or(*quickened);
                break next;
            }
            turning.turn(store, &mut self.delays, first, |number| {
                let sink = &mut |verdict: &Verdict| tell.verdict(verdict);
                if *again >> number & 1 != 0 {
                    judge.turn_again(at, LEAPT[number], held, sink);
                } else {
                    *again |= u16::from(judge.turn(at, LEAPT[number], held, sink)) << number;
                }
            });
            if !goes_on.get() {
                return false;
            }
            *told = moment.end_of_step();
            let was = std::mem::replace(&mut slow, held.is_slow());
            if was && !slow {
                *quickened = Some(moment);
            }
        };
        stretch.newest = stretch.newest.max(stretch.told.at());
        if slow {
            stretch.quickened = None;
        }
        if slow || stretch.quickened.is_some() {
            stretch.speed = None;
            judge.settle_idle(Some(false));
        } else {
            let comes = stretch.speed.map(|(_, comes)| comes != Moment::NEVER && comes.step() < next.step());
            stretch.speed = stretch.speed.filter(|_| comes == Some(false));
            judge.settle_idle(comes);
        }
        next != Moment::NEVER
    }

    /// Put judge before row `to`.
    fn land(
        &mut self,
        judge: &mut Judge,
        cursor: &mut Cursor<'_>,
        stretch: &mut Stretch,
        to: usize,
        feeding: &Feeding<'_>,
        tell: &mut dyn Tell,
    ) {
        let store = self.store;
        let brisk = stretch.speeds.brisk_before(store, to);
        let outlook = &stretch.outlook;
        let mut cells = [(false, Micros::MAX); LEAPT.len()];
        // Since the last row something may have turned, and silence may have brought other values across.
        let last = Moment::before_row(store, to).max(stretch.told);
        for ((cell, before), delays) in cells.iter_mut().zip(&outlook.cells).zip(&mut self.delays) {
            *cell = delays.as_mut().map_or((before.beyond, before.due), |delays| delays.stands(store, to, last));
        }
        let at = store.at(to - 1).max(stretch.newest);
        let (course, over) = feeding.course_at(to, self.exactly);
        self.over.set(self.over.get() || over);
        cursor.go_past(to - 1);
        let power = power_before(store, to, outlook);
        judge.leap(at, cursor.signals(), &cells, brisk, power, &course, &mut |verdict| tell.verdict(verdict));
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
