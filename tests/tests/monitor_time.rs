//! Time runs inside the core: who ticks, how often, and where time begins change nothing in the verdict stream.

use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, Origin, Place, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};
use slackside::verdict::{Permit, Verdict};
use slackside_desk::monitor::monitor;
use slackside_tests::session::{at, dropped, merge, verdicts};
use slackside_tests::wheels::{Random, Wheel, Wheels};

fn example() -> Checked {
    let mut settings = Settings::example();
    settings.machine.power_meter = true;
    settings.machine.outlet_switch = true;
    settings.machine.temperatures = [true; 4];
    settings.check().expect("sound settings")
}

/// Twenty seconds of a leg that starts, slips as told, and is meddled with at random.
fn story(seed: u64, begin_us: u64, slip_per_second: f64) -> Vec<Input> {
    told(seed, begin_us, slip_per_second, true)
}

/// The same, and whether anybody meddles with it.
fn told(seed: u64, begin_us: u64, slip_per_second: f64, meddled: bool) -> Vec<Input> {
    let mut random = Random(seed);
    let slip_from = 6.0 + 6.0 * random.unit();
    let sag = 0.3 * random.unit();
    let wheels = Wheels {
        head: Some(Wheel::with_spacing_error(4, 0.02, seed).jittered(5.0)),
        boot: Some(Wheel::with_spacing_error(4, 0.02, seed + 1).jittered(5.0)),
        ratio: 1.039_474,
        head_speed: &|time| {
            let up = ((time - 1.0) / 2.0).clamp(0.0, 1.0);
            let down = if time > 17.0 { (1.0 - (time - 17.0) / 2.0).max(0.0) } else { 1.0 };
            1.31 * up * down * (1.0 - if time > 9.0 { sag } else { 0.0 })
        },
        slip: &|time| (slip_per_second * (time - slip_from)).clamp(0.005, 0.999),
        begin_us,
        seed,
    };
    let mut meddling = vec![
        at(begin_us, 0.0, Signal::DriveRunning(false)),
        at(begin_us, 1.0, Signal::DriveRunning(true)),
        at(begin_us, 17.0, Signal::DriveRunning(false)),
    ];
    for _ in 0..if meddled { random.next_u64() % 24 } else { 0 } {
        let when = 20.0 * random.unit();
        meddling.push(at(begin_us, when, any_signal(&mut random)));
    }
    meddling.sort_by_key(|input| input.at);
    let last = at(begin_us, 40.0, Signal::Tick);
    merge(&[&meddling, &wheels.edges(20.0), &[last]])
}

fn any_signal(random: &mut Random) -> Signal {
    let number = random.next_u64();
    let place = Place::ALL[(number >> 8) as usize % 4];
    let shaft = if number & 16 == 0 { Shaft::Head } else { Shaft::Boot };
    let origin = if number & 32 == 0 { Origin::Leg } else { Origin::Link };
    match number % 16 {
        0..4 => Signal::Contact(
            place,
            [ContactState::Clear, ContactState::Rubbing, ContactState::Faulty][(number >> 12) as usize % 3],
        ),
        4 => Signal::Temperature(place, DeciCelsius::new((number >> 16) as i16 % 1_000)),
        5 => Signal::DrivePower(Watts::new((number >> 16) as u32 % 40_000)),
        6 => Signal::OutletPlugged(number & 64 == 0),
        7 => Signal::Command(origin, Command::Acknowledge),
        8 => Signal::Command(origin, Command::Reset),
        9 => Signal::Command(origin, Command::ResetButton(number & 64 == 0)),
        10 => Signal::Command(origin, Command::BootCleared),
        11 => Signal::Command(origin, Command::Key(number & 64 == 0)),
        12 => Signal::Command(
            origin,
            Command::Bypass(
                Condition::ALL[(number >> 16) as usize % Condition::COUNT],
                Span::from_millis((number >> 24) as u32 % 9_000),
            ),
        ),
        13 => Signal::Command(origin, Command::Inch(number & 64 == 0)),
        14 => Signal::Command(origin, Command::ProofTest(number & 64 == 0)),
        _ => Signal::Edge(shaft, number & 64 == 0),
    }
}

/// As [`verdicts`], with ticks wherever the monitor asks for one, a microsecond before each, and at `extra` times.
fn ticked(settings: &Checked, inputs: &[Input], extra: &mut Random) -> Vec<Verdict> {
    let mut monitor = monitor(settings, &Retained::default());
    let mut all: Vec<Verdict> = Vec::new();
    let mut now = Micros::ZERO;
    for input in inputs {
        let mut asked = 0;
        while let Some(due) = monitor.next_deadline().filter(|due| *due < input.at && *due >= now) {
            let before = Micros::new(due.get() - 1);
            if before >= now {
                monitor.observe(Input::new(before, Signal::Tick), &mut |verdict| panic!("{verdict:?} before {due:?}"));
            }
            monitor.observe(Input::new(due, Signal::Tick), &mut |verdict| {
                assert_eq!(verdict.at, due);
                all.push(*verdict);
            });
            now = due;
            asked += 1;
            assert!(asked < 10_000, "asks for ticks without end at {due:?}");
        }
        // The very first input begins time; a tick before it would begin it sooner.
        if now > Micros::ZERO && extra.next_u64().is_multiple_of(4) && input.at > now {
            now = Micros::new(now.get() + extra.next_u64() % (input.at.get() - now.get() + 1));
            monitor.observe(Input::new(now, Signal::Tick), &mut |verdict| all.push(*verdict));
        }
        monitor.observe(*input, &mut |verdict| all.push(*verdict));
        now = input.at.max(now);
    }
    all
}

/// The same inputs so much later give the same verdicts so much later.
fn begun_elsewhere(settings: &Checked, inputs: &[Input], shift: u64) -> Result<(), TestCaseError> {
    let moved = inputs.iter().map(|input| Input::new(Micros::new(input.at.get() + shift), input.signal));
    let moved = verdicts(settings, &moved.collect::<Vec<_>>());
    let plain = verdicts(settings, inputs);
    let plain: Vec<_> = plain.iter().map(|verdict| (verdict.at.get() + shift, verdict.change)).collect();
    let moved: Vec<_> = moved.iter().map(|verdict| (verdict.at.get(), verdict.change)).collect();
    prop_assert_eq!(plain, moved);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn ticks_change_nothing(seed in any::<u64>(), slip in 0.0..0.2_f64) {
        let settings = example();
        let inputs = story(seed >> 1, 1_000_000, slip);
        let plain = verdicts(&settings, &inputs);
        let ticked = ticked(&settings, &inputs, &mut Random(seed));
        prop_assert_eq!(plain, ticked);
    }

    #[test]
    fn where_time_begins_changes_nothing(seed in any::<u32>(), slip in 0.0..0.2_f64, shift in 1_u64..(1 << 45)) {
        let settings = example();
        let inputs = story(u64::from(seed), 1_000_000, slip);
        // Bypasses and inching end on a grid of 1,024 µs: with them by whole steps of it, without them by any shift.
        begun_elsewhere(&settings, &inputs, shift.next_multiple_of(1_024))?;
        let ends_on_the_grid =
            |input: &Input| matches!(input.signal, Signal::Command(_, Command::Bypass(..) | Command::Inch(_)));
        let others: Vec<_> = inputs.into_iter().filter(|input| !ends_on_the_grid(input)).collect();
        begun_elsewhere(&settings, &others, shift)?;
    }

    #[test]
    fn equal_inputs_give_equal_verdicts(seed in any::<u32>()) {
        let settings = example();
        let inputs = story(u64::from(seed), 7, 0.03);
        prop_assert_eq!(verdicts(&settings, &inputs), verdicts(&settings, &inputs));
    }

    /// Slip that grows faster never stops the leg later.
    #[test]
    fn more_slip_never_trips_later(seed in any::<u32>(), slower in 0.01..0.2_f64, more in 0.0..0.2_f64) {
        let settings = example();
        // Without meddling, stray edges and a switched drive among it: only slip differs.
        let quiet = |slip| {
            let inputs = told(u64::from(seed), 1_000_000, slip, false);
            let kept: Vec<_> = inputs.into_iter().filter(|input| input.at < Micros::new(18_000_000)).collect();
            dropped(&verdicts(&settings, &kept), Permit::Run)
        };
        if let Some(later) = quiet(slower) {
            let sooner = quiet(slower + more);
            // Edges come at other moments: a pitch of the head is the grain.
            let grain = Span::from_millis(200);
            prop_assert!(sooner.is_some_and(|sooner| sooner <= later.after(grain)), "{sooner:?} {later:?}");
        }
    }

    /// No order of inputs, no jump of time, no storm of edges makes it panic, and nothing that came by the link gives the permit.
    #[test]
    fn whatever_comes_nothing_breaks(seed in any::<u64>(), count in 1..3_000_usize) {
        let settings = example();
        let mut random = Random(seed);
        let mut monitor = monitor(&settings, &Retained::unreadable());
        let mut now = random.next_u64() >> (random.next_u64() % 64);
        for _ in 0..count {
            now = match random.next_u64() % 16 {
                0 => random.next_u64() >> (random.next_u64() % 64),
                1 => now.saturating_sub(random.next_u64() % 5_000_000),
                2..8 => now.saturating_add(random.next_u64() % 300_000),
                _ => now.saturating_add(random.next_u64() % 2_000),
            };
            let mut signal = if random.next_u64().is_multiple_of(3) { any_signal(&mut random) } else {
                let shaft = if random.next_u64().is_multiple_of(2) { Shaft::Head } else { Shaft::Boot };
                Signal::Edge(shaft, random.next_u64().is_multiple_of(2))
            };
            if let Signal::Command(origin, _) = &mut signal {
                *origin = Origin::Link;
            }
            if random.next_u64().is_multiple_of(50) {
                signal = Signal::SpeedReference(Ppm::new(random.next_u64() as i32));
            }
            let mut given = false;
            monitor.observe(Input::new(Micros::new(now), signal), &mut |verdict| {
                given |= matches!(verdict.change, slackside::verdict::Change::Permit { permit: Permit::Run, allowed: true, .. });
            });
            prop_assert!(!given, "the latched settings fault was overcome by {signal:?}");
            prop_assert!(!monitor.status().run_permit);
        }
    }
}
