//! The core in firmware of one's own, without the box: a bare loop, from nothing to a proven stop. Here it runs on the desk, with a leg made
//! of numbers: `cargo run -p slackside --features desk --example bare_loop`. On a board `Sensor` is an interrupt and `Outputs` are pins.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
#![allow(clippy::expect_used, clippy::arithmetic_side_effects, reason = "the example's own numbers are right")]

use slackside::Monitor;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::{OwnedPlan, Plan};
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::Verdict;

/// The main loop comes round so often, in microseconds.
const ROUND: u64 = 10_000;
/// The drive comes on; the leg takes three seconds to its speed.
const START: u64 = 20_000_000;
/// Somebody unplugs the boot sensor.
const UNPLUGGED: u64 = 60_000_000;

/// A target sensor: what its interrupt saw, stamped with the time it saw it. Four targets, each half a pitch long.
struct Sensor {
    shaft: Shaft,
    /// Half a pitch at normal speed.
    half_pitch: u64,
    next: u64,
    high: bool,
}

impl Sensor {
    fn new(shaft: Shaft, microturns_a_second: u32) -> Self {
        let half_pitch = 1_000_000_000_000 / 8 / u64::from(microturns_a_second);
        Self { shaft, half_pitch, next: START + half_pitch * 4, high: false }
    }

    /// The next edge before `until`.
    fn edge(&mut self, until: u64) -> Option<Input> {
        if self.next >= until || (self.shaft == Shaft::Boot && self.next >= UNPLUGGED) {
            return None;
        }
        let at = self.next;
        self.high = !self.high;
        let per_mille = ((at - START) / 3_000).clamp(100, 1_000);
        self.next += self.half_pitch * 1_000 / per_mille;
        Some(Input::new(Micros::new(at), Signal::Edge(self.shaft, self.high)))
    }
}

// ANCHOR: outputs
/// Energised to allow: a board without power, or whose program stands still, stops the leg.
#[derive(Default)]
struct Outputs {
    run_relay: bool,
    feed_relay: bool,
    /// The pin that the watchdog outside watches: toggled once a round, here and nowhere else.
    heartbeat: bool,
    /// In flash; written whenever it has changed.
    kept: Option<[u8; Retained::IMAGE]>,
}

impl Outputs {
    fn switch(&mut self, monitor: &Monitor<OwnedPlan, 8>) {
        let status = monitor.status();
        self.run_relay = status.run_permit;
        self.feed_relay = status.run_permit && status.feed_permit;
        self.kept = monitor.retained().map(|retained| retained.to_image());
        self.heartbeat = !self.heartbeat;
    }
}
// ANCHOR_END: outputs

// ANCHOR: round
/// One round at `now`: everything that was seen until then, in order of time, and a tick.
fn round(monitor: &mut Monitor<OwnedPlan, 8>, edges: &mut [Input], now: Micros, told: &mut dyn FnMut(&Verdict)) {
    // Each shaft has its own queue: merged by time before they come here.
    edges.sort_by_key(|edge| edge.at);
    for edge in edges.iter() {
        monitor.observe(*edge, told);
    }
    // A promise: no earlier input follows. It also settles what fell due.
    monitor.observe(Input::new(now, Signal::Tick), told);
}
// ANCHOR_END: round

fn main() {
    let machine = Settings::example().machine;
    // What `slackside sheet --settings LEG.toml --write-plan LEG.plan` writes at the desk; on a board `include_bytes!("../LEG.plan")`.
    let bytes = Settings::example().check().expect("sound").plan().bytes().to_vec();
    let mut told = |verdict: &Verdict| println!("{:>9} us  {:?}", verdict.at.get(), verdict.change);

    // ANCHOR: start
    // In a static on a board, all zeros: it knows nothing and allows nothing. Room for eight counted edges a turn.
    let mut monitor: Monitor<OwnedPlan, 8> = Monitor::new();
    let mut outputs = Outputs::default();
    assert!(!monitor.status().run_permit);
    // A copy of the plan, held against every rule once more. (Where its bytes lie on a word boundary `Plan::from_bytes` takes them as they
    // lie, and the monitor is a `Monitor<&'static Plan, 8>`.)
    let plan = Plan::copy_of(&bytes).expect("a plan of this version of the core");
    let sound = Sound::new(OwnedPlan(plan)).expect("the desk checked it");
    // And what survived the last loss of power: `Retained::from_image`, or `Retained::unreadable` where that fails, which counts as
    // tripped. On the bench nothing is retained.
    monitor.configure(sound, &Retained::default()).expect("room for its targets");
    // ANCHOR_END: start

    let mut sensors =
        [Sensor::new(Shaft::Head, machine.normal_head.get()), Sensor::new(Shaft::Boot, machine.normal_boot.get())];
    let mut stopped_at = None;
    monitor.observe(Input::new(Micros::ZERO, Signal::DriveRunning(false)), &mut told);
    for now in (ROUND..UNPLUGGED + 10_000_000).step_by(ROUND as usize) {
        let mut edges: Vec<Input> = Vec::new();
        for sensor in &mut sensors {
            edges.extend(std::iter::from_fn(|| sensor.edge(now)));
        }
        if now == START {
            assert!(outputs.run_relay, "it stands, and nothing is latched: it may start");
            edges.push(Input::new(Micros::new(START), Signal::DriveRunning(true)));
        }
        round(&mut monitor, &mut edges, Micros::new(now), &mut told);
        outputs.switch(&monitor);
        if now > START && !outputs.run_relay {
            stopped_at = Some(now);
            break;
        }
    }
    let stopped_at = stopped_at.expect("a leg whose boot is not seen is stopped");
    assert!(stopped_at > UNPLUGGED, "and not before");
    assert!(!outputs.feed_relay && outputs.kept.is_some());
    println!(
        "The boot sensor was unplugged at 60 s; the run relay fell {} ms later.",
        (stopped_at - UNPLUGGED) / 1_000
    );
}
