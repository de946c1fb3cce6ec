//! The whole trace as a fixed number of stretches of time, for drawing: least and most of everything in each.

use slackside::input::Place;
use slackside::units::{DeciCelsius, Micros, Ppm, Watts};

use super::pace::{Pace, STRETCHES};
use super::sample::Sample;

/// The least and the most of a figure; empty until something is included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    least: i64,
    most: i64,
}

impl Range {
    /// Nothing was known.
    pub const EMPTY: Self = Self { least: i64::MAX, most: i64::MIN };

    /// Widen the range to hold `value`.
    pub const fn include(&mut self, value: i64) {
        if value < self.least {
            self.least = value;
        }
        if value > self.most {
            self.most = value;
        }
    }

    /// The least and the most; `None` if nothing was known.
    #[must_use]
    pub const fn bounds(self) -> Option<(i64, i64)> {
        if self.least > self.most { None } else { Some((self.least, self.most)) }
    }

    fn join(&mut self, other: Self) {
        self.least = self.least.min(other.least);
        self.most = self.most.max(other.most);
    }
}

/// One stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bucket {
    /// Head shaft, microturns a second.
    pub head: Range,
    /// Belt, micrometres a second.
    pub belt: Range,
    /// Slip over one boot turn, ppm.
    pub slip_short: Range,
    /// Slip over four boot turns, ppm.
    pub slip_long: Range,
    /// Slip heat, ppm of the budget.
    pub heat: Range,
    /// Power at the head shaft, watts.
    pub power: Range,
    /// Temperature at each place, tenths of a degree Celsius.
    pub temperatures: [Range; Place::COUNT],
    /// The speed asked for, ppm of normal.
    pub reference: Range,
    /// Whether the belt rubbed at each place.
    pub rubbed: [bool; Place::COUNT],
}

impl Bucket {
    const EMPTY: Self = Self {
        head: Range::EMPTY,
        belt: Range::EMPTY,
        slip_short: Range::EMPTY,
        slip_long: Range::EMPTY,
        heat: Range::EMPTY,
        power: Range::EMPTY,
        temperatures: [Range::EMPTY; Place::COUNT],
        reference: Range::EMPTY,
        rubbed: [false; Place::COUNT],
    };

    fn join(&mut self, other: &Self) {
        self.head.join(other.head);
        self.belt.join(other.belt);
        self.slip_short.join(other.slip_short);
        self.slip_long.join(other.slip_long);
        self.heat.join(other.heat);
        self.power.join(other.power);
        self.reference.join(other.reference);
        for (mine, theirs) in self.temperatures.iter_mut().zip(other.temperatures) {
            mine.join(theirs);
        }
        for (mine, theirs) in self.rubbed.iter_mut().zip(other.rubbed) {
            *mine |= theirs;
        }
    }
}

/// The whole trace, coarse enough to draw.
#[derive(Clone, Debug)]
pub struct Series {
    pace: Pace,
    buckets: Vec<Bucket>,
}

impl Default for Series {
    fn default() -> Self {
        Self { pace: Pace::default(), buckets: Vec::with_capacity(STRETCHES as usize) }
    }
}

impl Series {
    /// When the first stretch begins.
    #[must_use]
    pub fn start(&self) -> Micros {
        self.pace.start().unwrap_or(Micros::ZERO)
    }

    /// How long each stretch is, in microseconds.
    #[must_use]
    pub const fn width_us(&self) -> u64 {
        self.pace.width_us()
    }

    /// The stretches, oldest first.
    #[must_use]
    pub fn buckets(&self) -> &[Bucket] {
        &self.buckets
    }

    fn bucket(&mut self, at: Micros) -> Option<&mut Bucket> {
        let (index, joined) = self.pace.reach(at);
        for _ in 0..joined {
            let pairs = self.buckets.chunks(2).map(|pair| {
                let mut one = pair[0];
                if let Some(other) = pair.get(1) {
                    one.join(other);
                }
                one
            });
            self.buckets = pairs.collect();
        }
        if self.buckets.len() <= index {
            self.buckets.resize(index + 1, Bucket::EMPTY);
        }
        self.buckets.get_mut(index)
    }

    /// Take slip readings, whenever they change.
    pub fn slip(&mut self, at: Micros, short: Option<Ppm>, long: Option<Ppm>) {
        if let Some(bucket) = self.bucket(at) {
            if let Some(ppm) = short {
                bucket.slip_short.include(i64::from(ppm.get()));
            }
            if let Some(ppm) = long {
                bucket.slip_long.include(i64::from(ppm.get()));
            }
        }
    }

    /// Take speeds, heat and contacts.
    pub fn take(&mut self, sample: &Sample) {
        if let Some(bucket) = self.bucket(sample.at) {
            if let Some(head) = sample.head {
                bucket.head.include(i64::from(head.get()));
            }
            if let Some(belt) = sample.belt {
                bucket.belt.include(i64::from(belt.get()));
            }
            bucket.heat.include(i64::from(sample.slip_heat.get()));
            for (rubbed, contact) in bucket.rubbed.iter_mut().zip(&sample.contacts) {
                *rubbed |= contact.dwell.is_some_and(|dwell| dwell.get() > 0);
            }
        }
    }

    /// Take power.
    pub fn power(&mut self, at: Micros, power: Watts) {
        if let Some(bucket) = self.bucket(at) {
            bucket.power.include(i64::from(power.get()));
        }
    }

    /// Take a temperature.
    pub fn temperature(&mut self, at: Micros, place: Place, celsius: DeciCelsius) {
        if let Some(bucket) = self.bucket(at) {
            bucket.temperatures[place.index()].include(i64::from(celsius.get()));
        }
    }

    /// Take the speed asked for.
    pub fn reference(&mut self, at: Micros, reference: Ppm) {
        if let Some(bucket) = self.bucket(at) {
            bucket.reference.include(i64::from(reference.get()));
        }
    }

    /// Mark that the belt rubs at `place`, however shortly.
    pub fn rub(&mut self, at: Micros, place: Place) {
        if let Some(bucket) = self.bucket(at) {
            bucket.rubbed[place.index()] = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joining_loses_no_extreme_and_memory_stays() {
        let mut series = Series::default();
        for step in 0..1_000_000_u64 {
            let slip = if step == 777_777 { 250_000 } else { 10_000 };
            series.slip(Micros::new(5_000_000 + step * 7_000), Some(Ppm::new(slip)), None);
        }
        assert!(series.buckets().len() <= STRETCHES as usize);
        let peaks: Vec<usize> = series
            .buckets()
            .iter()
            .enumerate()
            .filter(|(_, bucket)| bucket.slip_short.bounds().is_some_and(|(_, most)| most == 250_000))
            .map(|(index, _)| index)
            .collect();
        assert_eq!(peaks, [(777_777 * 7_000 / series.width_us()) as usize]);
        assert!(series.buckets().iter().all(|bucket| bucket.slip_long.bounds().is_none()));
    }

    #[test]
    fn a_jump_to_the_end_of_time_ends() {
        let mut series = Series::default();
        series.slip(Micros::new(1), Some(Ppm::ONE), None);
        series.slip(Micros::MAX, Some(Ppm::ONE), None);
        assert!(series.buckets().len() <= STRETCHES as usize);
    }
}
