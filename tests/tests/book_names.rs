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

#[test]
fn every_test_that_the_book_names_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let (mut code, mut pages) = (Vec::new(), Vec::new());
    for folder in ["crates", "tests", "simulator"] {
        files(&root.join(folder), "rs", &mut code);
    }
    files(&root.join("docs/src"), "md", &mut pages);
    let mut functions = BTreeSet::new();
    for file in code {
        let text = fs::read_to_string(file).expect("text");
        functions.extend(text.split("fn ").skip(1).filter_map(|rest| rest.split(['(', '<']).next()).map(str::to_owned));
    }
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
