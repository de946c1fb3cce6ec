//! The extremes of every block of stored motion, so that a search for the next crossing passes over whole blocks.

use slackside::alone::leap::steady_shift;
use slackside::input::{Place, Signal};
use slackside::settings::plan::Plan;
use slackside::signals::{Reading, ShaftSignals, Signals, pattern, unknown};
use slackside::units::Micros;

use super::columns::{BLOCK, Columns, Cursor, Told, edge_of, pitch_of};

/// A value that changes seldom: the rows at which it does.
#[derive(Clone, Debug, Default)]
pub(super) struct Sparse {
    pub rows: Vec<u32>,
    pub values: Vec<i32>,
}

impl Sparse {
    fn push(&mut self, row: usize, value: i32) {
        self.rows.push(row as u32);
        self.values.push(value);
    }

    /// The first row in `from..to` with such a value.
    pub(super) fn first(&self, (from, to): (usize, usize), is: impl Fn(i32) -> bool) -> Option<usize> {
        let start = self.rows.partition_point(|row| (*row as usize) < from);
        let mut rows = self.rows[start..].iter().zip(&self.values[start..]);
        rows.by_ref()
            .take_while(|(row, _)| (**row as usize) < to)
            .find(|(_, value)| is(**value))
            .map(|(row, _)| *row as usize)
    }
}

/// Blocks from one coarse entry to the next.
const GROUP: usize = 64;

/// A value for each block, and the same for each group of blocks.
#[derive(Clone, Debug, Default)]
pub(super) struct Layered<T> {
    fine: Vec<T>,
    coarse: Vec<T>,
}

impl<T: Copy> Layered<T> {
    /// `of` says what a group's entry is: such that whatever can be in one of its blocks shows in it.
    pub(super) fn build(fine: Vec<T>, of: impl Fn(T, T) -> T) -> Self {
        let coarse = fine.chunks(GROUP).filter_map(|group| group.iter().copied().reduce(&of)).collect();
        Self { fine, coarse }
    }

    /// The first block in `from..to` of which `may` holds.
    pub(super) fn first(&self, from: usize, to: usize, may: impl Fn(T) -> bool) -> Option<usize> {
        let to = to.min(self.fine.len());
        let mut block = from;
        while block < to {
            if block.is_multiple_of(GROUP) && block + GROUP <= to && !may(self.coarse[block / GROUP]) {
                block += GROUP;
                continue;
            }
            let end = ((block / GROUP + 1) * GROUP).min(to);
            if let Some(found) = self.fine[block..end].iter().position(|value| may(*value)) {
                return Some(block + found);
            }
            block = end;
        }
        None
    }

    fn bytes(&self) -> usize {
        (self.fine.len() + self.coarse.len()) * size_of::<T>()
    }
}

/// Per block: the smallest and largest value; `i32::MAX` and `i32::MIN` if there is none.
#[derive(Clone, Debug, Default)]
pub(super) struct Extremes {
    pub least: Layered<i32>,
    pub most: Layered<i32>,
}

#[derive(Default)]
struct Gathered {
    least: Vec<i32>,
    most: Vec<i32>,
}

/// Per block and shaft, in microseconds a turn.
#[derive(Clone, Debug, Default)]
pub(super) struct Pace {
    /// A limit at least so long is crossed by no pitch and no silence in the block.
    pub calm: Layered<u32>,
    /// A pitch in the block is as fast as this, and none is faster.
    pub quick: Layered<u32>,
}

#[derive(Default)]
struct GatheredPace {
    calm: Vec<u32>,
    quick: Vec<u32>,
}

/// All of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Index {
    pub short: Extremes,
    pub long: Extremes,
    pub since: Extremes,
    pub head: Pace,
    pub boot: Pace,
    pub duty: Sparse,
    pub shift: Sparse,
    pub mean: Sparse,
    /// Rows that judge must see.
    pub stops: Vec<u32>,
    /// Rows with a power reading.
    pub powers: Vec<u32>,
}

/// The shortest turn time for which `angle` takes no less than `time`.
fn turn_for(time: u64, angle: u32) -> u32 {
    let turn = (u128::from(time) << 32).div_ceil(u128::from(angle.max(1)));
    u32::try_from(turn).unwrap_or(u32::MAX)
}

impl Gathered {
    fn take(&mut self, block: usize, value: i32) {
        self.least[block] = self.least[block].min(value);
        self.most[block] = self.most[block].max(value);
    }

    fn open(&mut self, block: usize) {
        if self.least.len() <= block {
            self.least.push(i32::MAX);
            self.most.push(i32::MIN);
        }
    }

    fn layered(self) -> Extremes {
        Extremes { least: Layered::build(self.least, i32::min), most: Layered::build(self.most, i32::max) }
    }
}

impl GatheredPace {
    fn layered(self) -> Pace {
        Pace { calm: Layered::build(self.calm, u32::max), quick: Layered::build(self.quick, u32::min) }
    }

    fn take(&mut self, block: usize, before: &ShaftSignals, after: &ShaftSignals, at: Micros) {
        if self.calm.len() <= block {
            self.calm.push(0);
            self.quick.push(u32::MAX);
        }
        let silence = |shaft: &ShaftSignals| match edge_of(shaft, at) {
            Some(edge) if shaft.next_largest > 0 => turn_for(at.get().saturating_sub(edge.get()), shaft.next_largest),
            _ => u32::MAX,
        };
        let mut calm = silence(before).max(silence(after));
        if let Some(pitch) = pitch_of(after) {
            let time = u64::from(pitch.time.get());
            calm = calm.max(turn_for(time, pitch.largest.get()));
            self.quick[block] = self.quick[block].min(turn_for(time, pitch.angle.get()));
        } else {
            calm = u32::MAX;
        }
        self.calm[block] = self.calm[block].max(calm);
    }
}

/// Whether a row changes nothing but what a leap follows.
fn is_soft(before: &Signals, after: &Signals) -> bool {
    let shaft = |before: &ShaftSignals, after: &ShaftSignals| {
        after.distrust == before.distrust
            && after.pattern == before.pattern
            && after.pattern != pattern::MISSING
            && !after.is_in_doubt()
            && after.pitch != 0
            && after.next_largest > 0
    };
    let exact = |reading: Reading| reading.is_exact() && reading.least.abs() < 1 << 28;
    let long = after.long;
    shaft(&before.head, &after.head)
        && shaft(&before.boot, &after.boot)
        && exact(after.short)
        && (exact(long) || (long == Reading::UNKNOWN && after.unknown != unknown::RETRACTED))
        && after.since_boot < u32::MAX
        && before.contacts.iter().zip(&after.contacts).all(|(before, after)| {
            before.state == after.state
                && before.loops == after.loops
                && before.rubs | after.rubs | before.bridged | after.bridged == 0
        })
}

fn worst_duty(plan: &Plan, signals: &Signals) -> Option<i32> {
    let fitted = Place::ALL.into_iter().zip(&signals.contacts).filter(|(place, _)| plan.has_contact(*place));
    fitted.map(|(_, contact)| contact.duty).max()
}

impl Index {
    pub(super) fn build(columns: &Columns, plan: &Plan) -> Self {
        let mut index = Self::default();
        let [mut short, mut long, mut since] = [(); 3].map(|()| Gathered::default());
        let (mut head, mut boot) = (GatheredPace::default(), GatheredPace::default());
        let mut cursor = Cursor::new(columns);
        let mut before = *cursor.signals();
        for row in 0..columns.len() {
            let block = row / BLOCK;
            cursor.go_past(row);
            let after = *cursor.signals();
            let at = columns.at(row);
            head.take(block, &before.head, &after.head, at);
            boot.take(block, &before.boot, &after.boot, at);
            for (extremes, value) in [
                (&mut short, after.short.is_known().then_some(after.short.least)),
                (&mut long, after.long.is_known().then_some(after.long.least)),
                (&mut since, Some(i32::try_from(columns.since[row]).unwrap_or(i32::MAX))),
            ] {
                extremes.open(block);
                if let Some(value) = value {
                    extremes.take(block, value);
                }
            }
            let told = columns.is_whole(row).then(|| {
                let found = columns.whole.binary_search_by_key(&(row as u32), |whole| whole.row);
                found.ok().map(|found| &columns.whole[found].told)
            });
            match told.flatten() {
                None | Some(Told::Motion(..)) => {
                    if !is_soft(&before, &after) {
                        index.stops.push(row as u32);
                    }
                }
                Some(Told::Signal(Signal::DrivePower(_))) => {
                    index.powers.push(row as u32);
                    // Its columns repeat what was told before, bounds of a slip too, which no search can read.
                    if !is_soft(&before, &after) {
                        index.stops.push(row as u32);
                    }
                }
                Some(_) => index.stops.push(row as u32),
            }
            if worst_duty(plan, &before) != worst_duty(plan, &after) {
                index.duty.push(row, worst_duty(plan, &after).unwrap_or(0));
            }
            if before.ratio_blocks != after.ratio_blocks
                && let Some(shift) = steady_shift(plan, &after)
            {
                index.shift.push(row, shift.saturating_abs());
            }
            if before.slip_mean != after.slip_mean {
                index.mean.push(row, after.slip_mean);
            }
            before = after;
        }
        index.short = short.layered();
        index.long = long.layered();
        index.since = since.layered();
        index.head = head.layered();
        index.boot = boot.layered();
        index
    }

    pub(super) fn bytes(&self) -> usize {
        [&self.short, &self.long, &self.since]
            .iter()
            .map(|extremes| extremes.least.bytes() + extremes.most.bytes())
            .sum::<usize>()
            + [&self.head, &self.boot].iter().map(|pace| pace.calm.bytes() + pace.quick.bytes()).sum::<usize>()
            + (self.duty.rows.len() + self.shift.rows.len() + self.mean.rows.len()) * 8
            + (self.stops.len() + self.powers.len()) * 4
    }
}
