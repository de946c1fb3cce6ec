//! What a replay takes: the trace of three hours of the terminal leg on a ship's cargo, again and again on end, from memory.
//!
//! `cargo bench -p slackside-simulator --bench replay -- [TIMES]` (16 times if left out: ten million rows). Least of five runs, each
//! figure of the run with the least time by the clock.

mod clock;

use std::io::{self, Cursor};

use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::units::{Micros, Span};
use slackside_desk::crew::{Alone, Crew};
use slackside_desk::monitor::monitor;
use slackside_desk::replay::{Job, SamplesCsv, replay_from};
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::settings::{Commissioned, settings_for};
use slackside_desk::trace::{HEADER, Reader, write_row};
use slackside_simulator::cores::Cores;
use slackside_simulator::disk::Disk;
use slackside_simulator::heard::heard;

use clock::Took;

const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../scenarios/healthy-terminal.toml");
const RUNS: usize = 5;

fn trace(times: u64) -> (Vec<u8>, Checked, usize) {
    let scenario = Scenario::read(&Disk, SCENARIO.as_ref()).unwrap_or_else(|_| unreachable!("a scenario of ours"));
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = settings_for(&scenario.leg, &commissioned).check();
    let settings = settings.unwrap_or_else(|_| unreachable!("the settings of a sound leg are sound"));
    let mut heard = heard(&scenario, &commissioned, &settings).unwrap_or_else(|_| unreachable!("nothing is written"));
    // The end of each is none of the whole.
    heard.retain(|input| input.signal != Signal::Tick);
    let mut bytes = format!("{HEADER}\n").into_bytes();
    for time in 0..times {
        let from = time * (scenario.duration_s * 1e6) as u64;
        for input in &heard {
            write_row(&Input::new(Micros::new(input.at.get() + from), input.signal), &mut bytes);
        }
    }
    (bytes, settings, heard.len() * times as usize)
}

/// Replay it.
fn replayed(bytes: &[u8], settings: &Checked, crew: &impl Crew, samples: bool) -> Took {
    let reader = Reader::from_read("the trace", Cursor::new(bytes.to_vec()));
    let reader = reader.unwrap_or_else(|_| unreachable!("a trace of ours"));
    let mut sink = io::sink();
    let mut job = Job::new(reader, settings, "the leg's settings");
    if samples {
        job.samples = SamplesCsv::begin(&mut sink, Span::ZERO, settings).ok();
    }
    let fresh = monitor(settings, &Retained::default());
    Took::of(|| {
        let outcome = replay_from(job, fresh, crew).unwrap_or_else(|_| unreachable!("a whole trace"));
        assert!(outcome.first_outs.is_empty(), "nothing is wrong with it");
    })
}

fn main() {
    let times = std::env::args().skip(1).find_map(|argument| argument.parse().ok()).unwrap_or(16);
    let (bytes, settings, rows) = trace(times);
    println!("{rows} rows, {} bytes", bytes.len());
    let least = |replay: &dyn Fn() -> Took| (0..RUNS).map(|_| replay()).min().unwrap_or_default();
    for (what, took) in [
        ("one thread", least(&|| replayed(&bytes, &settings, &Alone, false))),
        ("reading, judging and looking on at once", least(&|| replayed(&bytes, &settings, &Cores, false))),
        ("the same, every sample written to nowhere", least(&|| replayed(&bytes, &settings, &Cores, true))),
    ] {
        let rate = rows as f64 / took.clock.as_secs_f64() / 1e6;
        println!(
            "{what}: {:.2} s by the clock, {rate:.1} million rows a second, {:.2} s of processor time",
            took.clock.as_secs_f64(),
            took.processor.as_secs_f64()
        );
    }
}
