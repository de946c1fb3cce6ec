//! Replays of the worst traces under the chosen settings, a page each, beside the report.

use std::collections::HashMap;
use std::io::Write as _;
use std::path::Path;

use anyhow::Context as _;
use rayon::iter::{IndexedParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _};
use slackside_desk::tune::again::page;
use slackside_desk::tune::choose::Choice;
use slackside_desk::tune::corpus::Case;
use slackside_desk::tune::study::Study;

use crate::disk::Disk;
use crate::outputs::write_whole;

/// So many replays go with a report.
pub const MOST: usize = 6;

/// Write a page for each of these traces into the directory `REPORT-worst` beside the report. The links, by trace.
///
/// # Errors
/// A trace cannot be read again, or a page cannot be written.
pub fn pages(
    study: &Study,
    cases: &[Case],
    choice: &Choice,
    wanted: &[u32],
    report: &Path,
    progress: &(dyn Fn() + Sync),
) -> anyhow::Result<HashMap<u32, String>> {
    if wanted.is_empty() {
        return Ok(HashMap::new());
    }
    let stem = report.file_stem().unwrap_or_default().to_string_lossy();
    let folder = format!("{stem}-worst");
    let directory = report.with_file_name(&folder);
    std::fs::create_dir_all(&directory).with_context(|| format!("{} cannot be made", directory.display()))?;
    wanted
        .par_iter()
        .enumerate()
        .filter_map(|(rank, number)| Some((rank, *number, cases.get(*number as usize)?)))
        .map(|(rank, number, case)| {
            let name = format!("{}.html", rank + 1);
            let path = directory.join(&name);
            let page = page(study, case, choice, &Disk)?;
            write_whole(&path, |file| Ok(file.write_all(page.as_bytes())?))?;
            progress();
            Ok((number, format!("{folder}/{name}")))
        })
        .collect()
}
