//! The course of one figure over the days: where it changed, how it goes since, and when it reaches its limit.

use super::cusum::{Cusum, DECISION, SLACK};
use super::sen::{Interval, Line, level, memory, spread};

/// A line is drawn through no fewer days.
pub const FEWEST_DAYS: usize = 14;
/// A change has as many days on each side of it, at least.
const BESIDE_CHANGE: usize = 7;
/// A day counts for no more than so many deviations where changes are looked for: one wild day is no change.
const HELD_AT: f64 = 3.0;
/// A change is told if it is as large as so many of its own standard errors: its place was picked among all days, and of 100 years
/// without one no more than two or three are to show one (the tests count them).
const CHANGE_SHOWS: f64 = 5.0;
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

/// The one change that parts these days best, if the chart says that a level moved and the step stands out.
///
/// How much a day remembers and how far days scatter is taken from what is left with the step taken out: with it in, a step looks like a long
/// memory, and hides itself.
fn change(points: &[Point], grain: f64) -> Option<Change> {
    let step = place(points)?;
    let (before, after) = points.split_at(step.index);
    let longer = if before.len() >= after.len() { step.before } else { step.before + step.by };
    let beside: Vec<f64> = (0..).zip(points).map(|(index, point)| point.1 - step.at(index, point.0)).collect();
    let memory = memory(points, &beside);
    let scale = spread(&news(&beside, memory), 0.0).max(grain);
    // From the level of the longer side, which is the better known, towards the other.
    let mut away: Vec<f64> = points.iter().map(|(at, value)| value - longer - step.slope * at).collect();
    if before.len() < after.len() {
        away.reverse();
    }
    let mut chart = Cusum::new(SLACK, DECISION);
    if !news(&away, memory).into_iter().any(|news| chart.moves((news / scale).clamp(-HELD_AT, HELD_AT))) {
        return None;
    }
    let error = spread(&beside, 0.0).max(grain) * (step.share * (1.0 + memory) / (1.0 - memory)).sqrt();
    (step.by.abs() > CHANGE_SHOWS * error).then_some(Change { index: step.index, by: step.by })
}

/// What each day brings that the day before did not.
fn news(days: &[f64], memory: f64) -> Vec<f64> {
    days.windows(2).map(|two| two[1] - memory * two[0]).collect()
}

/// One slope, and a step in it.
struct Step {
    /// The first point behind it.
    index: usize,
    slope: f64,
    /// The level at day 0, before it.
    before: f64,
    by: f64,
    /// The variance of the step, for days that know nothing of each other with a variance of 1.
    share: f64,
}

impl Step {
    fn at(&self, index: usize, at: f64) -> f64 {
        let by = if index < self.index { 0.0 } else { self.by };
        self.before + by + self.slope * at
    }

    /// One slope before and behind the point: by least squares, the levels by medians.
    fn of(points: &[Point], index: usize) -> Option<Self> {
        let (before, after) = points.split_at(index);
        let sums = |side: &[Point]| {
            let count = side.len() as f64;
            let mean = side.iter().fold((0.0, 0.0), |sum, point| (sum.0 + point.0 / count, sum.1 + point.1 / count));
            side.iter().fold((mean.0, 0.0, 0.0), |(mean_at, square, cross), point| {
                let away = point.0 - mean_at;
                (mean_at, square + away * away, cross + away * (point.1 - mean.1))
            })
        };
        let ((at, square, cross), (later, more_square, more_cross)) = (sums(before), sums(after));
        let (square, slope) = (square + more_square, (cross + more_cross) / (square + more_square));
        let (before_level, after_level) = (level(before, slope)?, level(after, slope)?);
        let few = 1.0 / before.len() as f64 + 1.0 / after.len() as f64;
        // What is not known of the slope is not known of the step.
        let share = few + (later - at) * (later - at) / square;
        Some(Self { index, slope, before: before_level, by: after_level - before_level, share })
    }
}

/// Where a step and one slope on both sides of it leave least.
fn place(points: &[Point]) -> Option<Step> {
    let mut best: Option<(f64, Step)> = None;
    for index in BESIDE_CHANGE..(points.len() + 1).saturating_sub(BESIDE_CHANGE) {
        let step = Step::of(points, index)?;
        let left: f64 = (0..).zip(points).map(|(index, point)| (point.1 - step.at(index, point.0)).abs()).sum();
        if best.as_ref().is_none_or(|(least, _)| left < *least) {
            best = Some((left, step));
        }
    }
    best.map(|(_, step)| step)
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
