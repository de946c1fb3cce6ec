//! The budgets of the core: measured, written to the book, and held against their goals.

mod counts;
mod goals;
mod host;
mod lines;
mod table;
mod weights;

use std::fs;
use std::process::Command;

use anyhow::{Context, Result, bail, ensure};

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
are settled by ticks of their own. An edge that does not count has none; so the mean of an edge and its settling is all that edges and
deadlines took, for each edge, and the most of it the two rows together. The first input, with which all begins, is apart.
The three legs: the example leg running well; the same with noise, rubbing, commands and slip to standstill; one target at the head
against 32 at the boot. Stack is what a call took below its caller. Verdicts were the desk's own, byte for byte. Taking a plan
is `configure`, and its check comes before.
";

/// Measure; write, or check against the goals and what is written.
pub fn run(check: bool, weigh: bool) -> Result<()> {
    if weigh {
        let mut tables = weights::quick()?;
        tables.push(weights::modbus()?);
        tables.push(lines::measure()?);
        tables.iter().for_each(|table| println!("{}", table.markdown()));
        return Ok(());
    }
    let path = root().join(PAGE);
    let compilers = Compilers::here()?;
    if !check {
        let tables = measure()?;
        println!("\n{}", goals::text(&tables));
        fs::write(&path, page(&compilers, &tables)).with_context(|| format!("writing {PAGE}"))?;
        println!("{PAGE} written");
        return Ok(());
    }
    let written = fs::read_to_string(&path).with_context(|| format!("{PAGE}: run `cargo xtask budget` first"))?;
    let old = parse(&written);
    // The page with itself, whatever the compilers.
    ensure!(
        written.contains(&goals::text(&old)),
        "{PAGE}: the table of the goals does not say what the other tables do; run `cargo xtask budget`"
    );
    if !written.contains(&compilers.chips()) {
        println!("NOTHING WAS COMPARED. The figures of {PAGE} were taken with another compiler than the one here:");
        println!("{}", compilers.line());
        return Ok(());
    }
    let mut tables = measure()?;
    println!("\n{}", goals::text(&tables));
    if !written.contains(&compilers.line()) {
        println!("On the desk nothing was compared: the compiler is another. Here: {}", compilers.line());
        let before = old.iter().filter(|table| table.title == host::TITLE).cloned();
        tables.retain(|table| table.title != host::TITLE);
        tables.extend(before);
    }
    let mut worse = regressions(&old, &tables);
    worse.extend(goals::lost(&old, &tables));
    if worse.is_empty() {
        let count: usize = tables.iter().map(|table| table.cells().count()).sum();
        println!("{PAGE}: {count} figures, none more than {ALLOWED_PERCENT} % above the one written, no goal lost");
        return Ok(());
    }
    bail!("above the budget; mend it, or accept it with `cargo xtask budget`:\n  {}", worse.join("\n  "))
}

/// What the figures depend on beside the code.
struct Compilers {
    chips: String,
    desk: String,
}

impl Compilers {
    fn here() -> Result<Self> {
        let desk = Command::new("rustc").arg("--version").output().context("running rustc")?;
        let desk = String::from_utf8_lossy(&desk.stdout).split_whitespace().take(2).collect::<Vec<_>>().join(" ");
        Ok(Self { chips: Toolchain::find("thumbv7m-none-eabi")?.version()?, desk })
    }

    fn chips(&self) -> String {
        format!("Taken with {},", self.chips)
    }

    fn line(&self) -> String {
        format!("{} on the desk with {}.", self.chips(), self.desk)
    }
}

fn measure() -> Result<Vec<Table>> {
    let mut tables =
        vec![lines::measure()?, weights::measure()?, weights::modbus()?, weights::parts()?, weights::whole_box()?];
    tables.extend(counts::measure()?);
    tables.push(host::measure()?);
    Ok(tables)
}

/// The whole page.
fn page(compilers: &Compilers, tables: &[Table]) -> String {
    let mut text = format!("{OPENING}\n{}\n\n{}", compilers.line(), goals::text(tables));
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
        let compilers = Compilers { chips: "rustc 1".to_owned(), desk: "rustc 2".to_owned() };
        let page = page(&compilers, &tables);
        assert_eq!(parse(&page), tables);
        assert!(page.contains("\nTaken with rustc 1, on the desk with rustc 2.\n"));
        assert!(page.contains(&goals::text(&parse(&page))), "the goals follow from the tables");
    }

    #[test]
    fn growth_beyond_five_per_cent_is_found_and_less_is_not() {
        assert!(regressions(&[table(1_000)], &[table(1_050)]).is_empty());
        assert_eq!(regressions(&[table(1_000)], &[table(1_051)]), ["Cost, edge, worst: 1051, was 1000"]);
        assert_eq!(regressions(&[], &[table(1)]).len(), 3);
    }
}
