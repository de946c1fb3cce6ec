//! Sensors that lose an edge now and then, or for good: slip stays right, a healthy leg keeps running, and the sensor is named.
//!
//! The speeds and losses are made up, so the right answer is known: what the wheels were told to do.

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings, Spacing};
use slackside::units::{Micros, Ppm, Span};
use slackside::verdict::Permit;
use slackside_desk::monitor::monitor;
use slackside_desk::settings::Loaded;
use slackside_desk::sheet::{sheet, stops_by_a_lost_edge};
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, merge, raised, stops, verdicts};
use slackside_tests::wheels::{Random, Wheel, Wheels};

const SPEED: f64 = 1.31;
const RATIO: f64 = 1.039_474;
/// The leg has run steadily for long, its spacing is learned.
const LOSES: f64 = 40.0;

fn settings(head: u8, boot: u8) -> Checked {
    settings_at(SPEED, head, boot)
}

fn settings_at(speed: f64, head: u8, boot: u8) -> Checked {
    let mut settings = Settings::example();
    for (targets, count) in [(&mut settings.machine.head_targets, head), (&mut settings.machine.boot_targets, boot)] {
        let targets = targets.as_mut().expect("fitted");
        targets.count = count;
    }
    couple(&mut settings.machine, RATIO, speed);
    settings.check().unwrap_or_else(|error| panic!("{head} and {boot} targets at {speed} turns a second: {error:?}"))
}

/// Legs whose boot pitches are a little longer than a belt needs at 10 m/s² to stand and be at speed again: head speed in turns a second
/// and targets.
const LONG_PITCHES: [(f64, u8); 3] = [(0.76, 8), (0.62, 12), (0.54, 16)];

/// A leg started across the line, with so many targets a shaft.
fn leg(head: u8, boot: u8, seconds: f64, slip: &dyn Fn(f64) -> f64) -> Vec<Input> {
    leg_at(SPEED, head, boot, seconds, slip)
}

fn leg_at(speed: f64, head: u8, boot: u8, seconds: f64, slip: &dyn Fn(f64) -> f64) -> Vec<Input> {
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(head.into(), 0.01, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(boot.into(), 0.01, 2).jittered(5.0)),
        ratio: RATIO,
        head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * speed,
        slip,
        begin_us: 0,
        seed: 9,
    };
    let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
    merge(&[&drive, &wheels.edges(seconds)])
}

/// What is left where the sensor of a shaft does not see each target for which `loses` holds: its number from the start, and its
/// time in seconds.
fn losing(inputs: &[Input], of: Shaft, loses: &mut dyn FnMut(u64, f64) -> bool) -> Vec<Input> {
    let (mut number, mut lost) = (0, false);
    let keep = |input: &&Input| match input.signal {
        Signal::Edge(shaft, level) if shaft == of => {
            if level {
                lost = loses(number, input.at.get() as f64 / 1e6);
                number += 1;
            }
            !lost
        }
        _ => true,
    };
    inputs.iter().filter(keep).copied().collect()
}

/// Everything raised from `LOSES` on, a line each.
fn names(settings: &Checked, inputs: &[Input]) -> (Vec<Condition>, Vec<(Micros, Condition)>) {
    let verdicts = verdicts(settings, inputs);
    let stops = stops(settings, &verdicts);
    let mut names: Vec<Condition> = raised(&verdicts).into_iter().map(|(_, condition)| condition).collect();
    names.sort();
    names.dedup();
    (names, stops)
}

fn targets_of(shaft: Shaft) -> Condition {
    match shaft {
        Shaft::Head => Condition::HeadTargets,
        Shaft::Boot => Condition::BootTargets,
    }
}

const BOTH: [Shaft; 2] = [Shaft::Head, Shaft::Boot];
/// What a lost edge adds to the score of its sensor, from which each edge takes one, and where it is named: as the book says.
const A_LOSS: i32 = 300;
const NAMED_AT: i32 = 2_100;

#[test]
fn a_target_lost_for_good_is_named_and_stops_nothing() {
    for (head, boot) in [(4, 4), (3, 3), (8, 8), (4, 16), (8, 32), (1, 4), (6, 5)] {
        let whole = leg(head, boot, 600.0, &|_| 0.006);
        let settings = settings(head, boot);
        for shaft in BOTH {
            let count = match shaft {
                Shaft::Head => head,
                Shaft::Boot => boot,
            };
            if count < 3 {
                continue;
            }
            let one = losing(&whole, shaft, &mut |number, time| time > LOSES && number % u64::from(count) == 1);
            let (names, stops) = names(&settings, &one);
            assert_eq!(names, [targets_of(shaft)], "{head} and {boot} targets, {shaft:?}: {stops:?}");
        }
    }
}

#[test]
fn a_plug_that_drops_out_is_named_and_stops_nothing() {
    for (head, boot) in [(4, 4), (3, 3), (8, 8), (8, 32), (4, 16)] {
        let whole = leg(head, boot, 1_500.0, &|_| 0.006);
        let settings = settings(head, boot);
        for (shaft, every) in BOTH.into_iter().flat_map(|shaft| [(shaft, 5.0), (shaft, 20.0)]) {
            let out = losing(&whole, shaft, &mut |_, time| time > LOSES && time % every < 0.2);
            let (names, stops) = names(&settings, &out);
            assert_eq!(names, [targets_of(shaft)], "{head} and {boot} targets, {shaft:?} every {every} s: {stops:?}");
        }
    }
}

#[test]
fn edges_lost_at_random_are_borne_up_to_one_in_a_thousand_and_named_from_one_in_a_hundred() {
    let mut by_chance = 0;
    for (head, boot) in [(4, 4), (8, 8), (8, 32), (3, 6), (2, 5)] {
        let whole = leg(head, boot, 3_600.0, &|_| 0.006);
        let settings = settings(head, boot);
        for (shaft, share) in BOTH.into_iter().flat_map(|shaft| [(shaft, 0.001), (shaft, 0.01)]) {
            let mut random = Random(u64::from(head) * 1_000 + u64::from(boot) + 1_000_000 * shaft as u64);
            // What the score says of these very losses: by chance there may be ten in a thousand edges.
            let (mut score, mut most) = (0, 0);
            let out = losing(&whole, shaft, &mut |_, time| {
                let lost = time > LOSES && random.unit() < share;
                score = if lost { score + A_LOSS } else { (score - 1).max(0) };
                most = most.max(score);
                lost
            });
            let (names, stops) = names(&settings, &out);
            let is_named = most >= NAMED_AT;
            assert!(is_named || share < 0.005, "{most}");
            by_chance += u32::from(is_named && share < 0.005);
            let expected = if is_named { vec![targets_of(shaft)] } else { vec![] };
            assert_eq!(names, expected, "{head} and {boot} targets, {shaft:?}, {share}: {stops:?}");
        }
    }
    // Of ten draws.
    assert!(by_chance <= 1, "{by_chance}");
}

#[test]
fn edges_lost_with_one_between_stop_nothing() {
    let short = [(4, 4), (3, 3), (8, 8), (16, 16), (8, 32), (2, 4), (1, 4)].map(|(head, boot)| (SPEED, head, boot));
    let long = LONG_PITCHES.map(|(speed, targets)| (speed, targets, targets));
    for (speed, head, boot) in short.into_iter().chain(long) {
        let whole = leg_at(speed, head, boot, 400.0, &|_| 0.006);
        let settings = settings_at(speed, head, boot);
        let pitch = 1e6 / (speed * RATIO * f64::from(boot));
        assert_eq!(
            pitch > settings.plan().slip.regain.into(),
            speed != SPEED,
            "{boot} targets at {speed} turns a second"
        );
        for shaft in BOTH {
            let count = match shaft {
                Shaft::Head => head,
                Shaft::Boot => boot,
            };
            // Two of three, and three of five where six targets or more leave time to tell and pitches are short.
            let lost = if count >= 6 && speed == SPEED { 5 } else { 3 };
            // One such pattern a minute, in which the score forgets it.
            let mut begins = 0;
            let mut minute = 0;
            let one = losing(&whole, shaft, &mut |number, time| {
                if time as u64 / 60 > minute {
                    (minute, begins) = (time as u64 / 60, number);
                }
                let since = number - begins;
                minute > 0 && since < lost && since.is_multiple_of(2)
            });
            let (names, stops) = names(&settings, &one);
            assert!(
                stops.is_empty(),
                "{head} and {boot} targets at {speed} turns a second, {shaft:?}: {names:?}, {stops:?}"
            );
        }
    }
}

/// A soft starter's head gains speed up to the end of its ramp: two targets that are not seen running span fewer than three of the pitches
/// before them. Wherever they are lost once the head turns, nothing is told. (Of its very first edges, seconds apart, two lost are a head
/// that is silent.)
#[test]
fn two_edges_lost_running_while_the_shaft_gains_speed_are_counted() {
    let ramp = |time: f64| ((time - 1.0) / 3.0).clamp(0.0, 1.0).powi(3) * SPEED;
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(16, 0.01, 1).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(16, 0.01, 2).jittered(5.0)),
        ratio: RATIO,
        head_speed: &ramp,
        slip: &|_| 0.006,
        begin_us: 0,
        seed: 9,
    };
    let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
    let whole = merge(&[&drive, &wheels.edges(12.0)]);
    let settings = settings(16, 16);
    let mut wrong = Vec::new();
    for (shaft, first) in BOTH.into_iter().flat_map(|shaft| (6..40).map(move |first| (shaft, first))) {
        let (names, stops) =
            names(&settings, &losing(&whole, shaft, &mut |number, _| (first..first + 2).contains(&number)));
        if !names.is_empty() || !stops.is_empty() {
            wrong.push(format!("{shaft:?} {first}: {names:?} {stops:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn both_sensors_losing_an_edge_at_once_are_no_common_failure() {
    for (head, boot) in [(4, 4), (8, 8), (32, 32), (4, 16)] {
        // One such moment a minute, in which the score forgets it.
        let whole = leg(head, boot, 400.0, &|_| 0.006);
        let settings = settings(head, boot);
        let mut both = whole;
        for (shaft, count, speed) in [(Shaft::Head, head, SPEED), (Shaft::Boot, boot, SPEED * RATIO)] {
            let pitch = 0.95 / (speed * f64::from(count));
            both = losing(&both, shaft, &mut |_, time| time > LOSES && time % 60.0 < pitch);
        }
        let (names, stops) = names(&settings, &both);
        assert_eq!(names, [], "{head} and {boot} targets: {stops:?}");
    }
}

#[test]
fn slip_is_as_hot_with_a_target_lost() {
    let slip = |time: f64| if time > 60.0 { 0.09 } else { 0.006 };
    for (head, boot) in [(4, 4), (8, 8), (4, 16)] {
        let whole = leg(head, boot, 900.0, &slip);
        let settings = settings(head, boot);
        let stopped =
            |inputs: &[Input]| dropped(&verdicts(&settings, inputs), Permit::Run).map(|at| at.get() as f64 / 1e6);
        let right = stopped(&whole).expect("it burns");
        for shaft in BOTH {
            let count = u64::from(match shaft {
                Shaft::Head => head,
                Shaft::Boot => boot,
            });
            let one = losing(&whole, shaft, &mut |number, time| time > LOSES && number % count == 1);
            let out = stopped(&one).unwrap_or_else(|| panic!("{head} and {boot}, {shaft:?}: never stopped"));
            assert!((out - right).abs() < 0.02 * (right - 60.0), "{head} and {boot}, {shaft:?}: {out} s for {right} s");
        }
    }
}

#[test]
fn slip_is_right_with_a_target_lost() {
    for (head, boot) in [(4, 4), (8, 8), (4, 16), (8, 3)] {
        let whole = leg(head, boot, 120.0, &|_| 0.031);
        let settings = settings(head, boot);
        for shaft in BOTH {
            let count = u64::from(match shaft {
                Shaft::Head => head,
                Shaft::Boot => boot,
            });
            let one = losing(&whole, shaft, &mut |number, time| time > LOSES && number % count == 1);
            let mut monitor = monitor(&settings, &Retained::default());
            let (mut told, mut first) = (0, true);
            for input in &one {
                monitor.observe(*input, &mut |_| {});
                // The turns in which it is found out.
                if input.at.get() < 45_000_000 {
                    continue;
                }
                for slip in [monitor.signals().short, monitor.signals().long] {
                    first &= slip.is_known();
                    assert!(slip.least < 31_700, "{head} and {boot}, {shaft:?}: {:?}", slip);
                    if slip.is_exact() {
                        told += 1;
                        let off = (slip.least - 31_000).abs();
                        assert!(off < 700, "{head} and {boot}, {shaft:?}: {:?} at {:?}", slip, input.at);
                    }
                }
            }
            assert!(first && told > 1_000, "{head} and {boot}, {shaft:?}: {told}");
        }
    }
}

#[test]
fn before_spacing_is_learned_a_lost_edge_is_no_slip() {
    let mut settings = Settings::example();
    let targets = settings.machine.head_targets.as_mut().expect("fitted");
    targets.spacing = Spacing::Uneven { closest: Ppm::new(200_000), widest: Ppm::new(300_000) };
    let settings = settings.check().expect("sound settings");
    let whole = leg(4, 4, 60.0, &|_| 0.006);
    for lost in 8..40 {
        let one = losing(&whole, Shaft::Boot, &mut |number, _| number == lost);
        let (names, stops) = names(&settings, &one);
        assert!(names.is_empty(), "target {lost}: {names:?}, {stops:?}");
    }
}

/// A belt that slows down for good within `ramp` seconds, to a share of its speed: stopped as soon as its speed says so.
#[test]
fn a_belt_that_slows_down_is_stopped_in_time() {
    for (speed, targets) in [3, 4, 8, 32].map(|targets| (SPEED, targets)).into_iter().chain(LONG_PITCHES) {
        let settings = settings_at(speed, targets, targets);
        for (share, ramp) in [
            (0.0, 0.0),
            (0.0, 0.5),
            (0.3, 0.0),
            (0.5, 0.0),
            (0.5, 0.3),
            (0.333, 0.0),
            (0.25, 1.0),
            (0.7, 0.0),
            (0.8, 1.5),
        ] {
            for shift in [0.0, 0.05, 0.11, 0.19] {
                let begins = 60.0 + shift;
                let slip = |time: f64| {
                    let part = if ramp > 0.0 {
                        ((time - begins) / ramp).clamp(0.0, 1.0)
                    } else {
                        f64::from(u8::from(time > begins))
                    };
                    0.006 + (0.994 - share) * part
                };
                let inputs = leg_at(speed, targets, targets, 80.0, &slip);
                let stopped =
                    dropped(&verdicts(&settings, &inputs), Permit::Run).map(|at| at.get() as f64 / 1e6 - begins);
                let what = format!("{targets} targets at {speed} turns a second, to {share} in {ramp} s, {shift}");
                let stopped = stopped.unwrap_or_else(|| panic!("{what}: not stopped"));
                // Two pitches at the limit, which each may be slow only in part, the on-delay, and the ramp. Where a fall at once to half the
                // speed gives just what lost edges would: within the code's time, a pitch at that speed after the first edge.
                let pitch = 1.0 / (speed * RATIO * f64::from(targets));
                let just_half = share == 0.5 && ramp == 0.0;
                let most = ramp + 0.5 + if just_half { 2.0 * pitch / 0.5 } else { 2.5 * pitch / 0.8 };
                assert!(stopped > 0.0 && stopped < most, "{what}: {stopped} s, {most}");
            }
        }
    }
}

/// With few targets, or on a slow leg, one edge not seen is the silence of a belt that stuck: the sheet says so, and what it says to fit
/// bears one, and two running. Where it says nothing one stops nothing.
#[test]
fn the_sheet_warns_of_a_leg_that_a_lost_edge_can_stop() {
    let mut warned = 0;
    // At its starting value the delay bears a lost edge wherever there are targets enough for the 20 %.
    for (delay_ms, speed, count) in [500, 200, 100].into_iter().flat_map(|delay_ms| {
        let speeds = [0.66, 0.85, 1.1, 1.31, 2.6].into_iter();
        speeds.flat_map(move |speed| [1, 2, 3, 4, 6, 8, 12, 16].map(move |count| (delay_ms, speed, count)))
    }) {
        let with = |count: u8| {
            let mut settings = Settings::example();
            settings.limits.change(Condition::DeepUnderspeed, |limit| limit.on_delay = Span::from_millis(delay_ms));
            settings.machine.boot_targets.as_mut().expect("fitted").count = count;
            couple(&mut settings.machine, RATIO, speed);
            settings.check().ok()
        };
        // Too few for the 20 % are refused anyway.
        let Some(settings) = with(count) else { continue };
        let runs = |time: f64| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * speed;
        let wheels = |boot: u8| Wheels {
            head: Some(Wheel::with_spacing_error(4, 0.01, 1).jittered(5.0)),
            boot: Some(Wheel::with_spacing_error(boot.into(), 0.01, 2).jittered(5.0)),
            ratio: RATIO,
            head_speed: &runs,
            slip: &|_| 0.006,
            begin_us: 0,
            seed: 9,
        };
        let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
        let stopped_by = |settings: &Checked, boot: u8, running: u64| {
            let whole = merge(&[&drive, &wheels(boot).edges(80.0)]);
            (0..u64::from(boot).min(4)).find_map(|which| {
                let first = 60 * u64::from(boot) / 2 + which;
                let lossy = losing(&whole, Shaft::Boot, &mut |number, _| (first..first + running).contains(&number));
                names(settings, &lossy).1.first().copied()
            })
        };
        let stopped = stopped_by(&settings, count, 1);
        let Some(warning) = stops_by_a_lost_edge(&settings) else {
            assert_eq!(stopped, None, "{count} targets at {speed} turns a second, {delay_ms} ms");
            continue;
        };
        warned += 1;
        assert!(
            sheet_of(&settings).contains("WARNING: with"),
            "{count} targets at {speed} turns a second, {delay_ms} ms"
        );
        assert!(stopped.is_some(), "{count} targets at {speed} turns a second: {warning}");
        let fit = warning.split("Fit ").nth(1).and_then(|rest| rest.split(' ').next()?.parse().ok());
        let fit: u8 = fit.unwrap_or_else(|| panic!("{warning}"));
        let mended = with(fit).unwrap_or_else(|| panic!("{warning}"));
        assert_eq!(stops_by_a_lost_edge(&mended), None, "{warning}");
        for running in [1, 2] {
            assert_eq!(stopped_by(&mended, fit, running), None, "{fit} targets at {speed} turns a second, {running}");
        }
    }
    assert!(warned >= 4, "{warned}");
}

fn sheet_of(settings: &Checked) -> String {
    let mut loaded = Loaded::example();
    loaded.checked = settings.clone();
    sheet(&loaded)
}

/// How long a sensor may go on losing edges, as the book's table says: `SLACKSIDE_HOURS=50 SLACKSIDE_TARGETS="3-3 4-4" cargo test --release -p
/// slackside-tests --test lost_edges for_hours -- --nocapture` plays so many hours of each, and tells which edges were seen before a stop.
///
/// The part that runs by itself stops nothing.
#[test]
fn edges_lost_for_hours_stop_nothing_but_with_three_targets() {
    let hours = std::env::var("SLACKSIDE_HOURS").ok().and_then(|hours| hours.parse().ok()).unwrap_or(0.5);
    let counts = std::env::var("SLACKSIDE_TARGETS").unwrap_or_else(|_| "3-3 4-4 8-4".to_owned());
    for pair in counts.split(' ') {
        let count = |text: &str| text.parse::<u8>().expect("a count");
        let (head, boot) = pair.split_once('-').map(|(head, boot)| (count(head), count(boot))).expect("HEAD-BOOT");
        let settings = settings(head, boot);
        let wheels = Wheels {
            head: Some(Wheel::with_spacing_error(head.into(), 0.01, 1).jittered(5.0)),
            boot: Some(Wheel::with_spacing_error(boot.into(), 0.01, 2).jittered(5.0)),
            ratio: RATIO,
            head_speed: &|time| ((time - 1.0) / 3.0).clamp(0.0, 1.0) * SPEED,
            slip: &|_| 0.006,
            begin_us: 0,
            seed: 9,
        };
        let drive = [at(0, 0.0, Signal::DriveRunning(false)), at(0, 1.0, Signal::DriveRunning(true))];
        let whole = merge(&[&drive, &wheels.edges_by(0.02, hours * 3_600.0)]);
        for (which, shafts) in [("head", &BOTH[..1]), ("boot", &BOTH[1..]), ("both", &BOTH[..])] {
            let mut random = Random(u64::from(head) * 7 + u64::from(boot) + shafts.len() as u64 * 100);
            let mut lossy = whole.clone();
            let mut seen = Vec::new();
            for shaft in shafts {
                let mut edges = Vec::new();
                lossy = losing(&lossy, *shaft, &mut |_, time| {
                    let lost = time > LOSES && random.unit() < 0.01;
                    edges.push((time, lost));
                    lost
                });
                seen.push((shaft, edges));
            }
            let stops = stops(&settings, &verdicts(&settings, &lossy));
            println!("{head} and {boot} targets, {which}, {hours} h: {} stops", stops.len());
            for (stopped, condition) in &stops {
                let stopped = stopped.get() as f64 / 1e6;
                let before: Vec<String> = seen
                    .iter()
                    .map(|(shaft, edges)| {
                        let end = edges.partition_point(|(time, _)| *time <= stopped);
                        let marks = edges[end.saturating_sub(14)..end].iter();
                        format!(
                            "{shaft:?} {}",
                            marks.map(|(_, lost)| if *lost { '-' } else { '|' }).collect::<String>()
                        )
                    })
                    .collect();
                println!("  {stopped:.1} s {condition:?} {before:?}");
            }
            assert!(stops.is_empty() || hours > 1.0, "{head} and {boot} targets, {which}: {stops:?}");
        }
    }
}
