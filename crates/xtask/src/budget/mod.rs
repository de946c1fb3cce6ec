//! Flash, RAM, instructions and stack: measured, written to the book, and held against what the book says.

mod counts;
mod page;
mod table;
mod weights;

use std::fs;

use anyhow::{Context, Result, bail};

use crate::root::root;
use crate::toolchain::Toolchain;
use table::Table;

const PAGE: &str = "docs/src/integrator/budget.md";

/// Measure; write, or check against what is written.
pub fn run(check: bool) -> Result<()> {
    let compiler = Toolchain::find("thumbv7m-none-eabi")?.version()?;
    let mut tables = vec![weights::measure()?];
    tables.extend(counts::measure()?);
    let path = root().join(PAGE);
    if !check {
        fs::create_dir_all(path.parent().context("the page has a folder")?)?;
        fs::write(&path, page::write(&compiler, &tables, &weights::breakdown()?))?;
        println!("{PAGE} written");
        return Ok(());
    }
    let written = fs::read_to_string(&path).with_context(|| format!("{PAGE}: run `cargo xtask budget` first"))?;
    if !written.contains(&page::taken_with(&compiler)) {
        println!("{PAGE} was taken with another compiler than {compiler}: the figures are not comparable");
        return Ok(());
    }
    let worse = regressions(&table::parse(&written), &tables);
    if worse.is_empty() {
        println!("{PAGE}: no figure is more than {ALLOWED_PERCENT} % above the one written");
        return Ok(());
    }
    bail!("figures above the budget; mend them, or accept them with `cargo xtask budget`:\n  {}", worse.join("\n  "))
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
        assert_eq!(table::parse(&page::write("rustc 0", &tables, &[("judge", 7)])), tables);
    }

    #[test]
    fn growth_beyond_five_per_cent_is_found_and_less_is_not() {
        assert!(regressions(&[table(1_000)], &[table(1_050)]).is_empty());
        assert_eq!(regressions(&[table(1_000)], &[table(1_051)]), ["Cost, edge, worst: 1051, was 1000"]);
        assert_eq!(regressions(&[], &[table(1)]).len(), 3);
    }
}
