//! Plans from anywhere.

use std::sync::Arc;

use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside_desk::monitor::Monitor;

/// Any bytes as a plan: as they are, and laid over a sound plan whose CRC is then made right, so that what lies behind the CRC is
/// reached too.
///
/// # Panics
/// If a plan found sound makes the monitor panic, or gives feed without run.
pub fn plan(bytes: &[u8]) {
    if let Ok(plan) = Plan::copy_of(bytes) {
        one(plan);
    }
    let [low, high, changes @ ..] = bytes else { return };
    let mut laid = Settings::example().check().expect("the example is sound").plan().bytes().to_vec();
    let from = usize::from(u16::from_le_bytes([*low, *high])) % laid.len();
    for (slot, change) in laid.iter_mut().skip(from).zip(changes) {
        *slot ^= change;
    }
    let sum = Plan::copy_of(&laid).expect("as long as a plan").computed_crc();
    let covered = laid.len() - 4;
    laid.splice(covered.., sum.to_le_bytes());
    one(Plan::copy_of(&laid).expect("as long as a plan"));
}

fn one(plan: Plan) {
    let Ok(sound) = Sound::for_bench(Arc::new(plan)) else { return };
    assert_eq!(plan.computed_crc(), plan.identity());
    let mut monitor = Box::new(Monitor::new());
    monitor.configure(sound, &Retained::default()).expect("there is room for every plan that is sound");
    let mut observe = |at: u64, signal| {
        monitor.observe(Input::new(Micros::new(at), signal), &mut |_| {});
        let status = monitor.status();
        assert!(status.run_permit || !status.feed_permit, "feed is allowed where running is not");
    };
    observe(0, Signal::DriveRunning(false));
    observe(30_000_000, Signal::DriveRunning(true));
    for pitch in 0..200_u64 {
        for (after, shaft, level) in [
            (0, Shaft::Head, true),
            (60_000, Shaft::Head, false),
            (90_000, Shaft::Boot, true),
            (150_000, Shaft::Boot, false),
        ] {
            observe(30_000_000 + pitch * 190_000 + after, Signal::Edge(shaft, level));
        }
    }
    observe(4_000_000_000, Signal::Tick);
}
