//! The samples file as Parquet: the same rows as its CSV, column by column, with types.

use std::io::{self, Write};
use std::sync::Arc;

use parquet::basic::{Repetition, Type as Physical};
use parquet::data_type::{BoolType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};
use slackside_desk::replay::SAMPLES_HEADER;

use crate::outputs::Whole;
use crate::parquet_column::column;

/// Rows of a group.
const GROUP: usize = 1 << 16;
/// What the names of columns end in that say yes or no.
const YES_OR_NO: &str = "_at_least";

/// Takes the lines of a samples file and keeps them as Parquet. A cell that is empty there, not known, is null here.
pub struct SamplesParquet {
    file: SerializedFileWriter<Whole>,
    /// Begun, and not yet at its end.
    line: Vec<u8>,
    header_came: bool,
    times: Vec<i64>,
    /// Of each further column.
    cells: Vec<Vec<Option<f64>>>,
}

fn names() -> impl Iterator<Item = &'static str> {
    SAMPLES_HEADER.split(',')
}

fn schema() -> Result<TypePtr, ParquetError> {
    let mut fields = Vec::new();
    for (at, name) in names().enumerate() {
        let (physical, repetition) = match name {
            _ if at == 0 => (Physical::INT64, Repetition::REQUIRED),
            name if name.ends_with(YES_OR_NO) => (Physical::BOOLEAN, Repetition::OPTIONAL),
            _ => (Physical::DOUBLE, Repetition::OPTIONAL),
        };
        fields.push(Arc::new(Type::primitive_type_builder(name, physical).with_repetition(repetition).build()?));
    }
    Ok(Arc::new(Type::group_type_builder("samples").with_fields(fields).build()?))
}

impl SamplesParquet {
    /// Begin a file.
    ///
    /// # Errors
    /// It takes nothing.
    pub fn begin(file: Whole) -> anyhow::Result<Self> {
        let properties = WriterProperties::builder().set_created_by("slackside".to_owned()).build();
        Ok(Self {
            file: SerializedFileWriter::new(file, schema()?, Arc::new(properties))?,
            line: Vec::new(),
            header_came: false,
            times: Vec::new(),
            cells: vec![Vec::new(); names().count() - 1],
        })
    }

    /// The file, complete but not yet in its place.
    ///
    /// # Errors
    /// It takes no more.
    pub fn whole(mut self) -> anyhow::Result<Whole> {
        self.put()?;
        Ok(self.file.into_inner()?)
    }

    /// A line without its end.
    fn take(&mut self) -> io::Result<()> {
        let line = std::mem::take(&mut self.line);
        if !std::mem::replace(&mut self.header_came, true) {
            return Ok(());
        }
        let no_sample = || io::Error::other(format!("`{}` is no sample", String::from_utf8_lossy(&line)));
        let text = str::from_utf8(&line).map_err(|_| no_sample())?;
        let mut cells = text.split(',');
        let time = cells.next().and_then(|time| time.parse().ok()).ok_or_else(no_sample)?;
        self.times.push(time);
        for column in &mut self.cells {
            let cell = cells.next().ok_or_else(no_sample)?;
            column.push(if cell.is_empty() { None } else { Some(cell.parse().map_err(|_| no_sample())?) });
        }
        if self.times.len() >= GROUP { self.put().map_err(io::Error::other) } else { Ok(()) }
    }

    /// The rows so far as a group of the file.
    fn put(&mut self) -> Result<(), ParquetError> {
        if self.times.is_empty() {
            return Ok(());
        }
        let mut group = self.file.next_row_group()?;
        column::<Int64Type>(&mut group, &self.times, None)?;
        for (name, cells) in names().skip(1).zip(&mut self.cells) {
            let levels: Vec<i16> = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
            let known = cells.drain(..).flatten();
            if name.ends_with(YES_OR_NO) {
                let values: Vec<bool> = known.map(|cell| cell != 0.0).collect();
                column::<BoolType>(&mut group, &values, Some(&levels))?;
            } else {
                column::<DoubleType>(&mut group, &known.collect::<Vec<f64>>(), Some(&levels))?;
            }
        }
        self.times.clear();
        group.close().map(|_| ())
    }
}

impl Write for SamplesParquet {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        for byte in bytes {
            if *byte == b'\n' { self.take()? } else { self.line.push(*byte) }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
