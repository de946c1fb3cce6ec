//! The budgets of the core: measured, written to the book, and held against their goals.

mod counts;
mod goals;
mod host;
mod lines;
mod table;
mod weights;

use std::fs;
use std::path::Path;

use anyhow::{Context, Result, bail};

use crate::root::root;
use crate::toolchain::Toolchain;
use table::{Table, parse};

const PAGE: &str = "docs/src/integrator/budget.md";

const OPENING: &str = "\
# What it costs

Written by `cargo xtask budget`; do not edit. `cargo xtask budget --check` measures again, and fails if a figure grew by more than
5 % or a goal that is reached here is missed; `--weigh` prints flash, RAM and lines alone.

Flash is the whole of a linked image that calls what a box calls, with the compiler's own arithmetic and copying routines, without
start-up code, for eight marks. Instructions are counted by the emulator around each call, in steps of five; deadlines that fall due
are settled by ticks of their own, and the cost of an edge is the two rows together. The first input, with which all begins, is apart.
The three legs: the example leg running well; the same with noise, rubbing, commands and slip to standstill; one target at the head
against 32 at the boot. Stack is what a call took below its caller. Verdicts were the desk's own, byte for byte. Taking a plan
is `configure`, and its check comes before.
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
    let old = parse(&fs::read_to_string(&path).with_context(|| format!("{PAGE}: run `cargo xtask budget` first"))?);
    let mut worse = regressions(&old, &tables);
    worse.extend(goals::lost(&old, &tables));
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
    fs::write(path, page(&compiler, tables)).with_context(|| format!("writing {PAGE}"))?;
    println!("{PAGE} written");
    Ok(())
}

/// The whole page.
fn page(compiler: &str, tables: &[Table]) -> String {
    let mut text = format!("{OPENING}\nTaken with {compiler}.\n\n{}", goals::text(tables));
    for table in tables {
        text.push('\n');
        text.push_str(&table.markdown());
    }
    text
}

/// A figure may grow by so much before it must be accepted.
const ALLOWED_PERCENT: u64 = 5;

/// The stopwatch counts five instructions at a time, so a small figure may differ by that much for nothing.
const ALLOWED_ANYWAY: u64 = 10;

/// Every figure of `new` that is above `old` or has no counterpart there.
fn regressions(old: &[Table], new: &[Table]) -> Vec<String> {
    let mut worse = Vec::new();
    for table in new {
        for (row, column, value) in table.cells() {
            let before = old.iter().find(|other| other.title == table.title).and_then(|other| other.cell(row, column));
            match before {
                None => {
                    worse.push(format!("{}, {row}, {column}: {value}, and the book has no such figure", table.title))
                }
                Some(before) => {
                    let allowed = before + (before * ALLOWED_PERCENT / 100).max(ALLOWED_ANYWAY);
                    if value > allowed {
                        worse.push(format!("{}, {row}, {column}: {value}, was {before}", table.title));
                    }
                }
            }
        }
    }
    worse
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(value: u64) -> Table {
        Table::new("Cost", &["mean", "worst"])
            .row("edge", vec![Some(100), Some(value)])
            .row("tick", vec![None, Some(7)])
    }

    #[test]
    fn what_is_written_reads_back() {
        let tables = vec![table(1_000)];
        assert_eq!(parse(&page("rustc 0", &tables)), tables);
    }

    #[test]
    fn growth_beyond_five_per_cent_is_found_and_less_is_not() {
        assert!(regressions(&[table(1_000)], &[table(1_050)]).is_empty());
        assert_eq!(regressions(&[table(1_000)], &[table(1_051)]), ["Cost, edge, worst: 1051, was 1000"]);
        assert_eq!(regressions(&[], &[table(1)]).len(), 3);
    }
}
