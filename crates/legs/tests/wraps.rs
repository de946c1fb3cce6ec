//! Whatever is kept of the time in 32 bits wraps without a trace: microseconds at 2^32, signs and sweeps at 2^30 and 2^31, and the slow
//! count, of 1.024 ms each, at 2^42.

use slackside::input::Input;
use slackside::retained::Retained;
use slackside::units::Micros;
use slackside::verdict::Verdict;
use slackside_legs::{Frame, Leg, leg};

/// What happens within a step of the slow count is rounded to it, so shifts are whole steps.
const STEP_US: u64 = 1_024;
/// Two hours.
const SECONDS: f64 = 7_200.0;

/// The verdicts of a leg whose first input comes at `begin_us`, each with its time since then.
fn begun_at(leg: &Leg, begin_us: u64) -> Vec<Verdict> {
    let mut monitor = leg.make.monitor(&Retained::default());
    let mut all = Vec::new();
    for input in &leg.inputs {
        let at = Micros::new(input.at.get() + begin_us);
        monitor.observe(Input::new(at, input.signal), &mut |verdict| {
            all.push(Verdict { at: Micros::new(verdict.at.get() - begin_us), ..*verdict });
        });
    }
    all
}

/// Begun shortly before each wrap and watched for two hours, a leg gives the very verdicts that it gives begun elsewhere.
#[test]
fn every_wrap_is_crossed_without_a_difference() {
    let mut verdicts = 0;
    for seed in 7_000..7_006 {
        let leg = leg(seed, Frame { begin_us: Some(0), seconds: Some(SECONDS) });
        // Other moments of the leg fall on the wraps of 32 bits then, and that of 2^42 is far.
        let elsewhere = begun_at(&leg, 1_000_000 * STEP_US);
        verdicts += elsewhere.len();
        for power in [30, 31, 32, 42] {
            for before_us in [40_000_000, 900_000_000_u64] {
                let begin_us = ((1_u64 << power) - before_us) / STEP_US * STEP_US;
                let here = begun_at(&leg, begin_us);
                let first = elsewhere.iter().zip(&here).position(|(one, other)| one != other);
                assert!(
                    first.is_none() && elsewhere.len() == here.len(),
                    "seed {seed}, begun {before_us} µs before 2^{power} µs: of {} and {} verdicts the first that differ are {:?}",
                    elsewhere.len(),
                    here.len(),
                    first.map(|at| (elsewhere[at], here[at])),
                );
            }
        }
    }
    assert!(verdicts > 1_000, "{verdicts} verdicts");
}
