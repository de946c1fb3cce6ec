//! Random legs through both cores, by command: `legs COUNT [FIRST]`, `leg SEED [BEGIN_US SECONDS]`, `time COUNT`; `--within MICROSECONDS PPM` for another
//! tolerance than the one promised.

use std::process::ExitCode;

use slackside_oracle::compare::{Outcome, Tolerance};
use slackside_oracle::legs::Frame;
use slackside_oracle::run::{Tally, many, one};

const USAGE: &str = "\
usage: slackside-oracle legs COUNT [FIRST_SEED]
       slackside-oracle leg SEED [BEGIN_US SECONDS]
       slackside-oracle time COUNT
       slackside-oracle scenarios (with feature plant)
       at the end, --within MICROSECONDS PPM: another tolerance than the one promised";

/// Two hours.
const LONG_S: f64 = 7_200.0;
/// So many differences are told in full.
const TOLD: usize = 4;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let mut words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let mut within = Tolerance::PROMISED;
    if let Some(at) = words.iter().position(|word| *word == "--within") {
        let mut given = words.drain(at..).skip(1).map(str::parse);
        let (Some(Ok(time_us)), Some(Ok(value))) = (given.next(), given.next()) else {
            eprintln!("error: {USAGE}");
            return ExitCode::FAILURE;
        };
        within = Tolerance { time_us, value };
    }
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
        #[cfg(feature = "plant")]
        ["scenarios"] => Ok(scenarios(within)),
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

/// Every scenario, and the demo.
#[cfg(feature = "plant")]
fn scenarios(within: Tolerance) -> ExitCode {
    use slackside_oracle::plant;
    use slackside_oracle::run::{Ticks, both};
    let files = plant::scenarios().expect("the scenarios");
    let mut tally = Tally::default();
    for (number, path) in files.iter().enumerate() {
        let (settings, inputs) = plant::inputs(path).expect("a sound scenario");
        let (outcome, shifts) = both(&settings, &inputs, &[], Ticks::None, 0, within);
        println!("{number}: {}, {} inputs, {shifts:?}", path.display(), inputs.len());
        tally.add(number as u64, inputs.len(), outcome, &shifts);
    }
    let (settings, inputs) = plant::demo().expect("the demo");
    let (outcome, shifts) = both(&settings, &inputs, &[], Ticks::None, 0, within);
    tally.add(files.len() as u64, inputs.len(), outcome, &shifts);
    end(&tally)
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
