//! The extremes of every block of stored motion, so that a search for the next crossing passes over whole blocks.

use slackside::judge::leap::steady_shift;
use slackside::motion::{Motion, ShaftMotion, SlipReading};
use slackside::settings::Checked;
use slackside::units::{Micros, TurnFraction};

use super::store::{BLOCK, Cursor, Store, Told};

/// A value that changes seldom: the rows at which it does.
#[derive(Clone, Debug, Default)]
pub(super) struct Sparse {
    pub rows: Vec<u32>,
    pub values: Vec<i32>,
}

/// Per block: the smallest and largest value.
#[derive(Clone, Debug, Default)]
pub(super) struct Extremes {
    pub least: Vec<i64>,
    pub most: Vec<i64>,
}

/// Per block and shaft, in microseconds a turn.
#[derive(Clone, Debug, Default)]
pub(super) struct Pace {
    /// A limit at least so long is crossed by no pitch and no silence in the block.
    pub calm: Vec<u32>,
    /// A pitch in the block is as fast as this, and none is faster.
    pub quick: Vec<u32>,
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
    /// Rows that judge must see.
    pub stops: Vec<u32>,
    /// Rows with a power reading.
    pub powers: Vec<u32>,
}

/// The shortest turn time for which `angle` takes no less than `time`.
fn turn_for(time: u64, angle: TurnFraction) -> u32 {
    let turn = (u128::from(time) << 32).div_ceil(u128::from(angle.get().max(1)));
    u32::try_from(turn).unwrap_or(u32::MAX)
}

impl Extremes {
    fn take(&mut self, block: usize, value: i64) {
        if self.least.len() <= block {
            self.least.push(i64::MAX);
            self.most.push(i64::MIN);
        }
        self.least[block] = self.least[block].min(value);
        self.most[block] = self.most[block].max(value);
    }

    fn open(&mut self, block: usize) {
        if self.least.len() <= block {
            self.least.push(i64::MAX);
            self.most.push(i64::MIN);
        }
    }
}

impl Pace {
    fn take(&mut self, block: usize, before: &ShaftMotion, after: &ShaftMotion, at: Micros) {
        if self.calm.len() <= block {
            self.calm.push(0);
            self.quick.push(u32::MAX);
        }
        let silence = |shaft: &ShaftMotion| match shaft.last_edge {
            Some(edge) if shaft.next_largest > TurnFraction::ZERO => {
                turn_for(at.get().saturating_sub(edge.get()), shaft.next_largest)
            }
            _ => u32::MAX,
        };
        let mut calm = silence(before).max(silence(after));
        if let Some(pitch) = after.pitch {
            calm = calm.max(turn_for(u64::from(pitch.time.get()), pitch.largest));
            self.quick[block] = self.quick[block].min(turn_for(u64::from(pitch.time.get()), pitch.angle));
        } else {
            calm = u32::MAX;
        }
        self.calm[block] = self.calm[block].max(calm);
    }
}

/// Whether a row changes nothing but what a leap follows.
fn is_soft(before: &Motion, after: &Motion) -> bool {
    let shaft = |before: &ShaftMotion, after: &ShaftMotion| {
        after.fitted == before.fitted
            && after.distrust == before.distrust
            && after.pattern == before.pattern
            && after.pitch.is_some()
            && after.next_largest > TurnFraction::ZERO
    };
    shaft(&before.head, &after.head)
        && shaft(&before.boot, &after.boot)
        && matches!(after.slip_short.reading, SlipReading::Known(ppm) if ppm.get().abs() < 1 << 28)
        && match after.slip_long.reading {
            SlipReading::Known(ppm) => ppm.get().abs() < 1 << 28,
            SlipReading::Unknown => true,
            SlipReading::Retracted | SlipReading::AtLeast(_) => false,
        }
        && after.head_since_boot.get() < u64::from(u32::MAX)
        && before.contacts.iter().zip(&after.contacts).all(|(before, after)| {
            before.state == after.state
                && before.fitted == after.fitted
                && before.rubbing_since.is_none()
                && after.rubbing_since.is_none()
                && before.bridged_until.is_none()
                && after.bridged_until.is_none()
        })
}

fn worst_duty(motion: &Motion) -> Option<i32> {
    motion.contacts.iter().filter(|contact| contact.fitted).map(|contact| contact.duty.get()).max()
}

impl Index {
    pub(super) fn build(store: &Store, settings: &Checked) -> Self {
        let mut index = Self::default();
        let mut cursor = Cursor::new(store);
        let mut before = *cursor.motion();
        for row in 0..store.len() {
            let block = row / BLOCK;
            cursor.go_past(row);
            let after = *cursor.motion();
            let at = store.at(row);
            index.head.take(block, &before.head, &after.head, at);
            index.boot.take(block, &before.boot, &after.boot, at);
            for (extremes, value) in [
                (&mut index.short, after.slip_short.reading.ppm().map(|ppm| i64::from(ppm.get()))),
                (&mut index.long, after.slip_long.reading.ppm().map(|ppm| i64::from(ppm.get()))),
                (&mut index.since, Some(i64::from(store.since[row]))),
            ] {
                extremes.open(block);
                if let Some(value) = value {
                    extremes.take(block, value);
                }
            }
            let told = store.is_whole(row).then(|| {
                let found = store.whole.binary_search_by_key(&(row as u32), |whole| whole.row);
                found.ok().map(|found| &store.whole[found].told)
            });
            match told.flatten() {
                None | Some(Told::Motion(_)) => {
                    if !is_soft(&before, &after) {
                        index.stops.push(row as u32);
                    }
                }
                Some(Told::Power(_)) => index.powers.push(row as u32),
                Some(_) => index.stops.push(row as u32),
            }
            if worst_duty(&before) != worst_duty(&after) {
                index.duty.rows.push(row as u32);
                index.duty.values.push(worst_duty(&after).unwrap_or(0));
            }
            if let Some(seen) = after.seen_ratio
                && before.seen_ratio.map(|seen| seen.at) != Some(seen.at)
                && let Some(shift) = steady_shift(&settings.machine, &seen)
            {
                index.shift.rows.push(row as u32);
                index.shift.values.push(shift.saturating_abs());
            }
            before = after;
        }
        index
    }

    pub(super) fn bytes(&self) -> usize {
        self.head.calm.len() * (3 * 16 + 2 * 8)
            + (self.duty.rows.len() + self.shift.rows.len()) * 8
            + (self.stops.len() + self.powers.len()) * 4
    }
}
