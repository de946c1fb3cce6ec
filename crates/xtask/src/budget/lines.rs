//! Lines of code: what is left without blank lines, comments and tests.

use std::fs;
use std::path::Path;

use anyhow::{Context, Result};

use super::table::Table;
use crate::root::root;

/// The heading.
pub const TITLE: &str = "Lines of code, without comments and tests";
/// The row of the goal.
pub const BOTH: &str = "judge and measure";

/// Count the folders of the core.
pub fn measure() -> Result<Table> {
    let source = root().join("crates/slackside/src");
    let of = |name: &str| folder(&source.join(name));
    let (judge, measure) = (of("judge")?, of("measure")?);
    let mut table = Table::new(TITLE, &["lines"]).row("judge", vec![Some(judge)]).row("measure", vec![Some(measure)]);
    table.push(BOTH, vec![Some(judge + measure)]);
    table.push("all of the core", vec![Some(folder(&source)?)]);
    Ok(table)
}

fn folder(path: &Path) -> Result<u64> {
    let mut sum = 0;
    for entry in fs::read_dir(path).with_context(|| format!("reading {}", path.display()))? {
        let path = entry?.path();
        if path.is_dir() {
            sum += folder(&path)?;
        } else if path.extension().is_some_and(|extension| extension == "rs") && !is_test(&path) {
            sum += count(&fs::read_to_string(&path)?);
        }
    }
    Ok(sum)
}

/// A file that is nothing but tests.
fn is_test(path: &Path) -> bool {
    path.file_stem().is_some_and(|stem| {
        let stem = stem.to_string_lossy();
        stem == "tests" || stem.ends_with("_tests") || stem == "arbitrary"
    })
}

/// Lines of one file. What `#[cfg(test)]`, with or without other conditions, stands before ends with its brace or its semicolon.
fn count(text: &str) -> u64 {
    let mut lines = 0;
    let mut rest = text.lines();
    let mut in_comment = false;
    while let Some(line) = rest.next() {
        let line = line.trim();
        if in_comment || line.starts_with("/*") {
            in_comment = !line.contains("*/");
            continue;
        }
        if line.is_empty() || line.starts_with("//") {
            continue;
        }
        if line.starts_with("#[cfg(test)]") || line.starts_with("#[cfg(all(test, ") {
            skip_item(&mut rest);
            continue;
        }
        lines += 1;
    }
    lines
}

/// Past the item that follows: rustfmt closes it at the indent it was opened at.
fn skip_item<'a>(rest: &mut impl Iterator<Item = &'a str>) {
    for line in rest.by_ref() {
        let begun = line.trim_start();
        if begun.starts_with('#') {
            continue;
        }
        if line.ends_with('{') || line.ends_with('(') {
            let end = line.len() - begun.len();
            for line in rest.by_ref() {
                let inner = line.trim_start();
                if line.len() - inner.len() == end && inner.starts_with(['}', ')']) {
                    return;
                }
            }
        }
        return;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_blank_lines_and_tests_do_not_count() {
        let text = "\
//! Words.

/// More words.
pub fn one() {
    // Why.
    let url = \"http://\"; // a comment behind code is code

}
/* a
   long one */
#[cfg(test)]
mod arbitrary;
#[cfg(all(test, feature = \"desk\"))]
mod with_a_feature {
    fn four() {}
}
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    #[test]
    fn two() {
        assert!(true);
    }
}
const THREE: u8 = 3;
";
        assert_eq!(count(text), 4);
    }
}
