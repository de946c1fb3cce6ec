//! A recorder through anything: floods, late inputs, trips, anchors, freezes and new plans, in any order.
#![cfg(feature = "desk")]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use proptest::prelude::*;
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::record::{Anchor, Reader, Record, Recorder};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::{Micros, Span};

type Monitor<const MARKS: usize> = slackside::Monitor<&'static Plan, MARKS>;

/// A plan that lasts as long as the test, as on a box.
fn plan(settings: Settings) -> Sound<&'static Plan> {
    let plan: &'static Plan = Box::leak(Box::new(settings.check().expect("sound").plan()));
    Sound::new(plan).expect("sound")
}

#[derive(Clone, Debug)]
enum Step {
    /// So many edges, so far apart.
    Edges(Shaft, u16, u32),
    Wait(u64),
    /// An input from so long ago.
    Late(u32),
    Tick(u32),
    Drive(bool),
    Reset,
    Anchor,
    Freeze,
    Drain,
    Plan(bool),
}

fn step() -> impl Strategy<Value = Step> {
    let shaft = prop_oneof![Just(Shaft::Head), Just(Shaft::Boot)];
    let apart = prop_oneof![20_u32..400, 40_000_u32..120_000, 1_000_000_u32..3_000_000];
    prop_oneof![
        6 => (shaft, 1_u16..600, apart).prop_map(|(shaft, count, apart)| Step::Edges(shaft, count, apart)),
        1 => (0_u64..1 << 40).prop_map(Step::Wait),
        1 => (1_u32..100_000).prop_map(Step::Late),
        1 => (0_u32..1_000_000).prop_map(Step::Tick),
        1 => any::<bool>().prop_map(Step::Drive),
        1 => Just(Step::Reset),
        1 => Just(Step::Anchor),
        1 => Just(Step::Freeze),
        2 => Just(Step::Drain),
        1 => any::<bool>().prop_map(Step::Plan),
    ]
}

/// Everything in what is held: each segment replays to the state it ends with. The inputs in it, and those it tells as missed.
fn drain(recorder: &mut Recorder<'_>, plans: &[Sound<&'static Plan>; 2]) -> (u32, u32, Vec<u32>) {
    let held: Vec<_> = recorder.held().map(|held| (held.sequence, held.bytes.to_vec())).collect();
    let (mut inputs, mut missed, mut sequences) = (0, 0, Vec::new());
    for (sequence, bytes) in held {
        recorder.release(sequence);
        let found: Vec<_> = Reader::new(&bytes).collect();
        assert_eq!(found.len(), 1);
        let (segment, damage) = &found[0];
        assert_eq!(*damage, None);
        let segment = segment.as_ref().expect("whole");
        assert_eq!(segment.header.sequence, sequence);
        sequences.push(sequence);
        missed += segment.header.missed;
        let plan = plans.iter().find(|plan| plan.identity() == segment.header.plan).expect("one of them");
        let mut monitor = Box::new(Monitor::<64>::new());
        monitor.restore(*plan, &segment.header, segment.keyframe).expect("its own keyframe");
        for record in segment.records() {
            if let Record::Input(input) = record {
                inputs += u32::from(input.signal != Signal::Tick);
                monitor.observe(input, &mut |_| {});
            }
        }
        let end = segment.end.expect("an end");
        // A monitor that has seen nothing would begin with a tick.
        if segment.records().any(|record| matches!(record, Record::Input(_))) {
            monitor.observe(Input::new(end.newest, Signal::Tick), &mut |_| {});
        }
        assert_eq!(monitor.state_crc(), end.state, "segment {sequence}");
    }
    (inputs, missed, sequences)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_held_is_whole_and_replays(steps in proptest::collection::vec(step(), 1..60), slot in 1_100_usize..3_000) {
        let mut other = Settings::example();
        other.limits.starts.window = Span::new(other.limits.starts.window.get() - 2_000);
        let plans = [plan(Settings::example()), plan(other)];
        let mut memory = vec![0; 3 * slot];
        let mut recorder = Recorder::new(&mut memory);
        let mut monitor = Box::new(Monitor::<8>::new());
        recorder.configure(&mut monitor, plans[0], &Retained::default(), 1).expect("room");
        let mut now = 1_000_000_u64;
        let mut level = [false; 2];
        let mut seen = Vec::new();
        for step in steps {
            let put = |recorder: &mut Recorder<'_>, monitor: &mut Monitor<8>, at: u64, signal| {
                recorder.observe(monitor, Input::new(Micros::new(at), signal), &mut |_| {});
            };
            match step {
                Step::Edges(shaft, count, apart) => for _ in 0..count {
                    now += u64::from(apart);
                    let level = &mut level[shaft as usize];
                    *level = !*level;
                    put(&mut recorder, &mut monitor, now, Signal::Edge(shaft, *level));
                },
                Step::Wait(wait) => now += wait,
                Step::Late(ago) => {
                    put(&mut recorder, &mut monitor, now, Signal::Tick);
                    put(&mut recorder, &mut monitor, now.saturating_sub(ago.into()), Signal::EdgesLost(Shaft::Boot));
                }
                Step::Tick(after) => {
                    now += u64::from(after);
                    put(&mut recorder, &mut monitor, now, Signal::Tick);
                }
                Step::Drive(on) => put(&mut recorder, &mut monitor, now, Signal::DriveRunning(on)),
                Step::Reset => for command in [Command::Acknowledge, Command::BootCleared, Command::Reset] {
                    put(&mut recorder, &mut monitor, now, Signal::Command(Origin::Leg, command));
                },
                Step::Anchor => {
                    let anchor = Anchor { at: Micros::new(now), desk_us: 5, uncertainty: Span::new(9) };
                    recorder.anchor(anchor);
                }
                Step::Freeze => recorder.freeze(&monitor),
                Step::Drain => {
                    let (_, _, sequences) = drain(&mut recorder, &plans);
                    // Oldest first, and none twice. What no trip needed may be asked for later than what came after it.
                    prop_assert!(sequences.is_sorted() && sequences.iter().all(|sequence| !seen.contains(sequence)));
                    seen.extend(sequences);
                }
                Step::Plan(second) => {
                    let retained = monitor.retained().unwrap_or_default();
                    recorder.configure(&mut monitor, plans[usize::from(second)], &retained, 1).expect("room");
                }
            }
        }
        recorder.freeze(&monitor);
        drain(&mut recorder, &plans);
    }

    /// With room for everything nothing is missing.
    #[test]
    fn with_room_every_input_is_there(counts in proptest::collection::vec((1_u16..90, 20_u32..200_000), 1..20)) {
        let plans = [plan(Settings::example()); 2];
        let mut memory = vec![0; 3 * 20_000];
        let mut recorder = Recorder::new(&mut memory);
        let mut monitor = Box::new(Monitor::<8>::new());
        recorder.configure(&mut monitor, plans[0], &Retained::default(), 1).expect("room");
        let (mut now, mut all) = (5_u64, 0);
        for (count, apart) in counts {
            for index in 0..count {
                now += u64::from(apart);
                let edge = Signal::Edge(Shaft::Head, index % 2 == 0);
                recorder.observe(&mut monitor, Input::new(Micros::new(now), edge), &mut |_| {});
                all += 1;
            }
        }
        recorder.freeze(&monitor);
        let (inputs, missed, _) = drain(&mut recorder, &plans);
        prop_assert_eq!((inputs, missed), (all, 0));
    }
}
