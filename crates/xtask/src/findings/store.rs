//! Where played runs are kept: whoever draws again goes on with them, as long as they are of the same core, plant and questions.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use slackside_desk::crew::Crew as _;
use slackside_desk::findings::learn::draw::{For, draw};
use slackside_desk::findings::learn::play::play;
use slackside_desk::findings::learn::row::{Row, header};
use slackside_simulator::cores::Cores;

use super::stamp::stamp;

/// So many runs are played together, and then kept.
const AT_ONCE: usize = 100;

/// A folder of played runs.
pub struct Store {
    folder: PathBuf,
    head: String,
}

impl Store {
    /// In that folder, for runs of the core, plant and questions as they are now.
    pub fn new(folder: &Path) -> Result<Self> {
        Self::of(folder, &stamp()?)
    }

    fn of(folder: &Path, stamp: &str) -> Result<Self> {
        fs::create_dir_all(folder)?;
        Ok(Self { folder: folder.to_owned(), head: format!("# {stamp}\n{}", header()) })
    }

    /// The runs of one kind and seed.
    pub fn runs(&self, of: For, seed: u64) -> Result<Runs> {
        let path = self.folder.join(format!("{of:?}-{seed}.csv").to_lowercase());
        let text = fs::read_to_string(&path).unwrap_or_default();
        let mut kept = BTreeMap::new();
        match text.strip_prefix(&self.head) {
            Some(lines) => {
                // What was cut off is played again.
                let whole = lines.split_inclusive('\n').filter(|line| line.ends_with('\n'));
                kept.extend(whole.filter_map(Row::parse).map(|row| (row.index, row)));
            }
            None if text.is_empty() => {}
            None => eprintln!("{}: of another core, plant or list of questions; drawn anew", path.display()),
        }
        let lines: String = std::iter::once(self.head.clone()).chain(kept.values().map(Row::line)).collect();
        fs::write(&path, lines).with_context(|| format!("{}", path.display()))?;
        let file = OpenOptions::new().append(true).open(&path)?;
        Ok(Runs { of, seed, file, kept })
    }
}

/// Runs of one kind and seed: those that were played, and those that are still to be.
pub struct Runs {
    of: For,
    seed: u64,
    file: File,
    kept: BTreeMap<usize, Row>,
}

impl Runs {
    /// Those of these numbers, in their order; but for those for which nothing can be drawn.
    pub fn numbered(&mut self, numbers: &[usize]) -> Result<Vec<Row>> {
        let (of, seed) = (self.of, self.seed);
        let missing: Vec<usize> = numbers.iter().copied().filter(|number| !self.kept.contains_key(number)).collect();
        for (part, some) in missing.chunks(AT_ONCE).enumerate() {
            for played in Cores.each(some.to_vec(), |number| played(of, seed, number)) {
                let Some(row) = played? else { continue };
                self.file.write_all(row.line().as_bytes())?;
                self.kept.insert(row.index, row);
            }
            eprintln!("{of:?}: {} of {}", part * AT_ONCE + some.len(), missing.len());
        }
        Ok(numbers.iter().filter_map(|number| self.kept.get(number).cloned()).collect())
    }
}

/// A run of a draw; none where nothing can be drawn.
fn played(of: For, seed: u64, number: usize) -> Result<Option<Row>> {
    match draw(of, seed, number) {
        Ok(drawn) => Ok(Some(Row::of(number, &drawn, play(&drawn)?))),
        Err(refused) => {
            eprintln!("{of:?} {number}: {refused}");
            Ok(None)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_kept_but_not_those_of_another_core() {
        let folder = tempfile::tempdir().expect("a folder");
        let ours = Store::of(folder.path(), "ours").expect("a store");
        let drawn = ours.runs(For::Measuring, 1).expect("runs").numbered(&[14]).expect("a run");
        assert_eq!(drawn.len(), 1);
        let path = folder.path().join("measuring-1.csv");
        // Another's figure in place of ours shows whether it was read or played.
        let text = fs::read_to_string(&path).expect("kept").replace("many short starts", "read from the store");
        fs::write(&path, &text).expect("written");
        let again = ours.runs(For::Measuring, 1).expect("runs").numbered(&[14]).expect("a run");
        assert_eq!(again[0].means, "read from the store");
        // A line that was cut off is played again.
        fs::write(&path, text.trim_end()).expect("written");
        let cut = ours.runs(For::Measuring, 1).expect("runs").numbered(&[14]).expect("a run");
        assert_eq!(cut[0].means, drawn[0].means);
        fs::write(&path, &text).expect("written");
        let theirs = Store::of(folder.path(), "theirs").expect("a store");
        let anew = theirs.runs(For::Measuring, 1).expect("runs").numbered(&[14]).expect("a run");
        assert_eq!(anew[0].means, drawn[0].means);
        assert!(fs::read_to_string(&path).expect("kept").starts_with("# theirs\n"));
    }
}
