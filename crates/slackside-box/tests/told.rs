//! What a box logs by the crate `log`: a start whose belt does not move, from power-up to the stop.
#![allow(clippy::arithmetic_side_effects, clippy::expect_used, clippy::panic, reason = "a test")]

use std::sync::Mutex;

use log::{Level, LevelFilter, Log, Metadata, Record};
use slackside::record::Recorder;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside_box::bench::{Flash, Panel};
use slackside_box::edges::{EdgeQueue, Merger};
use slackside_box::store::{Journal, Kept, Layout, Slots};
use slackside_box::{BoxMonitor, Nameplate, Parts, SensorBox, Told};

const RING: usize = 16 * 1024;

type Chip = Flash<4, 1024>;

struct Heard(Mutex<Vec<(Level, String)>>);

impl Log for Heard {
    fn enabled(&self, _: &Metadata<'_>) -> bool {
        true
    }

    fn log(&self, record: &Record<'_>) {
        self.0.lock().expect("one thread").push((record.level(), record.args().to_string()));
    }

    fn flush(&self) {}
}

static HEARD: Heard = Heard(Mutex::new(Vec::new()));

#[test]
fn a_start_without_a_belt_that_moves_is_told_from_power_up_to_the_stop() {
    log::set_logger(&HEARD).expect("the only test here");
    log::set_max_level(LevelFilter::Info);
    let layout = Layout::fit::<Chip>(0, 128 * 1024, RING as u32).expect("enough flash");
    let (mut flash, plan) = (Chip::new(128), Settings::example().check().expect("sound").plan());
    Slots::new(&layout).store(&mut flash, plan.bytes(), None, &mut [0; Plan::LENGTH]).expect("stored");
    let (mut journal, _) = Journal::open(&layout, &mut flash).expect("opened");
    journal.append(&mut flash, &Kept::default()).expect("kept");
    let (mut head, mut boot) = (EdgeQueue::<32>::new(), EdgeQueue::<32>::new());
    let ((_, head), (_, boot)) = (head.split(), boot.split());
    let (panel, mut monitor, mut ring) = (Panel::new(), Box::new(BoxMonitor::<64>::new()), vec![0; RING]);
    let parts = Parts {
        nameplate: Nameplate { serial: "BENCH-1", firmware: "bench" },
        edges: Merger::new(Some(head), boot),
        capture_latency: Span::new(20),
        wires: panel.wires(),
        flash,
        layout,
        monitor: &mut monitor,
        recorder: Recorder::new(&mut ring),
    };
    let (mut sensor_box, mut told) = (SensorBox::start(parts, Micros::ZERO), Told::new());
    let mut moments_at_rest = 0;
    for milli in 1..40_000_u64 {
        panel.relays_follow();
        panel.drive.set(milli > 12_000);
        sensor_box.poll(Micros::new(milli * 1_000));
        let something = told.tell(&sensor_box);
        assert!(!told.tell(&sensor_box), "nothing is told twice");
        moments_at_rest += usize::from(something && (5_000..12_000).contains(&milli));
    }
    let first_out = sensor_box.monitor().status().first_out.expect("it stopped the leg");
    let heard = HEARD.0.lock().expect("one thread");
    let place = |wanted: &str| {
        heard.iter().position(|(_, line)| line.contains(wanted)).unwrap_or_else(|| panic!("{wanted}: {heard:?}"))
    };
    let identity = format!("Started {{ settings: Some({}) }}", plan.identity());
    let dropped = format!("run permit dropped, first out Some({first_out:?})");
    let places = [identity.as_str(), "run permit given, first out None", &dropped].map(place);
    assert!(places.is_sorted(), "{heard:?}");
    assert_eq!(moments_at_rest, 0, "of a leg at rest there is nothing to tell: {heard:?}");
    let faults = heard.iter().filter(|(level, line)| (*level == Level::Warn) != line.contains("FaultCame"));
    assert_eq!(faults.count(), 0, "{heard:?}");
}
