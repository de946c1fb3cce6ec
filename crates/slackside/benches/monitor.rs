//! What an input costs on a desk machine: decoded edges, rising and falling, of the example leg running well, every condition on.
//!
//! Processor time, the least of several runs, and instructions, counted by callgrind where valgrind is installed: both mean the same on
//! a busy machine. The digest of the verdicts is printed, so that two runs can be told alike.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a benchmark runs on a desk and may stop"
)]

mod leg;

use std::process::Command;
use std::time::Duration;

use cpu_time::ProcessTime;
use slackside::Monitor;
use slackside::codec::crc::Crc;
use slackside::input::Input;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;

/// About a quarter of a million inputs.
const SECONDS: u64 = 3 * 3_600;
/// For callgrind, which is fifty times slower: so long, and twice as long.
const COUNTED_SECONDS: u64 = 600;
const RUNS: usize = 9;

type Desk<'p> = Monitor<&'p Plan>;

/// CRC-32 over the encoded verdicts, and how many there were.
struct Digest {
    crc: Crc,
    count: u32,
}

impl Digest {
    fn add(&mut self, verdict: &slackside::verdict::Verdict) {
        let mut bytes = [0; 64];
        let used = postcard::to_slice(verdict, &mut bytes).expect("a verdict fits");
        self.crc.bytes(used);
        self.count += 1;
    }
}

/// Kept by itself: callgrind counts what it and all below it take.
#[inline(never)]
fn played_singly(monitor: &mut Desk<'_>, inputs: &[Input], digest: &mut Digest) {
    for input in inputs {
        monitor.observe(*input, &mut |verdict| digest.add(verdict));
    }
}

fn play(settings: &Checked, inputs: &[Input]) -> (Digest, Duration) {
    let plan = settings.plan();
    let mut monitor = Desk::new();
    let sound = Sound::new(&plan).expect("a sound plan");
    monitor.configure(sound, &Retained::default()).expect("room for every machine");
    let mut digest = Digest { crc: Crc::NEW, count: 0 };
    let begun = ProcessTime::now();
    played_singly(&mut monitor, inputs, &mut digest);
    (digest, begun.elapsed())
}

fn main() {
    let settings = leg::settings();
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["play", seconds] => {
            let inputs = leg::running(&settings, seconds.parse().expect("a number of seconds"));
            play(&settings, &inputs);
        }
        ["instructions"] => instructions(&settings),
        _ => {
            time(&settings);
            instructions(&settings);
        }
    }
}

fn time(settings: &Checked) {
    let inputs = leg::running(settings, SECONDS);
    let runs: Vec<(Digest, Duration)> = (0..RUNS).map(|_| play(settings, &inputs)).collect();
    let (digest, _) = &runs[0];
    println!("{} inputs, {} verdicts, digest {:08x}", inputs.len(), digest.count, digest.crc.get());
    let least = runs.iter().map(|(_, taken)| *taken).min().expect("some runs").as_secs_f64();
    let each = least / inputs.len() as f64;
    println!(
        "processor time, least of {RUNS} runs: {:.1} ns an input, {:.1} million inputs a second",
        each * 1e9,
        1e-6 / each
    );
}

/// What callgrind counts in the loop over the inputs; `None` without valgrind.
fn counted(seconds: u64) -> Option<u64> {
    let program = std::env::current_exe().ok()?;
    let output = Command::new("valgrind")
        .args(["--tool=callgrind", "--callgrind-out-file=/dev/null", "--toggle-collect=*played_singly*"])
        .arg(program)
        .args(["play", &seconds.to_string()])
        .output()
        .ok()?;
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    said.lines().find_map(|line| line.split_once("Collected :")?.1.trim().parse().ok())
}

/// The second stretch only: what the first input begins is not what an input costs.
fn instructions(settings: &Checked) {
    let inputs = |seconds| leg::running(settings, seconds).len() as u64;
    let (Some(short), Some(long)) = (counted(COUNTED_SECONDS), counted(2 * COUNTED_SECONDS)) else {
        println!("instructions: not counted, valgrind is not installed");
        return;
    };
    let each = (long - short).div_ceil(inputs(2 * COUNTED_SECONDS) - inputs(COUNTED_SECONDS));
    println!("instructions an input, by callgrind:\nsingly: {each}");
}
