//! What so many cases can and cannot tell: exact bounds.

use statrs::distribution::{Beta, ChiSquared, ContinuousCDF, Normal};

/// A share or a rate with its bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// The lower bound.
    pub low: f64,
    /// The upper bound.
    pub high: f64,
}

/// Two-sided confidence used throughout.
pub const CONFIDENCE: f64 = 0.95;

/// Wilson's score interval for `seen` of `cases`. Nothing is known of no cases: 0 to 1.
#[must_use]
pub fn wilson(seen: u64, cases: u64, confidence: f64) -> Bounds {
    if cases == 0 {
        return Bounds { low: 0.0, high: 1.0 };
    }
    let z = standard().inverse_cdf(f64::midpoint(1.0, confidence));
    let (n, p) = (cases as f64, seen as f64 / cases as f64);
    let scale = 1.0 + z * z / n;
    let centre = (p + z * z / (2.0 * n)) / scale;
    let half = z / scale * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    Bounds {
        low: if seen == 0 { 0.0 } else { (centre - half).max(0.0) },
        high: if seen == cases { 1.0 } else { (centre + half).min(1.0) },
    }
}

/// Clopper and Pearson's exact interval for `seen` of `cases`.
#[must_use]
pub fn clopper_pearson(seen: u64, cases: u64, confidence: f64) -> Bounds {
    if cases == 0 {
        return Bounds { low: 0.0, high: 1.0 };
    }
    let tail = f64::midpoint(0.0, 1.0 - confidence);
    let (x, n) = (seen as f64, cases as f64);
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |beta| solve(|v| beta.cdf(v), p));
    Bounds {
        low: if seen == 0 { 0.0 } else { quantile(x, n - x + 1.0, tail) },
        high: if seen == cases { 1.0 } else { quantile(x + 1.0, n - x, 1.0 - tail) },
    }
}

/// Garwood's exact interval for the mean of a Poisson count.
#[must_use]
pub fn garwood(events: u64, confidence: f64) -> Bounds {
    let tail = f64::midpoint(0.0, 1.0 - confidence);
    let chi = |freedom: f64, p: f64| ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.inverse_cdf(p));
    let k = events as f64;
    Bounds { low: if events == 0 { 0.0 } else { chi(2.0 * k, tail) / 2.0 }, high: chi(2.0 * k + 2.0, 1.0 - tail) / 2.0 }
}

/// A rate for each `unit` of exposure with its bounds; unbounded without exposure.
#[must_use]
pub fn rate(events: u64, exposure: f64, unit: f64, confidence: f64) -> Bounds {
    if exposure <= 0.0 {
        return Bounds { low: 0.0, high: f64::INFINITY };
    }
    let mean = garwood(events, confidence);
    Bounds { low: mean.low * unit / exposure, high: mean.high * unit / exposure }
}

/// None seen in `cases`: the one-sided upper bound on the share, exactly `1 − (1 − confidence)^(1/n)`. The rule of three, `3/n`,
/// is its shorthand.
#[must_use]
pub fn none_seen(cases: u64, confidence: f64) -> f64 {
    if cases == 0 { 1.0 } else { 1.0 - (1.0 - confidence).powf(1.0 / cases as f64) }
}

/// None seen over `exposure`: the one-sided upper bound on the rate, `−ln(1 − confidence)/exposure`.
#[must_use]
pub fn none_seen_rate(exposure: f64, confidence: f64) -> f64 {
    if exposure <= 0.0 { f64::INFINITY } else { -(1.0 - confidence).ln() / exposure }
}

/// What delays do to white noise that lies beyond the limit with probability `p` at each sample: mean samples until the alarm
/// comes and until it goes, the share of time in alarm, alarms a sample. After Adnan, Izadi and Chen, "On expected detection
/// delays for alarm systems with deadbands and delay-timers", Journal of Process Control 21 (2011).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DelayTimers {
    /// Mean samples from no alarm to the alarm.
    pub until_on: f64,
    /// Mean samples from the alarm to no alarm.
    pub until_off: f64,
    /// Share of the time in alarm.
    pub false_alarm_share: f64,
    /// Alarms a sample.
    pub alarms_a_sample: f64,
}

/// Delays of `on` and `off` samples, each at least 1.
#[must_use]
pub fn delay_timers(p: f64, on: u32, off: u32) -> DelayTimers {
    let runs = |p: f64, n: u32| {
        let all = p.powi(i32::try_from(n).unwrap_or(i32::MAX));
        (1.0 - all) / ((1.0 - p) * all)
    };
    let (until_on, until_off) = (runs(p, on), runs(1.0 - p, off));
    DelayTimers {
        until_on,
        until_off,
        false_alarm_share: until_off / (until_on + until_off),
        alarms_a_sample: 1.0 / (until_on + until_off),
    }
}

/// The share of white normal noise that lies beyond `limit` standard deviations.
#[must_use]
pub fn beyond(limit: f64) -> f64 {
    standard().sf(limit)
}

fn standard() -> Normal {
    Normal::standard()
}

/// The point of 0..1 at which a growing function reaches `p`, by halving: the library's own inverse of the beta distribution
/// stops too early for small tails.
fn solve(cdf: impl Fn(f64) -> f64, p: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if cdf(middle) < p { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// How an alarm rate, in alarms an hour, looks against the guidance of IEC 62682 and ISA-18.2 (2016, table 5): about 6 an hour is
/// very likely acceptable, about 12 an hour the most that can be managed, for one operator's whole console.
#[must_use]
pub fn rate_guidance(an_hour: f64) -> &'static str {
    if an_hour <= 6.0 {
        "within what is very likely acceptable (6 an hour)"
    } else if an_hour <= 12.0 {
        "at most what can be managed (12 an hour)"
    } else {
        "more than can be managed (12 an hour)"
    }
}

/// Floods after ISA-18.2 (2016, 16.4.4): a flood begins with more than 10 alarms in 10 minutes and ends below 5.
/// `times_us` are the alarms, in order.
#[must_use]
pub fn floods(times_us: &[u64]) -> usize {
    const WINDOW_US: u64 = 600_000_000;
    let mut floods = 0;
    let mut in_flood = false;
    let mut first = 0;
    for (last, at) in times_us.iter().enumerate() {
        while times_us[first] + WINDOW_US <= *at {
            first += 1;
        }
        // Between this alarm and the one before the window may have emptied.
        let just_before = last - first;
        if in_flood && just_before < 5 {
            in_flood = false;
        }
        if !in_flood && just_before + 1 > 10 {
            in_flood = true;
            floods += 1;
        }
    }
    floods
}

/// The value below which `share` of the sorted values lie, between neighbours in a straight line.
#[must_use]
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share * last as f64;
    let (below, part) = (place.floor() as usize, place.fract());
    let next = sorted[(below + 1).min(last)];
    Some(sorted[below] + part * (next - sorted[below]))
}
