//! Instructions an input on the desk, counted by callgrind: the benchmark plays the healthy leg twice as long, and what it takes more
//! is what those inputs cost.

use anyhow::{Context, Result, ensure};
use std::process::Command;

use super::table::Table;
use crate::root::root;

/// The heading.
pub const TITLE: &str = "Instructions an input on the desk, healthy leg";
/// The column.
pub const COLUMN: &str = "instructions";
/// The rows.
pub const SINGLY: &str = "singly";
pub const BATCH: &str = "in a batch";

/// Ask the benchmark of the core, which counts itself.
pub fn measure() -> Result<Table> {
    println!("counting instructions on the desk");
    let output = Command::new("cargo")
        .current_dir(root())
        .args([
            "bench",
            "--quiet",
            "--package",
            "slackside",
            "--bench",
            "monitor",
            "--features",
            "desk",
            "--",
            "instructions",
        ])
        .output()
        .context("running cargo bench")?;
    let (said, wrong) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    ensure!(output.status.success(), "the benchmark failed:\n{said}{wrong}");
    let mut table = Table::new(TITLE, &[COLUMN]);
    for row in [SINGLY, BATCH] {
        let figure = said.lines().find_map(|line| line.strip_prefix(row)?.strip_prefix(": ")?.trim().parse().ok());
        table.push(row, vec![figure]);
    }
    Ok(table)
}
