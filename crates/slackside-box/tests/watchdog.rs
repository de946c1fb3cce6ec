//! The watchdog outside, proven before a start: one that does not open is told before the leg can run, one that does costs nothing else.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod rig;

use rig::{Rig, set_up};
use slackside::units::Span;
use slackside_box::bench::{WATCHDOG, WATCHDOG_OPENS_WITHIN, Watchdog};
use slackside_box::fault::Fault;

fn proving(span: Span) -> Rig {
    let mut rig = Rig::start(set_up());
    rig.sensor_box.watchdog_opens_within(span);
    rig
}

/// So many milliseconds, each looked at: never is the second relay driven while the first is tried, and never do both contacts close before
/// the proof. How often the first was driven alone, and the longest silence of the heart, in milliseconds.
fn watched(rig: &mut Rig, millis: u64) -> (u32, u64) {
    let (mut tries, mut silence, mut longest) = (0, 0, 0);
    let mut before = [false; 2];
    let mut beats = rig.panel.heartbeat.writes();
    for _ in 0..millis {
        rig.run(1);
        let coils = [0, 1].map(|coil| rig.panel.coils[coil].get());
        assert!(!coils[0] || rig.sensor_box.monitor().status().run_permit, "judge gives it");
        tries += u32::from(coils == [true, false] && before == [false; 2]);
        before = coils;
        silence = if rig.panel.heartbeat.writes() == beats { silence + 1 } else { 0 };
        beats = rig.panel.heartbeat.writes();
        longest = longest.max(silence);
        assert!(silence < 200 || coils != [true; 2], "both are driven though the heart stands");
    }
    (tries, longest)
}

#[test]
fn a_watchdog_that_works_is_proven_before_each_start_and_only_then() {
    let mut rig = proving(WATCHDOG_OPENS_WITHIN);
    rig.run(8_000);
    rig.press(|panel| &panel.acknowledge, 50);
    rig.press(|panel| &panel.boot_cleared, 50);
    rig.panel.reset.set(true);
    rig.run(500);
    rig.panel.reset.set(false);
    let (tries, silence) = watched(&mut rig, 1_500);
    // Held for as long as it needs, and the tenth of a second of the look; the beat before and after counts in.
    assert!(tries == 1 && (350..=375).contains(&silence), "{tries} tries, {silence} ms");
    assert!(rig.panel.may_run() && rig.sensor_box.faults().is_empty());
    for _ in 0..2 {
        rig.run_up();
        assert_eq!(watched(&mut rig, 20_000).0, 0, "not while it runs");
        rig.press_stop();
        rig.turn_both(0);
        let (tries, _) = watched(&mut rig, 20_000);
        assert_eq!(tries, 1, "once at each standstill");
        assert!(rig.panel.may_run() && rig.sensor_box.faults().is_empty());
    }
    // A box that is not told of it tries nothing.
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.run_up();
    rig.press_stop();
    rig.turn_both(0);
    let (tries, silence) = watched(&mut rig, 20_000);
    assert!(tries == 0 && silence < 20, "{tries} tries, {silence} ms");
}

#[test]
fn a_watchdog_that_stays_closed_or_is_slow_is_told_before_the_leg_can_start() {
    for (watchdog, span) in
        [(Watchdog::Closed, WATCHDOG_OPENS_WITHIN), (Watchdog::Works, Span::new(WATCHDOG as u32 / 2))]
    {
        let mut rig = proving(span);
        rig.watchdog = watchdog;
        rig.run(8_000);
        rig.clear_up();
        let (tries, _) = watched(&mut rig, 2_000);
        assert_eq!(tries, 1, "{watchdog:?}");
        assert!(rig.sensor_box.faults().contains(Fault::WatchdogShut), "{watchdog:?}");
        assert!(!rig.panel.may_run() && !rig.panel.alarm.get() && !rig.press_start(), "{watchdog:?}");
        // It stays over a loss of power, until somebody resets it; and then it is found again.
        let mut rig = Rig::start(rig.power_down());
        rig.sensor_box.watchdog_opens_within(span);
        rig.watchdog = watchdog;
        rig.run(8_000);
        assert!(rig.sensor_box.faults().contains(Fault::WatchdogShut), "{watchdog:?}");
        rig.press(|panel| &panel.reset, 500);
        rig.run(2_000);
        assert!(rig.sensor_box.faults().contains(Fault::WatchdogShut) && !rig.panel.may_run(), "{watchdog:?}");
        // Replaced.
        rig.watchdog = Watchdog::Works;
        rig.sensor_box.watchdog_opens_within(WATCHDOG_OPENS_WITHIN);
        rig.press(|panel| &panel.reset, 500);
        rig.run(2_000);
        assert!(rig.panel.may_run(), "{:?}", rig.sensor_box.faults().iter().collect::<Vec<_>>());
    }
}

/// While the first relay is tried the second's contact closes by itself: nothing but the watchdog is left, and the box says so at once.
#[test]
fn a_contact_that_closes_during_the_proof_ends_it() {
    let mut rig = proving(WATCHDOG_OPENS_WITHIN);
    rig.run(8_000);
    rig.clear_up();
    while !rig.panel.coils[0].get() {
        rig.run(1);
    }
    assert!(!rig.panel.coils[1].get(), "the first is tried");
    rig.stuck[1] = Some(true);
    rig.run(2);
    assert!(rig.sensor_box.faults().contains(Fault::RunBWelded));
    assert!(!rig.panel.coils[0].get() && !rig.panel.coils[1].get());
}
