//! The budgets of the core built anew: measured, written beside it, and held against its goals.

mod counts;
mod goals;
mod host;
mod lines;
mod weights;

use std::fs;
use std::path::Path;

use anyhow::{Context, Result, bail};

use crate::budget::regressions;
use crate::budget::table::{Table, parse};
use crate::root::root;
use crate::toolchain::Toolchain;

const PAGE: &str = "crates/next/budget.md";

const OPENING: &str = "\
# What the core built anew costs

Written by `cargo xtask next-budget`; do not edit. `cargo xtask next-budget --check` measures again, and fails if a goal is missed or a
figure grew by more than 5 %; `--weigh` prints flash and RAM alone.

Flash is the whole of a linked image that calls what a box calls, with the compiler's own arithmetic and copying routines, without
start-up code, for eight marks. Instructions are counted by the emulator around each call, in steps of five; deadlines that fall due
are settled by ticks of their own, and the cost of an edge is the two rows together. The first input, with which all begins, is apart.
The three legs: the example leg running well; the same with noise, rubbing, commands and slip to standstill; one target at the head
against 32 at the boot. Stack is what a call took below its caller. Verdicts were the desk's own, byte for byte. \"Taking a plan\" is its
check and `configure`.
";

/// Measure; write, or check against the goals and what is written.
pub fn run(check: bool, weigh: bool) -> Result<()> {
    if weigh {
        let mut tables = weights::quick()?;
        tables.push(lines::measure()?);
        tables.iter().for_each(|table| println!("{}", table.markdown()));
        return Ok(());
    }
    let path = root().join(PAGE);
    let tables = measure()?;
    println!("\n{}", goals::text(&tables));
    if !check {
        return write(&path, &tables);
    }
    let old =
        parse(&fs::read_to_string(&path).with_context(|| format!("{PAGE}: run `cargo xtask next-budget` first"))?);
    let mut worse = regressions(&old, &tables);
    let missed = goals::outcomes(&tables).into_iter().filter(|outcome| !outcome.is_reached());
    worse.extend(
        missed.map(|outcome| format!("{}: {:?}, the goal is {}", outcome.what, outcome.value, outcome.at_most)),
    );
    if worse.is_empty() { Ok(()) } else { bail!("above the budget:\n  {}", worse.join("\n  ")) }
}

fn measure() -> Result<Vec<Table>> {
    let mut tables = vec![lines::measure()?, weights::measure()?, weights::parts()?];
    tables.extend(counts::measure()?);
    tables.push(host::measure()?);
    Ok(tables)
}

fn write(path: &Path, tables: &[Table]) -> Result<()> {
    let compiler = Toolchain::find("thumbv7m-none-eabi")?.version()?;
    let mut text = format!("{OPENING}\nTaken with {compiler}.\n\n{}", goals::text(tables));
    for table in tables {
        text.push('\n');
        text.push_str(&table.markdown());
    }
    fs::write(path, text).with_context(|| format!("writing {PAGE}"))?;
    println!("{PAGE} written");
    Ok(())
}
