//! What turns within one hop of a leap, in the order of time.

use slackside::alone::leap::LEAPT;

use super::delays::{Delays, Listed};
use super::moment::Moment;
use super::store::Store;

/// The conditions that turn by a bound, in order of rank.
pub(super) struct Turning {
    pub bound: Moment,
    count: usize,
    /// The place of each in [`LEAPT`].
    numbers: [usize; LEAPT.len()],
    /// When it turns next.
    nexts: [Moment; LEAPT.len()],
    /// Where it stands in its list, lent by its delays.
    lists: [Option<Listed>; LEAPT.len()],
}

/// What turns first.
#[derive(Clone, Copy)]
pub(super) struct First {
    pub moment: Moment,
    /// The one that does; `None` if it is something else.
    which: Option<usize>,
    /// Whether nothing else comes in its step.
    alone: bool,
}

impl Turning {
    /// Look for what turns. `order`: the places in [`LEAPT`] in order of rank.
    pub fn gather(store: &Store, (order, all): (&[usize], &mut [Option<Delays>; LEAPT.len()]), bound: Moment) -> Self {
        let mut turning = Self {
            bound,
            count: 0,
            numbers: [0; LEAPT.len()],
            nexts: [Moment::NEVER; LEAPT.len()],
            lists: [const { None }; LEAPT.len()],
        };
        for number in order {
            let Some(delays) = &mut all[*number] else { continue };
            delays.look(store, bound);
            let next = delays.next(bound);
            if next != Moment::NEVER {
                let place = turning.count;
                turning.numbers[place] = *number;
                turning.nexts[place] = next;
                turning.lists[place] = delays.lend();
                turning.count += 1;
            }
        }
        turning
    }

    /// The delays go on from here.
    pub fn give_back(self, all: &mut [Option<Delays>; LEAPT.len()]) {
        for (number, list) in self.numbers.into_iter().zip(self.lists).take(self.count) {
            if let Some(delays) = &mut all[number] {
                delays.give_back(list);
            }
        }
    }

    /// What turns first; or `other`, which comes before it.
    pub fn first(&self, other: Moment) -> First {
        let (mut first, mut second, mut which) = (other, Moment::NEVER, None);
        for (place, next) in self.nexts[..self.count].iter().enumerate() {
            let sooner = *next < first;
            second = second.min(if sooner { first } else { *next });
            which = if sooner { Some(place) } else { which };
            first = first.min(*next);
        }
        First { moment: first, which, alone: second.step() != first.step() }
    }

    /// Whether one of these, a bit for each place in [`LEAPT`], turns in that step.
    pub fn comes_of(&self, these: u16, first: First) -> bool {
        let is = |place: usize| these >> self.numbers[place] & 1 != 0;
        match first.which {
            Some(place) if first.alone => is(place),
            _ => (0..self.count).any(|place| self.nexts[place].step() == first.moment.step() && is(place)),
        }
    }

    /// Whether whatever turns of `idle` is of `these`.
    pub fn only_of(&self, these: u16, idle: u16) -> bool {
        self.numbers[..self.count].iter().all(|number| (these | !idle) >> number & 1 != 0)
    }

    /// When the first of these turns.
    pub fn first_of(&self, these: u16) -> Moment {
        let of = |place: &usize| these >> self.numbers[*place] & 1 != 0;
        (0..self.count).filter(of).map(|place| self.nexts[place]).min().unwrap_or(Moment::NEVER)
    }

    /// Turn `idle` ones before the step of `next`, one after the other, each as often as it does. `turn` is told when, list by list, and says
    /// whether to go on.
    pub fn turn_all(
        &mut self,
        store: &Store,
        all: &mut [Option<Delays>; LEAPT.len()],
        (idle, next): (u16, Moment),
        mut turn: impl FnMut(usize, &[Moment]) -> bool,
    ) {
        for place in 0..self.count {
            let number = self.numbers[place];
            if idle >> number & 1 == 0 {
                continue;
            }
            while self.nexts[place].step() < next.step() && self.nexts[place] != Moment::NEVER {
                let bound = self.bound;
                let goes_on = match &mut self.lists[place] {
                    Some(listed) => {
                        turn(number, listed.take_while(|moment| moment <= bound && moment.step() < next.step()))
                    }
                    None => turn(number, &[self.nexts[place]]),
                };
                self.take(store, all, place);
                if !goes_on {
                    return;
                }
            }
        }
    }

    /// Turn all that does in one step: first those whose delays end, then those that turn at once, by rank.
    pub fn turn(
        &mut self,
        store: &Store,
        all: &mut [Option<Delays>; LEAPT.len()],
        first: First,
        mut turn: impl FnMut(usize),
    ) {
        let step = first.moment.step();
        if let (Some(place), true) = (first.which, first.alone) {
            turn(self.numbers[place]);
            let next = self.take(store, all, place);
            // Its delay has ended, and with the row it turns at once.
            if next.step() == step && next.is_at_once() && !first.moment.is_at_once() {
                turn(self.numbers[place]);
                self.take(store, all, place);
            }
            return;
        }
        for at_once in [false, true] {
            for place in 0..self.count {
                let next = self.nexts[place];
                if next.step() == step && next.is_at_once() == at_once {
                    turn(self.numbers[place]);
                    self.take(store, all, place);
                }
            }
        }
    }

    /// One has turned: when it does again.
    fn take(&mut self, store: &Store, all: &mut [Option<Delays>; LEAPT.len()], place: usize) -> Moment {
        let listed = self.lists[place].as_mut().and_then(Listed::take);
        let next = listed.unwrap_or_else(|| self.look(store, all, place));
        self.nexts[place] = if next <= self.bound { next } else { Moment::NEVER };
        self.nexts[place]
    }

    /// Its list ends here, or it has none.
    #[inline(never)]
    fn look(&mut self, store: &Store, all: &mut [Option<Delays>; LEAPT.len()], place: usize) -> Moment {
        let Some(delays) = &mut all[self.numbers[place]] else { return Moment::NEVER };
        delays.give_back(self.lists[place].take());
        delays.take(store, self.bound);
        self.lists[place] = delays.lend();
        delays.next(self.bound)
    }
}
