//! Replays of single traces under the chosen settings, for whoever wants to see what happened.

use std::io::{self, Cursor};

use slackside::input::Input;

use super::choose::Choice;
use super::corpus::{Case, Source};
use super::study::Study;
use crate::files::Files;
use crate::replay::{Job, replay};
use crate::report;
use crate::scenario::Scenario;
use crate::scenario::run::{Obeys, Permits, Watch, run as simulate};
use crate::scenario::score::population;
use crate::scenario::settings::Commissioned;
use crate::scenario::truth::Row;
use crate::trace::{HEADER, Reader, write_row};

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

fn reader(case: &Case, files: &dyn Files) -> crate::error::Result<Reader> {
    match &case.source {
        Source::Recorded(path) => Ok(Reader::open(files, path)?),
        Source::Simulated { scenario, seed, severity } => {
            let mut scenario = Scenario::read(files, scenario)?;
            if let Some(severity) = severity {
                scenario.set_severity(*severity);
            }
            written(&scenario, &Commissioned::measure(&scenario.leg), *seed, &case.name)
        }
        Source::Shift { seed, number } => {
            let (_, drawn) = population::healthy(*seed, *number)?;
            written(&drawn.scenario, &drawn.commissioned, drawn.scenario.seed, &case.name)
        }
    }
}

fn written(scenario: &Scenario, commissioned: &Commissioned, seed: u64, name: &str) -> crate::error::Result<Reader> {
    let mut csv = ToCsv(format!("{HEADER}\n").into_bytes());
    simulate(scenario, commissioned, seed, Obeys::Interlock, &mut csv)?;
    Ok(Reader::from_read(name, Cursor::new(csv.0))?)
}

/// The page of one trace.
///
/// # Errors
/// The trace cannot be read again.
pub fn page(study: &Study, case: &Case, choice: &Choice, files: &dyn Files) -> crate::error::Result<String> {
    let settings = study.settings(&case.settings, &choice.levels).map_err(crate::error::Error::said)?;
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
    let reader = reader(case, files)?;
    let outcome = replay(Job { notes, ..Job::new(reader, &settings, &name) })?;
    Ok(report::page(&outcome, &[]))
}
