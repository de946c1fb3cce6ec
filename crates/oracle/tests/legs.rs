//! Random legs through both cores; and what is wrong on purpose is found.

use slackside_landed::judge::Condition;
use slackside_landed::settings::Checked;
use slackside_landed::units::{Micros, Span};
use slackside_landed::verdict::{Change, Verdict};
use slackside_oracle::compare::{self, Outcome, SLOW_US, Tolerance};
use slackside_oracle::cores::Landed;
use slackside_oracle::legs::{Frame, leg};
use slackside_oracle::random::Random;
use slackside_oracle::run::{Tally, Ticks, many, verdicts};

/// Verdicts overtaken end a comparison early, so there may be few of them: so many in a hundred legs.
fn hold(tally: &Tally, most_overtaken: usize) {
    println!("{}", tally.summary());
    let told: Vec<String> = tally.differ.iter().take(3).map(|(seed, why)| format!("seed {seed}: {why}")).collect();
    assert!(tally.differ.is_empty(), "{}\n{}", told.join("\n"), tally.summary());
    assert!(tally.overtaken.len() * 100 <= tally.legs * most_overtaken, "{:#?}", tally.overtaken);
}

#[test]
fn random_legs_give_the_same_verdicts() {
    let tally = many(0..400, Frame::ANY, Tolerance::PROMISED);
    hold(&tally, 4);
    assert!(tally.shifts.verdicts > 400 * 20, "{}", tally.summary());
}

/// Each wrap of what is kept in 32 bits: microseconds at 2^32, signs and sweeps at 2^30 and 2^31, and the slow count at 2^42.
#[test]
fn every_wrap_is_crossed_without_a_difference() {
    let mut all = Tally::default();
    for power in [30, 31, 32, 42] {
        for before_us in [40_000_000, 900_000_000] {
            let frame = Frame { begin_us: Some((1 << power) - before_us), seconds: Some(7_200.0) };
            all = all.and(many(7_000..7_006, frame, Tolerance::PROMISED));
        }
    }
    // The same few legs each time, for two hours.
    hold(&all, 20);
}

fn landed(settings: &Checked, seed: u64) -> Vec<Verdict> {
    let leg = leg(seed, Frame::ANY);
    verdicts(&mut Landed::new(settings), &leg.inputs, &leg.power_cuts, Ticks::None, &mut Random(seed))
        .expect("verdicts")
}

/// Every condition is raised by some leg: what is never raised is not compared.
#[test]
fn the_legs_raise_every_condition() {
    let mut raised = [0_u32; Condition::COUNT];
    for seed in 0..400 {
        for verdict in landed(&leg(seed, Frame::ANY).make.settings, seed) {
            if let Change::Alarm { condition, to, .. } = verdict.change
                && to == slackside_landed::judge::AlarmState::Unacknowledged
            {
                raised[condition.index()] += 1;
            }
        }
    }
    for condition in Condition::ALL {
        println!("{condition:?}: {}", raised[condition.index()]);
        // A fault of the settings is told by the box, not by an input.
        assert!(
            raised[condition.index()] > 0 || condition == Condition::SettingsFault,
            "{condition:?} is never raised"
        );
    }
}

#[test]
fn the_landed_core_is_like_itself_whoever_looks() {
    for seed in 0..40 {
        let leg = leg(seed, Frame::ANY);
        let plain = landed(&leg.make.settings, seed);
        for ticks in [Ticks::Deadlines, Ticks::Any] {
            let looked =
                verdicts(&mut Landed::new(&leg.make.settings), &leg.inputs, &leg.power_cuts, ticks, &mut Random(seed));
            assert_eq!(against(&plain, &looked.expect("verdicts")).0, Outcome::Alike, "seed {seed}, {ticks:?}");
        }
    }
}

fn against(expected: &[Verdict], found: &[Verdict]) -> (Outcome, compare::Shifts) {
    compare::compare(expected, found, Tolerance::PROMISED)
}

fn differs(expected: &[Verdict], found: &[Verdict]) -> bool {
    matches!(against(expected, found).0, Outcome::Differ(_))
}

/// The stream of a leg with much to say.
fn stream() -> Vec<Verdict> {
    (0..60)
        .map(|seed| landed(&leg(seed, Frame::ANY).make.settings, seed))
        .find(|stream| stream.len() > 60 && !stream.iter().any(is_loose))
        .expect("a leg with much to say, no heat and no duty")
}

/// What has tolerances of its own.
fn is_loose(verdict: &Verdict) -> bool {
    use Condition::{MistrackingDuty, SlipHeat};
    matches!(verdict.change, Change::Alarm { condition: SlipHeat | MistrackingDuty, .. })
}

fn is_raised_heat(verdict: &Verdict) -> bool {
    matches!(
        verdict.change,
        Change::Alarm { condition: Condition::SlipHeat, to: slackside_landed::judge::AlarmState::Unacknowledged, .. }
    )
}

fn moved(verdict: Verdict, by_us: i64) -> Verdict {
    Verdict { at: Micros::new(verdict.at.get().saturating_add_signed(by_us)), ..verdict }
}

/// A verdict left out, one too many, one moved, one changed in value, setpoint or detail, and two swapped, each at every place.
#[test]
fn whatever_is_wrong_in_a_stream_is_found() {
    let good = stream();
    assert_eq!(against(&good, &good).0, Outcome::Alike);
    for at in 0..good.len() {
        let mut bad = good.clone();
        bad.remove(at);
        assert!(differs(&good, &bad), "left out at {at}");
        let mut bad = good.clone();
        bad.insert(at, good[at]);
        assert!(differs(&good, &bad), "twice at {at}");
        for by_us in [-SLOW_US - 20, SLOW_US + 20, 1_000_000] {
            let mut bad = good.clone();
            bad[at] = moved(bad[at], by_us);
            bad.sort_by_key(|verdict| verdict.at);
            assert!(differs(&good, &bad), "moved by {by_us} µs at {at}: {:?}", good[at]);
        }
        if let Change::Alarm { value, setpoint, detail, .. } = &mut good.clone()[at].change {
            let more = 400 + value.map_or(0, |value| (1_000_000 - value).abs() / 500);
            for (more_value, more_setpoint, more_detail) in [(more, 0, 0), (0, 1, 0), (0, 0, 1)] {
                let mut bad = good.clone();
                if let Change::Alarm { value: bad_value, setpoint: bad_setpoint, detail: bad_detail, .. } =
                    &mut bad[at].change
                {
                    *bad_value = value.map(|value| value + more_value);
                    *bad_setpoint = *setpoint + more_setpoint;
                    *bad_detail = *detail + more_detail;
                }
                assert!(bad[at] == good[at] || differs(&good, &bad), "{:?}", bad[at]);
            }
        }
        if good.get(at + 1).is_some_and(|next| next.at == good[at].at && *next != good[at]) {
            let mut bad = good.clone();
            bad.swap(at, at + 1);
            assert!(differs(&good, &bad), "two of one moment swapped at {at}: {:?}", good[at]);
        }
    }
}

/// Heat may come early, and never late.
#[test]
fn late_heat_is_found_and_early_heat_is_not() {
    let all: Vec<Vec<Verdict>> = (0..120).map(|seed| landed(&leg(seed, Frame::ANY).make.settings, seed)).collect();
    let hot: Vec<(&Vec<Verdict>, usize)> = all
        .iter()
        .filter_map(|stream| {
            let alone = |at: usize| {
                !stream
                    .iter()
                    .enumerate()
                    .any(|(other, verdict)| other != at && verdict.at.get().abs_diff(stream[at].at.get()) < 1_000_000)
            };
            Some((stream, stream.iter().enumerate().position(|(at, verdict)| is_raised_heat(verdict) && alone(at))?))
        })
        .collect();
    assert!(!hot.is_empty(), "no heat that comes alone");
    for (good, at) in hot {
        for (by_us, found) in [(-300_000, false), (-410_000, true), (200, true), (300_000, true)] {
            let mut bad = good.clone();
            bad[at] = moved(bad[at], by_us);
            bad.sort_by_key(|verdict| verdict.at);
            assert_eq!(against(good, &bad).0 != Outcome::Alike, found, "moved by {by_us} µs");
        }
    }
}

/// A core that runs on slightly other settings gives itself away on most legs.
#[test]
fn slightly_other_settings_are_found() {
    let mut found = [0; 3];
    for seed in 0..60 {
        let leg = leg(seed, Frame::ANY);
        let good = landed(&leg.make.settings, seed);
        let mut other = [(); 3].map(|()| leg.make.settings.clone().into_settings());
        for condition in Condition::ALL {
            other[0].limits.change(condition, |limit| {
                limit.on_delay = Span::new(limit.on_delay.get().saturating_sub(2_000));
            });
        }
        other[1].machine.conditioning.top_speed = slackside_landed::units::Ppm::new(
            other[1].machine.conditioning.top_speed.get().saturating_sub(100_000).max(1_050_000),
        );
        other[2].limits.starts.standstill_below =
            slackside_landed::units::Ppm::new(other[2].limits.starts.standstill_below.get() - 500);
        for (found, other) in found.iter_mut().zip(other) {
            if let Ok(other) = other.check_for_bench() {
                *found += u32::from(differs(&good, &landed(&other, seed)));
            }
        }
    }
    println!("shorter delays, a lower top speed, a lower standstill: found on {found:?} of 60 legs");
    assert!(found.iter().all(|found| *found >= 10), "{found:?}");
}
