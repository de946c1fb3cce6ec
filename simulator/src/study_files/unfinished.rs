//! The file that a study keeps its results in until it is finished, so that a stopped one goes on.

use std::fs::{File, OpenOptions};
use std::io::{BufRead as _, BufReader, Seek as _, SeekFrom, Write as _};
use std::path::Path;

use anyhow::{Context, bail};
use slackside_desk::tune::corpus::Case;
use slackside_desk::tune::results::{Row, Rows, header, line, parse, put, stamp};
use slackside_desk::tune::study::Study;

/// The unfinished file: rows are only ever added at its end.
pub struct Unfinished {
    file: File,
}

impl Unfinished {
    /// Open it, and read what an earlier run of the same study left; a setting that is not whole is forgotten.
    ///
    /// # Errors
    /// It cannot be opened, or is of another study.
    pub fn open(path: &Path, study: &Study, cases: &[Case], what: &str) -> anyhow::Result<(Self, Rows)> {
        let name = path.display();
        let first = format!("# {} {what}", stamp(study, cases));
        let mut file = OpenOptions::new()
            .create(true)
            .read(true)
            .write(true)
            .truncate(false)
            .open(path)
            .with_context(|| format!("{name} cannot be written"))?;
        let mut rows = Rows::new();
        let mut good = 0_u64;
        let mut reader = BufReader::new(&mut file);
        let mut text = String::new();
        let mut at = 0_u64;
        let mut number = 0;
        while reader.read_line(&mut text).with_context(|| format!("{name} cannot be read"))? > 0 {
            at += text.len() as u64;
            if !text.ends_with('\n') {
                break;
            }
            let row = text.trim_end();
            if number == 0 && row != first {
                bail!(
                    "{name} is the unfinished file of another study, other traces or another shard: remove it, or give another --out"
                );
            }
            if number > 1 {
                let Some((levels, read)) = parse(study, row) else { break };
                let setting = read.setting;
                put(&mut rows, levels, read)?;
                if rows.get(&setting).is_some_and(|row| row.outcomes.len() == cases.len()) {
                    good = at;
                }
            } else {
                good = at;
            }
            number += 1;
            text.clear();
        }
        drop(reader);
        rows.retain(|_, row| row.outcomes.len() == cases.len());
        if number < 2 {
            good = 0;
        }
        file.set_len(good)?;
        file.seek(SeekFrom::End(0))?;
        if good == 0 {
            writeln!(file, "{first}\n{}", header(study))?;
        }
        Ok((Self { file }, rows))
    }

    /// Add one setting.
    ///
    /// # Errors
    /// The disk is full.
    pub fn add(&mut self, study: &Study, cases: &[Case], row: &Row) -> std::io::Result<()> {
        let mut text = String::new();
        for outcome in &row.outcomes {
            text.push_str(&line(study, cases, row, outcome));
        }
        self.file.write_all(text.as_bytes())
    }
}
