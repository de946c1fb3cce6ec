//! The statistics against published and independently computed values.

use slackside_desk::tune::stats::{
    beyond, clopper_pearson, delay_timers, floods, garwood, none_seen, none_seen_rate, quantile, rate, rate_guidance,
    wilson,
};

const NEAR: f64 = 1e-5;

fn near(value: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((value - expected).abs() <= tolerance, "{what}: {value} against {expected}");
}

/// Computed with statsmodels 0.15.0 (`proportion_confint`, methods `wilson` and `beta`). Those of 81/263, 15/148 and 1/29 agree
/// with the Wilson intervals of Newcombe, Statistics in Medicine 17 (1998), from memory.
#[test]
fn shares_against_statsmodels_and_newcombe() {
    let table = [
        (0, 10, [0.0, 0.277533], [0.0, 0.308497]),
        (0, 30, [0.0, 0.113513], [0.0, 0.115703]),
        (0, 100, [0.0, 0.036993], [0.0, 0.036217]),
        (1, 20, [0.008881, 0.236131], [0.001265, 0.248733]),
        (3, 100, [0.010255, 0.084519], [0.006230, 0.085176]),
        (10, 100, [0.055229, 0.174366], [0.049005, 0.176223]),
        (15, 148, [0.062386, 0.160487], [0.057844, 0.161650]),
        (81, 263, [0.255289, 0.366210], [0.252737, 0.367622]),
        (1, 29, [0.006113, 0.171755], [0.000873, 0.177644]),
    ];
    for (seen, cases, score, exact) in table {
        let (w, c) = (wilson(seen, cases, 0.95), clopper_pearson(seen, cases, 0.95));
        near(w.low, score[0], NEAR, "Wilson low");
        near(w.high, score[1], NEAR, "Wilson high");
        near(c.low, exact[0], NEAR, "Clopper-Pearson low");
        near(c.high, exact[1], NEAR, "Clopper-Pearson high");
    }
}

/// Garwood 1936, computed with scipy 1.17.1 (`chi2.ppf`); printed to four places in many tables.
#[test]
fn counts_against_garwood() {
    let table =
        [(1, 0.0253, 5.5716), (2, 0.2422, 7.2247), (3, 0.6187, 8.7673), (5, 1.6235, 11.6683), (10, 4.7954, 18.3904)];
    for (events, low, high) in table {
        let mean = garwood(events, 0.95);
        near(mean.low, low, 6e-5, "Garwood low");
        near(mean.high, high, 6e-5, "Garwood high");
    }
    let none = garwood(0, 0.95);
    assert_eq!(none.low, 0.0);
    near(none.high, 3.688_879, NEAR, "no event, two-sided");
}

/// The rule of three: Jovanovic and Levy, The American Statistician 51 (1997); exact values beside it by its own formula,
/// computed with scipy.
#[test]
fn nothing_seen_is_not_nothing() {
    for (cases, exact) in [(30, 0.095034), (100, 0.029513), (300, 0.009936), (1_000, 0.002991)] {
        near(none_seen(cases, 0.95), exact, 1e-6, "none seen");
        near(3.0 / cases as f64, exact, 0.06 * exact, "rule of three");
    }
    near(none_seen_rate(1.0, 0.95), 2.995_732, 1e-6, "no event, one-sided");
    // No false trip in 1000 h: no more than 2.996 in 1000 h, one in 333.8 h at the most.
    near(none_seen_rate(1_000.0, 0.95), 2.996e-3, 1e-6, "rate");
    near(1.0 / none_seen_rate(1_000.0, 0.95), 333.8, 0.05, "mean time between");
    assert_eq!(none_seen(0, 0.95), 1.0);
    assert_eq!(rate(0, 0.0, 1_000.0, 0.95).high, f64::INFINITY);
}

/// Adnan, Izadi and Chen, Journal of Process Control 21 (2011): closed forms; values computed from them and against a Markov
/// chain.
#[test]
fn delay_timers_against_the_closed_forms() {
    for (on, mean) in [(1, 2.0), (2, 6.0), (3, 14.0), (4, 30.0), (5, 62.0)] {
        near(delay_timers(0.5, on, 1).until_on, mean, 1e-9, "coin");
    }
    let two_sigma = beyond(2.0);
    near(two_sigma, 0.022_750_1, 1e-7, "2 sigma");
    let table = [
        (0.1, 3, 1, 1110.0, 1.1111, 0.001000, 0.000900),
        (0.1, 3, 3, 1110.0, 3.7174, 0.003_337_85, 0.000_897_894),
        (two_sigma, 2, 1, 1976.073, 1.0233, 5.175_67e-4, 5.057_92e-4),
        (two_sigma, 3, 2, 86_903.91, 2.0704, 2.382_32e-5, 1.150_67e-5),
        (0.3, 5, 5, 586.461, 16.4997, 0.027_364_4, 0.001_658_48),
    ];
    for (p, on, off, until_on, until_off, share, alarms) in table {
        let found = delay_timers(p, on, off);
        near(found.until_on, until_on, 1e-4 * until_on, "until on");
        near(found.until_off, until_off, 1e-4 * until_off, "until off");
        near(found.false_alarm_share, share, 1.1e-3 * share, "share");
        near(found.alarms_a_sample, alarms, 1e-3 * alarms, "alarms");
    }
}

/// ISA-18.2 (2016), table 5 and 16.4.3 to 16.4.4, as quoted in public write-ups of the standard: about 6 an hour acceptable,
/// about 12 the most; a flood is more than 10 alarms in 10 minutes, until fewer than 5.
#[test]
fn alarm_rates_against_the_guidance() {
    assert!(rate_guidance(6.0).contains("acceptable"));
    assert!(rate_guidance(11.9).contains("at most"));
    assert!(rate_guidance(12.1).contains("more than"));
    let burst = |count: u64| (0..count).map(|n| n * 1_000_000).collect::<Vec<_>>();
    assert_eq!(floods(&burst(10)), 0);
    assert_eq!(floods(&burst(11)), 1);
    assert_eq!(floods(&burst(40)), 1);
    // A second burst long after is a second flood; one that follows before the first has emptied is not.
    let mut two = burst(11);
    two.extend(burst(11).iter().map(|at| at + 3_600_000_000));
    assert_eq!(floods(&two), 2);
}

#[test]
fn quantiles_lie_between_neighbours() {
    // numpy 2.4: quantile([1, 2, 3, 4], 0.95) = 3.85.
    near(quantile(&[1.0, 2.0, 3.0, 4.0], 0.95).unwrap(), 3.85, 1e-12, "p95");
    assert_eq!(quantile(&[], 0.5), None);
    assert_eq!(quantile(&[7.0], 0.95), Some(7.0));
}
