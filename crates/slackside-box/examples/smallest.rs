//! The smallest program around a box: everything a board's `main` has to bring, and the loop. Here it runs for two seconds with
//! pins of memory; on a board the same function never comes back.
#![allow(clippy::expect_used, reason = "the sizes are fixed and right")]

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use slackside::record::Recorder;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside_box::bench::{Flash, Line, Panel};
use slackside_box::edges::{EdgeQueue, Merger};
use slackside_box::line::Analogue;
use slackside_box::store::Layout;
use slackside_box::{BoxMonitor, Link, Nameplate, Parts, SensorBox};

/// The loop. `clock` is the one that stamps the edges; `sleep_until` may sleep, and any interrupt may end it early.
fn run<I, O, A, F, S>(
    mut sensor_box: SensorBox<'_, I, O, A, F, 64>,
    mut link: Link<'_, S>,
    clock: impl Fn() -> Micros,
    sleep_until: impl Fn(Micros) -> bool,
) where
    I: InputPin,
    O: OutputPin,
    A: Analogue,
    F: NorFlash,
    S: Read + ReadReady + Write + WriteReady,
{
    loop {
        sensor_box.poll(clock());
        link.poll(&mut sensor_box);
        if !sleep_until(sensor_box.next_wake()) {
            let faults = sensor_box.faults();
            faults.iter().for_each(|fault| println!("{}", fault.says()));
            return;
        }
    }
}

fn main() {
    // On a board these are statics: `static mut`-free with `cortex_m::singleton!` or `static_cell`.
    let (mut head, mut boot) = (EdgeQueue::<64>::new(), EdgeQueue::<64>::new());
    let (mut monitor, mut ring, mut staging) = (BoxMonitor::<64>::new(), [0; 32 * 1024], Plan::blank());

    // The interrupt of each sensor gets its catcher: `catcher.catch(now, level)`.
    let ((_head_catcher, head), (_boot_catcher, boot)) = (head.split(), boot.split());

    let panel = Panel::new();
    let flash = Flash::<4, 1024>::new(64);
    let layout = Layout::fit::<Flash<4, 1024>>(0, 64 * 1024, 32 * 1024).expect("64 KiB are enough");
    let (uart, _desk) = Line::pair(64);
    let begun = std::time::Instant::now();
    let clock = || Micros::new(begun.elapsed().as_micros() as u64);

    let parts = Parts {
        nameplate: Nameplate { serial: "0001", firmware: "smallest" },
        edges: Merger::new(Some(head), boot),
        capture_latency: Span::ZERO,
        wires: panel.wires(),
        flash,
        layout,
        monitor: &mut monitor,
        recorder: Recorder::new(&mut ring),
    };
    // From here on every output is off until the box has found itself in order.
    let sensor_box = SensorBox::start(parts, clock());
    run(sensor_box, Link::new(uart, &mut staging), clock, |until| {
        panel.relays_follow();
        let early = until.since(clock());
        std::thread::sleep(std::time::Duration::from_micros(early.get().into()));
        begun.elapsed().as_secs() < 2
    });
}
