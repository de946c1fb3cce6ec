//! A test that the book names as the one that holds a promise is there.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Every file of this extension below a folder, but for what is built.
fn files(folder: &Path, extension: &str, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").path()) {
        let name = entry.file_name().unwrap_or_default().to_string_lossy();
        if entry.is_dir() && name != "target" && !name.starts_with('.') {
            files(&entry, extension, found);
        } else if entry.extension().is_some_and(|is| is == extension) {
            found.push(entry);
        }
    }
}

/// Every function of the repository by name.
fn functions(root: &Path) -> BTreeSet<String> {
    let mut code = Vec::new();
    for folder in ["crates", "tests", "simulator"] {
        files(&root.join(folder), "rs", &mut code);
    }
    let mut functions = BTreeSet::new();
    for file in code {
        let text = fs::read_to_string(file).expect("text");
        functions.extend(text.split("fn ").skip(1).filter_map(|rest| rest.split(['(', '<']).next()).map(str::to_owned));
    }
    functions
}

/// Rows of tables that name what shows or holds a thing: those whose last column is headed so.
fn promises(page: &str) -> Vec<&str> {
    let mut rows = Vec::new();
    let mut within = false;
    for line in page.lines() {
        if !line.starts_with('|') {
            within = false;
        } else if line.ends_with("| shown by |") || line.ends_with("| promise | test |") {
            within = true;
        } else if within && !line.starts_with("|---") {
            rows.push(line);
        }
    }
    rows
}

/// Whether the last cell of a row names a test that is there, or a command that every build runs.
fn names_a_proof(row: &str, functions: &BTreeSet<String>) -> bool {
    let cell = row.trim_end_matches([' ', '|']).rsplit('|').next().unwrap_or_default();
    let command = |word: &str| ["cargo xtask box --check", "cargo xtask latency"].contains(&word);
    cell.split('`').skip(1).step_by(2).any(|word| command(word) || (word.contains('_') && functions.contains(word)))
}

/// What the book promises of box, link, recordings and failures has a test by name in each row; and a row that names none is found.
#[test]
fn every_promise_names_the_test_that_would_catch_its_breaking() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let functions = functions(&root);
    let mut without = Vec::new();
    for (page, least) in [("failsafe", 35), ("link", 20), ("box", 10), ("recording", 10)] {
        let text = fs::read_to_string(root.join(format!("docs/src/integrator/{page}.md"))).expect("text");
        let rows = promises(&text);
        assert!(rows.len() >= least, "{page}: only {} promises were found: the page is read wrongly", rows.len());
        without.extend(rows.iter().filter(|row| !names_a_proof(row, &functions)).map(|row| format!("{page}: {row}")));
    }
    assert!(without.is_empty(), "promises without a test:\n  {}", without.join("\n  "));
    for row in ["| it never fails | tried by hand |", "| it never fails | `no_such_test_is_there` |"] {
        assert!(!names_a_proof(row, &functions), "{row}");
    }
}

#[test]
fn every_test_that_the_book_names_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut pages = Vec::new();
    files(&root.join("docs/src"), "md", &mut pages);
    let functions = functions(&root);
    let (mut named, mut missing) = (0, Vec::new());
    for page in pages {
        let text = fs::read_to_string(&page).expect("text");
        // Names of conditions and settings are shorter.
        let is_test = |word: &&str| {
            word.matches('_').count() >= 4 && word.chars().all(|letter| letter.is_ascii_alphanumeric() || letter == '_')
        };
        for name in text.split('`').skip(1).step_by(2).filter(is_test) {
            named += 1;
            if !functions.contains(name) {
                missing.push(format!("{}: {name}", page.display()));
            }
        }
    }
    assert!(named > 40, "only {named} names were found: the book is read wrongly");
    assert!(missing.is_empty(), "no such test:\n  {}", missing.join("\n  "));
}
