//! Results as tables: a row for each setting and trace.

use std::collections::BTreeMap;
use std::io::{self, Write};

use crate::error::bail;

use super::corpus::Case;
use super::score::{Outcome, Stop};
use super::search::Levels;
use super::study::Study;

/// All whole-number columns, in order.
pub const COLUMNS: [&str; 22] = [
    "setting",
    "case",
    "group",
    "needs_stop",
    "held_out",
    "stop_kind",
    "stop_us",
    "took_us",
    "due_us",
    "feed_us",
    "first_out",
    "running_us",
    "nuisance_alarms",
    "nuisance_feed",
    "floods",
    "alarms_due",
    "alarms_missed",
    "heat_j",
    "slid_mm",
    "margin_ppm",
    "truth",
    "starting",
];

/// What was found of one setting.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The levels; empty for setting 0, the limits as they stand.
    pub levels: Levels,
    /// An outcome for each trace.
    pub outcomes: Vec<Outcome>,
}

/// By setting number.
pub type Rows = BTreeMap<u32, Row>;

/// The whole numbers of an outcome, in the order of [`COLUMNS`].
#[must_use]
pub fn numbers(outcome: &Outcome) -> [i64; COLUMNS.len()] {
    [
        outcome.setting.into(),
        outcome.case.into(),
        outcome.group.into(),
        outcome.needs_stop.into(),
        outcome.held_out.into(),
        outcome.stop as i64,
        outcome.stop_us,
        outcome.took_us,
        outcome.due_us,
        outcome.feed_us,
        outcome.first_out.into(),
        outcome.running_us,
        outcome.nuisance_alarms.into(),
        outcome.nuisance_feed.into(),
        outcome.floods.into(),
        outcome.alarms_due.into(),
        outcome.alarms_missed.into(),
        outcome.heat_j,
        outcome.slid_mm,
        outcome.margin_ppm.into(),
        outcome.truth.into(),
        outcome.starting.into(),
    ]
}

/// The outcome that has these numbers; `None` if none can.
#[must_use]
pub fn outcome(numbers: &[i64]) -> Option<Outcome> {
    let small = |number: usize| u32::try_from(*numbers.get(number)?).ok();
    let numbers = <[i64; COLUMNS.len()]>::try_from(numbers).ok()?;
    Some(Outcome {
        setting: small(0)?,
        case: small(1)?,
        group: small(2)?,
        needs_stop: numbers[3] != 0,
        held_out: numbers[4] != 0,
        stop: Stop::from_number(u8::try_from(numbers[5]).ok()?),
        stop_us: numbers[6],
        took_us: numbers[7],
        due_us: numbers[8],
        feed_us: numbers[9],
        first_out: i16::try_from(numbers[10]).ok()?,
        running_us: numbers[11],
        nuisance_alarms: small(12)?,
        nuisance_feed: small(13)?,
        floods: small(14)?,
        alarms_due: small(15)?,
        alarms_missed: small(16)?,
        heat_j: numbers[17],
        slid_mm: numbers[18],
        margin_ppm: i32::try_from(numbers[19]).ok()?,
        truth: numbers[20] != 0,
        starting: numbers[21] != 0,
    })
}

/// The names of all columns.
#[must_use]
pub fn header(study: &Study) -> String {
    let mut header = COLUMNS.join(",");
    header.push_str(",trace");
    for knob in &study.knobs {
        header.push(',');
        header.push_str(&knob.key);
    }
    header
}

/// The values of the limits that vary.
#[must_use]
pub fn values(study: &Study, levels: &Levels) -> Vec<String> {
    let present = levels.is_empty();
    study
        .knobs
        .iter()
        .enumerate()
        .map(|(number, knob)| if present { knob.present(&study.base) } else { knob.text(levels[number]) })
        .collect()
}

/// One line of the CSV, with its end.
#[must_use]
pub fn line(study: &Study, cases: &[Case], row: &Row, outcome: &Outcome) -> String {
    let mut text = numbers(outcome).map(|number| number.to_string()).join(",");
    let name = cases.get(outcome.case as usize).map_or("", |case| case.name.as_str());
    text.push_str(&format!(",\"{}\"", name.replace('"', "'")));
    for value in values(study, &row.levels) {
        text.push(',');
        text.push_str(&value);
    }
    text.push('\n');
    text
}

/// Write all rows as CSV.
///
/// # Errors
/// `out` takes no more.
pub fn write_csv(out: &mut dyn Write, study: &Study, cases: &[Case], rows: &Rows) -> io::Result<()> {
    writeln!(out, "{}", header(study))?;
    for row in rows.values() {
        for outcome in &row.outcomes {
            out.write_all(line(study, cases, row, outcome).as_bytes())?;
        }
    }
    Ok(())
}

/// What must be the same for results to belong together: study, traces, and what the program is.
#[must_use]
pub fn stamp(study: &Study, cases: &[Case]) -> String {
    let mut names = String::new();
    for case in cases {
        names.push_str(&format!("{} {:016x} {};", case.name, case.content, case.store.len()));
    }
    let traces = super::study::fingerprint(names.as_bytes());
    format!("{:016x}-{traces:016x}-{}", study.fingerprint, env!("CARGO_PKG_VERSION"))
}

/// The levels at which the limits have these values; `None` if one lies on no ladder.
#[must_use]
pub fn levels_of(study: &Study, setting: u32, values: &[f64]) -> Option<Levels> {
    if setting == 0 {
        return Some(Levels::new());
    }
    study
        .knobs
        .iter()
        .zip(values)
        .map(|(knob, value)| (0..knob.levels()).find(|level| (knob.value(*level) - value).abs() < 1e-6))
        .collect()
}

/// Put an outcome among the others.
///
/// # Errors
/// It contradicts what is there already.
pub fn put(rows: &mut Rows, levels: Levels, read: Outcome) -> crate::error::Result<()> {
    let row = rows.entry(read.setting).or_insert_with(|| Row { levels: levels.clone(), outcomes: Vec::new() });
    if row.levels != levels {
        bail!("setting {} is two different ones", read.setting);
    }
    match row.outcomes.binary_search_by_key(&read.case, |outcome| outcome.case) {
        Ok(found) if row.outcomes[found] == read => {}
        Ok(_) => bail!("setting {} on trace {} has two different results", read.setting, read.case),
        Err(place) => row.outcomes.insert(place, read),
    }
    Ok(())
}

/// Read one line back; `None` if it is none of ours.
#[must_use]
pub fn parse(study: &Study, row: &str) -> Option<(Levels, Outcome)> {
    // The name of the trace stands in quotes and holds none itself.
    let (before, rest) = row.split_once(",\"")?;
    let (_, after) = rest.split_once("\",")?;
    let whole: Vec<i64> = before.split(',').map(|field| field.parse().ok()).collect::<Option<_>>()?;
    let real: Vec<f64> = after.split(',').map(|field| field.parse().ok()).collect::<Option<_>>()?;
    if whole.len() != COLUMNS.len() || real.len() != study.knobs.len() {
        return None;
    }
    let read = outcome(&whole)?;
    Some((levels_of(study, read.setting, &real)?, read))
}
