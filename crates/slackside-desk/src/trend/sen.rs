//! A slope that no single day can bend: the median of the slopes between all pairs of days.
//!
//! Theil 1950; the interval from the variance of Kendall's S, with ties, after Sen, "Estimates of the regression coefficient based on
//! Kendall's tau", Journal of the American Statistical Association 63 (1968). Days that follow their neighbours say less than as many days
//! by themselves: the variance of S is widened by what their serial correlation takes away (Hamed and Rao, Journal of Hydrology 204
//! (1998)), for noise in which each day remembers the one before; how much is estimated without the bias of few days (Marriott and Pope,
//! Biometrika 41 (1954)).

use statrs::distribution::{ContinuousCDF, Normal};

/// Days in a row lie no further apart than this, in days.
const NEXT_DAY: f64 = 1.5;
/// Remembering beyond this is not told from a trend.
const MOST_MEMORY: f64 = 0.9;
/// Memory counts once it is beyond what days without any show in one of ten series.
const MEMORY_SHOWS: f64 = 1.281_55;
/// A residual counts for no more than so many deviations where their memory is estimated.
const HELD_AT: f64 = 3.0;

/// A line through days, and how sure its slope is.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The slopes between all pairs of days, lowest first.
    slopes: Vec<f64>,
    /// The variance of Kendall's S, with ties, widened by memory.
    variance: f64,
    /// How much of one day's deviation is found again on the next, 0 to 0.9.
    pub memory: f64,
    /// The slope a day.
    pub slope: f64,
    /// The median of what is left of the values at day 0 without the slope.
    pub level: f64,
}

/// The slope lies from `low` to `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The lowest it may be.
    pub low: f64,
    /// The highest it may be.
    pub high: f64,
}

impl Interval {
    /// Whether it says that there is a change at all, whichever way.
    #[must_use]
    pub fn excludes_none(self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }
}

impl Line {
    /// The line through these days and values, as if the days knew nothing of each other; `None` of fewer than two days.
    #[must_use]
    pub fn through(points: &[(f64, f64)]) -> Option<Self> {
        let mut slopes = Vec::with_capacity(points.len() * points.len().saturating_sub(1) / 2);
        for (index, (at, value)) in points.iter().enumerate() {
            let later = points[index + 1..].iter().filter(|later| later.0 != *at);
            slopes.extend(later.map(|later| (later.1 - value) / (later.0 - at)));
        }
        slopes.sort_unstable_by(f64::total_cmp);
        let slope = middle(&slopes)?;
        let level = level(points, slope)?;
        Some(Self { slopes, variance: variance(points), memory: 0.0, slope, level })
    }

    /// The same, each day remembering the one before as far as these show.
    #[must_use]
    pub fn with_memory(points: &[(f64, f64)]) -> Option<Self> {
        let line = Self::through(points)?;
        let memory = memory(points, &line.beside(points).collect::<Vec<_>>());
        Some(Self { memory, variance: line.variance * widened(memory, points.len()), ..line })
    }

    /// The interval in which the slope lies with this confidence. Ranks between two slopes are taken outward.
    #[must_use]
    pub fn interval(&self, confidence: f64) -> Interval {
        let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, confidence));
        let (count, reach) = (self.slopes.len() as f64, z * self.variance.sqrt());
        let rank = |rank: f64| {
            // Counted from 1; beyond the first or the last slope nothing is known.
            (rank >= 1.0 && rank <= count).then(|| self.slopes[rank as usize - 1])
        };
        Interval {
            low: rank(((count - reach) / 2.0).floor()).unwrap_or(f64::NEG_INFINITY),
            high: rank(((count + reach) / 2.0).ceil() + 1.0).unwrap_or(f64::INFINITY),
        }
    }

    /// What lies beside the line, day by day.
    pub fn beside<'p>(&self, points: &'p [(f64, f64)]) -> impl Iterator<Item = f64> + use<'p> {
        let (slope, level) = (self.slope, self.level);
        points.iter().map(move |(at, value)| value - level - slope * at)
    }
}

/// The median of what is left of the values at day 0 without that slope; `None` without days.
#[must_use]
pub fn level(points: &[(f64, f64)], slope: f64) -> Option<f64> {
    let mut left: Vec<f64> = points.iter().map(|(at, value)| value - slope * at).collect();
    left.sort_unstable_by(f64::total_cmp);
    middle(&left)
}

/// The median of values in order.
#[must_use]
pub fn middle(sorted: &[f64]) -> Option<f64> {
    let half = sorted.len() / 2;
    let upper = sorted.get(half)?;
    Some(if sorted.len() % 2 == 1 { *upper } else { f64::midpoint(sorted[half - 1], *upper) })
}

/// The deviation that a normal distribution would have with this median of absolute deviations, about `centre`.
#[must_use]
pub fn spread(values: &[f64], centre: f64) -> f64 {
    let mut away: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    away.sort_unstable_by(f64::total_cmp);
    // 1 / Φ⁻¹(3/4).
    middle(&away).unwrap_or(0.0) * 1.482_602
}

/// The variance of Kendall's S: Kendall 1975, with the values that occur several times.
fn variance(points: &[(f64, f64)]) -> f64 {
    let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let mut values: Vec<f64> = points.iter().map(|(_, value)| *value).collect();
    values.sort_unstable_by(f64::total_cmp);
    let ties: f64 = values.chunk_by(|one, next| one == next).map(|tie| term(tie.len() as f64)).sum();
    (term(points.len() as f64) - ties) / 18.0
}

/// How much of a day's deviation from its line, `beside`, is found again on the next, 0 to 0.9.
#[must_use]
pub fn memory(points: &[(f64, f64)], beside: &[f64]) -> f64 {
    let spread = spread(beside, 0.0);
    if spread <= 0.0 {
        return 0.0;
    }
    let held: Vec<f64> = beside.iter().map(|beside| (beside / spread).clamp(-HELD_AT, HELD_AT)).collect();
    let (mut together, mut pairs) = (0.0, 0.0);
    for (two, days) in held.windows(2).zip(points.windows(2)) {
        if days[1].0 - days[0].0 < NEXT_DAY {
            together += two[0] * two[1];
            pairs += 1.0;
        }
    }
    if pairs < 8.0 {
        return 0.0;
    }
    let each = held.iter().map(|held| held * held).sum::<f64>() / held.len() as f64;
    let seen = together / pairs / each;
    let found = (pairs * seen + 1.0) / (pairs - 3.0);
    if found * pairs.sqrt() < MEMORY_SHOWS { 0.0 } else { found.min(MOST_MEMORY) }
}

/// By how much such memory widens the variance of Kendall's S of so many days: over all distances in days, the correlation of ranks at that
/// distance, `6/π·asin(rⁱ/2)`, weighted as Hamed and Rao have it.
fn widened(memory: f64, days: usize) -> f64 {
    let n = days as f64;
    let (mut sum, mut left, mut apart) = (0.0, memory, 1.0);
    while left > 1e-4 && apart < n - 2.0 {
        let weight = (n - apart) * (n - apart - 1.0) * (n - apart - 2.0);
        sum += weight * 6.0 / core::f64::consts::PI * libm::asin(left / 2.0);
        left *= memory;
        apart += 1.0;
    }
    1.0 + 2.0 * sum / (n * (n - 1.0) * (n - 2.0)).max(1.0)
}
