//! Mutation testing of the core: small changes of its source, one at a time, each of which a test should see.
//!
//! All changes are built into one copy of the core at once, each behind its number, and a run of a test program has one of them on.

mod insertions;
mod known;
mod points;
mod suite;
mod tree;

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};

use crate::root::root;
use points::Mutant;
use suite::{Outcome, Suite};

/// What to do.
#[derive(clap::Args)]
pub struct Wish {
    /// Of N parts the K-th, as K/N: every N-th change.
    #[arg(long, value_parser = part, default_value = "1/1")]
    part: (usize, usize),
    /// No more than so many, spread over all that are left.
    #[arg(long)]
    most: Option<usize>,
    /// Only changes whose line in the list holds this: a file, a function, an operator.
    #[arg(long, default_value = "")]
    only: String,
    /// Only changes that survived or were not reached the last time.
    #[arg(long)]
    again: bool,
    /// Tests that take longer than so many seconds alone are not asked.
    #[arg(long, default_value_t = 2)]
    longest: u64,
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
    let known = known::read(&mutants)?;
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
    if let Some(most) = wish.most {
        // By a step that has no divisor in common with how many there are, unless that is a multiple of it.
        chosen.sort_by_key(|(index, _)| (index * 7_919 + 13) % mutants.len());
        chosen.truncate(most);
    }
    println!("{} changes, of which {} are tried", mutants.len(), chosen.len());
    if wish.list {
        for (_, mutant) in chosen {
            println!("{mutant}");
        }
        return Ok(());
    }
    let programs = tree::build(wish.own)?;
    println!("built after {} s", began.elapsed().as_secs());
    let suite = Suite::look(programs, Duration::from_secs(wish.longest))?;
    println!("{} tests looked at after {} s", suite.tests.len(), began.elapsed().as_secs());
    let mut outcomes = Vec::new();
    // The test that saw the last change of a file sees the next one often.
    let mut first = BTreeMap::new();
    let mut log = fs::File::create(root().join("target/mutants/log.txt"))?;
    for (count, (index, mutant)) in chosen.iter().enumerate() {
        let (outcome, by) = suite.try_out(u32::try_from(index + 1)?, first.get(&mutant.file).copied())?;
        if let Some(by) = by {
            first.insert(&mutant.file, by);
        }
        if matches!(outcome, Outcome::Survived | Outcome::Unreached) {
            let word = if known.contains_key(index) { "known: " } else { "" };
            println!("{word}{} {mutant}", if outcome == Outcome::Survived { "survived" } else { "unreached" });
        }
        writeln!(log, "{outcome:?} {mutant}")?;
        if count % 100 == 99 {
            println!("-- {} of {} after {} s", count + 1, chosen.len(), began.elapsed().as_secs());
        }
        outcomes.push((*index, *mutant, outcome));
    }
    let left: Vec<String> = outcomes.iter().filter(|one| survives(&one.2)).map(|one| one.1.to_string()).collect();
    fs::write(left_file(), left.join("\n"))?;
    tell(&outcomes, &known, began)
}

fn left_file() -> std::path::PathBuf {
    root().join("target/mutants/left.txt")
}

fn survives(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Survived | Outcome::Unreached)
}

/// The table, file by file, and the verdict.
fn tell(outcomes: &[(usize, &Mutant, Outcome)], known: &BTreeMap<usize, String>, began: Instant) -> Result<()> {
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
    println!("\n{} s", began.elapsed().as_secs());
    if !same.is_empty() {
        bail!("said to change nothing, and killed:\n  {}", same.join("\n  "));
    }
    let [_, _, survived, unreached, _] = all;
    if survived + unreached > 0 {
        bail!("{} changes were seen by no test", survived + unreached);
    }
    Ok(())
}
