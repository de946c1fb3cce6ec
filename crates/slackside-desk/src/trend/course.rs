//! The course of one figure over the days: where it changed, how it goes since, and when it reaches its limit.

use super::cusum::{Cusum, DECISION, SLACK};
use super::sen::{Interval, Line, level, middle, spread};

/// A line is drawn through no fewer days.
pub const FEWEST_DAYS: usize = 14;
/// A change has as many days on each side of it, at least.
const BESIDE_CHANGE: usize = 7;
/// A day counts for no more than so many deviations where changes are looked for: one wild day is no change.
const HELD_AT: f64 = 3.0;
/// A change is told if it is as large as so many of its own standard errors: the place was picked among all days.
const CHANGE_SHOWS: f64 = 4.0;
/// Confidence of what is said of the future.
pub const CONFIDENCE: f64 = 0.9;

/// One figure on one day.
pub type Point = (f64, f64);

/// Where a figure changed its level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// The first day of the new level: which of the points.
    pub index: usize,
    /// By how much.
    pub by: f64,
}

/// How a figure goes.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// The first of the points that it is drawn through.
    pub from: usize,
    /// The line.
    pub line: Line,
    /// Where the slope a day lies with 90 % confidence.
    pub interval: Interval,
    /// Whether there is a trend, with 90 % confidence for all figures looked at together.
    pub shows: bool,
}

/// When a figure reaches its limit, in days from day 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// At the soonest.
    pub soonest: f64,
    /// By the slope itself.
    pub about: f64,
    /// At the latest.
    pub latest: f64,
}

/// The level changes, oldest first. `grain` is the smallest deviation that the figure can show.
#[must_use]
pub fn changes(points: &[Point], grain: f64) -> Vec<Change> {
    let mut found = Vec::new();
    split(points, 0, grain, &mut found);
    found.sort_by_key(|change| change.index);
    found
}

fn split(points: &[Point], offset: usize, grain: f64, found: &mut Vec<Change>) {
    let Some(change) = change(points, grain) else { return };
    found.push(Change { index: offset + change.index, by: change.by });
    split(&points[..change.index], offset, grain, found);
    split(&points[change.index..], offset + change.index, grain, found);
}

/// The one change that parts these days best, if the chart says that there is one.
fn change(points: &[Point], grain: f64) -> Option<Change> {
    if points.len() < 2 * BESIDE_CHANGE {
        return None;
    }
    let line = Line::with_memory(points)?;
    let beside: Vec<f64> = line.beside(points).collect();
    // What each day brings that the day before did not.
    let news: Vec<f64> = beside.windows(2).map(|two| two[1] - line.memory * two[0]).collect();
    let mut sorted = news.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let centre = middle(&sorted)?;
    let scale = spread(&news, centre).max(grain);
    let mut chart = Cusum::new(SLACK, DECISION);
    if !news.iter().any(|news| chart.moves(((news - centre) / scale).clamp(-HELD_AT, HELD_AT))) {
        return None;
    }
    place(points, line.memory, grain)
}

/// Where a step and one slope on both sides of it fit best, by least squares of days held within bounds: the chart says that, not where.
fn place(points: &[Point], memory: f64, grain: f64) -> Option<Change> {
    let mut best: Option<(f64, Change)> = None;
    for index in BESIDE_CHANGE..=points.len() - BESIDE_CHANGE {
        let (before, after) = points.split_at(index);
        let step = step(before, after)?;
        let both = [(before, 0.0), (after, step.by)];
        let mut left: Vec<f64> = both
            .into_iter()
            .flat_map(|(side, by)| side.iter().map(move |(at, value)| value - by - step.slope * at))
            .collect();
        left.sort_unstable_by(f64::total_cmp);
        let centre = middle(&left)?;
        let scale = spread(&left, centre).max(grain);
        let misfit: f64 = left.iter().map(|left| (left - centre).abs()).sum();
        let few = 1.0 / before.len() as f64 + 1.0 / after.len() as f64;
        let error = scale * (few * (1.0 + memory) / (1.0 - memory)).sqrt();
        if best.is_none_or(|(least, _)| misfit < least) {
            let shows = step.by.abs() > CHANGE_SHOWS * error;
            best = Some((misfit, Change { index, by: if shows { step.by } else { 0.0 } }));
        }
    }
    best.map(|(_, change)| change).filter(|change| change.by != 0.0)
}

struct Step {
    slope: f64,
    by: f64,
}

/// The slope that both sides have in common, and the step between them.
fn step(before: &[Point], after: &[Point]) -> Option<Step> {
    let sums = |side: &[Point]| {
        let count = side.len() as f64;
        let mean = side.iter().fold((0.0, 0.0), |sum, point| (sum.0 + point.0 / count, sum.1 + point.1 / count));
        let (mut square, mut cross) = (0.0, 0.0);
        for point in side {
            square += (point.0 - mean.0) * (point.0 - mean.0);
            cross += (point.0 - mean.0) * (point.1 - mean.1);
        }
        (square, cross)
    };
    let (one, other) = (sums(before), sums(after));
    let slope = (one.1 + other.1) / (one.0 + other.0);
    Some(Step { slope, by: level(after, slope)? - level(before, slope)? })
}

/// The trend since point `from`; `None` if there are too few days since. `figures` are looked at together.
#[must_use]
pub fn trend(points: &[Point], from: usize, figures: usize) -> Option<Trend> {
    let since = points.get(from..)?;
    if since.len() < FEWEST_DAYS {
        return None;
    }
    let line = Line::with_memory(since)?;
    let together = line.interval(1.0 - (1.0 - CONFIDENCE) / figures.max(1) as f64);
    Some(Trend { from, interval: line.interval(CONFIDENCE), shows: together.excludes_none(), line })
}

impl Trend {
    /// The figure on day `at` by the line.
    #[must_use]
    pub fn at(&self, at: f64) -> f64 {
        self.line.level + self.line.slope * at
    }

    /// When the figure reaches `limit`; `None` if it does not go that way. Each slope goes through the middle of the same days.
    #[must_use]
    pub fn reaches(&self, points: &[Point], limit: f64) -> Option<Reach> {
        let since = points.get(self.from..)?;
        let towards = if self.at(since.last()?.0) < limit { 1.0 } else { -1.0 };
        let crosses = |slope: f64| {
            let level = level(since, slope)?;
            (slope * towards > 0.0).then(|| (limit - level) / slope)
        };
        let (fast, slow) = if towards > 0.0 {
            (self.interval.high, self.interval.low)
        } else {
            (self.interval.low, self.interval.high)
        };
        let about = crosses(self.line.slope)?;
        Some(Reach {
            soonest: crosses(fast).filter(|soonest| soonest.is_finite()).unwrap_or(about),
            about,
            latest: crosses(slow).unwrap_or(f64::INFINITY),
        })
    }
}
