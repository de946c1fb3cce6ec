//! Results as Parquet.

use std::fs::File;
use std::io::Write as _;
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
use parquet::schema::types::{PrimitiveTypeBuilder, Type, TypePtr};
use slackside_desk::tune::corpus::Case;
use slackside_desk::tune::results::{COLUMNS, Row, Rows, levels_of, numbers, outcome, put, stamp, values};
use slackside_desk::tune::score::Outcome;
use slackside_desk::tune::study::Study;

use crate::outputs::write_whole;
use crate::parquet_column::column;

/// Rows of a group.
const GROUP: usize = 1 << 18;

fn typed(name: &str, physical: Physical) -> PrimitiveTypeBuilder<'_> {
    Type::primitive_type_builder(name, physical).with_repetition(Repetition::REQUIRED)
}

fn schema(study: &Study) -> anyhow::Result<TypePtr> {
    let mut fields = Vec::new();
    for name in COLUMNS {
        fields.push(Arc::new(typed(name, Physical::INT64).build()?));
    }
    fields.push(Arc::new(typed("trace", Physical::BYTE_ARRAY).with_converted_type(ConvertedType::UTF8).build()?));
    for knob in &study.knobs {
        fields.push(Arc::new(typed(&knob.key, Physical::DOUBLE).build()?));
    }
    Ok(Arc::new(Type::group_type_builder("results").with_fields(fields).build()?))
}

/// Write all rows as Parquet.
///
/// # Errors
/// The file cannot be written.
pub fn write_parquet(path: &Path, study: &Study, cases: &[Case], rows: &Rows) -> anyhow::Result<()> {
    let properties = WriterProperties::builder()
        .set_created_by("slackside".to_owned())
        .set_key_value_metadata(Some(vec![KeyValue::new("slackside.study".to_owned(), stamp(study, cases))]))
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, schema(study)?, Arc::new(properties))?;
    let flat: Vec<(&Row, &Outcome)> =
        rows.values().flat_map(|row| row.outcomes.iter().map(move |outcome| (row, outcome))).collect();
    for chunk in flat.chunks(GROUP) {
        let mut group = writer.next_row_group()?;
        let table: Vec<[i64; COLUMNS.len()]> = chunk.iter().map(|(_, outcome)| numbers(outcome)).collect();
        for number in 0..COLUMNS.len() {
            let values: Vec<i64> = table.iter().map(|row| row[number]).collect();
            column::<Int64Type>(&mut group, &values, None)?;
        }
        let name = |outcome: &Outcome| cases.get(outcome.case as usize).map_or("", |case| case.name.as_str());
        let names: Vec<ByteArray> = chunk.iter().map(|(_, outcome)| ByteArray::from(name(outcome))).collect();
        column::<ByteArrayType>(&mut group, &names, None)?;
        for knob in 0..study.knobs.len() {
            let values: Vec<f64> =
                chunk.iter().map(|(row, _)| values(study, &row.levels)[knob].parse().unwrap_or(f64::NAN)).collect();
            column::<DoubleType>(&mut group, &values, None)?;
        }
        group.close()?;
    }
    writer.close()?;
    write_whole(path, |file| Ok(file.write_all(&bytes)?))
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
