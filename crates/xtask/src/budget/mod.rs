//! Flash, RAM, instructions and stack: measured, written to the book, and held against what the book says.

mod counts;
mod page;
pub mod table;
mod weights;

use std::fs;

use anyhow::{Context, Result, bail, ensure};

use crate::root::root;
use crate::toolchain::Toolchain;
use table::Table;

const PAGE: &str = "docs/src/integrator/budget.md";

/// Measure; write, or check against what is written.
pub fn run(check: bool) -> Result<()> {
    let compiler = Toolchain::find("thumbv7m-none-eabi")?.version()?;
    let path = root().join(PAGE);
    if !check {
        let tables = measure()?;
        fs::create_dir_all(path.parent().context("the page has a folder")?)?;
        fs::write(&path, page::write(&compiler, &tables, &weights::breakdown()?))?;
        println!("{PAGE} written");
        return Ok(());
    }
    let written = fs::read_to_string(&path).with_context(|| format!("{PAGE}: run `cargo xtask budget` first"))?;
    let old = table::parse(&written);
    // The page with itself, whatever the compiler.
    ensure!(
        written.contains(&page::against_the_goals(&old)),
        "{PAGE}: the table of the goals does not say what the other tables do; write the page anew"
    );
    let taken_with =
        written.lines().find(|line| line.starts_with(page::TAKEN_WITH)).unwrap_or("It does not say which.");
    if taken_with != page::taken_with(&compiler) {
        println!("NOTHING WAS COMPARED. The figures of {PAGE} were taken with another compiler than the one here.");
        println!("There: {taken_with} Here: {compiler}.");
        return Ok(());
    }
    let new = measure()?;
    let mut worse = regressions(&old, &new);
    worse.extend(newly_missed(&old, &new));
    println!("\n{}", page::against_the_goals(&new));
    if worse.is_empty() {
        let count: usize = new.iter().map(|table| table.cells().count()).sum();
        println!("{PAGE}: {count} figures compared, none more than {ALLOWED_PERCENT} % above the one written");
        return Ok(());
    }
    bail!("figures above the budget; mend them, or accept them with `cargo xtask budget`:\n  {}", worse.join("\n  "))
}

fn measure() -> Result<Vec<Table>> {
    let mut tables = vec![weights::measure()?];
    tables.extend(counts::measure()?);
    Ok(tables)
}

/// Goals that were reached and are no longer, even by a growth that is allowed.
fn newly_missed(old: &[Table], new: &[Table]) -> Vec<String> {
    let before = page::outcomes(old);
    let was_reached = |what| before.iter().any(|outcome| outcome.what == what && outcome.is_reached());
    let missed = page::outcomes(new).into_iter().filter(|now| !now.is_reached() && was_reached(now.what));
    missed.map(|now| format!("{}: {}, and the goal is no longer reached", now.what, now.value)).collect()
}

/// A figure may grow by so much before it must be accepted.
const ALLOWED_PERCENT: u64 = 5;

/// The stopwatch counts five instructions at a time, so a small figure may differ by that much for nothing.
const ALLOWED_ANYWAY: u64 = 10;

/// Every figure of `new` that is above `old` or has no counterpart there.
pub fn regressions(old: &[Table], new: &[Table]) -> Vec<String> {
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

    #[test]
    fn a_goal_that_slips_away_within_five_per_cent_is_found() {
        let stack =
            |bytes| vec![Table::new(counts::STACK, &["Cortex-M3, for speed"]).row("an input", vec![Some(bytes)])];
        assert!(regressions(&stack(2_000), &stack(2_060)).is_empty());
        assert_eq!(
            newly_missed(&stack(2_000), &stack(2_060)),
            ["stack of an input on Cortex-M3: 2060, and the goal is no longer reached"]
        );
        assert!(newly_missed(&stack(2_000), &stack(2_048)).is_empty());
        assert!(newly_missed(&stack(2_060), &stack(2_070)).is_empty(), "missed before");
    }

    #[test]
    fn the_table_of_the_goals_follows_from_the_others() {
        let tables = vec![Table::new(counts::STACK, &["Cortex-M3, for speed"]).row("an input", vec![Some(2_060)])];
        let page = page::write("rustc 0", &tables, &[]);
        assert!(page.contains("| stack of an input on Cortex-M3 | 2048 | 2060 | missed |"));
        assert!(page.contains(&page::against_the_goals(&table::parse(&page))));
    }
}
