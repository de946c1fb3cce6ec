//! One condition's two delays, followed along the list of its crossings: what judge's cells do, apart from judge.

use std::sync::Arc;

use slackside::alone::leap::LeaptCell;
use slackside::units::Micros;

use super::columns::BLOCK;
use super::flips::{AskedTurns, CHUNK, Entry, Key, Stretch, Turns};
use super::moment::Moment;
use super::store::Store;
use super::walk::{self, Shaft, Standing};

/// Settings that ask for a table of crossings before it is begun. Turns are listed with the first that asks for them: from a table of
/// crossings that is hardly more than to go along them.
const WORTH_IT: u32 = 3;
const TURNS_WORTH_IT: u32 = 1;
/// Rows that are gone through for one setting alone at first, and at the most: each time twice as many.
const FEW: usize = 1 << 10;
const MANY: usize = 1 << 14;

/// A stretch of rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Which {
    /// A chunk of the table.
    Shared(usize),
    /// Rows from, to, gone through for this setting alone, and how it stands before them.
    Own(usize, usize, Standing),
}

/// No stretch at all.
const NOWHERE: Which = Which::Own(0, 0, Standing { beyond: false, active: false, due: u64::MAX });

/// Where it stands in the list of crossings: after a turn that was taken, or where its stretch begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    which: Which,
    /// The crossing to come.
    next: usize,
    beyond: bool,
    active: bool,
    /// When the running delay ends; `u64::MAX` if none runs.
    due: u64,
}

/// Where it stands in the list of turns that settings with the same delays share.
#[derive(Debug)]
pub(super) struct Listed {
    turns: Arc<Turns>,
    chunk: usize,
    /// The turn to come, and that with which it came upon the list.
    next: usize,
    first: usize,
}

/// The delays of one condition under one setting.
#[derive(Debug)]
pub(super) struct Delays {
    number: usize,
    cell: LeaptCell,
    entry: Option<Arc<Entry>>,
    /// What settings with the same delays share, if it has a table.
    turns: Option<Arc<AskedTurns>>,
    /// Where it stands in that: then what is said below of the turn to come and after it is not.
    listed: Option<Listed>,
    /// What was found of a stretch gone through for this setting alone.
    own: (Which, Stretch),
    /// The row before which it was started, and what was known of the shaft there.
    began: Option<(usize, Shaft)>,
    /// After the last turn that was taken.
    kept: Place,
    /// The same, or where a later stretch begins.
    now: Place,
    /// The last moment that the stretch tells of.
    end: Moment,
    /// The turn to come, if the stretch tells of it.
    next: Moment,
    /// Where it stands after that.
    then: Place,
}

impl Delays {
    /// Of a condition by its place among the leapt ones; where it stands is not known yet.
    pub fn new(store: &Store, number: usize, cell: &LeaptCell) -> Self {
        let key: Key = (number, cell.limit, cell.clear);
        let (rows, flips) = (store.len(), &store.flips);
        let entry = flips.entry(key).filter(|entry| entry.crossings.ask(WORTH_IT, rows, flips).is_some());
        let delays = (cell.on_delay.get(), cell.off_delay.get());
        let turns = entry.as_ref().and_then(|entry| entry.turns(delays));
        let turns = turns.filter(|turns| turns.ask(TURNS_WORTH_IT, rows, flips).is_some());
        let place = Place { which: NOWHERE, next: 0, beyond: false, active: false, due: u64::MAX };
        Self {
            number,
            cell: *cell,
            entry,
            turns,
            listed: None,
            own: (NOWHERE, Stretch::default()),
            began: None,
            kept: place,
            now: place,
            end: Moment::FIRST,
            next: Moment::NEVER,
            then: place,
        }
    }

    /// Whether it is still about this limit.
    pub fn is_of(&self, cell: &LeaptCell) -> bool {
        (self.cell.limit, self.cell.clear, self.cell.on_delay, self.cell.off_delay)
            == (cell.limit, cell.clear, cell.on_delay, cell.off_delay)
    }

    /// It stands so before row `from`. No one will ask for more than the rows before `to`.
    pub fn start(&mut self, store: &Store, cell: &LeaptCell, shaft: Shaft, (from, to): (usize, usize)) {
        self.cell = *cell;
        self.began = Some((from, shaft));
        // What was gone through began with another shaft.
        self.own.0 = NOWHERE;
        let few = FEW.min(to - from);
        let standing = Standing { beyond: cell.beyond, active: cell.active, due: cell.due.get() };
        self.now = self.stretch_from(store, (from, few), standing);
        self.listed = None;
        self.kept = self.now;
        self.find_next(store);
    }

    /// Where it stands before row `row`, in the stretch that tells how it goes on from there. If that is gone through for this setting
    /// alone, `rows` of it.
    fn stretch_from(&self, store: &Store, (row, rows): (usize, usize), standing: Standing) -> Place {
        let Standing { beyond, active, due } = standing;
        let chunk = row / CHUNK;
        let shared = self.shared(store, chunk).and_then(|shared| {
            let begins = row == chunk * CHUNK;
            let next = if begins { 0 } else { shared.before_row(row, Moment::before_row(store, row)) };
            (shared.beyond_after(next) == beyond).then_some((Which::Shared(chunk), next))
        });
        let end = (row + rows).next_multiple_of(BLOCK).min(store.len());
        let (which, next) = shared.unwrap_or((Which::Own(row, end, standing), 0));
        Place { which, next, beyond, active, due }
    }

    fn shared(&self, store: &Store, number: usize) -> Option<&Stretch> {
        let table = self.entry.as_ref()?.crossings.table.get()?;
        table.chunk(&store.flips, number, |before| {
            let mut stretch = Stretch::default();
            stretch.begin(number * CHUNK, before.is_some_and(|before| before.beyond_after(before.len())));
            let rows = (number * CHUNK, ((number + 1) * CHUNK).min(store.len()));
            let standing = Standing { beyond: stretch.start, active: stretch.start, due: u64::MAX };
            find(store, (self.number, &self.cell), &mut stretch, rows, (standing, None, false));
            Some(stretch)
        })
    }

    /// A stretch.
    fn stretch(&mut self, store: &Store, which: Which) -> &Stretch {
        match which {
            Which::Shared(number) => {
                let table = self.entry.as_ref().and_then(|entry| entry.crossings.table.get());
                table.and_then(|table| table.known(number)).unwrap_or_else(|| unreachable!("it was told of"))
            }
            Which::Own(from, to, standing) => {
                if self.own.0 != which {
                    self.own.0 = which;
                    self.own.1.begin(from, standing.beyond);
                    let known = (standing, self.shaft_before(from), true);
                    find(store, (self.number, &self.cell), &mut self.own.1, (from, to), known);
                }
                &self.own.1
            }
        }
    }

    /// What was known of the shaft before row `from`, where it was started there.
    fn shaft_before(&self, from: usize) -> Option<Shaft> {
        self.began.filter(|(row, _)| *row == from).map(|(_, shaft)| shaft)
    }

    /// The turn to come, if it does by `bound`.
    pub fn next(&self, bound: Moment) -> Moment {
        if self.next <= bound { self.next } else { Moment::NEVER }
    }

    /// The list of turns it stands in, to be gone along without it for a while.
    pub const fn lend(&mut self) -> Option<Listed> {
        self.listed.take()
    }

    /// The list that it lent, gone along.
    pub fn give_back(&mut self, listed: Option<Listed>) {
        if let Some(next) = listed.as_ref().and_then(|listed| listed.turns.get(listed.next)) {
            self.next = next;
        }
        self.listed = listed;
    }

    /// The turn to come has come. Look for the one after it.
    pub fn take(&mut self, store: &Store, bound: Moment) {
        if let Some(mut listed) = self.listed.take() {
            if let Some(next) = listed.take() {
                (self.next, self.listed) = (next, Some(listed));
                return;
            }
            listed.next += 1;
            self.then = listed.stands();
        }
        self.now = self.then;
        self.kept = self.now;
        self.find_next(store);
        self.look(store, bound);
    }

    /// Look on for the next turn as far as `bound`.
    pub fn look(&mut self, store: &Store, bound: Moment) {
        while self.next == Moment::NEVER && self.end < bound {
            self.now = self.goes_on(store, self.now);
            self.find_next(store);
        }
    }

    fn find_next(&mut self, store: &Store) {
        let (place, cell) = (self.now, self.cell);
        let stretch = self.stretch(store, place.which);
        let found = turn(&place, &cell, stretch);
        self.end = stretch.end;
        (self.next, self.then) = found.unwrap_or((Moment::NEVER, place));
        if let (Which::Shared(chunk), Some((moment, then))) = (place.which, found) {
            self.listed = self.list(store, chunk).and_then(|turns| {
                let first = turns.number(moment, then.active)?;
                Some(Listed { turns, chunk, next: first, first })
            });
        }
    }

    /// The list of turns in a chunk of the table.
    fn list(&self, store: &Store, chunk: usize) -> Option<Arc<Turns>> {
        let (table, stretch) = (self.turns.as_ref()?.table.get()?, self.shared(store, chunk)?);
        table.chunk(&store.flips, chunk, |_| Some(turns_of(&self.cell, chunk, stretch).shared())).cloned()
    }

    /// Where the next stretch begins, if nothing turns from `place` to the end of its stretch.
    fn goes_on(&mut self, store: &Store, place: Place) -> Place {
        let cell = self.cell;
        let stretch = self.stretch(store, place.which);
        let (beyond, due) = stands(&place, &cell, stretch, stretch.len());
        let (row, rows) = match place.which {
            Which::Shared(chunk) => ((chunk + 1) * CHUNK, FEW),
            Which::Own(from, to, _) => (to, (2 * (to - from)).clamp(FEW, MANY)),
        };
        self.stretch_from(store, (row, rows), Standing { beyond, active: place.active, due })
    }

    /// How it stands before `row` is taken, with `bound` the last moment that has come, where nothing has turned since the last turn that was
    /// taken: beyond, and when the running delay ends.
    pub fn stands(&mut self, store: &Store, row: usize, bound: Moment) -> (bool, Micros) {
        let taken = self.listed.as_ref().filter(|listed| listed.next > listed.first);
        let mut place = taken.map_or(self.kept, Listed::stands);
        loop {
            let cell = self.cell;
            let stretch = self.stretch(store, place.which);
            if bound <= stretch.end {
                if let Which::Own(from, _, standing) = place.which
                    && !stretch.whole
                {
                    return self.stands_own(store, (from, standing), place.active, (row, bound));
                }
                let (beyond, due) = stands(&place, &cell, stretch, stretch.before_row(row, bound));
                return (beyond, Micros::new(due));
            }
            place = self.goes_on(store, place);
        }
    }
}

impl Delays {
    /// How it stands before `row`, by `bound`, in a stretch of its own from row `from` on, of which crossings are left out.
    fn stands_own(
        &self,
        store: &Store,
        (from, standing): (usize, Standing),
        active: bool,
        (row, bound): (usize, Moment),
    ) -> (bool, Micros) {
        let known = (from, standing.beyond, self.shaft_before(from));
        let (beyond, last) = walk::stands_before(store, self.number, &self.cell, known, (row, bound.at()));
        let delay = if beyond { self.cell.on_delay } else { self.cell.off_delay };
        let due = last.map_or(Micros::new(standing.due), |last| last.after(delay));
        (beyond, if beyond == active { Micros::MAX } else { due })
    }
}

impl Listed {
    /// The turn to come has come: the one after it, if that is in the list too.
    pub fn take(&mut self) -> Option<Moment> {
        let next = self.turns.get(self.next + 1)?;
        self.next += 1;
        Some(next)
    }

    /// The turns to come for as long as `comes` says so of each, at least the one; but for the last of them they are taken.
    pub fn take_while(&mut self, comes: impl Fn(Moment) -> bool) -> &[Moment] {
        let (from, to) = (self.next, self.turns.by(self.next + 1, comes));
        self.next = to - 1;
        self.turns.part(from, to)
    }

    /// Where it stands in the list of crossings after the turn before the one to come.
    fn stands(&self) -> Place {
        let number = self.next - 1;
        let active = number.is_multiple_of(2);
        let next = self.turns.crossing_after(number);
        Place { which: Which::Shared(self.chunk), next, beyond: active, active, due: u64::MAX }
    }
}

/// The next turn from `place` on, if its stretch tells of it, and where it stands after that.
fn turn(place: &Place, cell: &LeaptCell, stretch: &Stretch) -> Option<(Moment, Place)> {
    let Place { next, beyond, active, due, .. } = *place;
    let turned = Place { active: !active, due: u64::MAX, ..*place };
    if due != u64::MAX {
        // A delay that ends as its value comes back has ended.
        let lasts = stretch.get(next).is_none_or(|back| due <= back.at().get());
        if lasts {
            let moment = Moment::due(due);
            return (next < stretch.len() || moment <= stretch.end).then_some((moment, turned));
        }
    }
    let delay = if active { cell.off_delay } else { cell.on_delay }.get();
    // Where it is not as its alarm is, the first crossing brings it there.
    let from = next + usize::from(beyond != active);
    let number = if delay == 0 { from } else { stretch.staying(from, delay)? };
    let crossing = stretch.get(number)?;
    let then = Place { next: number + 1, beyond: !active, ..turned };
    if delay == 0 {
        return Some((crossing, then));
    }
    let moment = Moment::due(crossing.at().get() + u64::from(delay));
    (number + 1 < stretch.len() || moment <= stretch.end).then_some((moment, then))
}

/// All turns in a chunk of the table, from no alarm on.
fn turns_of(cell: &LeaptCell, chunk: usize, stretch: &Stretch) -> Turns {
    let (which, beyond) = (Which::Shared(chunk), stretch.start);
    let mut place = Place { which, next: 0, beyond, active: false, due: u64::MAX };
    let mut turns = Turns::with_room(stretch.len());
    while let Some((moment, then)) = turn(&place, cell, stretch) {
        place = then;
        turns.push(moment, place.next);
    }
    turns
}

/// How it stands after so many crossings of the stretch, if nothing turns from `place` until then.
fn stands(place: &Place, cell: &LeaptCell, stretch: &Stretch, crossings: usize) -> (bool, u64) {
    let Some(last) = crossings.checked_sub(1).filter(|_| crossings > place.next).and_then(|last| stretch.get(last))
    else {
        return (place.beyond, place.due);
    };
    let beyond = place.beyond != ((crossings - place.next) % 2 == 1);
    let delay = if beyond { cell.on_delay } else { cell.off_delay }.get();
    (beyond, if beyond == place.active { u64::MAX } else { last.at().get() + u64::from(delay) })
}

/// The crossings of rows from, to, all of them or those that may turn something.
fn find(
    store: &Store,
    (condition, cell): (usize, &LeaptCell),
    stretch: &mut Stretch,
    (from, to): (usize, usize),
    known: (Standing, Option<Shaft>, bool),
) {
    stretch.whole = walk::crossings(store, condition, cell, known, (from, to), |at, row, silent| {
        stretch.push(if silent { Moment::silent(at) } else { Moment::row(store, row) }, row);
    });
    stretch.close(Moment::before_row(store, to));
}
