//! One shaft's edges, as they came over the wire: how they ended, how evenly they lie, which are missing and which too many.

use std::collections::VecDeque;

/// Rises kept: half a minute at the most targets and the highest speed of a leg, minutes at few.
const KEPT: usize = 768;
/// A pitch shorter than this share of the usual one, in hundredths, comes of an edge too many.
const SHORT: u64 = 55;
/// A pitch longer than the first and shorter than the second, in hundredths of the usual one, lacks an edge.
const LONG: (u64, u64) = (160, 260);
/// An edge that comes later than this, in hundredths of the usual pitch, comes after one that was missed.
const MISSED: u64 = 160;
/// The least turns over which it is told how regularly a target is missed.
const MISSED_TURNS: usize = 4;
/// So many targets are held against another shaft's, and so near, in microseconds, they come together.
const TOGETHER: usize = 12;
const TOGETHER_US: u64 = 2_000;
/// A turn longer than this, in hundredths of the usual one, is one of a shaft that slows.
const SLOWED: u64 = 106;

/// The least turns over which it is told where targets lie, and the least, per mille of a pitch, that the worst must be off for the next to be
/// held against it.
const PLACED_TURNS: usize = 4;
const PLACED_WORST: i32 = 20;
/// The least turns over which one shaft's speed is held against another's turn.
const WITH_TURNS: usize = 6;
/// The least ends of turns within a fall that has a middle.
const BENT_TURNS: usize = 3;

/// Where targets lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Places {
    /// How far the worst lies from its even place, per mille of a pitch.
    pub worst: i32,
    /// How far the next worst lies, in per cent of that. Of two targets both lie as far.
    pub next: Option<i32>,
}

/// The edges of one shaft.
#[derive(Clone, Debug)]
pub(super) struct ShaftLog {
    targets: usize,
    /// When a target came, and for how long it was seen.
    rises: VecDeque<(u64, u64)>,
    early_duty: Option<i32>,
    early_seen: Option<i32>,
}

/// How the edges lay at one moment.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Shape {
    /// Silence at the moment, in per cent of the pitch that was due.
    pub silent: Option<i32>,
    /// The last pitch against that of the same target two turns before, per mille.
    pub last_pitch: Option<i32>,
    /// For how long turns had been long, in ms.
    pub slowing: Option<i32>,
    /// What the shaft lost a second while turns were long, per mille of its usual speed.
    pub fall: Option<i32>,
    /// Of that loss, how much it had lost in the middle of the time, in per cent.
    pub fall_bend: Option<i32>,
    /// Mean difference of neighbouring turns, ppm.
    pub scatter: Option<i32>,
    /// The worst target's place, per mille of a pitch.
    pub uneven: Option<i32>,
    /// Short pitches, per mille.
    pub short: Option<i32>,
    /// Long pitches, per mille.
    pub long: Option<i32>,
    /// Long pitches at the target that has most of them, per cent of all.
    pub long_same: Option<i32>,
    /// For what share of the time a target is seen, per mille.
    pub duty: Option<i32>,
    /// That less what it was at first.
    pub duty_change: Option<i32>,
    /// How long the middling target is seen, per mille of what it was at first.
    pub seen: Option<i32>,
}

impl ShaftLog {
    pub fn new(targets: u8) -> Self {
        Self {
            targets: usize::from(targets.max(1)),
            rises: VecDeque::with_capacity(KEPT),
            early_duty: None,
            early_seen: None,
        }
    }

    pub fn edge(&mut self, at: u64, rising: bool) {
        if !rising {
            if let Some((rise, seen)) = self.rises.back_mut()
                && *seen == 0
            {
                *seen = at.saturating_sub(*rise);
            }
            return;
        }
        if self.rises.len() == KEPT {
            self.rises.pop_front();
        }
        self.rises.push_back((at, 0));
        if self.early_duty.is_none() && self.rises.len() == 6 * self.targets + 1 {
            self.early_duty = self.duty(self.rises.len() - 1);
            self.early_seen = self.seen(self.rises.len() - 1);
        }
    }

    /// When the last target came at or before `at`.
    pub fn last_before(&self, at: u64) -> Option<u64> {
        self.rises.iter().rev().map(|(rise, _)| *rise).find(|rise| *rise <= at)
    }

    /// Turns a second over the last whole turn before `at`, in microturns.
    pub fn turn_speed(&self, at: u64) -> Option<i64> {
        let end = self.rises.partition_point(|(rise, _)| *rise <= at).checked_sub(1)?;
        let begin = end.checked_sub(self.targets)?;
        let turn = self.rises[end].0.saturating_sub(self.rises[begin].0);
        i64::try_from(1_000_000_000_000_u64.checked_div(turn)?).ok()
    }

    /// Mean turns a second over whole turns from `from` to `to`, in microturns.
    pub fn mean_speed(&self, from: u64, to: u64) -> Option<i64> {
        let begin = self.rises.partition_point(|(rise, _)| *rise < from);
        let end = self.rises.partition_point(|(rise, _)| *rise <= to).checked_sub(1)?;
        let turns = end.checked_sub(begin)? / self.targets;
        let begin = end - turns * self.targets;
        let time = self.rises[end].0.saturating_sub(self.rises[begin].0);
        i64::try_from((turns as u64 * 1_000_000_000_000).checked_div(time)?).ok()
    }

    /// How far the shaft turned after `from`, up to `to`, in hundredths of a turn; no more than is kept.
    pub fn turned(&self, from: u64, to: u64) -> Option<i32> {
        let rises = self.rises.iter().filter(|(rise, _)| (from..=to).contains(rise)).count() as u64;
        whole_share(rises, self.targets as u64, 100)
    }

    /// By how much this shaft runs faster and slower with each turn of another, from `from` to `to`, in ppm of its speed. Where its own targets lie
    /// is left out, as each turns up everywhere in the other's turn; so is where the other's lie, of which one alone counts its turns. Unknown
    /// where targets were missed or too many, and over too few turns.
    pub fn with(&self, other: &Self, from: u64, to: u64) -> Option<i32> {
        let n = self.targets;
        let within = |log: &Self| -> Vec<u64> {
            log.rises.iter().map(|(rise, _)| *rise).filter(|rise| (from..=to).contains(rise)).collect()
        };
        let (rises, turns) = (within(self), within(other));
        let turns: Vec<u64> = turns.into_iter().step_by(other.targets).collect();
        if n < 2 || turns.len() <= WITH_TURNS || rises.len() <= WITH_TURNS * n {
            return None;
        }
        let pitches: Vec<u64> = rises.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let usual = median(&pitches);
        if pitches.iter().any(|pitch| !(usual * SHORT..usual * MISSED).contains(&(pitch * 100))) {
            return None;
        }
        // Each pitch against the mean of the turn that ends with it and the one that begins with it, in the middle of the pitch.
        let mut off: Vec<(usize, u64, f64)> = Vec::with_capacity(pitches.len());
        for index in n - 1..pitches.len().saturating_sub(n - 1) {
            let both = rises[index + 1] - rises[index + 1 - n] + rises[index + n] - rises[index];
            let off_by = (pitches[index] * 2 * n as u64) as f64 / both.max(1) as f64 - 1.0;
            off.push((index % n, rises[index] + pitches[index] / 2, off_by));
        }
        let mut of_target = vec![(0.0, 0.0); n];
        for (target, _, off_by) in &off {
            of_target[*target].0 += off_by;
            of_target[*target].1 += 1.0;
        }
        let (mut along, mut across, mut count) = (0.0, 0.0, 0.0);
        for (target, at, off_by) in off {
            let next = turns.partition_point(|turn| *turn <= at);
            let (Some(turn), Some(next)) = (next.checked_sub(1).map(|last| turns[last]), turns.get(next)) else {
                continue;
            };
            let angle = (at - turn) as f64 / (next - turn) as f64 * core::f64::consts::TAU;
            let (sum, all) = of_target[target];
            let off_by = off_by - sum / all;
            along += off_by * libm::cos(angle);
            across += off_by * libm::sin(angle);
            count += 1.0;
        }
        if count < (WITH_TURNS * n) as f64 {
            return None;
        }
        Some((2.0 * libm::sqrt(along * along + across * across) / count * 1e6).min(9_999_999.0) as i32)
    }

    /// How many of the last targets before `at` came within two milliseconds of one of another shaft's, in per cent.
    pub fn together(&self, other: &Self, at: u64) -> Option<i32> {
        let end = self.rises.partition_point(|(rise, _)| *rise <= at);
        let begin = end.checked_sub(TOGETHER)?;
        let near = |(rise, _): &&(u64, u64)| {
            let next = other.rises.partition_point(|(of_other, _)| of_other < rise);
            let apart = |index: Option<usize>| {
                index
                    .and_then(|index| other.rises.get(index))
                    .map_or(u64::MAX, |(of_other, _)| of_other.abs_diff(*rise))
            };
            apart(Some(next)).min(apart(next.checked_sub(1))) < TOGETHER_US
        };
        let count = self.rises.range(begin..end).filter(near).count() as u64;
        whole_share(count, TOGETHER as u64, 100)
    }

    /// How the edges lay at `at`.
    pub fn shape(&self, at: u64) -> Shape {
        let rises: Vec<u64> = self.rises.iter().map(|(rise, _)| *rise).filter(|rise| *rise <= at).collect();
        let n = self.targets;
        let mut shape = Shape::default();
        if rises.len() < 2 * n + 3 {
            return shape;
        }
        let last = rises.len() - 1;
        let pitches: Vec<u64> = rises.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let share = |part: u64, whole: u64, of: u64| whole_share(part, whole, of);
        shape.silent = share(at - rises[last], rises[last - n + 1] - rises[last - n], 100);
        shape.last_pitch = share(pitches[last - 1], pitches[last - 1 - 2 * n], 1_000);
        let turns: Vec<u64> = (n..=last).map(|i| rises[i] - rises[i - n]).collect();
        let usual_turn = median(&turns);
        let slow_since = turns.iter().rposition(|turn| turn * 100 <= usual_turn * SLOWED);
        shape.slowing = Some(match slow_since {
            Some(sound) => milliseconds(rises[last] - rises[sound + n]),
            None => milliseconds(rises[last] - rises[n]),
        });
        shape.fall = slow_since.filter(|sound| *sound + 1 < turns.len()).and_then(|sound| {
            let left = usual_turn.saturating_mul(1_000).checked_div(turns[turns.len() - 1])?;
            share(1_000_u64.saturating_sub(left), rises[last] - rises[sound + n], 1_000_000)
        });
        shape.fall_bend = slow_since.and_then(|sound| fall_bend(&rises[n..], &turns, sound, usual_turn));

        // What the edges were before whatever ended them.
        let until = rises.partition_point(|rise| *rise + 3_000_000 <= at);
        let from = rises.partition_point(|rise| *rise + 33_000_000 < at);
        if until > from + 3 * n {
            let steps = (from + 2 * n..until).map(|i| {
                let (one, other) = (rises[i] - rises[i - n], rises[i - n] - rises[i - 2 * n]);
                one.abs_diff(other).saturating_mul(1_000_000) / one.max(1)
            });
            shape.scatter = mean(steps);
            if n > 1 {
                shape.uneven = uneven(&pitches[from..until - 1], n);
            }
        }
        let usual = median(&pitches);
        let count = pitches.len() as u64;
        let is_short = |pitch: u64| pitch * 100 < usual * SHORT;
        let is_long = |pitch: u64| (LONG.0 * usual..LONG.1 * usual).contains(&(pitch * 100));
        shape.short = share(pitches.iter().filter(|pitch| is_short(**pitch)).count() as u64, count, 1_000);
        // Where each edge stands on the shaft: an edge too many stands nowhere, a long pitch holds two.
        let mut at_target = vec![0_u64; n];
        let (mut place, mut long) = (0, 0_u64);
        for (index, pitch) in pitches.iter().enumerate() {
            place += if is_short(*pitch) { 0 } else { 1 + usize::from(is_long(*pitch)) };
            let alone =
                index > 0 && !is_long(pitches[index - 1]) && pitches.get(index + 1).is_some_and(|p| !is_long(*p));
            if is_long(*pitch) && alone {
                long += 1;
                at_target[place % n] += 1;
            }
        }
        shape.long = share(long, count, 1_000);
        if long >= 3 && n > 1 {
            shape.long_same = share(at_target.iter().copied().max().unwrap_or(0), long, 100);
        }
        shape.duty = self.duty(last);
        shape.duty_change = shape.duty.zip(self.early_duty).map(|(now, early)| now - early);
        shape.seen = self.seen(last).zip(self.early_seen).and_then(|(now, early)| {
            let [now, early] = [now, early].map(|seen| u64::try_from(seen).unwrap_or(0));
            whole_share(now, early, 1_000)
        });
        shape
    }

    /// Since the target that was missed most often from `from` to `to` was first missed: in how many of the turns it was, in per cent.
    /// Unknown if none was missed, or too lately to tell.
    pub fn missed_turns(&self, from: u64, to: u64) -> Option<i32> {
        let rises: Vec<u64> =
            self.rises.iter().map(|(rise, _)| *rise).filter(|rise| (from..=to).contains(rise)).collect();
        let usual = median(&rises.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<_>>());
        let n = self.targets;
        // Where the newest edge stands, counted in pitches, and each that was missed since the leg last stood.
        let (mut place, mut missed, mut since) = (0, Vec::new(), *rises.first()?);
        for rise in &rises[1..] {
            // What is nearer than half a pitch is an edge too many, and stands nowhere.
            let on = (rise - since).saturating_mul(100) + usual.saturating_mul(200 - MISSED);
            let on = usize::try_from(on.checked_div(usual.saturating_mul(100))?).unwrap_or(usize::MAX);
            match on {
                0 => continue,
                1 => place += 1,
                _ if on <= n => {
                    missed.extend(place + 1..place + on);
                    place += on;
                }
                _ => (place, missed) = (0, Vec::new()),
            }
            since = *rise;
        }
        let worst = (0..n).max_by_key(|target| missed.iter().filter(|place| *place % n == *target).count())?;
        let mut of_worst = missed.iter().filter(|place| *place % n == worst);
        let turns = (place - of_worst.next()?) / n + 1;
        if turns < MISSED_TURNS { None } else { whole_share(1 + of_worst.count() as u64, turns as u64, 100) }
    }

    /// How far the target that lies worst lies from its even place from `from` to `to`, per mille of a pitch; and how far the next worst lies,
    /// in per cent of that.
    pub fn places(&self, from: u64, to: u64) -> Option<Places> {
        let rises = self.rises.iter().map(|(rise, _)| *rise).filter(|rise| (from..=to).contains(rise));
        let rises: Vec<u64> = rises.collect();
        if rises.len() <= PLACED_TURNS * self.targets || self.targets < 2 {
            return None;
        }
        let mut off = places(&rises.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<_>>(), self.targets)?;
        off.sort_unstable_by_key(|off| core::cmp::Reverse(*off));
        let worst = i32::try_from(*off.first()?).ok()?;
        let next = off.get(1).filter(|_| self.targets > 2 && worst >= PLACED_WORST);
        Some(Places { worst, next: next.and_then(|next| i32::try_from(next * 100 / i64::from(worst)).ok()) })
    }

    /// Seen for what share of the last two turns that end with rise `end`, per mille.
    fn duty(&self, end: usize) -> Option<i32> {
        let begin = end.checked_sub(2 * self.targets)?;
        let seen: u64 = self.rises.range(begin..end).map(|(_, seen)| *seen).sum();
        whole_share(seen, self.rises[end].0.saturating_sub(self.rises[begin].0), 1_000)
    }

    /// For how long the middling one of the targets of the last two turns that end with rise `end` was seen, in millionths of a pitch. That
    /// is their lower quartile: where targets are missed, longer ones are of two.
    fn seen(&self, end: usize) -> Option<i32> {
        let begin = end.checked_sub(2 * self.targets)?;
        let seen: Vec<u64> = self.rises.range(begin..end).map(|(_, seen)| *seen).collect();
        let ends = self.rises.range(begin + 1..=end);
        let mut pitches: Vec<u64> =
            self.rises.range(begin..end).zip(ends).map(|((one, _), (next, _))| next - one).collect();
        let quarter = pitches.len() / 4;
        let pitch = *pitches.select_nth_unstable(quarter).1;
        whole_share(median(&seen), pitch, 1_000_000)
    }
}

/// Of what a shaft has lost of its speed, in per cent, how much it had lost in the middle of the time: half under an even drag, less under one
/// that grows. `ends`: when each turn ended; the last sound one is number `sound`. Too short a fall has no middle.
fn fall_bend(ends: &[u64], turns: &[u64], sound: usize, usual: u64) -> Option<i32> {
    let last = turns.len().checked_sub(1)?;
    let middle = ends[sound] + (ends[last] - ends[sound]) / 2;
    let at = sound + ends[sound..].partition_point(|end| *end <= middle);
    if last < sound + BENT_TURNS || at == sound {
        return None;
    }
    // Since the last turn that was not long; between the two that end on either side of the middle.
    let left = |turn: usize| i64::try_from(usual.saturating_mul(1_000_000).checked_div(turns[turn])?).ok();
    let lost = |turn: usize| Some(left(sound)? - left(turn)?);
    let (before, after) = (lost(at - 1)?, lost(at)?);
    let part =
        i64::try_from((middle - ends[at - 1]).saturating_mul(1_000).checked_div(ends[at] - ends[at - 1])?).ok()?;
    let then = before + (after - before) * part / 1_000;
    i32::try_from((then * 100).checked_div(lost(last)?)?.clamp(-999, 999)).ok()
}

/// How far the worst target lies from its even place, per mille of a pitch.
fn uneven(pitches: &[u64], n: usize) -> Option<i32> {
    places(pitches, n)?.into_iter().max().and_then(|most| i32::try_from(most).ok())
}

/// How far each target lies from its even place, per mille of a pitch.
fn places(pitches: &[u64], n: usize) -> Option<Vec<i64>> {
    let mut sums = vec![0_i64; n];
    let whole = pitches.len() / n * n;
    for (index, pitch) in pitches[..whole].iter().enumerate() {
        sums[index % n] += *pitch as i64;
    }
    let turn: i64 = sums.iter().sum();
    // Places as thousandths of a pitch off the even ones, less their mean.
    let mut place = 0;
    let mut off: Vec<i64> = Vec::with_capacity(n);
    for (index, sum) in sums.iter().enumerate() {
        place += sum;
        off.push((place * n as i64 * 1_000).checked_div(turn)? - (index as i64 + 1) * 1_000);
    }
    let middle = off.iter().sum::<i64>() / n as i64;
    Some(off.into_iter().map(|off| (off - middle).abs()).collect())
}

/// `of` times a part over a whole, held inside the type.
pub(super) fn whole_share(part: u64, whole: u64, of: u64) -> Option<i32> {
    let share = u128::from(part) * u128::from(of) / u128::from((whole > 0).then_some(whole)?);
    Some(i32::try_from(share).unwrap_or(i32::MAX))
}

pub(super) fn milliseconds(us: u64) -> i32 {
    i32::try_from(us / 1_000).unwrap_or(i32::MAX)
}

fn median(values: &[u64]) -> u64 {
    let mut sorted = values.to_vec();
    let middle = sorted.len() / 2;
    if sorted.is_empty() { 0 } else { *sorted.select_nth_unstable(middle).1 }
}

fn mean(values: impl Iterator<Item = u64>) -> Option<i32> {
    let (mut sum, mut count) = (0_u64, 0_u64);
    for value in values {
        sum = sum.saturating_add(value);
        count += 1;
    }
    i32::try_from(sum.checked_div(count)?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four targets, a turn a second, for a minute; `seen` says by turn and target for which share of its usual time each is seen.
    fn turned(seen: impl Fn(usize, usize) -> u64) -> ShaftLog {
        let mut log = ShaftLog::new(4);
        for turn in 0..60 {
            for target in 0..4 {
                let (at, width) = ((4 * turn as u64 + target as u64) * 250_000, 100_000 * seen(turn, target) / 100);
                if width > 0 {
                    log.edge(at, true);
                    log.edge(at + width, false);
                }
            }
        }
        log
    }

    const MINUTE: u64 = 60_000_000;

    #[test]
    fn a_target_that_is_gone_is_missed_in_every_turn_and_misses_at_random_are_not() {
        let gone = turned(|turn, target| if turn >= 40 && target == 2 { 0 } else { 100 });
        assert_eq!(gone.missed_turns(0, MINUTE), Some(100));
        assert_eq!(turned(|_, _| 100).missed_turns(0, MINUTE), None);
        // Now one, now another, some of them two at a time.
        let random = turned(|turn, target| {
            let missed = matches!((turn, target), (20, 1) | (24, 3) | (31, 1 | 2) | (38, 0) | (50, 1));
            if missed { 0 } else { 100 }
        });
        assert!(
            random.missed_turns(0, MINUTE).is_some_and(|share| share <= 10),
            "{:?}",
            random.missed_turns(0, MINUTE)
        );
        // Gone only just: too early to tell.
        assert_eq!(gone.missed_turns(0, 42_000_000), None);
    }

    #[test]
    fn a_shaft_that_slows_loses_so_much_a_second_and_one_that_goes_silent_nothing() {
        // Turns of a second for half a minute; then each a tenth longer than the one before.
        let mut log = ShaftLog::new(1);
        let (mut at, mut turn) = (0, 1_000_000);
        for number in 0..34 {
            log.edge(at, true);
            log.edge(at + 100_000, false);
            turn = if number < 30 { turn } else { turn * 11 / 10 };
            at += turn;
        }
        log.edge(at, true);
        // Four turns of 5.1 s together, and the last turns at 1 / 1.1^4 of the usual speed.
        let fall = log.shape(at).fall.expect("it slowed");
        assert!((60..=64).contains(&fall), "{fall}");
        assert_eq!(turned(|_, _| 100).shape(MINUTE).fall, None);
    }

    #[test]
    fn an_even_drag_has_taken_half_in_the_middle_and_one_that_grows_less() {
        // Four targets, four turns a second for half a minute; then it loses speed, evenly or ever faster, over three seconds.
        let fallen = |lost: fn(f64) -> f64| {
            let mut log = ShaftLog::new(4);
            let (mut angle, mut mark) = (0.0, 0.0);
            for ms in 0..33_000_u64 {
                angle += 0.004 * (1.0 - lost((ms as f64 / 1_000.0 - 30.0).max(0.0)));
                if angle >= mark {
                    mark += 0.25;
                    log.edge(1_000 * ms, true);
                    log.edge(1_000 * ms + 20_000, false);
                }
            }
            log.shape(33_000_000).fall_bend.expect("it fell")
        };
        let (even, growing) = (fallen(|s| 0.1 * s), fallen(|s| 0.011 * s * s * s));
        assert!((42..=58).contains(&even), "{even}");
        assert!(growing + 8 < even, "{growing} {even}");
        assert_eq!(turned(|_, _| 100).shape(MINUTE).fall_bend, None);
    }

    #[test]
    fn one_target_that_has_moved_lies_alone_and_runout_moves_its_neighbours_too() {
        let lain = |off: [u64; 6]| {
            let mut log = ShaftLog::new(6);
            for turn in 0..20 {
                for target in 0..6 {
                    log.edge((6 * turn + target) * 100_000 + off[target as usize], true);
                }
            }
            log.places(0, MINUTE).expect("places")
        };
        let moved = lain([0, 0, 30_000, 0, 0, 0]);
        assert_eq!(moved, Places { worst: 250, next: Some(20) });
        let out_of_round = lain([10_000, 18_660, 18_660, 10_000, 1_340, 1_340]);
        assert!(out_of_round.next.is_some_and(|next| next > 90), "{out_of_round:?}");
        // Of two targets each lies as far as the other; and a turn is too little.
        assert_eq!(turned(|_, _| 100).places(0, 1_000_000), None);
    }

    #[test]
    fn targets_are_seen_ever_shorter_where_the_gap_grows_and_as_long_as_ever_where_one_is_gone() {
        let seen = |log: &ShaftLog| log.shape(MINUTE).seen;
        let farther = seen(&turned(|turn, _| 100 - turn as u64));
        assert!(farther.is_some_and(|seen| (400..500).contains(&seen)), "{farther:?}");
        let gone = seen(&turned(|turn, target| if turn >= 40 && target == 2 { 0 } else { 100 }));
        assert!(gone.is_some_and(|seen| seen > 980), "{gone:?}");
    }
}
