//! Edges that are no targets: pulses too narrow, and edges too soon after one another. Each is counted; more of them in a turn than the
//! settings allow, and the signal is not trusted.
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

use leg::{BEGIN_US, example, plan_of, sound};
use slackside::Monitor;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::signals::{ShaftSignals, distrust};
use slackside::units::Micros;

/// A pitch of the head at its normal 1.31 turns a second, in microseconds.
const PITCH: u64 = 190_840;
/// The settings' limit in these tests.
const A_TURN: u8 = 5;

/// A head shaft with four targets that turns evenly from the beginning on.
struct Head {
    monitor: Box<Monitor<Arc<Plan>>>,
    at: u64,
}

impl Head {
    fn turning() -> Self {
        let mut settings = example();
        settings.machine.conditioning.rejects_a_turn = A_TURN;
        let mut monitor = Box::new(Monitor::new());
        monitor.configure(sound(&plan_of(settings)), &Retained::default()).expect("room");
        let mut head = Self { monitor, at: BEGIN_US };
        head.edge(0, false);
        head.wait(1_000_000);
        head.pitches(8, 0);
        head
    }

    fn edge(&mut self, after: u64, level: bool) {
        let at = Micros::new(self.at + after);
        self.monitor.observe(Input::new(at, Signal::Edge(Shaft::Head, level)), &mut |_| {});
    }

    fn wait(&mut self, time: u64) {
        self.at += time;
        self.monitor.observe(Input::new(Micros::new(self.at), Signal::Tick), &mut |_| {});
    }

    /// So many pitches, each with a target that is a third of it wide, and after it so many narrow pulses 10 ms apart.
    fn pitches(&mut self, count: u32, pulses: u64) {
        for _ in 0..count {
            self.edge(0, true);
            self.edge(PITCH / 3, false);
            for pulse in 0..pulses {
                self.pulse(PITCH / 3 + 10_000 * (pulse + 1), 199);
            }
            self.wait(PITCH);
        }
    }

    fn pulse(&mut self, after: u64, width: u64) {
        self.edge(after, true);
        self.edge(after + width, false);
    }

    fn signals(&self) -> &ShaftSignals {
        &self.monitor.signals().head
    }

    fn is_trusted(&self) -> bool {
        self.signals().distrust & distrust::REJECTS == 0
    }
}

#[test]
fn each_narrow_pulse_is_counted_and_moves_nothing() {
    let mut head = Head::turning();
    let (edges, angle) = (head.signals().edges, head.signals().angle);
    for count in 1..=4 {
        head.pulse(PITCH / 2, 199);
        head.wait(PITCH);
        assert_eq!(head.signals().rejected, count);
    }
    assert_eq!((head.signals().edges, head.signals().angle), (edges, angle));
    // As wide as the settings ask for, it is an edge.
    head.pulse(PITCH / 2, 200);
    head.wait(PITCH);
    assert_eq!((head.signals().rejected, head.signals().edges), (4, edges + 1));
}

#[test]
fn an_edge_too_soon_after_another_is_counted_as_rejected() {
    let mut head = Head::turning();
    let edges = head.signals().edges;
    head.edge(0, true);
    head.edge(5_000, false);
    // 30 ms after its like, where targets at top speed are 100 ms apart: no target.
    head.edge(30_000, true);
    head.edge(35_000, false);
    head.wait(PITCH);
    assert_eq!((head.signals().edges, head.signals().rejected), (edges + 1, 1));
}

#[test]
fn edges_as_close_as_two_targets_can_be_are_two_and_a_microsecond_closer_one() {
    let gap = u64::from(plan_of(example()).head.minimum_gap);
    for (apart, counted) in [(gap, 2), (gap - 1, 1)] {
        let mut head = Head::turning();
        let edges = head.signals().edges;
        for after in [0, apart] {
            head.edge(after, true);
            head.edge(after + 5_000, false);
        }
        head.wait(PITCH);
        assert_eq!((head.signals().edges - edges, head.signals().rejected), (counted, 2 - counted), "{apart}");
    }
}

/// The low half of time wraps in 71.6 minutes: what is a whole wrap old is not a moment old.
#[test]
fn a_reject_from_before_the_wrap_is_no_burst_with_one_after_it() {
    for (pulses, is_trusted) in [(A_TURN, true), (A_TURN + 1, false)] {
        let mut head = Head::turning();
        head.pulse(0, 100);
        head.wait((1 << 32) + 1_000);
        for _ in 0..pulses {
            head.pulse(0, 100);
            head.wait(6_000);
        }
        assert_eq!(head.is_trusted(), is_trusted, "{pulses}");
    }
}

#[test]
fn one_more_in_a_turn_than_the_settings_allow_and_the_signal_is_not_trusted() {
    let mut head = Head::turning();
    for _ in 0..A_TURN {
        head.wait(10_000);
        head.pulse(0, 100);
    }
    assert!(head.is_trusted());
    head.wait(10_000);
    head.pulse(0, 100);
    head.wait(1_000);
    assert!(!head.is_trusted());
    assert_eq!(head.signals().rejected, u32::from(A_TURN) + 1);
}

#[test]
fn rejects_of_one_turn_do_not_count_in_the_next() {
    let mut head = Head::turning();
    // One a pitch, four a turn, for ten turns: allowed in each.
    head.pitches(40, 1);
    assert!(head.is_trusted());
    assert_eq!(head.signals().rejected, 40);
    // Two a pitch are eight a turn.
    head.pitches(4, 2);
    assert!(!head.is_trusted());
}

#[test]
fn a_clean_turn_brings_trust_back_and_not_sooner() {
    let mut head = Head::turning();
    head.pitches(4, 2);
    assert!(!head.is_trusted());
    head.pitches(3, 0);
    assert!(!head.is_trusted(), "no whole turn has passed");
    head.pitches(5, 0);
    assert!(head.is_trusted());
    head.pitches(8, 2);
    head.pitches(4, 1);
    assert_eq!(head.signals().rejected, 8 + 16 + 4, "all of them stay counted");
}

#[test]
fn a_burst_is_one_nuisance_however_many_pulses_it_has() {
    let mut head = Head::turning();
    // A contactor: sixteen pulses within 4.8 ms.
    for _ in 0..16 {
        head.wait(300);
        head.pulse(0, 100);
    }
    assert_eq!(head.signals().rejected, 16);
    assert!(head.is_trusted());
    // 5 ms apart each is one of its own.
    let mut hum = Head::turning();
    for _ in 0..=A_TURN {
        hum.wait(5_000);
        hum.pulse(0, 100);
    }
    hum.wait(1_000);
    assert!(!hum.is_trusted());
    let mut closer = Head::turning();
    for _ in 0..=A_TURN {
        closer.wait(4_999);
        closer.pulse(0, 100);
    }
    closer.wait(1_000);
    assert!(closer.is_trusted());
}

#[test]
fn while_the_shaft_stands_ten_turns_of_time_stand_for_a_turn() {
    let mut head = Head::turning();
    head.wait(30_000_000);
    for _ in 0..20 {
        // Ten normal turns take 7.63 s: no more than five fall into that.
        head.pulse(0, 100);
        head.wait(1_600_000);
    }
    assert!(head.is_trusted());
    for _ in 0..20 {
        head.pulse(0, 100);
        head.wait(1_000_000);
    }
    assert!(!head.is_trusted(), "seven or eight do");
}
