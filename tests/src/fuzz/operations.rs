//! Sequences of inputs through the monitor, against what must hold whatever comes.

use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, CountedEdges, Settings, Spacing, SpeedReference, Targets};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};
use slackside::verdict::{Change, Permit, Verdict};
use slackside_desk::monitor::monitor as monitor_of;

/// Bytes as a leg and a sequence of inputs.
///
/// # Panics
/// If the same inputs give other verdicts a second time or with ticks between them, if a command by the link gives a permit,
/// if stamps go backwards, or if feed is allowed where running is not.
pub fn monitor(bytes: &[u8]) {
    let mut bytes = Bytes(bytes);
    let settings = leg(bytes.next());
    let inputs = inputs(&mut bytes);
    let plain = run(&settings, &inputs, Ticks::None, Leaps::Left);
    let ways = [
        ("equal inputs gave other verdicts", Ticks::None),
        ("ticks at deadlines changed the verdicts", Ticks::Deadlines),
        ("extra ticks changed the verdicts", Ticks::Between),
    ];
    for (what, ticks) in ways {
        if let Some(first) = first_difference(&plain, &run(&settings, &inputs, ticks, Leaps::Left)) {
            panic!("{what}: {first:?}");
        }
    }
    // A wait of days is leapt over, and ticks in it move where: after it slip heat is looked at up to a cell sooner or later. So
    // whatever differs first is slip heat.
    if inputs.is_sorted_by(|one, other| leap(one.at.get(), other.at.get()).is_none()) {
        return;
    }
    for (what, ticks) in &ways[1..] {
        let ticked = run(&settings, &inputs, *ticks, Leaps::Ticked);
        if let Some(first) = first_difference(&plain, &ticked).filter(|first| !first.iter().flatten().any(is_heat)) {
            panic!("{what} after a wait of days: {first:?}");
        }
    }
}

/// The first difference only: whole streams are too long to read.
fn first_difference(plain: &[Verdict], other: &[Verdict]) -> Option<[Option<Verdict>; 2]> {
    let length = plain.len().max(other.len());
    let pairs = (0..length).map(|index| [plain.get(index).copied(), other.get(index).copied()]);
    pairs.into_iter().find(|[one, other]| one != other)
}

fn is_heat(verdict: &Verdict) -> bool {
    matches!(verdict.change, Change::Alarm { condition: Condition::SlipHeat, .. })
}

struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    /// The next byte; zeros after the end.
    fn next(&mut self) -> u8 {
        let Some((first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        *first
    }

    fn word(&mut self) -> u32 {
        u32::from_le_bytes([self.next(), self.next(), self.next(), self.next()])
    }
}

/// Several legs that settings allow.
fn leg(choice: u8) -> Checked {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    let targets = |count, edges| Targets {
        count,
        edges,
        spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
        supervised: true,
    };
    match choice % 5 {
        0 => {}
        1 => machine.head_targets = None,
        2 => {
            machine.head_targets = Some(targets(1, CountedEdges::Rising));
            machine.boot_targets = Some(targets(8, CountedEdges::Falling));
        }
        3 => {
            machine.temperatures = [true; 4];
            machine.power_meter = true;
            machine.outlet_switch = true;
            machine.speed_reference =
                Some(SpeedReference { minimum: Ppm::from_percent(90), ramp_per_second: Ppm::from_percent(20) });
        }
        _ => machine.contacts = [None; 4],
    }
    settings.check().unwrap_or_else(|violations| {
        let told: Vec<_> = violations.iter().map(ToString::to_string).collect();
        panic!("leg {} of the fuzz body is refused: {}", choice % 5, told.join("; "))
    })
}

/// Steps of time of every size that matters, rarely backwards.
fn later(now: u64, bytes: &mut Bytes<'_>) -> u64 {
    let choice = bytes.next();
    let fine = u64::from(bytes.next());
    let step = match choice % 16 {
        0 => 0,
        1 => return now.saturating_sub(fine),
        2 => fine,
        3 => 199 + fine % 3,
        4..=9 => 900 * fine,
        10..=12 => 10_000 * fine,
        13 => 1_000_000 * fine,
        14 => fine << 24,
        _ => fine << 56,
    };
    now.saturating_add(step)
}

fn inputs(bytes: &mut Bytes<'_>) -> Vec<Input> {
    let mut now = u64::from(bytes.next()) << 27;
    let mut inputs = Vec::new();
    while !bytes.0.is_empty() && inputs.len() < 4_000 {
        now = later(now, bytes);
        let choice = bytes.next();
        // A run of regular edges says more than one edge: without it no leg ever comes to speed.
        if choice >= 0xF0 {
            let (turns, step) = (u64::from(bytes.next() % 32), 20_000 + 1_000 * u64::from(bytes.next()));
            let lag = u64::from(bytes.next()) * step / 1_024;
            for turn in 0..turns {
                let begin = now.saturating_add(turn * step);
                for (after, shaft, level) in [
                    (0, Shaft::Head, true),
                    (step / 3, Shaft::Head, false),
                    (step / 2 + lag * turn / 32, Shaft::Boot, true),
                    (step / 2 + lag * turn / 32 + step / 3, Shaft::Boot, false),
                ] {
                    inputs.push(Input::new(Micros::new(begin.saturating_add(after)), Signal::Edge(shaft, level)));
                }
            }
            now = now.saturating_add(turns * step);
            continue;
        }
        inputs.push(Input::new(Micros::new(now), signal(choice, bytes)));
    }
    inputs
}

fn signal(choice: u8, bytes: &mut Bytes<'_>) -> Signal {
    let shaft = if choice & 16 == 0 { Shaft::Head } else { Shaft::Boot };
    let level = choice & 32 == 0;
    let place = Place::ALL[usize::from(choice >> 4) % Place::COUNT];
    match choice % 16 {
        0..=4 => Signal::Edge(shaft, level),
        5 => Signal::Line(shaft, [LineState::Sound, LineState::Open, LineState::Shorted][usize::from(choice >> 6) % 3]),
        6 => Signal::EdgesLost(shaft),
        7 | 8 => Signal::Contact(
            place,
            [ContactState::Clear, ContactState::Rubbing, ContactState::Faulty][usize::from(bytes.next()) % 3],
        ),
        9 => Signal::Temperature(place, DeciCelsius::new(bytes.word() as i16)),
        10 => Signal::DriveRunning(level),
        11 => Signal::DrivePower(Watts::new(bytes.word())),
        12 => Signal::SpeedReference(Ppm::new(bytes.word() as i32)),
        13 => Signal::OutletPlugged(level),
        _ => {
            let origin = if level { Origin::Leg } else { Origin::Link };
            Signal::Command(origin, command(bytes))
        }
    }
}

fn command(bytes: &mut Bytes<'_>) -> Command {
    let (which, more) = (bytes.next(), bytes.next());
    let on = more & 1 == 0;
    match which % 9 {
        0 => Command::Acknowledge,
        1 => Command::Reset,
        2 => Command::ResetButton(on),
        3 => Command::BootCleared,
        4 => Command::Key(on),
        5 => Command::Bypass(Condition::ALL[usize::from(more) % Condition::COUNT], Span::new(bytes.word())),
        6 => Command::EndBypass,
        7 => Command::Inch(on),
        _ => Command::ProofTest(on),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Ticks {
    None,
    Deadlines,
    Between,
}

/// A day and a half.
const LEAPT: u64 = 1 << 37;

/// Whether waits of days are ticked in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Leaps {
    Left,
    Ticked,
}

/// How long a wait is that is leapt over.
fn leap(from: u64, to: u64) -> Option<u64> {
    Some(to.saturating_sub(from)).filter(|wait| *wait >= LEAPT)
}

/// So many deadlines between two inputs are ticked at, and so many in a run. A leg that waits for years has more.
const MOST_DEADLINES: usize = 200;
const MOST_DEADLINES_IN_A_RUN: usize = 2_000;

fn run(settings: &Checked, inputs: &[Input], ticks: Ticks, leaps: Leaps) -> Vec<Verdict> {
    let mut monitor = monitor_of(settings, &Retained::default());
    let mut newest = Micros::ZERO;
    let mut verdicts = Vec::new();
    let mut deadlines = MOST_DEADLINES_IN_A_RUN;
    for input in inputs {
        let leapt = newest > Micros::ZERO && leap(newest.get(), input.at.get()).is_some();
        match ticks {
            Ticks::None => {}
            _ if leapt && leaps == Leaps::Left => {}
            Ticks::Deadlines => {
                for _ in 0..MOST_DEADLINES.min(deadlines) {
                    // At the end of time nothing lies ahead.
                    let due = monitor.next_deadline().filter(|due| *due <= input.at && *due < Micros::MAX);
                    let Some(due) = due else { break };
                    deadlines -= 1;
                    monitor.observe(Input::new(due, Signal::Tick), &mut |verdict| verdicts.push(*verdict));
                    let next = monitor.next_deadline();
                    assert!(next.is_none_or(|next| next > due), "ticking at {due:?} does not settle what is due then");
                    newest = newest.max(due);
                }
            }
            // Time begins with the first input; a tick before it would be that first input.
            Ticks::Between if newest == Micros::ZERO => {}
            Ticks::Between => {
                let gap = input.at.get().saturating_sub(newest.get());
                for share in [3, 2, 1].into_iter().filter(|_| gap > 0) {
                    let at = Micros::new(input.at.get() - gap / 4 * share);
                    monitor.observe(Input::new(at, Signal::Tick), &mut |verdict| verdicts.push(*verdict));
                }
            }
        }
        if let Signal::Command(Origin::Link, command) = input.signal {
            // Whatever is due by itself is settled first, so that what follows is the command's own doing.
            let at = input.at.max(newest);
            monitor.observe(Input::new(at, Signal::Tick), &mut |verdict| verdicts.push(*verdict));
            let before = verdicts.len();
            monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
            for verdict in &verdicts[before..] {
                let gives = matches!(verdict.change, Change::Permit { allowed: true, .. });
                assert!(!gives, "{command:?} by the link gave a permit: {verdict:?}");
            }
        } else {
            monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
        }
        newest = newest.max(input.at);
        let status = monitor.status();
        assert!(status.run_permit || !status.feed_permit, "feed is allowed where running is not");
    }
    hold(&verdicts, newest);
    verdicts
}

/// What holds for every stream.
fn hold(verdicts: &[Verdict], newest: Micros) {
    assert!(verdicts.is_sorted_by_key(|verdict| verdict.at), "stamps go backwards");
    assert!(verdicts.last().is_none_or(|last| last.at <= newest), "a verdict from the future");
    let (mut run, mut feed) = (false, false);
    for verdict in verdicts {
        if let Change::Permit { permit, allowed, .. } = verdict.change {
            let held = match permit {
                Permit::Run => &mut run,
                Permit::Feed => &mut feed,
            };
            assert_ne!(*held, allowed, "a permit changed to what it was: {verdict:?}");
            *held = allowed;
        }
    }
}
