//! Replays of single traces under the chosen settings, for whoever wants to see what happened.

use std::collections::HashMap;
use std::io::{self, Cursor, Write as _};
use std::path::Path;

use anyhow::Context as _;
use rayon::prelude::*;
use slackside::input::Input;

use super::choose::Choice;
use super::corpus::{Case, Source};
use super::study::Study;
use crate::outputs::Whole;
use crate::replay::{Begin, Job, replay_from};
use crate::report;
use crate::scenario::Scenario;
use crate::scenario::run::{Permits, Watch, run as simulate};
use crate::scenario::settings::Commissioned;
use crate::scenario::truth::Row;
use crate::trace::{HEADER, Reader, write_row};

/// So many replays go with a report.
pub const MOST: usize = 6;

/// A simulated run as the rows of a trace file. Nothing it is told stops it, as in the study.
struct ToCsv(Vec<u8>);

impl Watch for ToCsv {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        write_row(input, &mut self.0);
        Ok(())
    }

    fn truth(&mut self, _row: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, _now_us: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

fn reader(case: &Case) -> anyhow::Result<Reader> {
    match &case.source {
        Source::Recorded(path) => Ok(Reader::open(path)?),
        Source::Simulated { scenario, seed, severity } => {
            let mut scenario = Scenario::read(scenario)?;
            if let Some(severity) = severity {
                scenario.set_severity(*severity);
            }
            let mut csv = ToCsv(format!("{HEADER}\n").into_bytes());
            simulate(&scenario, &Commissioned::measure(&scenario.leg), *seed, false, &mut csv)?;
            Ok(Reader::from_read(&case.name, Cursor::new(csv.0))?)
        }
    }
}

/// The page of one trace.
fn page(study: &Study, case: &Case, choice: &Choice) -> anyhow::Result<String> {
    let settings = if choice.levels.is_empty() {
        case.settings.clone()
    } else {
        study.settings(&case.settings, &choice.levels).map_err(|reason| anyhow::anyhow!("{reason}"))?
    };
    let mut notes = vec![
        "The trace ran on whatever these settings would have done: from the first permit dropped on, the leg would have behaved otherwise."
            .to_owned(),
    ];
    if study.bench {
        notes.push(
            "The settings were held against the rules for a test bench only: no leg may run with them.".to_owned(),
        );
    }
    let name = format!("chosen by the tuning study \"{}\"", study.name);
    let reader = reader(case)?;
    let job =
        Job { reader, settings: &settings, settings_name: &name, notes, samples: None, events: None, progress: false };
    let outcome = replay_from(job, Begin::Fresh)?;
    Ok(report::page(&outcome, &[]))
}

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
            let page = page(study, case, choice)?;
            let cannot = || format!("{} cannot be written", path.display());
            let mut file = Whole::create(&path).with_context(cannot)?;
            file.write_all(page.as_bytes()).and_then(|()| file.finish()).with_context(cannot)?;
            progress();
            Ok((number, format!("{folder}/{name}")))
        })
        .collect()
}
