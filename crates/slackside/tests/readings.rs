//! What is told of slip, and when it is not told: readings begin, grow while the boot is overdue, are taken back, and begin anew.
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

use leg::{BEGIN_US, example, plan_of, ratio, sound};
use slackside::Monitor;
use slackside::input::{Input, LineState, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::signals::{Signals, distrust, unknown};
use slackside::units::Micros;

/// Head turns a second, and a pitch of its four even targets in microseconds.
const HEAD: f64 = 1.31;
const HEAD_PITCH: f64 = 1e6 / HEAD / 4.0;

/// A leg whose shafts turn evenly, told edge by edge.
struct Legs {
    monitor: Box<Monitor<Arc<Plan>>>,
    /// Times of the next edges, head and boot, in microseconds from the beginning.
    next: [f64; 2],
    /// What is still to come, by time.
    coming: Vec<(f64, Signal)>,
    slip: f64,
}

impl Legs {
    fn new(slip: f64) -> Self {
        let mut monitor = Box::new(Monitor::new());
        monitor.configure(sound(&plan_of(example())), &Retained::default()).expect("room");
        Self { monitor, next: [1_000_000.0, 1_050_000.0], coming: Vec::new(), slip }
    }

    fn boot_pitch(&self) -> f64 {
        HEAD_PITCH / ratio(&example()) / (1.0 - self.slip)
    }

    fn say(&mut self, at: f64, signal: Signal) {
        self.monitor.observe(Input::new(Micros::new(BEGIN_US + at.round() as u64), signal), &mut |_| {});
    }

    fn edge(&mut self, shaft: Shaft) {
        let slot = usize::from(shaft == Shaft::Boot);
        let at = self.next[slot];
        self.coming.extend([(at, Signal::Edge(shaft, true)), (at + 60_000.0, Signal::Edge(shaft, false))]);
        self.next[slot] += if slot == 0 { HEAD_PITCH } else { self.boot_pitch() };
    }

    /// Both shafts turn for so many head pitches, up to a millisecond after the last of them; if the boot stands only the head.
    fn turn(&mut self, head_pitches: u32, boot: bool) {
        for _ in 0..head_pitches {
            while boot && self.next[1] < self.next[0] {
                self.edge(Shaft::Boot);
            }
            self.edge(Shaft::Head);
        }
        let now = self.next[0] - HEAD_PITCH + 1_000.0;
        self.coming.push((now, Signal::Tick));
        self.coming.sort_by(|one, other| one.0.total_cmp(&other.0));
        let (due, coming) = self.coming.iter().partition(|(at, _)| *at <= now);
        self.coming = coming;
        let due: Vec<_> = due;
        due.into_iter().for_each(|(at, signal)| self.say(at, signal));
    }

    fn signals(&self) -> &Signals {
        self.monitor.signals()
    }

    /// Whether short and long slip are read, and exactly.
    fn is_read(&self) -> (bool, bool) {
        let Signals { short, long, .. } = self.signals();
        (short.is_known(), long.is_known())
    }
}

/// To five millionths: a microsecond of an edge is as much.
fn near(read: i32, slip: f64) -> bool {
    (f64::from(read) - slip * 1e6).abs() < 8.0
}

#[test]
fn slip_is_read_once_the_boot_has_made_its_turn_and_its_four() {
    for slip in [0.0, 0.01, 0.2] {
        let mut leg = Legs::new(slip);
        leg.turn(5, true);
        assert_eq!(leg.is_read(), (false, false), "{slip}");
        leg.turn(3, true);
        assert!(leg.is_read().0 && !leg.is_read().1, "{slip}");
        leg.turn(16, true);
        let Signals { short, long, head, boot, .. } = *leg.signals();
        assert!(short.is_exact() && near(short.least, slip), "{slip}: {short:?}");
        assert!(long.is_exact() && near(long.least, slip), "{slip}: {long:?}");
        assert_eq!(head.edges, 24);
        assert!(head.pitch.abs_diff(HEAD_PITCH as u32) <= 1);
        // A quarter of a turn each.
        for shaft in [head, boot] {
            assert!(
                shaft.angle.abs_diff(shaft.edges << 22) <= 1 && shaft.pitch_angle.abs_diff(1 << 30) <= 1,
                "{shaft:?}"
            );
        }
    }
}

/// While the boot is overdue each head edge says what the window comes to at least; the length slid grows with it.
#[test]
fn slip_grows_with_every_head_edge_while_the_boot_is_overdue() {
    let mut leg = Legs::new(0.01);
    leg.turn(40, true);
    let (before, slid) = (leg.signals().short.least, leg.signals().slipped);
    let boot_stopped = leg.next[1] - leg.boot_pitch();
    leg.turn(3, false);
    let mut least = before;
    for _ in 0..12 {
        leg.turn(1, false);
        let Signals { short, long, since_boot, .. } = *leg.signals();
        assert!(short.is_open() && !short.is_exact() && short.least > least, "{short:?}");
        least = short.least;
        // Head turns since the last boot edge, in 2^-24.
        let turned = (leg.next[0] - HEAD_PITCH - boot_stopped) / 1e6 * HEAD;
        assert!((f64::from(since_boot) / f64::from(1 << 24) - turned).abs() < 1e-5, "{since_boot} {turned}");
        // Three pitches of a whole boot turn, and the head went on.
        let window = 0.75 / ratio(&example()) / 0.99 + turned;
        assert!(near(short.least, 1.0 - 1.0 / ratio(&example()) / window), "{short:?} {window}");
        let window = 3.75 / ratio(&example()) / 0.99 + turned;
        assert!(near(long.least, 1.0 - 4.0 / ratio(&example()) / window), "{long:?} {window}");
    }
    // The head's rim over the standing belt, but for the pitch that the boot might still make: 632 mm over belt and lagging.
    let circumference = std::f64::consts::PI * 632.0e3;
    let turned = (leg.next[0] - HEAD_PITCH - boot_stopped) / 1e6 * HEAD - 0.25 / ratio(&example());
    let grown = f64::from(leg.signals().slipped - slid);
    assert!((grown / (turned * circumference) - 1.0).abs() < 0.02, "{grown} {}", turned * circumference);
}

#[test]
fn lost_edges_take_every_reading_back_and_it_is_said_why() {
    for shaft in [Shaft::Head, Shaft::Boot] {
        let mut leg = Legs::new(0.01);
        leg.turn(40, true);
        assert_eq!(leg.is_read(), (true, true));
        assert_eq!(leg.signals().unknown, unknown::PLAINLY);
        let at = leg.next[0] - HEAD_PITCH + 2_000.0;
        leg.say(at, Signal::EdgesLost(shaft));
        let told =
            |leg: &Legs| if shaft == Shaft::Head { leg.signals().head.distrust } else { leg.signals().boot.distrust };
        assert_eq!(leg.is_read(), (false, false), "{shaft:?}");
        assert_eq!((leg.signals().unknown, leg.signals().since_boot), (unknown::RETRACTED, 0));
        assert_eq!(told(&leg), distrust::EDGES_LOST);
        // A whole turn of marks, and the sensor is trusted again; a boot turn, and slip is read again.
        leg.turn(3, true);
        assert_eq!(leg.is_read(), (false, false));
        assert_eq!(told(&leg), distrust::EDGES_LOST);
        leg.turn(5, true);
        assert_eq!((leg.is_read(), told(&leg)), ((true, false), 0));
        leg.turn(16, true);
        assert!(leg.is_read().1 && near(leg.signals().long.least, 0.01));
    }
}

/// What rolled or rocked while the head stood is no slip of the next run.
#[test]
fn after_rest_everything_is_read_anew() {
    let mut leg = Legs::new(0.1);
    leg.turn(60, true);
    let mean = leg.signals().slip_mean;
    assert!(mean > 5_000 && leg.signals().slipped > 0, "{mean}");
    let rest = 60e6;
    leg.next = leg.next.map(|at| at + rest);
    leg.turn(1, false);
    let Signals { slipped, slip_mean, since_boot, unknown: why, .. } = *leg.signals();
    assert_eq!(leg.is_read(), (false, false));
    assert_eq!((slipped, slip_mean, since_boot, why), (0, 0, 0, unknown::PLAINLY));
    assert_eq!((leg.signals().head.pitch, leg.signals().head.edges), (0, 61), "of the first edge no pitch is known");
}

#[test]
fn the_state_of_a_line_is_told_as_long_as_it_lasts() {
    let mut leg = Legs::new(0.0);
    leg.turn(8, true);
    for (state, reason) in
        [(LineState::Open, distrust::LINE_OPEN), (LineState::Shorted, distrust::LINE_SHORTED), (LineState::Sound, 0)]
    {
        let at = leg.next[0] - HEAD_PITCH + 2_000.0;
        leg.say(at, Signal::Line(Shaft::Boot, state));
        let boot = leg.signals().boot;
        assert_eq!((boot.line, boot.distrust, leg.signals().head.distrust), (state as u8, reason, 0));
        leg.turn(4, true);
        assert_eq!(leg.signals().boot.distrust, reason, "a turn of marks does not mend a line");
    }
}

/// One pitch above top speed may be two marks that lie close, and two may; three in a row are no shaft. One that a shaft can do, and it is.
#[test]
fn three_pitches_above_top_speed_are_no_shaft() {
    let head = plan_of(example()).head;
    let shortest = ((u64::from(head.least) * u64::from(head.top_turn)) >> 32) as u32;
    assert!(head.minimum_gap < shortest, "what is counted can be too fast");
    let mut leg = Legs::new(0.0);
    leg.turn(16, true);
    let mut pitch = |time: f64| {
        leg.next[0] += time - HEAD_PITCH;
        leg.turn(1, false);
        leg.signals().head.distrust & distrust::TOO_FAST != 0
    };
    let too_fast = f64::from(shortest - 2);
    assert_eq!(
        [too_fast, too_fast, HEAD_PITCH, too_fast, too_fast, too_fast, too_fast].map(&mut pitch),
        [false, false, false, false, false, true, true]
    );
    assert!(!pitch(f64::from(shortest + 2)), "at top speed it is one");
}

/// A monitor that takes a plan anew knows nothing of what was before: it is as a fresh one, to the last bit of its state.
#[test]
fn whoever_takes_a_plan_anew_begins_afresh() {
    let mut again = Legs::new(0.01);
    again.turn(60, true);
    again.monitor.configure(sound(&plan_of(example())), &Retained::default()).expect("room");
    let mut fresh = Legs { next: again.next, coming: again.coming.clone(), ..Legs::new(0.01) };
    for leg in [&mut again, &mut fresh] {
        leg.turn(6, true);
    }
    assert_eq!(again.signals(), fresh.signals());
    assert_eq!(again.monitor.state_crc(), fresh.monitor.state_crc());
}
