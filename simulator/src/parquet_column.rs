//! One column of a Parquet file.

use std::io::Write;

use parquet::data_type::DataType;
use parquet::errors::ParquetError;
use parquet::file::writer::SerializedRowGroupWriter;

/// Write the next column of a group; without `levels` every row has a value, else those whose level is 1.
pub fn column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, impl Write + Send>,
    values: &[T::T],
    levels: Option<&[i16]>,
) -> Result<(), ParquetError> {
    let Some(mut open) = group.next_column()? else {
        return Err(ParquetError::General("the schema lacks a column".to_owned()));
    };
    open.typed::<T>().write_batch(values, levels, None)?;
    open.close()
}
