//! The reference pages of the book, from the lists of the core, and the page of faults from the table that is played.

use std::fs;

use anyhow::{Context, Result, bail};
use slackside_desk::reference::{conditions, settings};
use slackside_modbus::page::page as modbus;
use slackside_tests::faults;

use crate::root::root;

/// Write them; or with `check` fail if they are not those of the code.
pub fn run(check: bool) -> Result<()> {
    let pages = [
        ("reference/settings.md", settings()),
        ("reference/conditions.md", conditions()),
        ("reference/modbus.md", modbus()),
        ("integrator/failsafe.md", faults::page()),
    ];
    for (name, text) in pages {
        let path = root().join("docs/src").join(name);
        if check {
            let there = fs::read_to_string(&path).unwrap_or_default();
            if there != text {
                bail!("docs/src/{name} is not what the code says: run `cargo xtask reference`");
            }
        } else {
            fs::create_dir_all(path.parent().context("no directory")?)?;
            fs::write(&path, text)?;
        }
    }
    println!("reference pages: {}", if check { "as the code has them" } else { "written" });
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_pages_are_those_of_the_code() {
        super::run(true).unwrap();
    }
}
