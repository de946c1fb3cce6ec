//! Whoever looks on is told of everything that judge is told: before it, with what it will see, and after it, with what came of it.
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

use std::sync::Arc;

use leg::{BEGIN_US, example, leg as turning, plan_of, ratio, sound};
use slackside::Monitor;
use slackside::input::Signal;
use slackside::judge::Judge;
use slackside::monitor::{Tap, Told};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::{Micros, Watts};

#[derive(Debug, PartialEq)]
enum What {
    Moved(u8),
    Signal(Signal),
    Late,
}

impl What {
    fn of(told: Told<'_>) -> Self {
        match told {
            Told::Moved(bits) => Self::Moved(bits),
            Told::Signal(signal) => Self::Signal(*signal),
            Told::Late => Self::Late,
        }
    }
}

/// What was said before and after, each with its moment and the edges counted by then.
#[derive(Default)]
struct Listener {
    before: Vec<(Micros, What, u32)>,
    after: Vec<(Micros, What, u32)>,
}

impl Tap for Listener {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, _: &Plan) {
        self.before.push((now, What::of(told), signals.head.edges + signals.boot.edges));
    }

    fn told(&mut self, now: Micros, told: Told<'_>, signals: &Signals, _: &Judge, _: &Plan) {
        self.after.push((now, What::of(told), signals.head.edges + signals.boot.edges));
    }
}

#[test]
fn whoever_looks_on_is_told_before_and_after_everything() {
    let others = [
        (0.0, Signal::DriveRunning(false)),
        (1.0, Signal::DriveRunning(true)),
        (6.0, Signal::DrivePower(Watts::new(9_000))),
    ];
    let speed = |time: f64| 1.31 * ((time - 1.0) / 2.0).clamp(0.0, 1.0);
    let inputs = turning(4, ratio(&example()), &speed, &|_| 0.005, 12.0, 1, &others);
    let mut monitor = Box::new(Monitor::<Arc<Plan>>::new());
    monitor.configure(sound(&plan_of(example())), &Retained::default()).expect("room");
    let mut heard = Listener::default();
    for input in &inputs {
        monitor.observe_with(*input, &mut heard, &mut |_| {});
    }
    assert_eq!(heard.before, heard.after, "nothing comes between");
    let signals: Vec<_> = heard
        .after
        .iter()
        .filter_map(|(at, what, _)| match what {
            What::Signal(signal) => Some(((at.get() - BEGIN_US) as f64 / 1e6, *signal)),
            _ => None,
        })
        .collect();
    assert_eq!(signals, others);
    let edges = monitor.signals().head.edges + monitor.signals().boot.edges;
    let moves = heard.after.iter().filter(|(_, what, _)| matches!(what, What::Moved(bits) if *bits != 0)).count();
    assert!(edges > 80 && moves >= edges as usize, "{edges} {moves}");
    assert!(heard.after.iter().is_sorted_by_key(|(at, _, counted)| (*at, *counted)));
}
