//! Faults that were not judged, or called by the wrong name. For each, the trace with the fault gets its word in time, and the traces
//! beside it, which are healthy, get none.
#![cfg(feature = "desk")]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod leg;

use leg::{BEGIN_US, Random, example, leg, observed, plan_of, ratio, sound, with_targets};
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{ContactState, Input, Place, Shaft, Signal};
use slackside::settings::{Settings, SpeedReference};
use slackside::units::{Micros, Ppm, Span};
use slackside::verdict::{Change, Permit, Verdict};

/// Turns a second of the head at normal speed.
const SPEED: f64 = 1.31;
/// When the leg runs steadily, and the fault begins, in seconds.
const FAULT: f64 = 30.0;

/// Started across the line in three seconds.
fn running(time: f64) -> f64 {
    ((time - 1.0) / 3.0).clamp(0.0, 1.0) * SPEED
}

const DRIVE: [(f64, Signal); 2] = [(0.0, Signal::DriveRunning(false)), (1.0, Signal::DriveRunning(true))];

fn with(others: &[(f64, Signal)]) -> Vec<(f64, Signal)> {
    [&DRIVE, others].concat()
}

/// What the box says of a trace, and the share of the heat budget at its end.
fn judged_with_heat(settings: &Settings, inputs: &[Input]) -> (Vec<Verdict>, f64) {
    let (monitor, verdicts) = observed(sound(&plan_of(settings.clone())), inputs);
    let end = inputs.last().expect("a trace").at;
    (verdicts, f64::from(monitor.slip_heat_at(end).get()) * 1e-6)
}

fn judged(settings: &Settings, inputs: &[Input]) -> Vec<Verdict> {
    judged_with_heat(settings, inputs).0
}

fn seconds(at: Micros) -> f64 {
    (at.get() - BEGIN_US) as f64 * 1e-6
}

/// When an alarm was raised, with its value and setpoint.
fn raised(verdicts: &[Verdict], wanted: Condition) -> Vec<(f64, Option<i32>, i32)> {
    let of = |verdict: &Verdict| match verdict.change {
        Change::Alarm { condition, to: AlarmState::Unacknowledged, value, setpoint, .. } if condition == wanted => {
            Some((seconds(verdict.at), value, setpoint))
        }
        _ => None,
    };
    verdicts.iter().filter_map(of).collect()
}

/// Everything raised, with its time.
fn all_raised(verdicts: &[Verdict]) -> Vec<(f64, Condition)> {
    let of = |verdict: &Verdict| match verdict.change {
        Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => Some((seconds(verdict.at), condition)),
        _ => None,
    };
    verdicts.iter().filter_map(of).collect()
}

/// When a permit was last dropped, if it is dropped at the end.
fn dropped(verdicts: &[Verdict], wanted: Permit) -> Option<f64> {
    let newest = verdicts.iter().rev().find_map(|verdict| match verdict.change {
        Change::Permit { permit, allowed, .. } if permit == wanted => Some((seconds(verdict.at), allowed)),
        _ => None,
    });
    newest.and_then(|(at, allowed)| (!allowed).then_some(at))
}

/// The example leg with equal pulleys, so that the ratio is 1.
fn equal_pulleys(targets: u8) -> Settings {
    let mut settings = with_targets(targets, SPEED);
    settings.machine.head_pulley = settings.machine.boot_pulley;
    settings.machine.normal_boot = settings.machine.normal_head;
    settings
}

fn is_edge_of(input: &Input, shaft: Shaft) -> bool {
    matches!(input.signal, Signal::Edge(of, _) if of == shaft)
}

// The drive contact lies open.

/// The contact's wire breaks, and a second later the belt begins to slip under a head that runs on.
fn contact_lies_open(slip: f64, until: f64) -> (Vec<Verdict>, f64) {
    let settings = example();
    let grows = move |time: f64| 0.006 + (time - FAULT - 1.0).clamp(0.0, 1.0) * slip;
    let others = with(&[(FAULT, Signal::DriveRunning(false))]);
    judged_with_heat(&settings, &leg(4, ratio(&settings), &running, &grows, until, 5, &others))
}

#[test]
fn slip_is_judged_though_the_drive_contact_lies_open() {
    for slip in [0.2, 0.5] {
        let (verdicts, _) = contact_lies_open(slip, FAULT + 20.0);
        let stop = raised(&verdicts, Condition::SlipVeryHigh);
        assert!(stop.first().is_some_and(|(at, ..)| *at < FAULT + 5.0), "{slip}: {:?}", all_raised(&verdicts));
    }
    let (verdicts, _) = contact_lies_open(0.12, FAULT + 40.0);
    let alarm = raised(&verdicts, Condition::SlipHigh);
    assert!(alarm.first().is_some_and(|(at, ..)| *at < FAULT + 10.0), "{:?}", all_raised(&verdicts));
}

#[test]
fn slip_heats_though_the_drive_contact_lies_open() {
    let settings = example();
    let budget = f64::from(settings.limits.slip_heat.budget.get());
    let (_, heat) = contact_lies_open(0.12, FAULT + 50.0);
    // 18.5 kW times 12.6 % for 48 s and a ramp, less a little that went away again.
    let fed = 18_500.0 * 0.126 * 48.5 / budget;
    assert!(heat > 0.9 * fed && heat < 1.2 * fed, "{heat} of {fed}");
}

/// From full speed to rest in four to thirty seconds, with creep: nothing is said, and next to no heat.
#[test]
fn ordinary_stops_are_left_alone() {
    for takes in [4.0, 8.0, 30.0] {
        let settings = example();
        let coasts = move |time: f64| running(time) * (1.0 - (time - FAULT) / takes).clamp(0.0, 1.0);
        let others = with(&[(FAULT, Signal::DriveRunning(false)), (FAULT + takes + 20.0, Signal::Tick)]);
        let inputs = leg(4, ratio(&settings), &coasts, &|_| 0.01, FAULT + takes + 10.0, 6, &others);
        assert_eq!(all_raised(&judged(&settings, &inputs)), [], "{takes} s");
    }
}

// A bridged wire.

/// From the fault on the belt stands and the boot input carries the head's pulses, some microseconds late.
fn bridged(settings: &Settings, targets: u8, seed: u64) -> Vec<Verdict> {
    let inputs = leg(targets, ratio(settings), &running, &|_| 0.006, FAULT + 30.0, seed, &DRIVE);
    let begins = Micros::new(BEGIN_US + (FAULT * 1e6) as u64);
    let mut random = Random(seed);
    let mut all: Vec<Input> =
        inputs.iter().copied().filter(|input| !is_edge_of(input, Shaft::Boot) || input.at < begins).collect();
    for input in inputs.iter().filter(|input| is_edge_of(input, Shaft::Head) && input.at >= begins) {
        let Signal::Edge(_, level) = input.signal else { continue };
        let late = (random.unit() * 8.0) as u64;
        all.push(Input::new(Micros::new(input.at.get() + late), Signal::Edge(Shaft::Boot, level)));
    }
    all.sort_by_key(|input| input.at);
    judged(settings, &all)
}

#[test]
fn a_boot_input_that_carries_the_heads_pulses_stops() {
    for targets in [4, 8, 16] {
        for settings in [equal_pulleys(targets), with_targets(targets, SPEED)] {
            let verdicts = bridged(&settings, targets, 7);
            let stop = raised(&verdicts, Condition::BootSensorFault);
            assert!(
                stop.first().is_some_and(|(at, ..)| *at > FAULT && *at < FAULT + 6.0),
                "{targets}: {:?}",
                all_raised(&verdicts)
            );
            assert!(dropped(&verdicts, Permit::Run).is_some_and(|at| at < FAULT + 6.0));
        }
    }
}

/// Two discs of the same make, in step, on equal pulleys, with no slip at all: their targets still stand where each disc has them.
#[test]
fn shafts_in_lockstep_are_left_alone() {
    for seed in 0..12 {
        for targets in [4, 8, 16] {
            let settings = equal_pulleys(targets);
            let inputs = leg(targets, 1.0, &running, &|_| 0.0, 120.0, 100 * seed, &DRIVE);
            assert_eq!(all_raised(&judged(&settings, &inputs)), [], "{targets} targets, seed {seed}");
        }
    }
}

// Sensors swapped.

/// The belt slips from the fault on, and each sensor's wire is on the other's input.
fn swapped(slip: f64, until: f64) -> Vec<Verdict> {
    let settings = equal_pulleys(4);
    let slips = move |time: f64| if time < FAULT { 0.006 } else { slip };
    let mut inputs = leg(4, 1.0, &running, &slips, until, 8, &DRIVE);
    for input in &mut inputs {
        if let Signal::Edge(shaft, level) = input.signal {
            let other = if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
            input.signal = Signal::Edge(other, level);
        }
    }
    judged(&settings, &inputs)
}

#[test]
fn sensors_swapped_on_equal_pulleys_drop_feed_and_stop() {
    // A tenth of what 9 % slip does to a belt, long before it is hot; the less it is, the later.
    let mut last = 0.0;
    for (slip, within) in [(0.09, 40.0), (0.07, 60.0), (0.05, 170.0)] {
        let verdicts = swapped(slip, FAULT + 200.0);
        let fed = dropped(&verdicts, Permit::Feed).expect("feed dropped");
        assert!(fed > FAULT && fed < FAULT + 10.0, "{slip}: feed at {fed}");
        let stop = dropped(&verdicts, Permit::Run).unwrap_or_else(|| panic!("{slip}: {:?}", all_raised(&verdicts)));
        assert!(stop > FAULT + last && stop < FAULT + within, "{slip}: {stop}");
        assert!(!raised(&verdicts, Condition::RatioOrWiring).is_empty(), "{:?}", all_raised(&verdicts));
        last = stop - FAULT;
    }
}

/// Pulleys that are not alike: what a sound belt's creep reads as then is known, and so is that the head seems faster by as much. Without
/// that 7 % slip would read as none.
#[test]
fn sensors_swapped_on_pulleys_a_little_unlike_stop_before_the_belt_slips() {
    for targets in [4, 8] {
        let settings = with_targets(targets, SPEED);
        let swap = |input: &mut Input| {
            if let Signal::Edge(shaft, level) = input.signal {
                let other = if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
                input.signal = Signal::Edge(other, level);
            }
        };
        let mut inputs = leg(targets, ratio(&settings), &running, &|_| 0.008, 120.0, 18, &DRIVE);
        inputs.iter_mut().for_each(swap);
        let verdicts = judged(&settings, &inputs);
        let stop = raised(&verdicts, Condition::RatioOrWiring);
        assert!(stop.first().is_some_and(|(at, ..)| *at < 70.0), "{targets}: {:?}", all_raised(&verdicts));
        assert!(dropped(&verdicts, Permit::Run).is_some());
    }
}

/// True slip of that size, under a head at its normal speed or below, is slip and nothing else.
#[test]
fn true_slip_of_that_size_is_called_slip() {
    let settings = example();
    for (share, slip) in [(1.0, 0.055), (1.0, 0.065), (0.97, 0.07), (1.01, 0.06)] {
        let inputs = leg(4, ratio(&settings), &|time| share * running(time), &|_| slip, 180.0, 19, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        assert_eq!(raised(&verdicts, Condition::RatioOrWiring), [], "{slip}");
        assert!(!raised(&verdicts, Condition::SlipHigh).is_empty(), "{slip}");
    }
}

/// A ratio a little too small for the leg, as measured pulleys give, is no fault of this kind.
#[test]
fn a_little_below_zero_is_left_alone() {
    let settings = equal_pulleys(4);
    let inputs = leg(4, 1.0, &running, &|_| -0.018, 300.0, 9, &DRIVE);
    assert_eq!(all_raised(&judged(&settings, &inputs)), []);
}

/// In a proof test somebody pulls the plug of one sensor: what the leg stops by names its shaft, and says so of the other where the two
/// are swapped.
#[test]
fn a_proof_test_names_the_shaft_that_fell_silent() {
    use slackside::input::{Command, Origin};
    let told = |command| Signal::Command(Origin::Leg, command);
    let wirings = [Shaft::Head, Shaft::Boot].into_iter().flat_map(|pulled| [(false, pulled), (true, pulled)]);
    for (targets, (swapped, pulled)) in wirings.flat_map(|wiring| [4, 8, 16].map(|targets| (targets, wiring))) {
        let settings = equal_pulleys(targets);
        let others = with(&[
            (FAULT - 2.0, told(Command::Key(true))),
            (FAULT - 1.0, told(Command::ProofTest(true))),
            (FAULT + 12.0, told(Command::ProofTest(false))),
        ]);
        let inputs = leg(targets, 1.0, &running, &|_| 0.006, FAULT + 15.0, 21, &others);
        let wired: Vec<Input> = inputs
            .into_iter()
            .filter(|input| !is_edge_of(input, pulled) || seconds(input.at) < FAULT)
            .map(|input| match input.signal {
                Signal::Edge(shaft, level) if swapped => {
                    let other = if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
                    Input::new(input.at, Signal::Edge(other, level))
                }
                _ => input,
            })
            .collect();
        let verdicts = judged(&settings, &wired);
        let passed = verdicts.iter().any(|verdict| verdict.change == Change::ProofTest { passed: true });
        let by = verdicts.iter().find_map(|verdict| match verdict.change {
            Change::FirstOut(Some(by)) => Some(by),
            _ => None,
        });
        let says_head = by == Some(Condition::HeadSilent);
        assert!(passed, "{targets} targets, {pulled:?} pulled, swapped {swapped}: {:?}", all_raised(&verdicts));
        assert_eq!(
            says_head,
            (pulled == Shaft::Head) != swapped,
            "{targets} targets, {pulled:?}, swapped {swapped}: {by:?}"
        );
    }
}

// A ratio that is not the leg's.

/// Of a leg whose boot turns faster than the settings say, by a share: when what was raised and the permits dropped.
fn ratio_off(share: f64) -> Vec<Verdict> {
    let settings = example();
    let inputs = leg(4, ratio(&settings) * (1.0 + share), &running, &|_| 0.008, 240.0, 20, &DRIVE);
    judged(&settings, &inputs)
}

/// Up to 5 % it is named, and the leg runs on: so much is build-up or lagging. From 4 % on feed drops within seconds, as slip is not watched.
/// It stops where it is more, the sooner the more it is off.
#[test]
fn a_wrong_ratio_is_named_before_it_stops() {
    for share in [0.03, -0.03, 0.04, 0.05] {
        let verdicts = ratio_off(share);
        assert!(!raised(&verdicts, Condition::RatioShifted).is_empty(), "{share}: {:?}", all_raised(&verdicts));
        assert_eq!(dropped(&verdicts, Permit::Run), None, "{share}: {:?}", all_raised(&verdicts));
        let fed = dropped(&verdicts, Permit::Feed);
        assert_eq!(fed.is_some_and(|fed| fed < 12.0), share > 0.035, "{share}: {:?}", all_raised(&verdicts));
    }
    let mut last = f64::INFINITY;
    for share in [0.06, 0.07, 0.08] {
        let verdicts = ratio_off(share);
        let stop = raised(&verdicts, Condition::RatioOrWiring)[0].0;
        let fed = dropped(&verdicts, Permit::Feed).expect("feed dropped");
        assert!(fed < 12.0 && stop > fed + 30.0 && stop < last, "{share}: {:?}", all_raised(&verdicts));
        last = stop;
    }
}

/// Material cakes on the head pulley while the leg runs: its rim grows by 4 % within five minutes, and the belt with it. Feed drops, since slip
/// that far off is not watched, and the shift is named; a leg with nothing worse is not stopped. A third more would be.
#[test]
fn build_up_on_the_head_pulley_is_named_and_does_not_stop() {
    for (grows, stops) in [(0.04, false), (0.055, false), (0.075, true)] {
        let settings = example();
        let offset = |time: f64| 0.008 - grows * ((time - FAULT) / 300.0).clamp(0.0, 1.0);
        let load = |time: f64| offset(time) + 0.0005 * (time * 0.4).sin();
        let inputs = leg(4, ratio(&settings), &running, &load, 1_500.0, 22, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        assert!(dropped(&verdicts, Permit::Feed).is_some(), "{grows}: {:?}", all_raised(&verdicts));
        assert!(!raised(&verdicts, Condition::RatioShifted).is_empty(), "{grows}: {:?}", all_raised(&verdicts));
        let stopped = dropped(&verdicts, Permit::Run);
        assert_eq!(stopped.is_some(), stops, "{grows}: {stopped:?}, {:?}", all_raised(&verdicts));
    }
}

// Faster than normal.

#[test]
fn a_leg_faster_than_normal_is_noticed() {
    for (times, wanted) in [(1.04, false), (1.05, false), (1.1, true), (1.28, true)] {
        let settings = example();
        let inputs = leg(4, ratio(&settings), &|time| running(time) * times, &|_| 0.006, 200.0, 10, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        let alarm = raised(&verdicts, Condition::FasterThanNormal);
        assert_eq!(alarm.first().is_some_and(|(at, ..)| *at < 100.0), wanted, "{times}: {:?}", all_raised(&verdicts));
        if let Some((_, Some(value), setpoint)) = alarm.first() {
            assert!(value >= setpoint, "{value} {setpoint}");
            let gain = (1_000_000.0 * (times * (1.0 - 0.006) - 1.0)) as i32;
            assert!((value - gain).abs() < 10_000, "{value} {gain}");
        }
        assert_eq!(dropped(&verdicts, Permit::Run), None);
    }
}

/// The speed asked goes from 100 to 60 % at once, and the drive follows in its own time: so a leg is faster than asked for a while.
#[test]
fn a_drive_that_ramps_down_is_not_too_fast() {
    for takes in [8.0, 30.0, 90.0] {
        let mut settings = with_targets(8, SPEED);
        let rate = (400_000.0 / takes) as i32;
        settings.machine.speed_reference =
            Some(SpeedReference { minimum: Ppm::new(500_000), ramp_per_second: Ppm::new(rate) });
        let slows = move |time: f64| running(time) * (1.0 - 0.4 * ((time - FAULT) / takes).clamp(0.0, 1.0));
        let share = |time: f64| Ppm::new(if time < FAULT { 1_000_000 } else { 600_000 });
        let mut others = DRIVE.to_vec();
        others
            .extend((0..400).map(f64::from).map(|time| (time * 0.5 + 0.01, Signal::SpeedReference(share(time * 0.5)))));
        let inputs = leg(8, ratio(&settings), &slows, &|_| 0.006, 200.0, 11, &others);
        let verdicts = judged(&settings, &inputs);
        assert_eq!(raised(&verdicts, Condition::FasterThanNormal), [], "{takes}: {:?}", all_raised(&verdicts));
    }
}

// Slip in pulses.

#[test]
fn slip_in_pulses_is_an_alarm_within_two_minutes() {
    for (share, lasts, every) in [(0.12, 1.5, 5.0), (0.2, 1.0, 6.0), (0.12, 0.6, 1.9)] {
        let settings = example();
        let pulses = move |time: f64| 0.007 + if time >= FAULT && time % every < lasts { share } else { 0.0 };
        let inputs = leg(4, ratio(&settings), &running, &pulses, FAULT + 130.0, 12, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        let alarm = raised(&verdicts, Condition::SlipMean);
        assert!(
            alarm.first().is_some_and(|(at, ..)| *at > FAULT + 10.0 && *at < FAULT + 120.0),
            "{share}, {lasts} s every {every} s: {:?}",
            all_raised(&verdicts)
        );
        assert!(alarm.iter().all(|(_, value, setpoint)| value.is_some_and(|value| value >= *setpoint)));
    }
}

/// Creep, a start under load, and a belt that surges to and fro: none of them comes back often enough.
#[test]
fn slip_that_passes_is_no_alarm() {
    let settings = example();
    let creep = |_: f64| 0.02;
    let start = |time: f64| 0.01 + if time < 5.0 { 0.1 } else { 0.0 };
    let surges = |time: f64| 0.01 + 0.02 * (time * 4.0).sin();
    for (name, slip) in [("creep", &creep as &dyn Fn(f64) -> f64), ("start", &start), ("surges", &surges)] {
        let inputs = leg(4, ratio(&settings), &running, slip, 300.0, 13, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        assert_eq!(raised(&verdicts, Condition::SlipMean), [], "{name}: {:?}", all_raised(&verdicts));
    }
}

// A torn edge.

/// Rubs of a tenth of a second on one contact, at these seconds.
fn rubs(times: impl Iterator<Item = f64>) -> Vec<(f64, Signal)> {
    let rub = |at| {
        let says = |state| Signal::Contact(Place::BootLeft, state);
        [(at, says(ContactState::Rubbing)), (at + 0.1, says(ContactState::Clear))]
    };
    with(&times.flat_map(rub).collect::<Vec<_>>())
}

/// How long the belt takes to go round, in seconds.
fn loop_s(settings: &Settings) -> f64 {
    let round = settings.machine.belt.loop_length.get() as f64 / settings.machine.boot_circumference().get() as f64;
    round / (SPEED * ratio(settings) * (1.0 - 0.006))
}

#[test]
fn a_torn_edge_that_brushes_once_a_loop_is_an_alarm() {
    let settings = example();
    let every = loop_s(&settings);
    // The belt may be a per cent longer than it says in the settings.
    for longer in [0.99, 1.0, 1.01] {
        let times = (0..6).map(|round| FAULT + f64::from(round) * every * longer);
        let inputs = leg(4, ratio(&settings), &running, &|_| 0.006, FAULT + 12.0 * every, 14, &rubs(times));
        let verdicts = judged(&settings, &inputs);
        let alarm = raised(&verdicts, Condition::RubAtOnePlace);
        assert_eq!(alarm.len(), 1, "{longer}: {:?}", all_raised(&verdicts));
        assert!(alarm[0].0 > FAULT + 2.5 * every && alarm[0].0 < FAULT + 4.1 * every, "{:?}", alarm);
        // It ends once nothing has rubbed there for a loop.
        let returned = verdicts.iter().any(|verdict| {
            matches!(verdict.change, Change::Alarm { condition: Condition::RubAtOnePlace, to, .. } if !to.holds())
        });
        assert!(returned, "{longer}");
    }
}

/// A belt that wanders brushes anywhere.
#[test]
fn rubs_anywhere_are_not_at_one_place() {
    let settings = example();
    let every = loop_s(&settings);
    for seed in 0..4 {
        let mut random = Random(seed);
        let times = (0..40).map(move |round| FAULT + (f64::from(round) + 0.9 * random.unit()) * every);
        let inputs = leg(4, ratio(&settings), &running, &|_| 0.006, FAULT + 42.0 * every, seed, &rubs(times));
        let verdicts = judged(&settings, &inputs);
        assert_eq!(raised(&verdicts, Condition::RubAtOnePlace), [], "{seed}: {:?}", all_raised(&verdicts));
    }
}

// Both shafts jam, and no drive contact says that anybody stopped the leg.

fn without_contact(targets: u8) -> Settings {
    let mut settings = with_targets(targets, SPEED);
    settings.machine.drive_contact = false;
    settings
}

/// Both shafts come to rest within so many seconds, and stay there for a minute.
fn comes_to_rest(settings: &Settings, targets: u8, takes: f64, phase: f64) -> Vec<Verdict> {
    let begins = FAULT + phase;
    let stops = move |time: f64| running(time) * (1.0 - (time - begins) / takes).clamp(0.0, 1.0);
    let others = [(FAULT + 60.0, Signal::Tick)];
    judged(settings, &leg(targets, ratio(settings), &stops, &|_| 0.006, FAULT + takes + 2.0, 15, &others))
}

#[test]
fn both_shafts_jammed_within_a_second_stay_stopped() {
    for targets in [4, 8, 16] {
        let settings = without_contact(targets);
        for takes in [0.1, 0.3, 0.6, 0.9] {
            for phase in 0..8 {
                let verdicts = comes_to_rest(&settings, targets, takes, f64::from(phase) * 0.03);
                assert!(
                    dropped(&verdicts, Permit::Run).is_some(),
                    "{targets} targets, {takes} s, phase {phase}: {:?}",
                    all_raised(&verdicts)
                );
            }
        }
    }
}

#[test]
fn an_ordinary_stop_without_a_contact_latches_nothing() {
    for targets in [4, 8, 16] {
        let settings = without_contact(targets);
        for takes in [2.5, 5.0, 12.0] {
            for phase in 0..8 {
                let verdicts = comes_to_rest(&settings, targets, takes, f64::from(phase) * 0.03);
                assert_eq!(
                    dropped(&verdicts, Permit::Run),
                    None,
                    "{targets} targets, {takes} s, phase {phase}: {:?}",
                    all_raised(&verdicts)
                );
            }
        }
    }
}

/// A leg whose settings say that it runs down faster than that may.
#[test]
fn a_leg_that_is_said_to_stop_fast_may() {
    let mut settings = without_contact(16);
    settings.limits.starts.shortest_coast_down = Span::from_millis(1_000);
    for phase in 0..8 {
        let verdicts = comes_to_rest(&settings, 16, 1.1, f64::from(phase) * 0.03);
        assert_eq!(dropped(&verdicts, Permit::Run), None, "{phase}: {:?}", all_raised(&verdicts));
    }
}

// Two wrong words.

/// The belt stops under a head that has lost a target: wherever it stood then, it is no failure of both sensors.
#[test]
fn a_belt_stop_with_a_head_target_missing_is_called_a_belt_stop() {
    for targets in [4_u8, 8] {
        let settings = with_targets(targets, SPEED);
        for step in 0..12 {
            let stops = FAULT + f64::from(step) / 12.0 / SPEED;
            let slip = move |time: f64| if time < stops { 0.006 } else { 1.0 };
            let inputs = leg(targets, ratio(&settings), &running, &slip, FAULT + 15.0, 16, &DRIVE);
            // The third target of each turn is gone from 15 s on.
            let mut edges = 0_usize;
            let inputs: Vec<Input> = inputs
                .into_iter()
                .filter(|input| {
                    let head = is_edge_of(input, Shaft::Head);
                    edges += usize::from(head);
                    !head || (edges - 1) / 2 % usize::from(targets) != 2 || seconds(input.at) < 15.0
                })
                .collect();
            let verdicts = judged(&settings, &inputs);
            assert_eq!(raised(&verdicts, Condition::BothSilent), [], "{targets}, {step}: {:?}", all_raised(&verdicts));
            assert!(
                dropped(&verdicts, Permit::Run).is_some_and(|at| at < stops + 2.6),
                "{targets}, {step}: {:?}",
                all_raised(&verdicts)
            );
        }
    }
}

/// Slip passes its setpoint and comes back a little: still wrong when the delay ends, and told is what made it so.
#[test]
fn the_value_told_is_the_one_judged() {
    let settings = example();
    for condition in [Condition::SlipVeryHigh, Condition::SlipHigh] {
        let setpoint = f64::from(settings.limits.of(condition).setpoint) * 1e-6;
        let lasts = if condition == Condition::SlipHigh { 3.6 } else { 1.0 };
        let slip = move |time: f64| match time - FAULT {
            past if past < 0.0 => 0.006,
            past if past < lasts => setpoint + 0.012,
            _ => setpoint - 0.006,
        };
        let inputs = leg(4, ratio(&settings), &running, &slip, FAULT + 15.0, 17, &DRIVE);
        let verdicts = judged(&settings, &inputs);
        let alarm = raised(&verdicts, condition);
        assert!(!alarm.is_empty(), "{condition:?}: {:?}", all_raised(&verdicts));
        for (_, value, setpoint) in alarm {
            assert!(value.is_some_and(|value| value >= setpoint), "{condition:?}: {value:?} of {setpoint}");
        }
    }
}
