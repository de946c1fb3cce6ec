//! Mutation testing of the core: small changes of its source, one at a time, each of which a test should see.
//!
//! All changes are built into one copy of the core at once, each behind its number, and a run of a test program has one of them on.

mod insertions;
mod known;
mod points;
mod suite;
pub mod tree;

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};

use slackside_desk::tune::stats::{CONFIDENCE, clopper_pearson};

use crate::root::root;
use points::Mutant;
use suite::{Outcome, Suite};
use tree::SUITES;

/// What to do.
#[derive(clap::Args)]
pub struct Wish {
    /// Of N parts the K-th, as K/N: every N-th change.
    #[arg(long, value_parser = part, default_value = "1/1")]
    part: (usize, usize),
    /// No more than so many, drawn at random.
    #[arg(long)]
    most: Option<usize>,
    /// Another number, another draw, and another order.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Begin with no further change after so many minutes of trying them out: as the order is drawn, what was tried is a fair sample.
    #[arg(long)]
    minutes: Option<u64>,
    /// Only changes whose line in the list holds this: a file, a function, an operator.
    #[arg(long, default_value = "")]
    only: String,
    /// Only changes that survived or were not reached the last time.
    #[arg(long)]
    again: bool,
    /// Tests that take longer than so many seconds of processor time alone are not asked.
    #[arg(long, default_value_t = 2.0)]
    longest: f64,
    /// Ask whatever test is likeliest to see a change first, stories too: the share of all tests then takes far less time, and what the others
    /// would see without stories is not told.
    #[arg(long)]
    any: bool,
    /// Ask the core's own tests alone.
    #[arg(long)]
    own: bool,
    /// List the changes; build nothing.
    #[arg(long)]
    list: bool,
}

fn part(text: &str) -> Result<(usize, usize)> {
    let (which, of) = text.split_once('/').context("a part is K/N")?;
    let (which, of) = (which.parse()?, of.parse()?);
    ensure!((1..=of).contains(&which), "of {of} parts there is no {which}");
    Ok((which, of))
}

/// Try out the changes; fail if one that is not known to change nothing survives.
pub fn run(wish: &Wish) -> Result<()> {
    let began = Instant::now();
    let mutants = tree::make()?;
    let last = if wish.again { fs::read_to_string(left_file()).context("nothing ran before")? } else { String::new() };
    let last: Vec<&str> = last.lines().collect();
    let (which, of) = wish.part;
    let mut chosen: Vec<(usize, &Mutant)> = mutants
        .iter()
        .enumerate()
        .filter(|(index, _)| index % of == which - 1)
        .filter(|(_, mutant)| mutant.to_string().contains(&wish.only))
        .filter(|(_, mutant)| !wish.again || last.contains(&mutant.to_string().as_str()))
        .collect();
    chosen.sort_by_key(|(index, _)| drawn(wish.seed, *index as u64));
    chosen.truncate(wish.most.unwrap_or(usize::MAX));
    println!("{} changes, of which {} are tried", mutants.len(), chosen.len());
    if wish.list {
        for (_, mutant) in chosen {
            println!("{mutant}");
        }
        return Ok(());
    }
    let known = known::read(&mutants)?;
    let programs = tree::build(if wish.own { &SUITES[..1] } else { &SUITES })?;
    println!("built after {} s", began.elapsed().as_secs());
    let suite = Suite::look(programs, Duration::from_secs_f64(wish.longest))?;
    println!("{} tests looked at after {} s", suite.tests.len(), began.elapsed().as_secs());
    let mut outcomes = Vec::new();
    let mut killers = Killers::default();
    let mut log = fs::File::create(root().join("target/mutants/log.txt"))?;
    let tries = Instant::now();
    for (count, (index, mutant)) in chosen.iter().enumerate() {
        if wish.minutes.is_some_and(|most| tries.elapsed().as_secs() >= 60 * most) {
            println!("-- time is up after {count} of {}", chosen.len());
            break;
        }
        let began = Instant::now();
        let number = u32::try_from(index + 1)?;
        let first = killers.of(mutant, wish.any);
        let (outcome, by) = if wish.any { suite.ask_any(number, &first)? } else { suite.try_out(number, &first)? };
        if let Some(by) = by {
            killers.note(mutant, by);
        }
        if survives(&outcome) {
            let word = if known.contains_key(index) { "known: " } else { "" };
            println!("{word}{} {mutant}", if outcome == Outcome::Survived { "survived" } else { "unreached" });
        }
        writeln!(log, "{:.1} s {outcome:?} {mutant}", began.elapsed().as_secs_f64())?;
        if count % 50 == 49 {
            println!("-- {} of {} after {} s", count + 1, chosen.len(), tries.elapsed().as_secs());
        }
        outcomes.push((*index, *mutant, outcome));
    }
    let left: Vec<String> = outcomes.iter().filter(|one| survives(&one.2)).map(|one| one.1.to_string()).collect();
    fs::write(left_file(), left.join("\n"))?;
    tell(&outcomes, &known, wish.any, began)
}

/// Where a change stands in the order that is drawn: its number, mixed well (`SplitMix64`).
fn drawn(seed: u64, index: u64) -> u64 {
    let mut mixed = seed.wrapping_add(index.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    for (shift, factor) in [(30, 0xBF58_476D_1CE4_E5B9), (27, 0x94D0_49BB_1331_11EB)] {
        mixed = (mixed ^ (mixed >> shift)).wrapping_mul(factor);
    }
    mixed ^ (mixed >> 31)
}

/// Tests that saw a change, the newest last: they see the next one nearby often.
#[derive(Default)]
struct Killers<'a>(BTreeMap<(&'a str, &'a str), Vec<usize>>);

impl<'a> Killers<'a> {
    /// So many of a function are tried first, and so many of its file.
    const FIRST: usize = 3;

    fn note(&mut self, mutant: &'a Mutant, test: usize) {
        for place in [(mutant.file.as_str(), mutant.function.as_str()), (mutant.file.as_str(), ""), ("", "")] {
            let tests = self.0.entry(place).or_default();
            tests.retain(|other| *other != test);
            tests.push(test);
        }
    }

    /// Those to ask first; where `any` will do, whatever saw any change after them.
    fn of(&self, mutant: &Mutant, any: bool) -> Vec<usize> {
        let newest = |file, function| self.0.get(&(file, function)).into_iter().flatten().rev();
        let (file, function) = (mutant.file.as_str(), mutant.function.as_str());
        let near = newest(file, function).take(Self::FIRST).chain(newest(file, "").take(Self::FIRST));
        let mut first = Vec::new();
        for test in near.chain(newest("", "").take(if any { usize::MAX } else { 0 })) {
            if !first.contains(test) {
                first.push(*test);
            }
        }
        first
    }
}

fn left_file() -> std::path::PathBuf {
    root().join("target/mutants/left.txt")
}

fn survives(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Survived | Outcome::Unreached)
}

/// The table, file by file, and the verdict.
fn tell(
    outcomes: &[(usize, &Mutant, Outcome)],
    known: &BTreeMap<usize, String>,
    any: bool,
    began: Instant,
) -> Result<()> {
    let mut files: BTreeMap<&str, [usize; 5]> = BTreeMap::new();
    let mut same = Vec::new();
    for (index, mutant, outcome) in outcomes {
        let place = match outcome {
            Outcome::Killed(_) => 0,
            Outcome::TimedOut(_) => 1,
            _ if known.contains_key(index) => 4,
            Outcome::Survived => 2,
            Outcome::Unreached => 3,
        };
        if place < 2 && known.contains_key(index) {
            same.push(mutant.to_string());
        }
        for name in [mutant.file.as_str(), "all"] {
            files.entry(name).or_default()[place] += 1;
        }
    }
    let all = files.remove("all").unwrap_or_default();
    println!(
        "\n| file | changes | killed | timed out | survived | not reached | change nothing | killed, of those that change something |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for (name, counts) in files.iter().map(|(name, counts)| (*name, counts)).chain([("**all**", &all)]) {
        let [killed, endless, survived, unreached, nothing] = counts;
        let sum: usize = counts.iter().sum();
        let share = 100.0 * (killed + endless) as f64 / (sum - nothing).max(1) as f64;
        println!("| {name} | {sum} | {killed} | {endless} | {survived} | {unreached} | {nothing} | {share:.1} % |");
    }
    let seen = all[0] + all[1];
    let of = seen + all[2] + all[3];
    let bounds = clopper_pearson(seen as u64, of as u64, CONFIDENCE);
    println!(
        "\n{seen} of {of} seen: {:.1} %; of all changes that change something, with 95 % confidence (Clopper and Pearson), {:.1} to {:.1} %",
        100.0 * seen as f64 / of.max(1) as f64,
        100.0 * bounds.low,
        100.0 * bounds.high
    );
    let seen_by = |which: fn(&str) -> bool| {
        let by = |outcome: &Outcome| matches!(outcome, Outcome::Killed(by) | Outcome::TimedOut(by) if which(by));
        outcomes.iter().filter(|(index, _, outcome)| by(outcome) && !known.contains_key(index)).count()
    };
    let without_stories = seen - seen_by(suite::is_story);
    for (without, seen) in [
        ("the stories, which say no more than \"the same as before\"", without_stories),
        ("the second core too", without_stories - seen_by(suite::is_second)),
    ]
    .into_iter()
    .filter(|_| !any)
    {
        let bounds = clopper_pearson(seen as u64, of as u64, CONFIDENCE);
        println!(
            "{seen} of them without {without}: {:.1} % ({:.1} to {:.1} %)",
            100.0 * seen as f64 / of.max(1) as f64,
            100.0 * bounds.low,
            100.0 * bounds.high
        );
    }
    println!("{} s", began.elapsed().as_secs());
    if !same.is_empty() {
        bail!("said to change nothing, and killed:\n  {}", same.join("\n  "));
    }
    let [_, _, survived, unreached, _] = all;
    if survived + unreached > 0 {
        bail!("{} changes were seen by no test", survived + unreached);
    }
    Ok(())
}
