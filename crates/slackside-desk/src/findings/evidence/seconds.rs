//! The last minutes, a second at a time: slip, speeds, power and rejects, so that now can be held against before.

use std::collections::VecDeque;

use slackside::motion::{Motion, SlipReading};

/// Seconds kept.
const KEPT: usize = 130;
/// An angle told wraps after so much.
const ANGLE_WRAPS: u64 = 1 << 40;

/// Where a shaft stood with its newest edge: its angle, unwrapped, and when.
#[derive(Clone, Copy, Debug, Default)]
struct Stand {
    angle: u64,
    at: u64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Second {
    number: u64,
    head: Option<Stand>,
    boot: Option<Stand>,
    slip: Sum,
    slip_least: Option<i32>,
    slip_most: Option<i32>,
    swing: Sum,
    least_long: Option<i32>,
    power: Sum,
    edges: [u32; 2],
    rejected: [u32; 2],
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    sum: i64,
    count: i64,
}

impl Sum {
    fn add(&mut self, value: i64) {
        self.sum += value;
        self.count += 1;
    }

    fn mean(self) -> Option<i32> {
        i32::try_from(self.sum.checked_div(self.count)?).ok()
    }
}

/// The last minutes.
#[derive(Clone, Debug, Default)]
pub(super) struct Seconds {
    kept: VecDeque<Second>,
    angles: [u64; 2],
    newest: [u64; 2],
    last_slip: Option<i32>,
    edges: [u32; 2],
    rejected: [u32; 2],
    /// The largest step of slip that is no longer kept.
    past_step: Option<i32>,
    /// The first second in which the leg had settled after its last start.
    settled: u64,
    /// How slip goes with the head's speed while it lies near what it was.
    by_speed: Fit,
}

/// Least squares of one quantity over another.
#[derive(Clone, Copy, Debug, Default)]
struct Fit {
    count: i128,
    x: i128,
    y: i128,
    xx: i128,
    xy: i128,
}

impl Fit {
    fn add(&mut self, x: i32, y: i32) {
        let (x, y) = (i128::from(x), i128::from(y));
        self.count += 1;
        self.x += x;
        self.y += y;
        self.xx += x * x;
        self.xy += x * y;
    }

    /// How much the one moves with the other, per mille, if the other moved by more than `least` at all (standard deviation).
    fn slope(&self, least: i128) -> Option<i32> {
        let spread = self.count * self.xx - self.x * self.x;
        let together = self.count * self.xy - self.x * self.y;
        if self.count < FIT_COUNT || spread < least * least * self.count * self.count {
            return None;
        }
        i32::try_from((together * 1_000).checked_div(spread)?.clamp(-9_999, 9_999)).ok()
    }
}

/// Seconds from which on it is said how slip goes with speed.
const FIT_COUNT: i128 = 12;
/// Slip this near to what it was after the start, in ppm, is creep.
const NEAR: u32 = 8_000;
/// Seconds from the start until a leg has settled.
const SETTLES_S: u64 = 12;

/// Seconds on each side of a step of slip.
const STEP_S: usize = 3;

impl Seconds {
    fn second(&mut self, at: u64) -> &mut Second {
        let number = at / 1_000_000;
        if self.kept.back().is_none_or(|second| second.number < number) {
            if self.kept.len() == KEPT {
                self.past_step = larger(self.past_step, self.settled_step(0));
                self.kept.pop_front();
            }
            self.kept.push_back(Second { number, ..Second::default() });
        }
        let last = self.kept.len() - 1;
        &mut self.kept[last]
    }

    pub fn motion(&mut self, at: u64, motion: &Motion) {
        let shafts = [&motion.head, &motion.boot];
        for (index, shaft) in shafts.into_iter().enumerate() {
            let told = shaft.angle.get();
            let on = told.wrapping_sub(self.newest[index]) & (ANGLE_WRAPS - 1);
            self.newest[index] = told;
            self.angles[index] += on;
        }
        let stands =
            [0, 1].map(|index| shafts[index].last_edge.map(|edge| Stand { angle: self.angles[index], at: edge.get() }));
        let counted = [0, 1].map(|index| {
            let edges = shafts[index].edges.wrapping_sub(self.edges[index]);
            let rejected = shafts[index].rejected.wrapping_sub(self.rejected[index]);
            (edges, rejected)
        });
        self.edges = shafts.map(|shaft| shaft.edges);
        self.rejected = shafts.map(|shaft| shaft.rejected);
        let slip = match motion.slip_short {
            SlipReading::Known(slip) => Some(slip.get()),
            _ => None,
        };
        let long = match motion.slip_long {
            SlipReading::Known(slip) => Some(slip.get()),
            _ => None,
        };
        // A reading is told with every motion until the next one closes.
        let fresh = slip.filter(|slip| Some(*slip) != self.last_slip);
        let swing = fresh.zip(self.last_slip).map(|(now, before)| i64::from(now.abs_diff(before)));
        self.last_slip = slip.or(self.last_slip);
        let second = self.second(at);
        [second.head, second.boot] = stands;
        for (index, (edges, rejected)) in counted.into_iter().enumerate() {
            second.edges[index] = second.edges[index].saturating_add(edges);
            second.rejected[index] = second.rejected[index].saturating_add(rejected);
        }
        if let Some(slip) = fresh {
            second.slip.add(i64::from(slip));
            second.slip_least = Some(second.slip_least.map_or(slip, |least| least.min(slip)));
            second.slip_most = Some(second.slip_most.map_or(slip, |most| most.max(slip)));
        }
        if let Some(swing) = swing {
            second.swing.add(swing);
        }
        if let Some(long) = long {
            second.least_long = Some(second.least_long.map_or(long, |least| least.min(long)));
        }
    }

    pub fn power(&mut self, at: u64, watts: u32) {
        self.second(at).power.add(i64::from(watts));
    }

    fn window(&self, from: u64, to: u64) -> impl Iterator<Item = &Second> {
        let (from, to) = (from / 1_000_000, to / 1_000_000);
        self.kept.iter().filter(move |second| second.number >= from && second.number < to.max(from + 1))
    }

    fn sum(&self, from: u64, to: u64, of: impl Fn(&Second) -> Sum) -> Sum {
        self.window(from, to)
            .map(of)
            .fold(Sum::default(), |all, one| Sum { sum: all.sum + one.sum, count: all.count + one.count })
    }

    /// Mean slip, ppm.
    pub fn slip(&self, from: u64, to: u64) -> Option<i32> {
        self.sum(from, to, |second| second.slip).mean()
    }

    /// Mean power, watts.
    pub fn power_between(&self, from: u64, to: u64) -> Option<i32> {
        self.sum(from, to, |second| second.power).mean()
    }

    /// The most a second's mean power was, watts.
    pub fn most_power(&self, from: u64, to: u64) -> Option<i32> {
        self.window(from, to).filter_map(|second| second.power.mean()).max()
    }

    /// How far slip moves from one reading to the next, ppm.
    pub fn swing(&self, from: u64, to: u64) -> Option<i32> {
        self.sum(from, to, |second| second.swing).mean()
    }

    /// The step of slip in the middle of so many seconds from this one of those kept: mean after less mean before, ppm.
    fn step(&self, from: usize) -> Option<i32> {
        let mean = |from: usize| {
            let seconds = self.kept.range(from..(from + STEP_S).min(self.kept.len()));
            let sum = seconds.fold(Sum::default(), |all, second| Sum {
                sum: all.sum + second.slip.sum,
                count: all.count + second.slip.count,
            });
            sum.mean()
        };
        Some(mean(from + STEP_S)? - mean(from)?)
    }

    /// The same, if all of them lie after the last start.
    fn settled_step(&self, from: usize) -> Option<i32> {
        self.kept.get(from).filter(|second| second.number >= self.settled).and_then(|_| self.step(from))
    }

    /// The leg was started: slip swings for a while, and no step of it counts.
    pub fn started(&mut self, at: u64) {
        self.settled = at / 1_000_000 + SETTLES_S;
        self.past_step = None;
    }

    /// The step of slip since the last start that is largest, up or down, up to `to`, ppm.
    pub fn largest_step(&self, to: u64) -> Option<i32> {
        let within = |from: &usize| self.kept[from + 2 * STEP_S - 1].number < to / 1_000_000;
        let steps =
            (0..self.kept.len().saturating_sub(2 * STEP_S - 1)).take_while(within).map(|from| self.settled_step(from));
        steps.fold(self.past_step, larger)
    }

    /// A leg ran for some seconds with the head at this share of what is asked for, in ppm, and slip should be about `usual`.
    pub fn pair(&mut self, from: u64, to: u64, speed: i32, usual: i32) {
        let settled = from / 1_000_000 >= self.settled;
        if let Some(slip) = self.slip(from, to).filter(|slip| settled && slip.abs_diff(usual) < NEAR) {
            self.by_speed.add(speed.saturating_sub(1_000_000), slip);
        }
    }

    /// How slip goes with the head's speed, per mille.
    pub fn slip_by_speed(&self) -> Option<i32> {
        self.by_speed.slope(500)
    }

    /// Largest less smallest slip, ppm.
    pub fn spread(&self, from: u64, to: u64) -> Option<i32> {
        let least = self.window(from, to).filter_map(|second| second.slip_least).min()?;
        let most = self.window(from, to).filter_map(|second| second.slip_most).max()?;
        Some(most - least)
    }

    /// For what share of the seconds in a window, in per cent, slip lay in the middle half between its least and its most there; unknown where
    /// it moved by less than `least`.
    pub fn between(&self, from: u64, to: u64, least: i32) -> Option<i32> {
        let means: Vec<i32> = self.window(from, to).filter_map(|second| second.slip.mean()).collect();
        let (low, high) = (*means.iter().min()?, *means.iter().max()?);
        let range = high.saturating_sub(low);
        if range < least {
            return None;
        }
        let middle = low.saturating_add(range / 4)..=high.saturating_sub(range / 4);
        let within = means.iter().filter(|mean| middle.contains(mean)).count() as u64;
        super::shaft::whole_share(within, means.len() as u64, 100)
    }

    /// The least slip over four boot turns, ppm.
    pub fn least_long(&self, from: u64, to: u64) -> Option<i32> {
        self.window(from, to).filter_map(|second| second.least_long).min()
    }

    /// When slip last was at or below `foot`, up to `to`, microseconds.
    pub fn last_at_or_below(&self, foot: i32, to: u64) -> Option<u64> {
        let second =
            self.kept.iter().rev().find(|second| {
                second.number <= to / 1_000_000 && second.slip_least.is_some_and(|least| least <= foot)
            })?;
        Some((second.number + 1) * 1_000_000)
    }

    /// Mean speed of head (0) or boot (1), microturns a second.
    pub fn speed(&self, shaft: usize, from: u64, to: u64) -> Option<i64> {
        let of = |second: &Second| if shaft == 0 { second.head } else { second.boot };
        let mut stands = self.window(from, to).filter_map(of);
        let first = stands.next()?;
        let last = stands.last()?;
        let turned = u128::from(last.angle.saturating_sub(first.angle)) * 1_000_000_000_000;
        let time = u128::from(last.at.saturating_sub(first.at)) << 32;
        i64::try_from(turned.checked_div(time)?).ok()
    }

    /// Rejected edges of head (0) or boot (1) for each thousand that count.
    pub fn rejects(&self, shaft: usize, from: u64, to: u64) -> Option<i32> {
        let (mut edges, mut rejected) = (0_u64, 0_u64);
        for second in self.window(from, to) {
            edges += u64::from(second.edges[shaft]);
            rejected += u64::from(second.rejected[shaft]);
        }
        super::shaft::whole_share(rejected, edges.max(1), 1_000).filter(|_| edges + rejected > 0)
    }
}

/// Of two steps the larger, up or down.
fn larger(one: Option<i32>, other: Option<i32>) -> Option<i32> {
    one.into_iter().chain(other).max_by_key(|step| step.unsigned_abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slipped(slips: impl Iterator<Item = i32>) -> Seconds {
        let mut seconds = Seconds::default();
        for (number, slip) in slips.enumerate() {
            seconds.second(number as u64 * 1_000_000).slip.add(i64::from(slip));
        }
        seconds
    }

    #[test]
    fn slip_that_comes_and_goes_at_once_is_seldom_between_and_slip_that_grows_is_half_the_time() {
        let minute = 60_000_000;
        let hub = slipped((0..60).map(|second| if second % 20 < 10 { 2_000 } else { 60_000 }));
        assert_eq!(hub.between(0, minute, 10_000), Some(0));
        let film = slipped((0..60).map(|second| second * 1_000));
        assert_eq!(film.between(0, minute, 10_000), Some(50));
        assert_eq!(slipped((0..60).map(|_| 3_000)).between(0, minute, 10_000), None);
    }
}
