//! Results in files: a row for each setting and trace, as CSV and as Parquet, and the unfinished file that a stopped study goes
//! on from.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{BufRead as _, BufReader, Seek as _, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use parquet::basic::{ConvertedType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::file::writer::SerializedFileWriter;
use parquet::record::Field;
use parquet::schema::types::Type;

use super::corpus::Case;
use super::score::{Outcome, Stop};
use super::search::Levels;
use super::study::Study;
use crate::outputs::Whole;

/// All whole-number columns, in order.
const COLUMNS: [&str; 18] = [
    "setting",
    "case",
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

fn numbers(outcome: &Outcome) -> [i64; 19] {
    [
        outcome.setting.into(),
        outcome.case.into(),
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
    ]
}

fn outcome(numbers: &[i64]) -> Option<Outcome> {
    let small = |number: usize| u32::try_from(*numbers.get(number)?).ok();
    Some(Outcome {
        setting: small(0)?,
        case: small(1)?,
        needs_stop: numbers[2] != 0,
        held_out: numbers[3] != 0,
        stop: Stop::from_number(u8::try_from(numbers[4]).ok()?),
        stop_us: numbers[5],
        took_us: numbers[6],
        due_us: numbers[7],
        feed_us: numbers[8],
        first_out: i16::try_from(numbers[9]).ok()?,
        running_us: numbers[10],
        nuisance_alarms: small(11)?,
        nuisance_feed: small(12)?,
        floods: small(13)?,
        alarms_due: small(14)?,
        alarms_missed: small(15)?,
        heat_j: numbers[16],
        slid_mm: numbers[17],
        margin_ppm: i32::try_from(*numbers.get(18)?).ok()?,
    })
}

fn header(study: &Study) -> String {
    let mut header = COLUMNS.join(",");
    header.push_str(",margin_ppm,trace");
    for knob in &study.knobs {
        header.push(',');
        header.push_str(&knob.key);
    }
    header
}

fn values(study: &Study, levels: &Levels) -> Vec<String> {
    let present = levels.is_empty();
    study
        .knobs
        .iter()
        .enumerate()
        .map(|(number, knob)| if present { knob.present(&study.base) } else { knob.text(levels[number]) })
        .collect()
}

fn line(study: &Study, cases: &[Case], row: &Row, outcome: &Outcome) -> String {
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
/// The file cannot be written.
pub fn write_csv(path: &Path, study: &Study, cases: &[Case], rows: &Rows) -> anyhow::Result<()> {
    let mut file = Whole::create(path).with_context(|| format!("{} cannot be written", path.display()))?;
    writeln!(file, "{}", header(study))?;
    for row in rows.values() {
        for outcome in &row.outcomes {
            file.write_all(line(study, cases, row, outcome).as_bytes())?;
        }
    }
    file.finish().with_context(|| format!("{} cannot be written", path.display()))
}

/// What must be the same for results to belong together: study, traces, and what the program is.
#[must_use]
pub fn stamp(study: &Study, cases: &[Case]) -> String {
    let mut names = String::new();
    for case in cases {
        names.push_str(&format!("{} {} {};", case.name, case.store.len(), case.store.end().get()));
    }
    let traces = super::study::fingerprint(names.as_bytes());
    format!("{:016x}-{traces:016x}-{}", study.fingerprint, env!("CARGO_PKG_VERSION"))
}

/// Write all rows as Parquet.
///
/// # Errors
/// The file cannot be written.
pub fn write_parquet(path: &Path, study: &Study, cases: &[Case], rows: &Rows) -> anyhow::Result<()> {
    let whole =
        |name: &str| Type::primitive_type_builder(name, Physical::INT64).with_repetition(Repetition::REQUIRED).build();
    let mut fields = Vec::new();
    for name in COLUMNS.into_iter().chain(["margin_ppm"]) {
        fields.push(Arc::new(whole(name)?));
    }
    let text = Type::primitive_type_builder("trace", Physical::BYTE_ARRAY)
        .with_repetition(Repetition::REQUIRED)
        .with_converted_type(ConvertedType::UTF8)
        .build()?;
    fields.push(Arc::new(text));
    for knob in &study.knobs {
        let real =
            Type::primitive_type_builder(&knob.key, Physical::DOUBLE).with_repetition(Repetition::REQUIRED).build()?;
        fields.push(Arc::new(real));
    }
    let schema = Arc::new(Type::group_type_builder("results").with_fields(fields).build()?);
    let properties = WriterProperties::builder()
        .set_created_by("slackside".to_owned())
        .set_key_value_metadata(Some(vec![KeyValue::new("slackside.study".to_owned(), stamp(study, cases))]))
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, schema, Arc::new(properties))?;
    let flat: Vec<(&Row, &Outcome)> =
        rows.values().flat_map(|row| row.outcomes.iter().map(move |outcome| (row, outcome))).collect();
    for chunk in flat.chunks(1 << 18) {
        let mut group = writer.next_row_group()?;
        let table: Vec<[i64; 19]> = chunk.iter().map(|(_, outcome)| numbers(outcome)).collect();
        for column in 0..19 {
            let values: Vec<i64> = table.iter().map(|row| row[column]).collect();
            let Some(mut open) = group.next_column()? else { bail!("the Parquet schema lacks a column") };
            open.typed::<Int64Type>().write_batch(&values, None, None)?;
            open.close()?;
        }
        let names: Vec<ByteArray> = chunk
            .iter()
            .map(|(_, outcome)| ByteArray::from(cases.get(outcome.case as usize).map_or("", |case| case.name.as_str())))
            .collect();
        let Some(mut open) = group.next_column()? else { bail!("the Parquet schema lacks a column") };
        open.typed::<ByteArrayType>().write_batch(&names, None, None)?;
        open.close()?;
        for knob in 0..study.knobs.len() {
            let values: Vec<f64> =
                chunk.iter().map(|(row, _)| values(study, &row.levels)[knob].parse().unwrap_or(f64::NAN)).collect();
            let Some(mut open) = group.next_column()? else { bail!("the Parquet schema lacks a column") };
            open.typed::<DoubleType>().write_batch(&values, None, None)?;
            open.close()?;
        }
        group.close()?;
    }
    writer.close()?;
    let mut file = Whole::create(path).with_context(|| format!("{} cannot be written", path.display()))?;
    file.write_all(&bytes)?;
    file.finish().with_context(|| format!("{} cannot be written", path.display()))
}

fn levels_of(study: &Study, setting: u32, values: &[f64]) -> Option<Levels> {
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

/// Read a Parquet file of results into `rows`.
///
/// # Errors
/// It cannot be read, is of another study or other traces, or contradicts what is there already.
pub fn read_parquet(path: &Path, study: &Study, cases: &[Case], rows: &mut Rows) -> anyhow::Result<()> {
    let name = path.display();
    let file = File::open(path).with_context(|| format!("{name} cannot be read"))?;
    let reader = SerializedFileReader::new(file).with_context(|| format!("{name} is no Parquet file, or not whole"))?;
    let stamps = reader.metadata().file_metadata().key_value_metadata();
    let found = stamps
        .and_then(|all| all.iter().find(|pair| pair.key == "slackside.study"))
        .and_then(|pair| pair.value.clone());
    let expected = stamp(study, cases);
    if found.as_deref() != Some(&expected) {
        bail!(
            "{name} is not of this study and these traces: its stamp is {}, expected {expected}; run that shard again",
            found.unwrap_or_else(|| "missing".to_owned())
        );
    }
    for record in reader.get_row_iter(None)? {
        let record = record?;
        let mut whole = Vec::new();
        let mut real = Vec::new();
        for (_, field) in record.get_column_iter() {
            match field {
                Field::Long(number) => whole.push(*number),
                Field::Double(number) => real.push(*number),
                _ => {}
            }
        }
        let read = outcome(&whole).with_context(|| format!("{name} has a row that is none of ours"))?;
        let levels = levels_of(study, read.setting, &real)
            .with_context(|| format!("{name}: a setting lies on no ladder of the study"))?;
        put(rows, levels, read).with_context(|| format!("{name} contradicts another shard"))?;
    }
    Ok(())
}

fn put(rows: &mut Rows, levels: Levels, read: Outcome) -> anyhow::Result<()> {
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

fn parse(study: &Study, row: &str) -> Option<(Levels, Outcome)> {
    // The name of the trace stands in quotes and holds none itself.
    let (before, rest) = row.split_once(",\"")?;
    let (_, after) = rest.split_once("\",")?;
    let whole: Vec<i64> = before.split(',').map(|field| field.parse().ok()).collect::<Option<_>>()?;
    let real: Vec<f64> = after.split(',').map(|field| field.parse().ok()).collect::<Option<_>>()?;
    if whole.len() != 19 || real.len() != study.knobs.len() {
        return None;
    }
    let read = outcome(&whole)?;
    Some((levels_of(study, read.setting, &real)?, read))
}
