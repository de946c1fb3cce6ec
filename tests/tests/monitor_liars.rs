//! Against liars and against blindness: signals that pretend the belt runs. Each must stop the leg, and the leg must stay
//! stopped, whatever goes on.

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, CountedEdges, Machine, Settings};
use slackside::units::{Micros, Span};
use slackside::verdict::{Change, Permit, Verdict};
use slackside_desk::monitor::monitor;
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, given, merge, observe, raised, stops, verdicts};
use slackside_tests::wheels::{Random, Wheel, Wheels};

const SPEED: f64 = 1.31;
const RATIO: f64 = 1.039_474;
/// When the leg is running steadily and the lie begins, in seconds.
const LIE: f64 = 30.0;

fn settings(change: impl FnOnce(&mut Machine)) -> Checked {
    let mut settings = Settings::example();
    change(&mut settings.machine);
    settings.check().expect("sound settings")
}

/// The example leg started across the line in three seconds, healthy for `seconds`.
fn healthy(seconds: f64, begin_us: u64) -> Vec<Input> {
    healthy_with(4, seconds, begin_us)
}

/// The same with so many boot targets.
fn healthy_with(boot_targets: u32, seconds: f64, begin_us: u64) -> Vec<Input> {
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(4, 0.01, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(boot_targets, 0.01, 2).jittered(5.0)),
        ratio: RATIO,
        head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * SPEED,
        slip: &|_| 0.006,
        begin_us,
        seed: 9,
    };
    let drive = [at(begin_us, 0.0, Signal::DriveRunning(false)), at(begin_us, 1.0, Signal::DriveRunning(true))];
    merge(&[&drive, &wheels.edges(seconds)])
}

fn only(inputs: &[Input], keep: impl Fn(&Input) -> bool) -> Vec<Input> {
    inputs.iter().copied().filter(|input| keep(input)).collect()
}

fn is_of(input: &Input, shaft: Shaft) -> bool {
    matches!(input.signal, Signal::Edge(of, _) if of == shaft)
}

fn before(input: &Input, seconds: f64) -> bool {
    input.at.get() < (seconds * 1e6) as u64
}

/// Square pulses of one shaft, `hertz` a second, high for `duty` of the time.
fn pulses(shaft: Shaft, from: f64, to: f64, hertz: f64, duty: f64, jitter: f64, seed: u64) -> Vec<Input> {
    let mut random = Random(seed);
    let mut inputs = Vec::new();
    for pulse in 0..((to - from) * hertz) as u64 {
        let begin = from + (pulse as f64 + jitter * random.unit()) / hertz;
        inputs.push(at(0, begin, Signal::Edge(shaft, true)));
        inputs.push(at(0, begin + duty / hertz, Signal::Edge(shaft, false)));
    }
    inputs
}

/// The run permit drops no later than `within` seconds after the lie begins, and is never given again.
fn assert_stopped(settings: &Checked, inputs: &[Input], within: f64, what: &str) -> Vec<(Micros, Condition)> {
    let verdicts = verdicts(settings, inputs);
    let stops = stops(settings, &verdicts);
    let Some(stopped) = dropped(&verdicts, Permit::Run) else {
        panic!("{what}: not stopped; raised {:?}", raised(&verdicts))
    };
    assert_eq!(given(&verdicts, Permit::Run), 1, "{what}: the permit came back");
    let seconds = stopped.get() as f64 / 1e6 - LIE;
    assert!(seconds >= 0.0, "{what}: stopped {seconds} s before anything was wrong: {stops:?}");
    assert!(seconds <= within, "{what}: stopped only after {seconds} s: {stops:?}");
    stops
}

#[test]
fn a_healthy_leg_is_left_alone() {
    let settings = settings(|_| {});
    let verdicts = verdicts(&settings, &healthy(120.0, 0));
    assert_eq!(raised(&verdicts), []);
    assert_eq!(dropped(&verdicts, Permit::Run), None);
    assert_eq!(given(&verdicts, Permit::Feed), 1);
}

/// A belt that stalls at once while a target on the edge of the sensor's range chatters.
///
/// Even chatter whose rate lies within the band that slip calls healthy looks like a turning shaft to one sensor, and no method
/// on that one signal can tell: the leg's own rate is 5.4 targets a second, so 5 and 6 Hz are such rates. The settings' advice
/// names them. Every other rate must stop the leg, and uneven chatter at any rate: [`trembling_near_the_true_rate`].
#[test]
fn a_stalled_belt_with_a_chattering_target() {
    let settings = settings(|_| {});
    let running = healthy(LIE, 0);
    let rate = SPEED * RATIO * 4.0;
    let mut stopped = 0;
    for tenth_hertz in (50..=300).step_by(5) {
        let hertz = f64::from(tenth_hertz) / 10.0;
        let seen = 1.0 - hertz / rate;
        for duty in [0.2, 0.5, 0.7] {
            for jitter in [0.0, 0.3] {
                if jitter < 0.1 && (-0.10..=0.14).contains(&seen) {
                    continue;
                }
                let head = only(&healthy(LIE + 60.0, 0), |input| is_of(input, Shaft::Head) && !before(input, LIE));
                let chatter = pulses(Shaft::Boot, LIE, LIE + 60.0, hertz, duty, jitter, tenth_hertz as u64);
                let inputs = merge(&[&running, &head, &chatter]);
                let within = if (-0.10..=0.14).contains(&seen) { 15.0 } else { 4.0 };
                assert_stopped(&settings, &inputs, within, &format!("{hertz} Hz, {duty} high, jitter {jitter}"));
                stopped += 1;
            }
        }
    }
    assert!(stopped > 270, "{stopped}");
}

/// Chatter at the rate of the true edges, but uneven, as a target that trembles gives it: each edge up to a fifth of a period late.
#[test]
fn trembling_near_the_true_rate() {
    for targets in [4_u8, 6, 8, 12] {
        let settings = settings(|machine| machine.boot_targets.as_mut().expect("fitted").count = targets);
        let running = healthy_with(targets.into(), LIE, 0);
        let head = only(&healthy(LIE + 60.0, 0), |input| is_of(input, Shaft::Head) && !before(input, LIE));
        let rate = SPEED * RATIO * f64::from(targets);
        for percent in (86..=112).step_by(2) {
            let hertz = rate * percent as f64 / 100.0;
            for (jitter, duty) in [(0.2, 0.3), (0.3, 0.5), (0.5, 0.2)] {
                for seed in 0..4 {
                    let chatter = pulses(Shaft::Boot, LIE, LIE + 60.0, hertz, duty, jitter, seed * 1_000 + percent);
                    let what = format!("{targets} targets, {percent} % of {rate} Hz, jitter {jitter}, seed {seed}");
                    let stops = assert_stopped(&settings, &merge(&[&running, &head, &chatter]), 15.0, &what);
                    assert!(
                        stops.iter().any(|(_, stop)| *stop == Condition::BootSensorFault) || jitter > 0.4,
                        "{what}"
                    );
                }
            }
        }
    }
}

/// What no trembling is: a belt that surges by 2.5 % to and fro twice a second, targets set 10 % out of place, and a loose bracket.
#[test]
fn a_surging_belt_on_a_bent_disc_is_left_alone() {
    let settings = settings(|machine| {
        machine.boot_targets.as_mut().expect("fitted").spacing =
            slackside::settings::Spacing::Even { tolerance: slackside::units::Ppm::new(100_000) };
    });
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(4, 0.01, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(4, 0.1, 2).jittered(500.0)),
        ratio: RATIO,
        head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * SPEED,
        slip: &|time| 0.006 + 0.025 * (time * 2.0 * std::f64::consts::TAU).sin(),
        begin_us: 0,
        seed: 9,
    };
    let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
    let verdicts = verdicts(&settings, &merge(&[&drive, &wheels.edges(300.0)]));
    assert_eq!(dropped(&verdicts, Permit::Run), None, "{:?}", raised(&verdicts));
}

/// The same from standstill: the boot is seized, the head starts, the target chatters at any rate at all. While the head runs
/// up no steady chatter can follow it, so here every rate must stop the leg.
#[test]
fn a_seized_start_with_a_chattering_target() {
    let settings = settings(|_| {});
    let drive_and_head = only(&healthy(60.0, 0), |input| !is_of(input, Shaft::Boot));
    for hertz in 5..=30 {
        let chatter = pulses(Shaft::Boot, 1.1, 60.0, f64::from(hertz), 0.5, 0.1, hertz as u64);
        let inputs = merge(&[&drive_and_head, &chatter]);
        let verdicts = verdicts(&settings, &inputs);
        let stopped = dropped(&verdicts, Permit::Run);
        assert!(stopped.is_some_and(|at| at.get() < 12_000_000), "{hertz} Hz: {stopped:?} {:?}", raised(&verdicts));
        assert_eq!(given(&verdicts, Permit::Run), 1);
    }
}

/// The wire is cut and picks up mains hum: 50 or 60 Hz, or twice that after a rectifier.
#[test]
fn hum_on_a_cut_wire() {
    for hertz in [50.0, 60.0, 100.0, 120.0] {
        for shafts in [&[Shaft::Boot][..], &[Shaft::Head], &[Shaft::Head, Shaft::Boot]] {
            for edges in [CountedEdges::Rising, CountedEdges::Both] {
                let settings = settings(|machine| {
                    for targets in [&mut machine.head_targets, &mut machine.boot_targets] {
                        let targets = targets.as_mut().expect("both fitted");
                        targets.edges = edges;
                        if edges == CountedEdges::Both {
                            targets.spacing = slackside::settings::Spacing::Uneven {
                                closest: slackside::units::Ppm::new(70_000),
                                widest: slackside::units::Ppm::new(180_000),
                            };
                        }
                    }
                });
                let all = healthy(LIE + 60.0, 0);
                let mut inputs =
                    only(&all, |input| before(input, LIE) || !shafts.iter().any(|shaft| is_of(input, *shaft)));
                for shaft in shafts {
                    inputs.extend(pulses(*shaft, LIE, LIE + 60.0, hertz, 0.5, 0.02, 5));
                }
                inputs.sort_by_key(|input| input.at);
                assert_stopped(&settings, &inputs, 3.0, &format!("{hertz} Hz on {shafts:?}, {edges:?}"));
            }
        }
    }
}

#[test]
fn cut_cables_are_no_standstill() {
    let settings = settings(|_| {});
    let all = healthy(LIE + 60.0, 0);
    for (shafts, expected) in [
        (&[Shaft::Boot][..], None),
        (&[Shaft::Head], Some(Condition::HeadSilent)),
        (&[Shaft::Head, Shaft::Boot], Some(Condition::BothSilent)),
    ] {
        let mut inputs = only(&all, |input| before(input, LIE) || !shafts.iter().any(|shaft| is_of(input, *shaft)));
        inputs.push(at(0, LIE + 60.0, Signal::Tick));
        let stops = assert_stopped(&settings, &inputs, 3.0, &format!("{shafts:?} cut"));
        if let Some(expected) = expected {
            assert!(stops.iter().any(|(_, condition)| *condition == expected), "{shafts:?}: {stops:?}");
        }
    }
}

/// The starter's contact chatters while the belt stalls, as if every bounce were a new start with its own start time.
#[test]
fn a_chattering_drive_contact_opens_no_new_start() {
    let settings = settings(|_| {});
    let all = healthy(LIE + 60.0, 0);
    for hertz in [1.0, 2.0, 5.0, 10.0, 20.0] {
        // The belt stands, the head turns on.
        let running = only(&all, |input| before(input, LIE) || is_of(input, Shaft::Head));
        let mut chatter = Vec::new();
        for bounce in 0..(60.0 * hertz) as u64 {
            let on = bounce % 2 == 1;
            chatter.push(at(0, LIE + bounce as f64 / hertz / 2.0, Signal::DriveRunning(on)));
        }
        assert_stopped(&settings, &merge(&[&running, &chatter]), 6.0, &format!("contact at {hertz} Hz"));
    }
}

#[test]
fn a_power_cycle_resets_nothing() {
    let settings = settings(|_| {});
    let all = healthy(LIE + 10.0, 0);
    let inputs = only(&all, |input| before(input, LIE) || !is_of(input, Shaft::Boot));
    let mut before = monitor(&settings, &Retained::default());
    let tripped = observe(&mut before, &inputs);
    assert!(dropped(&tripped, Permit::Run).is_some());
    let survivor = before.retained().expect("it has a plan");
    assert!(survivor.boot_cleared_needed() && !survivor.latched().is_empty());

    // Power goes and comes back: time begins anew, the leg is healthy, nobody has reset anything.
    let mut monitor = monitor(&settings, &survivor);
    let verdicts = observe(&mut monitor, &healthy(60.0, 0));
    assert_eq!(given(&verdicts, Permit::Run), 0, "{verdicts:?}");
    assert!(!monitor.status().run_permit && !monitor.status().feed_permit);
    assert_eq!(monitor.status().first_out, survivor.first_out());
}

/// Jogging a choked leg is refused: each short start ends in a trip, and nothing but a reset at the leg and a cleared boot gives
/// the permit back.
#[test]
fn jogging_gets_nowhere() {
    let settings = settings(|_| {});
    let wheels = Wheels {
        head: Some(Wheel::even(4)),
        boot: None,
        ratio: RATIO,
        head_speed: &|time| if (time % 10.0) < 3.0 && time > 1.0 { SPEED } else { 0.0 },
        slip: &|_| 1.0,
        begin_us: 0,
        seed: 1,
    };
    let mut drive = vec![at(0, 0.0, Signal::DriveRunning(false))];
    for jog in 0..6 {
        let begin = f64::from(jog) * 10.0;
        drive.push(at(0, begin.max(1.0), Signal::DriveRunning(true)));
        drive.push(at(0, begin + 3.0, Signal::DriveRunning(false)));
    }
    let verdicts = verdicts(&settings, &merge(&[&drive, &wheels.edges(60.0)]));
    assert!(dropped(&verdicts, Permit::Run).is_some_and(|at| at < Micros::new(4_000_000)));
    assert_eq!(given(&verdicts, Permit::Run), 1);
}

/// Nothing is told twice, nothing runs backwards.
#[test]
fn verdicts_are_in_order_of_time() {
    let settings = settings(|_| {});
    let all = healthy(LIE + 60.0, 5_000_000_000);
    let inputs = only(&all, |input| input.at.get() < 5_030_000_000 || !is_of(input, Shaft::Boot));
    let verdicts: Vec<Verdict> = verdicts(&settings, &inputs);
    assert!(verdicts.windows(2).all(|pair| pair[0].at <= pair[1].at));
    let stop = verdicts
        .iter()
        .position(|verdict| matches!(verdict.change, Change::Permit { permit: Permit::Run, allowed: false, .. }));
    assert!(stop.is_some());
    let late = inputs.last().expect("inputs").at.after(Span::from_millis(1));
    assert!(verdicts.iter().all(|verdict| verdict.at <= late));
    let _ = couple;
}
