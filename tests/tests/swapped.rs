//! Head and boot sensor each on the other's input: what is said and done, by how unlike the shafts are, by how much the belt slips, and by how
//! strong the leg is.
//!
//! Everything is made up, so what slip is, and what it reads as, is known beforehand: with `H` and `B` targets and the ratio `R` a belt
//! that slips by `s` reads as `1 − (H/B)² / R² / (1 − s)`.

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::{Checked, Settings};
use slackside::units::{Joules, Watts};
use slackside::verdict::Permit;
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, merge, raised, verdicts};
use slackside_tests::wheels::{Wheel, Wheels};

/// Turns a second of the head.
const SPEED: f64 = 1.31;
/// Speeds here change within seconds.
const STEP_S: f64 = 0.004;
/// From then on the belt slips.
const SLIPS: f64 = 60.0;
const CREEP: f64 = 0.006;

/// A leg with so many targets, its boot turning `ratio` times for each turn of the head.
fn settings(head: u8, boot: u8, ratio: f64) -> Settings {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    for (targets, count) in [(&mut machine.head_targets, head), (&mut machine.boot_targets, boot)] {
        targets.as_mut().expect("fitted").count = count;
    }
    couple(machine, ratio, SPEED);
    settings
}

/// Its edges while the belt slips by `slip` from [`SLIPS`] on, with the wires as they should be or swapped.
fn edges(head: u8, boot: u8, ratio: f64, slip: f64, until: f64, swaps: bool) -> Vec<Input> {
    let wheel = |count: u8, seed| Some(Wheel::with_spacing_error(count.into(), 0.01, seed).jittered(5.0));
    let wheels = Wheels {
        head: wheel(head, 1),
        boot: wheel(boot, 2),
        ratio,
        head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * SPEED * (1.0 + 0.004 * (time * 0.31).sin()),
        slip: &|time| if time < SLIPS { CREEP } else { slip },
        begin_us: 0,
        seed: 9,
    };
    let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
    let mut inputs = merge(&[&drive, &wheels.edges_by(STEP_S, until)]);
    for input in inputs.iter_mut().filter(|_| swaps) {
        if let Signal::Edge(shaft, level) = input.signal {
            let other = if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
            input.signal = Signal::Edge(other, level);
        }
    }
    inputs
}

/// What was raised, with its second, and when feed and run permit dropped for good.
struct Said {
    raised: Vec<(f64, Condition)>,
    fed: Option<f64>,
    stopped: Option<f64>,
}

fn says(settings: &Checked, inputs: &[Input]) -> Said {
    let verdicts = verdicts(settings, inputs);
    let seconds = |micros: slackside::units::Micros| micros.get() as f64 / 1e6;
    Said {
        raised: raised(&verdicts).into_iter().map(|(at, condition)| (seconds(at), condition)).collect(),
        fed: dropped(&verdicts, Permit::Feed).map(seconds),
        stopped: dropped(&verdicts, Permit::Run).map(seconds),
    }
}

impl Said {
    fn has(&self, condition: Condition) -> bool {
        self.raised.iter().any(|(_, raised)| *raised == condition)
    }
}

/// What slip reads as with the sensors swapped.
fn reads(head: u8, boot: u8, ratio: f64, slip: f64) -> f64 {
    1.0 - (f64::from(head) / f64::from(boot) / ratio).powi(2) / (1.0 - slip)
}

/// Rated power in kW and heat budget in kJ: of a small leg, of the example's and of a terminal's.
const LEGS: [(u32, u32); 3] = [(5_500, 300), (18_500, 900), (200_000, 8_000)];

/// Slip on swapped sensors of shafts that are alike reads below zero. Too little for a stop by its size it counts as heat, and stops no later than it
/// would have, had the sensors been right.
#[test]
fn swapped_sensors_stop_no_later_than_slip_heat_would_have() {
    for (watts, kilojoules) in LEGS {
        let mut settings = settings(4, 4, 1.0);
        settings.machine.rated_power = Watts::new(watts);
        settings.limits.slip_heat.budget = Joules::new(kilojoules * 1_000);
        let settings = settings.check().expect("sound");
        for slip in [0.035, 0.047] {
            let played = |swaps| says(&settings, &edges(4, 4, 1.0, slip, 3_400.0, swaps));
            let (right, wrong) = (played(false), played(true));
            let stopped = wrong.stopped.unwrap_or_else(|| panic!("{watts} W, {slip}: {:?}", wrong.raised));
            // What reads as s / (1 − s) heats by as much more, and a little of that goes away less.
            let sooner = 1.0 - 3.0 * slip;
            let least = right.stopped.map_or(2_600.0, |right| SLIPS + sooner * (right - SLIPS));
            assert!(
                right.stopped.is_none_or(|right| stopped < right),
                "{watts} W, {slip}: {stopped}, {:?}",
                right.stopped
            );
            assert!(stopped > least, "{watts} W, {slip}: {stopped}, {:?}", right.stopped);
            assert!(wrong.fed.is_some_and(|fed| fed < SLIPS + 10.0), "{watts} W, {slip}: {:?}", wrong.raised);
            assert!(wrong.has(Condition::SlipNegative) && wrong.has(Condition::SlipHeat), "{:?}", wrong.raised);
            assert!(!wrong.has(Condition::RatioOrWiring), "{:?}", wrong.raised);
        }
    }
}

/// A ratio that is off by as much reads the same. With the feed dropped the leg draws its friction alone: where that is measured nothing ever stops
/// it, and where it is not, it has long run empty by then.
#[test]
fn a_ratio_that_is_off_stops_no_leg_that_is_known_to_run_empty() {
    for (is_measured, watts) in [(true, 6_000), (true, 10_000), (false, 0)] {
        let mut settings = settings(4, 4, 1.0);
        settings.machine.power_meter = is_measured;
        let settings = settings.check().expect("sound");
        let mut inputs = edges(4, 4, 1.048, CREEP, 3_600.0, false);
        if is_measured {
            let readings = (0..350).map(|n| at(0, 10.0 * f64::from(n) + 0.5, Signal::DrivePower(Watts::new(watts))));
            inputs = merge(&[&inputs, &readings.collect::<Vec<_>>()]);
        }
        let said = says(&settings, &inputs);
        assert!(said.fed.is_some_and(|fed| fed < 15.0) && said.has(Condition::RatioShifted), "{:?}", said.raised);
        assert_eq!(said.stopped.is_some(), !is_measured, "{watts} W: {:?}", said.raised);
        assert!(said.stopped.is_none_or(|stopped| stopped > 1_200.0), "{:?}", said.raised);
    }
}

/// Shafts that are not alike: by what creep alone reads as, on the first run. Up to 1.5 % either way nobody can tell; from 2 % on it is named, and
/// from 5 % on it stops.
#[test]
fn swapped_sensors_on_unlike_shafts_are_told_by_what_creep_reads_as() {
    use Condition::{RatioOrWiring, RatioShifted, SlipHigh, SlipImpossible, SlipMean, SlipNegative, SlipVeryHigh};
    for ((head, boot), unlike) in [(4, 4), (6, 4)].into_iter().flat_map(|counts| {
        [0.9, 0.97, 0.985, 1.0, 1.015, 1.022, 1.0282, 1.031, 1.07, 1.25].map(|unlike| (counts, unlike))
    }) {
        let ratio = unlike * f64::from(head) / f64::from(boot);
        let settings = settings(head, boot, ratio).check().expect("sound");
        let percent = 100.0 * reads(head, boot, ratio, CREEP);
        let said = says(&settings, &edges(head, boot, ratio, CREEP, 300.0, true));
        // What names it, and whether it drops feed and run permit.
        let (named, feed, run): (&[Condition], bool, bool) = match percent {
            ..-10.0 => (&[SlipImpossible], true, true),
            ..-5.5 => (&[SlipNegative, RatioOrWiring], true, true),
            ..-3.0 => (&[SlipNegative, RatioShifted], true, false),
            ..1.5 => (&[], false, false),
            ..3.0 => (&[RatioShifted], false, false),
            ..5.0 => (&[SlipMean, RatioShifted], false, false),
            ..14.0 => (&[SlipHigh, RatioOrWiring], true, true),
            _ => (&[SlipVeryHigh], true, true),
        };
        let what = format!("{head} and {boot} targets, {unlike}, reads {percent:.2} %: {:?}", said.raised);
        assert!(named.iter().all(|condition| said.has(*condition)), "{what}");
        assert_eq!((said.stopped.is_some(), said.raised.is_empty()), (run, named.is_empty()), "{what}");
        assert!(said.fed.is_some() || run || !feed, "{what}");
        assert!(said.stopped.is_none_or(|stopped| stopped < 100.0), "{what}: {:?}", said.stopped);
    }
}

/// What stands between two words: creep that reads as a little less than the 5 % from which swapped sensors stop by their size. Above zero it is told
/// as slip on average, within the two minutes in which that mean settles by what is taken for the boot's turns, and as a ratio that has shifted, and
/// it stops as that slip would by its heat; below zero feed drops first.
#[test]
fn a_little_less_than_what_stops_by_its_size_is_told_and_stops_by_heat() {
    for (head, boot) in [(4, 4), (6, 4), (4, 6)] {
        for reads_as in [0.046, 0.0495, -0.046, -0.0495] {
            let unlike = ((1.0 - CREEP) * (1.0 - reads_as)).sqrt().recip();
            let ratio = unlike * f64::from(head) / f64::from(boot);
            assert!((reads(head, boot, ratio, CREEP) - reads_as).abs() < 1e-9);
            let settings = settings(head, boot, ratio).check().expect("sound");
            let said = says(&settings, &edges(head, boot, ratio, CREEP, 1_900.0, true));
            let what = format!("{head} and {boot} targets, reads {reads_as}: {:?}", said.raised);
            let word = if reads_as > 0.0 { Condition::SlipMean } else { Condition::SlipNegative };
            let told = said.raised.iter().find(|(_, condition)| *condition == word);
            assert!(told.is_some_and(|(at, _)| *at < 120.0) && said.has(Condition::RatioShifted), "{what}");
            assert!(said.stopped.is_some_and(|stopped| stopped > 600.0), "{what}: {:?}", said.stopped);
            assert!(said.has(Condition::SlipHeat) && !said.has(Condition::RatioOrWiring), "{what}");
            assert!(reads_as > 0.0 || said.fed.is_some_and(|fed| fed < 30.0), "{what}: {:?}", said.fed);
        }
    }
}

/// Between 3 and 5 % it is the belt's heat that stops the leg, though it only creeps: as it would if that were slip.
#[test]
fn creep_that_reads_as_slip_heats() {
    let settings = settings(4, 4, 1.0265).check().expect("sound");
    let said = says(&settings, &edges(4, 4, 1.0265, CREEP, 2_700.0, true));
    assert!(said.stopped.is_some_and(|stopped| stopped > 900.0 && said.has(Condition::SlipHeat)), "{:?}", said.raised);
}

/// Clearly unlike: what creep reads as then is a quarter and more off. The drive goes on after a second.
#[test]
fn sensors_swapped_on_shafts_clearly_unlike_stop_within_five_seconds_of_the_start() {
    let mut tried = 0;
    for (head, boot) in [(1, 4), (2, 1), (4, 3), (4, 4), (4, 8), (8, 4), (8, 8), (12, 16), (16, 4), (16, 16)] {
        for ratio in [0.5, 0.8, 1.0, 1.3, 2.0] {
            let Ok(settings) = settings(head, boot, ratio).check() else { continue };
            if reads(head, boot, ratio, CREEP).abs() < 0.25 {
                continue;
            }
            let said = says(&settings, &edges(head, boot, ratio, CREEP, 9.0, true));
            let named = [
                Condition::HeadSensorFault,
                Condition::BootSensorFault,
                Condition::SlipImpossible,
                Condition::SlipVeryHigh,
            ];
            let about = format!("{head} and {boot} targets, ratio {ratio}: {:?}, {:?}", said.stopped, said.raised);
            assert!(said.stopped.is_some_and(|at| at <= 6.0), "{about}");
            assert!(named.into_iter().any(|condition| said.has(condition)), "{about}");
            tried += 1;
        }
    }
    assert!(tried >= 20, "{tried} are too few");
}
