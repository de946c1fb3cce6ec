//! What a played run depends on, in one figure: the sources of the core and of the desk, but for those that only read what was played.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};

use crate::root::root;

/// Sources of what is played.
const OF_RUNS: [&str; 2] = ["crates/slackside/src", "crates/slackside-desk/src"];
/// Those among them that read what was played, or have no part in it.
const AFTER: [&str; 13] = [
    "crates/slackside-desk/src/demo",
    "crates/slackside-desk/src/findings/answer.rs",
    "crates/slackside-desk/src/findings/learn/fit.rs",
    "crates/slackside-desk/src/findings/learn/measure.rs",
    "crates/slackside-desk/src/findings/learn/page.rs",
    "crates/slackside-desk/src/findings/learn/rules.rs",
    "crates/slackside-desk/src/findings/learn/written.rs",
    "crates/slackside-desk/src/findings/learned.txt",
    "crates/slackside-desk/src/findings/model.rs",
    "crates/slackside-desk/src/findings/track.rs",
    "crates/slackside-desk/src/report",
    "crates/slackside-desk/src/trend",
    "crates/slackside-desk/src/tune",
];

/// A sum over them, of names and bytes in order.
pub fn stamp() -> Result<String> {
    let root = root();
    let mut files = Vec::new();
    for folder in OF_RUNS {
        sources(&root, Path::new(folder), &mut files)?;
    }
    files.sort();
    let sum = crc::Crc::<u64>::new(&crc::CRC_64_XZ);
    let mut digest = sum.digest();
    for file in files {
        let bytes = fs::read(root.join(&file)).with_context(|| format!("{}", file.display()))?;
        for part in [file.to_string_lossy().as_bytes(), &[0], &bytes, &[0]] {
            digest.update(part);
        }
    }
    Ok(format!("drawn by sources {:016x}", digest.finalize()))
}

fn sources(root: &Path, folder: &Path, into: &mut Vec<PathBuf>) -> Result<()> {
    for entry in fs::read_dir(root.join(folder)).with_context(|| format!("{}", folder.display()))? {
        let entry = entry?;
        let path = folder.join(entry.file_name());
        if AFTER.iter().any(|after| path == Path::new(after)) {
            continue;
        }
        if entry.file_type()?.is_dir() {
            sources(root, &path, into)?;
        } else {
            into.push(path);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_that_is_left_out_is_there_and_the_plant_is_not_left_out() {
        let root = root();
        for after in AFTER {
            assert!(root.join(after).exists(), "{after}");
        }
        let mut files = Vec::new();
        sources(&root, Path::new(OF_RUNS[1]), &mut files).expect("sources");
        for of_runs in ["plant/step.rs", "sensors/contact.rs", "findings/evidence/entries.rs", "findings/learn/draw.rs"]
        {
            assert!(files.contains(&Path::new(OF_RUNS[1]).join(of_runs)), "{of_runs}");
        }
    }
}
