//! What should not be in the tree: forgotten work, paths of somebody's machine, files nothing leads to, and figures in the
//! documents that are no longer those of the code. `cargo test` runs it too.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use regex::Regex;
use slackside::conditions::Condition;
use slackside::settings::{Limits, Settings};

use crate::root::{files, root};

/// Look through the tree.
pub fn run() -> Result<()> {
    let tree = Tree::read()?;
    let findings = tree.findings()?;
    if findings.is_empty() {
        println!("{} files are tidy", tree.files.len());
        return Ok(());
    }
    bail!("the tree is not tidy:\n  {}", findings.join("\n  "))
}

/// A text file of the tree.
struct Text {
    path: PathBuf,
    text: String,
}

struct Tree {
    files: Vec<Text>,
}

/// Source files longer than this hold more than one idea.
const MOST_LINES: usize = 800;

impl Tree {
    /// Every text file that git knows or would take.
    fn read() -> Result<Self> {
        let mut texts = Vec::new();
        for path in files()? {
            // Listed but deleted, or no text (a corpus, a picture): nothing to read.
            if let Ok(text) = fs::read_to_string(root().join(&path)) {
                texts.push(Text { path, text });
            }
        }
        Ok(Self { files: texts })
    }

    fn findings(&self) -> Result<Vec<String>> {
        let mut findings = Vec::new();
        for file in &self.files {
            banned(file, &mut findings)?;
            layout(file, &mut findings);
        }
        self.dead_modules(&mut findings);
        self.dead_pages(&mut findings)?;
        self.dead_links(&mut findings)?;
        self.dead_code(&mut findings)?;
        self.figures(&mut findings)?;
        self.scores(&mut findings);
        Ok(findings)
    }

    fn named(&self, path: &Path) -> Option<&Text> {
        self.files.iter().find(|file| file.path == path)
    }

    /// Source files that no module declares.
    fn dead_modules(&self, findings: &mut Vec<String>) {
        for file in self.files.iter().filter(|file| has_extension(&file.path, "rs")) {
            let Some((folder, name)) = module_place(&file.path) else { continue };
            let stem = folder.file_name().unwrap_or_default().to_string_lossy();
            let parents = [
                folder.join("mod.rs"),
                folder.join("lib.rs"),
                folder.join("main.rs"),
                folder.with_file_name(format!("{stem}.rs")),
            ];
            let declared =
                parents.iter().filter_map(|parent| self.named(parent)).any(|parent| declares(&parent.text, &name));
            let beside = || self.files.iter().filter(|other| other.path.parent() == Some(folder.as_path()));
            // A benchmark is a crate of its own, and its modules are declared in it.
            let loose = is_loose_crate(&folder) && beside().any(|other| declares(&other.text, &name));
            let by_path = format!("#[path = \"{name}.rs\"]");
            let loose = loose || beside().any(|other| other.text.contains(&by_path));
            if !declared && !loose {
                findings.push(format!("{}: no module declares it", file.path.display()));
            }
        }
    }

    /// Pages of the book that its summary does not list, and the other way about.
    fn dead_pages(&self, findings: &mut Vec<String>) -> Result<()> {
        let book = Path::new("docs/src");
        let Some(summary) = self.named(&book.join("SUMMARY.md")) else { return Ok(()) };
        let link = Regex::new(r"\]\(([^)#]+\.md)\)")?;
        let listed: BTreeSet<PathBuf> =
            link.captures_iter(&summary.text).map(|found| book.join(found[1].trim_start_matches("./"))).collect();
        for page in &listed {
            if self.named(page).is_none() {
                findings.push(format!("docs/src/SUMMARY.md: lists {}, which is not there", page.display()));
            }
        }
        for file in self.files.iter().filter(|file| file.path.starts_with(book) && has_extension(&file.path, "md")) {
            if file.path != summary.path && !listed.contains(&file.path) {
                findings.push(format!("{}: the book's summary does not list it", file.path.display()));
            }
        }
        Ok(())
    }

    /// Links of documents to files that are not there.
    fn dead_links(&self, findings: &mut Vec<String>) -> Result<()> {
        let link = Regex::new(r"\]\(([^)#\s]+)(#[^)]*)?\)")?;
        for file in self.files.iter().filter(|file| has_extension(&file.path, "md")) {
            let folder = file.path.parent().unwrap_or(Path::new(""));
            for found in link.captures_iter(&file.text) {
                let to = &found[1];
                if to.contains("://") || to.starts_with("mailto:") {
                    continue;
                }
                let place = straight(&folder.join(to));
                let there = self.files.iter().any(|other| other.path == place || other.path.starts_with(&place));
                if !there {
                    findings.push(format!("{}: leads to {to}, which is not there", file.path.display()));
                }
            }
        }
        Ok(())
    }

    /// Code that a page shows by including it from where it is compiled: the file, and the place in it, must be there.
    fn dead_code(&self, findings: &mut Vec<String>) -> Result<()> {
        let include = Regex::new(r"\{\{#include ([^}:\s]+)(?::([A-Za-z_]+))?[^}]*\}\}")?;
        for file in self.files.iter().filter(|file| has_extension(&file.path, "md")) {
            let folder = file.path.parent().unwrap_or(Path::new(""));
            for found in include.captures_iter(&file.text) {
                let from = self.named(&straight(&folder.join(&found[1])));
                let anchor = found.get(2).map(|anchor| format!("ANCHOR: {}", anchor.as_str()));
                // Behind it stands at most the end of a comment.
                let is_it = |line: &str, anchor: &str| line.trim_end_matches([' ', '*', ')']).ends_with(anchor);
                let has = |from: &Text, anchor: &str| from.text.lines().any(|line| is_it(line, anchor));
                let there = |from: &Text| anchor.as_deref().is_none_or(|anchor| has(from, anchor));
                if !from.is_some_and(there) {
                    findings.push(format!("{}: shows {}, which is not there", file.path.display(), &found[0]));
                }
            }
        }
        Ok(())
    }

    /// The front page says of the scores what their own page says, word for word.
    fn scores(&self, findings: &mut Vec<String>) {
        let text = |path: &str| self.named(Path::new(path)).map_or("", |file| file.text.as_str());
        let front = text("README.md");
        for row in in_short(text("docs/src/engineer/scores.md")) {
            if !front.contains(row) {
                findings
                    .push(format!("README.md: what was measured is not the row of docs/src/engineer/scores.md: {row}"));
            }
        }
    }

    /// Figures in the documents that must be those of the code.
    fn figures(&self, findings: &mut Vec<String>) -> Result<()> {
        let percent = |condition: Condition| i64::from(Limits::STARTING.of(condition).setpoint / 10_000);
        let example = Settings::example();
        let rules = [
            (r"\b(\d+) conditions\b", i64::try_from(Condition::COUNT)?),
            (r"slip stop at (\d+) %", percent(Condition::SlipVeryHigh)),
            (r"slip alarm at (\d+) %", percent(Condition::SlipHigh)),
            (r"underspeed stop at (\d+) %", percent(Condition::DeepUnderspeed)),
            (r"underspeed alarm at (\d+) %", percent(Condition::Underspeed)),
            (r"minimum width of (\d+) µs", i64::from(example.machine.conditioning.minimum_width.get())),
        ];
        for file in self.files.iter().filter(|file| has_extension(&file.path, "md")) {
            for (pattern, right) in &rules {
                for found in Regex::new(pattern)?.captures_iter(&file.text) {
                    if found[1].parse::<i64>().ok() != Some(*right) {
                        let said = &found[0];
                        findings.push(format!("{}: says \"{said}\"; the code has {right}", file.path.display()));
                    }
                }
            }
        }
        Ok(())
    }
}

/// The rows of the table under "In short" of the page of scores.
fn in_short(page: &str) -> Vec<&str> {
    let section = page.split("\n## ").find(|section| section.starts_with("In short\n")).unwrap_or_default();
    section.lines().filter(|line| line.starts_with("| ")).skip(1).collect()
}

/// A path without steps back.
fn straight(path: &Path) -> PathBuf {
    let mut straight = PathBuf::new();
    for part in path.components() {
        match part {
            std::path::Component::ParentDir => {
                straight.pop();
            }
            std::path::Component::CurDir => {}
            other => straight.push(other),
        }
    }
    straight
}

fn has_extension(path: &Path, extension: &str) -> bool {
    path.extension().is_some_and(|found| found == extension)
}

/// Words that must not be left behind.
fn banned(file: &Text, findings: &mut Vec<String>) -> Result<()> {
    // Each pattern is written so that it does not find itself here.
    let patterns = [
        (r"\b(todo|unimplemented|dbg)[!]\(", "unfinished work"),
        (r"\b(FIX[M]E|XX[X]|HA[C]K)\b", "unfinished work"),
        (r"(^|[^\w./-])/(home|root|Users|work)[/]\w", "a path of somebody's machine"),
        (r"[A-Z]:\\(Users|Documents)\b", "a path of somebody's machine"),
        (r"^(<{7}|>{7}) ", "an unfinished merge"),
    ];
    for (pattern, what) in patterns {
        let pattern = Regex::new(pattern)?;
        for (number, line) in file.text.lines().enumerate() {
            if pattern.is_match(line) {
                findings.push(format!("{}:{}: {what}: {}", file.path.display(), number + 1, line.trim()));
            }
        }
    }
    Ok(())
}

/// Length, line ends and endings.
fn layout(file: &Text, findings: &mut Vec<String>) {
    let name = file.path.display();
    if has_extension(&file.path, "rs") && file.text.lines().count() > MOST_LINES {
        findings.push(format!("{name}: longer than {MOST_LINES} lines: more than one idea"));
    }
    let ours = ["rs", "md", "toml", "x"].iter().any(|extension| has_extension(&file.path, extension));
    if ours && !file.path.starts_with("fuzz/corpus") {
        if !file.text.is_empty() && !file.text.ends_with('\n') {
            findings.push(format!("{name}: its last line has no end"));
        }
        for (number, line) in file.text.lines().enumerate().filter(|(_, line)| line.ends_with([' ', '\t', '\r'])) {
            findings.push(format!("{name}:{}: ends in white space: {:?}", number + 1, line));
        }
    }
}

/// Whether `text` declares the module `name`, by its name or by a path to it.
fn declares(text: &str, name: &str) -> bool {
    text.lines().any(|line| {
        let line = line.trim_start();
        let line = line.strip_prefix("pub(crate) ").or_else(|| line.strip_prefix("pub(super) ")).unwrap_or(line);
        let line = line.strip_prefix("pub ").unwrap_or(line);
        line.strip_prefix("mod ").is_some_and(|rest| rest.trim_end_matches(';') == name)
    })
}

/// The folder a source file's module would be declared in, and the module's name; `None` for the root of a crate.
fn module_place(path: &Path) -> Option<(PathBuf, String)> {
    let folder = path.parent()?;
    let stem = path.file_stem()?.to_string_lossy().into_owned();
    match stem.as_str() {
        "lib" | "main" | "build" => None,
        "mod" => Some((folder.parent()?.to_path_buf(), folder.file_name()?.to_string_lossy().into_owned())),
        _ if is_loose_crate(folder) => None,
        _ => Some((folder.to_path_buf(), stem)),
    }
}

/// Folders in which cargo takes every file for a crate of its own.
fn is_loose_crate(folder: &Path) -> bool {
    let name = folder.file_name().unwrap_or_default();
    // The package of tests is called `tests` too: its crates are one folder further down.
    name == "benches"
        || name == "bin"
        || name == "examples"
        || name == "fuzz_targets"
        || (name == "tests"
            && folder.parent().is_some_and(|parent| !parent.as_os_str().is_empty() && !parent.ends_with("src")))
            && !folder.components().any(|part| part.as_os_str() == "src")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(path: &str, text: &str) -> Text {
        Text { path: path.into(), text: text.into() }
    }

    #[test]
    fn the_tree_is_tidy() {
        run().unwrap();
    }

    #[test]
    fn untidy_things_are_found() {
        let unfinished = format!("fn f() {{ {}!() }}\n", "todo");
        let elsewhere = format!("see {}me/notes\n", "/home/");
        let tree = Tree {
            files: vec![
                text("a/src/lib.rs", "mod used;\n"),
                text("a/src/used.rs", &unfinished),
                text("a/src/unused.rs", "\n"),
                text("docs/src/SUMMARY.md", "[A](a.md)\n[B](b.md)\n"),
                text(
                    "docs/src/a.md",
                    "It watches 3 conditions, [so](gone.md), [so](../src/c.md#x). \n{{#include ../../a/src/lib.rs:round}}\n{{#include ../../a/src/lib.rs:1:}}\n",
                ),
                text("docs/src/c.md", &elsewhere),
                text(
                    "docs/src/engineer/scores.md",
                    "\n## In short\n\n| what | measured |\n|---|---|\n| legs | 3 stops |\n\n## More\n",
                ),
                text("README.md", "| legs | 2 stops | `so` |\n"),
            ],
        };
        let findings = tree.findings().unwrap().join("\n");
        for expected in [
            "a/src/used.rs:1: unfinished work",
            "a/src/unused.rs: no module declares it",
            "lists docs/src/b.md",
            "docs/src/c.md: the book's summary does not list it",
            "says \"3 conditions\"",
            "docs/src/a.md:1: ends in white space",
            "docs/src/a.md: leads to gone.md",
            "docs/src/a.md: shows {{#include ../../a/src/lib.rs:round}}, which is not there",
            "docs/src/SUMMARY.md: leads to b.md",
            "docs/src/c.md:1: a path of somebody's machine",
            "docs/src/engineer/scores.md: the book's summary does not list it",
            "README.md: what was measured is not the row of docs/src/engineer/scores.md: | legs | 3 stops |",
        ] {
            assert!(findings.contains(expected), "{expected:?} not found in:\n{findings}");
        }
        assert_eq!(tree.findings().unwrap().len(), 12);
    }
}
