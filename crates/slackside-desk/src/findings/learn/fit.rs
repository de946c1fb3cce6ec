//! Learn the points: multinomial logistic regression over the rows an evidence points to, by Adagrad (Duchi, Hazan and Singer 2011) with
//! a falling step and a pull towards nothing, then stretched or shrunk until its chances come true on runs it was not fitted to.
//!
//! Causes are drawn in turn, so that there is as much to learn of the rare ones; how often each comes ([`Cause::often`]) is added after.

use super::super::cause::Cause;
use super::super::model::{ALWAYS, CAUSES, Model, NAT, ROWS, rows};
use super::row::Row;

/// How often every run is looked at.
const EPOCHS: usize = 120;
/// How far a first step goes; the last goes nowhere.
const STEP: f32 = 0.35;
/// The pull towards nothing, the same for a row that every run points to and for one that few do: the inverse of what is usually
/// called C. The best of 2, 7 and 20 on runs that were kept back.
const PULL: f32 = 7.0;
/// Every so many runs are kept back to find how far chances must be shrunk.
const KEPT_BACK: usize = 5;

struct Sample {
    rows: Vec<u32>,
    cause: usize,
}

fn samples<'a>(of: impl Iterator<Item = &'a Row>) -> Vec<Sample> {
    let sample = |row: &Row| Sample {
        rows: rows(&row.evidence).filter_map(|row| u32::try_from(row).ok()).collect(),
        cause: row.cause as usize,
    };
    of.filter(|row| row.evidence.first.is_some()).map(sample).collect()
}

type Points = Vec<[f32; CAUSES]>;

/// What each cause has beside its points, for how often it comes and how often it was drawn with an alarm; and the weight of each run of it.
fn commonness(samples: &[Sample]) -> [(f32, f32); CAUSES] {
    Cause::ALL.map(|cause| {
        let drawn = samples.iter().filter(|sample| sample.cause == cause as usize).count().max(1);
        let share = cause.often() as f32 / drawn as f32;
        (libm::logf(share), share)
    })
}

/// Learn from played runs.
#[must_use]
pub fn fit(all: &[Row], provenance: String) -> Model {
    let held = |row: &&Row| (row.index / CAUSES).is_multiple_of(KEPT_BACK);
    let most = samples(all.iter().filter(|row| !held(row)));
    let kept_back = samples(all.iter().filter(held));
    let shrunk = shrink(&ascend(&most), &kept_back);
    let all = samples(all.iter());
    let mut points: Points = ascend(&all).into_iter().map(|points| points.map(|point| point * shrunk)).collect();
    let common = commonness(&all);
    let mean = common.iter().map(|(more, _)| more).sum::<f32>() / CAUSES as f32;
    for (point, (more, _)) in points[ALWAYS].iter_mut().zip(common) {
        *point += more - mean;
    }
    let whole = |point: f32| (point * NAT as f32).round().clamp(-120.0, 120.0) as i16;
    Model::new(points.iter().map(|points| points.map(whole)).collect(), provenance)
}

fn sums(points: &Points, sample: &Sample) -> [f32; CAUSES] {
    let mut sums = [0.0; CAUSES];
    for row in &sample.rows {
        for (sum, point) in sums.iter_mut().zip(&points[*row as usize]) {
            *sum += point;
        }
    }
    sums
}

fn chances(mut sums: [f32; CAUSES]) -> [f32; CAUSES] {
    let most = sums.iter().copied().fold(f32::MIN, f32::max);
    for sum in &mut sums {
        *sum = libm::expf(*sum - most);
    }
    let all: f32 = sums.iter().sum();
    sums.map(|sum| sum / all)
}

fn ascend(samples: &[Sample]) -> Points {
    let mut points = vec![[0.0_f32; CAUSES]; ROWS];
    let mut squares = vec![[1e-4_f32; CAUSES]; ROWS];
    let mut pulls = vec![0.0_f32; ROWS];
    for row in samples.iter().flat_map(|sample| &sample.rows) {
        pulls[*row as usize] += 1.0;
    }
    for pull in &mut pulls {
        *pull = PULL / pull.max(1.0);
    }
    for epoch in 0..EPOCHS {
        let step = STEP * (EPOCHS - epoch) as f32 / EPOCHS as f32;
        // Causes come in turn, so the order of the draw mixes them well.
        for sample in samples {
            let mut wrong = chances(sums(&points, sample));
            wrong[sample.cause] -= 1.0;
            for row in &sample.rows {
                let (points, squares, pull) =
                    (&mut points[*row as usize], &mut squares[*row as usize], pulls[*row as usize]);
                for ((point, square), wrong) in points.iter_mut().zip(squares).zip(wrong) {
                    let slope = wrong + pull * *point;
                    *square += slope * slope;
                    *point -= step * slope / square.sqrt();
                }
            }
        }
    }
    points
}

/// The factor with which chances come true best on runs that were kept back: the least sum of minus their logarithms, causes as often as
/// they come.
fn shrink(points: &Points, kept_back: &[Sample]) -> f32 {
    let common = commonness(kept_back);
    let loss = |factor: f32| -> f32 {
        let of = |sample: &Sample| {
            let mut sums = sums(points, sample).map(|sum| sum * factor);
            for (sum, (more, _)) in sums.iter_mut().zip(common) {
                *sum += more;
            }
            -libm::logf(chances(sums)[sample.cause].max(1e-6)) * common[sample.cause].1
        };
        kept_back.iter().map(of).sum()
    };
    let factors = (6..=26).map(|twentieth| twentieth as f32 / 20.0);
    factors.min_by(|one, other| loss(*one).total_cmp(&loss(*other))).unwrap_or(1.0)
}
