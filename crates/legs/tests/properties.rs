//! What must hold for the core by itself, whatever comes: ticks, shifts of time, order at equal times, snapshots, and random bytes for its
//! state.

use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::act;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};
use slackside_legs::random::Random;
use slackside_legs::{Frame, Leg, Monitor, leg, tick};

fn made(seed: u64, begin_us: u64, seconds: f64) -> Leg {
    leg(seed, Frame { begin_us: Some(begin_us), seconds: Some(seconds) })
}

fn fresh(leg: &Leg) -> Box<Monitor> {
    leg.make.monitor(&Retained::default())
}

fn observe(monitor: &mut Monitor, input: Input, all: &mut Vec<Verdict>) {
    monitor.observe(input, &mut |verdict| all.push(*verdict));
}

fn play(monitor: &mut Monitor, inputs: &[Input]) -> Vec<Verdict> {
    let mut all = Vec::new();
    for input in inputs {
        observe(monitor, *input, &mut all);
    }
    all
}

/// With ticks at each deadline and a microsecond before, and at random times.
fn ticked(leg: &Leg, random: &mut Random) -> Vec<Verdict> {
    let mut monitor = fresh(leg);
    let mut all = Vec::new();
    let mut began = false;
    for input in &leg.inputs {
        let mut asked = 0;
        while let Some(due) = monitor.next_deadline().filter(|due| began && *due <= input.at) {
            let before = all.len();
            if due > monitor.newest() {
                observe(&mut monitor, tick(due.get() - 1), &mut all);
            }
            assert_eq!(all.len(), before, "before {due:?}: {:?}", all.last());
            observe(&mut monitor, tick(due.get()), &mut all);
            assert!(all[before..].iter().all(|verdict| verdict.at == due), "due at {due:?}: {:?}", all.last());
            asked += 1;
            assert!(asked < 1_000_000, "asks for ticks without end at {due:?}");
        }
        if began && random.chance(0.2) && input.at > monitor.newest() {
            let gap = input.at.get() - monitor.newest().get();
            let at = monitor.newest().get() + random.next_u64() % (gap + 1);
            observe(&mut monitor, tick(at), &mut all);
        }
        observe(&mut monitor, *input, &mut all);
        began = true;
    }
    all
}

/// Tells the first difference only: whole streams are too long to read.
fn alike(one: &[Verdict], other: &[Verdict]) -> Result<(), TestCaseError> {
    if one != other {
        let at = one.iter().zip(other).position(|(one, other)| one != other).unwrap_or(one.len().min(other.len()));
        return Err(TestCaseError::fail(format!("at {at}:\n  one   {:?}\n  other {:?}", one.get(at), other.get(at))));
    }
    Ok(())
}

fn bytes(monitor: &Monitor) -> Vec<u8> {
    let mut all = Vec::new();
    monitor.parts(&mut |part| all.extend_from_slice(part));
    all
}

fn restore(monitor: &mut Monitor, mut bytes: &[u8]) {
    monitor.parts_mut(&mut |part| {
        let (these, rest) = bytes.split_at(part.len());
        part.copy_from_slice(these);
        bytes = rest;
    });
    assert!(bytes.is_empty());
}

fn gives(verdict: &Verdict) -> bool {
    matches!(verdict.change, Change::Permit { allowed: true, .. })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, max_shrink_iters: 30, ..ProptestConfig::default() })]

    #[test]
    fn ticks_change_nothing(seed in any::<u32>(), extra in any::<u64>()) {
        let leg = made(seed.into(), 0, 120.0);
        alike(&play(&mut fresh(&leg), &leg.inputs), &ticked(&leg, &mut Random(extra)))?;
    }

    /// By whole steps of the slow count: what happens within one is rounded to it.
    #[test]
    fn where_time_begins_changes_nothing(seed in any::<u32>(), shift in prop_oneof![0..(1_u64 << 12), 0..(1_u64 << 53)]) {
        let leg = made(seed.into(), 1_024, 120.0);
        let shift = shift << 10;
        let moved: Vec<Input> =
            leg.inputs.iter().map(|input| Input::new(Micros::new(input.at.get().saturating_add(shift)), input.signal)).collect();
        let plain: Vec<Verdict> = play(&mut fresh(&leg), &leg.inputs)
            .into_iter()
            .map(|verdict| Verdict { at: Micros::new(verdict.at.get() + shift), ..verdict })
            .collect();
        alike(&plain, &play(&mut fresh(&leg), &moved))?;
    }

    /// Stamps never go backwards, none is of the future, and the status is what the verdicts say.
    #[test]
    fn verdicts_come_in_order_and_say_what_the_status_says(seed in any::<u32>(), begin in any::<u32>()) {
        let leg = made(seed.into(), u64::from(begin) << 12, 120.0);
        let mut monitor = fresh(&leg);
        let (mut newest, mut run, mut feed) = (Micros::ZERO, false, false);
        let mut phase = monitor.status().phase;
        for input in &leg.inputs {
            let mut all = Vec::new();
            observe(&mut monitor, *input, &mut all);
            for verdict in all {
                prop_assert!(verdict.at >= newest && verdict.at <= monitor.newest(), "{verdict:?}");
                newest = verdict.at;
                match verdict.change {
                    Change::Permit { permit, allowed, .. } => {
                        let held = if permit == Permit::Run { &mut run } else { &mut feed };
                        prop_assert!(*held != allowed, "{verdict:?}");
                        *held = allowed;
                    }
                    Change::Alarm { from, to, .. } => prop_assert!(from != to, "{verdict:?}"),
                    Change::Phase(now) => {
                        prop_assert!(now != phase, "{verdict:?}");
                        phase = now;
                    }
                    _ => {}
                }
            }
            let status = monitor.status();
            prop_assert_eq!((status.run_permit, status.feed_permit, status.phase), (run, feed, phase));
            prop_assert!(run || !feed);
            prop_assert!(monitor.next_deadline().is_none_or(|due| due > monitor.newest()), "a deadline that has passed");
        }
    }

    /// The state's bytes, put into another monitor at any moment, have the same future.
    #[test]
    fn a_snapshot_at_any_moment_has_the_same_future(seed in any::<u32>(), share in 0.0..1.0_f64, begin in any::<u32>()) {
        let leg = made(seed.into(), u64::from(begin) << 10, 120.0);
        let cut = (leg.inputs.len() as f64 * share) as usize;
        let (past, future) = leg.inputs.split_at(cut);
        let mut first = fresh(&leg);
        play(&mut first, past);
        let mut second = fresh(&leg);
        // What another leg left behind must not show.
        play(&mut second, &future[..future.len().min(50)]);
        restore(&mut second, &bytes(&first));
        prop_assert_eq!(bytes(&second), bytes(&first));
        alike(&play(&mut first, future), &play(&mut second, future))?;
        prop_assert_eq!(bytes(&second), bytes(&first));
    }

    /// A command by the link gives no permit.
    #[test]
    fn no_command_by_the_link_gives_a_permit(seed in any::<u32>(), choice in any::<u64>()) {
        let leg = made(seed.into(), 0, 120.0);
        let mut monitor = fresh(&leg);
        let mut random = Random(choice);
        for input in &leg.inputs {
            observe(&mut monitor, *input, &mut Vec::new());
            if random.chance(0.02) {
                let command = random.one_of(&[
                    Command::Acknowledge, Command::Reset, Command::ResetButton(true), Command::ResetButton(false),
                    Command::BootCleared, Command::Key(true), Command::EndBypass, Command::Inch(true), Command::ProofTest(true),
                ]);
                let mut all = Vec::new();
                let at = monitor.newest();
                observe(&mut monitor, Input::new(at, Signal::Command(Origin::Link, command)), &mut all);
                prop_assert!(!all.iter().any(gives), "{command:?}: {all:?}");
            }
        }
    }
}

/// As [`observe`]; a state that makes no end of verdicts fails at once, and not when memory is full.
fn observe_few(monitor: &mut Monitor, input: Input, all: &mut Vec<Verdict>) {
    monitor.observe(input, &mut |verdict| {
        assert!(
            all.len() < 100_000,
            "no end of verdicts at {:?}: {verdict:?}, {:?}",
            input,
            all[all.len() - 3..].iter()
        );
        all.push(*verdict);
    });
}

/// So long takes no computer, however busy, unless something goes round for ever.
const FOR_EVER_S: u64 = 600;
/// Inputs that a monitor with nonsense for a state is given.
const BOUND: usize = 400;

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, max_shrink_iters: 30, ..ProptestConfig::default() })]

    /// Any bytes as state: nothing panics, nothing hangs, and no permit is given while a stop holds or the boot must be looked into. What the
    /// bytes claim may stand until the next step; what comes in from outside (images, keyframes) has its CRC before that.
    #[test]
    fn random_bytes_as_state_do_no_harm(
        seed in any::<u32>(),
        noise in any::<u64>(),
        sparse in any::<bool>(),
        at in prop_oneof![Just(0_u64), any::<u64>(), (0..1_u64 << 45)],
    ) {
        let leg = made(u64::from(seed % 64), 0, 30.0);
        let mut monitor = fresh(&leg);
        let mut random = Random(noise);
        let cut = random.next_u64() as usize % leg.inputs.len();
        play(&mut monitor, &leg.inputs[..cut]);
        monitor.parts_mut(&mut |part| {
            for byte in part.iter_mut() {
                // All of it, or here and there a byte of a state that made sense.
                if !sparse || random.chance(0.02) {
                    *byte = random.next_u64() as u8;
                }
            }
        });
        let (mut all, mut permits) = (Vec::new(), 0_u32);
        let begun = std::time::Instant::now();
        for input in leg.inputs.iter().take(BOUND) {
            let later = Micros::new(input.at.get().saturating_add(at));
            let told = all.len();
            observe_few(&mut monitor, Input::new(later, input.signal), &mut all);
            let given = all[told..].iter().rev().find_map(|verdict| match verdict.change {
                Change::Permit { permit: Permit::Run, allowed, .. } => Some(allowed),
                _ => None,
            });
            if given == Some(true) {
                let (status, plan) = (monitor.status(), monitor.plan().expect("a plan"));
                let stops = |condition: &Condition| plan.acts(condition.rank()) & act::STOP != 0;
                let holding = Condition::ALL.into_iter().filter(stops).find(|stop| monitor.alarm(*stop).holds());
                prop_assert!(status.run_permit && !status.boot_cleared_needed && holding.is_none(), "{:?}: {:?}", holding, status);
                permits += 1;
            }
            let due = monitor.next_deadline();
            prop_assert!(due.is_none_or(|due| due >= monitor.newest()));
            let _ = (monitor.status(), monitor.retained(), monitor.slip_heat_at(later));
            prop_assert!(begun.elapsed().as_secs() < FOR_EVER_S, "hangs at {later:?}, newest {:?}", monitor.newest());
        }
        // Hours later, and at the end of time.
        for late in [1 << 32, 1 << 42, u64::MAX] {
            observe_few(&mut monitor, tick(late), &mut all);
            prop_assert!(begun.elapsed().as_secs() < FOR_EVER_S, "hangs until {late}, newest {:?}", monitor.newest());
        }
        if permits > 0 {
            println!("{permits} permits given");
        }
    }
}

/// All-zero state is the state before a plan: nothing is seen and nothing allowed.
#[test]
fn before_a_plan_nothing_is_allowed() {
    let leg = made(3, 0, 60.0);
    let mut monitor = Box::new(Monitor::new());
    assert!(play(&mut monitor, &leg.inputs).is_empty());
    let status = monitor.status();
    assert!(!status.run_permit && !status.feed_permit && monitor.next_deadline().is_none());
    assert!(bytes(&Monitor::new()).iter().all(|byte| *byte == 0), "the state before a plan is not all zero");
}

/// At equal times: what falls due comes before what is told; a tick changes nothing, and shafts and contacts keep their order.
#[test]
fn what_falls_due_comes_before_what_is_told_at_the_same_time() {
    let leg = made(5, 0, 60.0);
    let mut monitor = fresh(&leg);
    let mut checked = 0;
    for input in &leg.inputs {
        observe(&mut monitor, *input, &mut Vec::new());
        let Some(due) = monitor.next_deadline().filter(|due| due.get() - monitor.newest().get() < 1_000_000) else {
            continue;
        };
        let signal = Signal::Command(Origin::Link, Command::Reset);
        let (mut ticked, mut told) = (monitor.clone(), monitor.clone());
        let (mut with, mut without) = (Vec::new(), Vec::new());
        observe(&mut ticked, tick(due.get()), &mut with);
        observe(&mut ticked, Input::new(due, signal), &mut with);
        observe(&mut told, Input::new(due, signal), &mut without);
        assert_eq!(with, without);
        checked += 1;
    }
    assert!(checked > 20, "{checked}");
    // A head edge and a boot edge of one moment give the same in both orders, as far as the shafts go.
    let mut one = fresh(&leg);
    let mut other = fresh(&leg);
    let edges = [Shaft::Head, Shaft::Boot].map(|shaft| Input::new(Micros::new(500), Signal::Edge(shaft, true)));
    play(&mut one, &edges);
    play(&mut other, &[edges[1], edges[0]]);
    assert_eq!(one.signals(), other.signals());
}
