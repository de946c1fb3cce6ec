//! Random legs through both cores, by command: `legs COUNT [FIRST]`, `leg SEED [BEGIN_US SECONDS]`, `time COUNT`; with `--wide` for differences that
//! other sums of target spacing do not explain.

use std::process::ExitCode;

use slackside_next_oracle::compare::{Outcome, Tolerance};
use slackside_next_oracle::legs::Frame;
use slackside_next_oracle::run::{Tally, many, one};

const USAGE: &str = "\
usage: slackside-next-oracle legs COUNT [FIRST_SEED]
       slackside-next-oracle leg SEED [BEGIN_US SECONDS]
       slackside-next-oracle time COUNT
       with --wide: times within 5 ms and values within 8,000 ppm pass";

/// Two hours.
const LONG_S: f64 = 7_200.0;
/// So many differences are told in full.
const TOLD: usize = 4;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let mut words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let all = words.len();
    words.retain(|word| *word != "--wide");
    let within = if words.len() < all { Tolerance::WIDE } else { Tolerance::PROMISED };
    let number =
        |text: &str| text.parse::<u64>().map_err(|error| format!("{text:?}: {error}, expected a whole number"));
    let done = match *words {
        ["legs", count] => number(count).map(|count| end(&many(0..count, Frame::ANY, within))),
        ["legs", count, first] => number(count)
            .and_then(|count| number(first).map(|first| end(&many(first..first + count, Frame::ANY, within)))),
        ["leg", seed] => number(seed).map(|seed| tell(seed, Frame::ANY, within)),
        ["leg", seed, begin, seconds] => number(seed).and_then(|seed| {
            let frame = Frame { begin_us: Some(number(begin)?), seconds: Some(number(seconds)? as f64) };
            Ok(tell(seed, frame, within))
        }),
        ["time", count] => number(count).map(|count| time(count, within)),
        _ => Err(USAGE.to_owned()),
    };
    done.unwrap_or_else(|error| {
        eprintln!("error: {error}");
        ExitCode::FAILURE
    })
}

/// One leg in full.
fn tell(seed: u64, frame: Frame, within: Tolerance) -> ExitCode {
    let (leg, outcome, shifts) = one(seed, frame, within);
    println!("{:#?}", *leg.make.settings);
    println!("{} inputs, {shifts:?}", leg.inputs.len());
    match outcome {
        Outcome::Alike => println!("alike"),
        Outcome::Overtaken(why) => println!("overtaken: {why}"),
        Outcome::Differ(why) => {
            println!("differ: {why}");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// Legs that begin shortly before each wrap and run two hours.
fn time(count: u64, within: Tolerance) -> ExitCode {
    let mut all = Tally::default();
    for power in [30, 31, 32, 42] {
        // Far enough before it that the leg runs when it comes.
        for before_us in [40_000_000, 600_000_000_u64] {
            let frame = Frame { begin_us: Some((1 << power) - before_us), seconds: Some(LONG_S) };
            let tally = many(0..count, frame, within);
            println!("{} s before 2^{power} µs: {}", before_us / 1_000_000, tally.summary());
            all = all.and(tally);
        }
    }
    end(&all)
}

fn end(tally: &Tally) -> ExitCode {
    for (seed, why) in tally.differ.iter().take(TOLD) {
        println!("seed {seed}: {why}");
    }
    for (seed, why) in tally.differ.iter().skip(TOLD) {
        println!("seed {seed}: {}", in_short(why));
    }
    for (seed, why) in &tally.overtaken {
        println!("seed {seed}, overtaken: {}", in_short(why));
    }
    println!("{}", tally.summary());
    if tally.differ.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Why, and the two verdicts at which the streams part.
fn in_short(why: &str) -> String {
    let mut lines = why.lines();
    let first = lines.next().unwrap_or_default();
    let marked: Vec<&str> = lines.filter_map(|line| line.strip_prefix('>')).collect();
    format!("{first}\n {}", marked.join("\n "))
}
