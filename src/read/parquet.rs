//! Parquet files, in batches of rows.

use std::borrow::Cow;
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use chrono::DateTime;
use polars_core::prelude::{
    BooleanChunked, DataFrame, DataType, Float64Chunked, Int32Chunked, Int64Chunked, PolarsResult,
    Series, StringChunked, TimeUnit,
};
use polars_io::SerReader;
use polars_io::parquet::read::ParquetReader;

use super::cell::Cell;
use super::error::ReadError;
use super::sink::Sink;

/// Rows held at a time.
const BATCH: usize = 1 << 19;
/// Most bytes that one column of one row group may unpack to.
const LARGEST_CHUNK: i64 = 4 << 30;
/// Whole numbers up to this are exact as floating point numbers.
const EXACT: i64 = 1 << 53;
/// Days from the first day of the common era to 1970-01-01, which is day 719,163.
const EPOCH: i32 = 719_163;

/// Reads a file into a sink.
pub(super) fn read(path: &Path, sink: &mut dyn Sink) -> Result<(), ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
    let length = file.metadata().map_err(|e| ReadError::io(path, &e))?.len();
    let corrupt = |e: &dyn std::fmt::Display| ReadError::corrupt(path, "Parquet file", e);
    let caught = |f: &mut dyn FnMut() -> PolarsResult<(DataFrame, usize)>| {
        // Damaged files make the decoder panic now and then; for the user that is the same thing.
        catch_unwind(AssertUnwindSafe(f))
            .map_err(|_| corrupt(&"its pages cannot be decoded"))?
            .map_err(|e| corrupt(&e))
    };
    let mut offset = 0;
    loop {
        let (batch, total) = caught(&mut || {
            let file = File::open(path)?;
            let mut reader = ParquetReader::new(file).with_slice(Some((offset, BATCH)));
            let total = plausible_rows(&mut reader, length)?;
            Ok((reader.finish()?, total))
        })?;
        if offset == 0 {
            let names: Vec<String> = batch
                .get_column_names()
                .iter()
                .map(ToString::to_string)
                .collect();
            if !sink.header(&names) {
                return Ok(());
            }
        }
        rows(&batch, offset, sink).map_err(|e| corrupt(&e))?;
        offset += batch.height();
        if total <= offset || batch.height() == 0 {
            return Ok(());
        }
    }
}

/// Number of rows, if the footer fits the file: memory is reserved by what the footer says, and a
/// reservation that fails ends the program.
fn plausible_rows(reader: &mut ParquetReader<File>, length: u64) -> PolarsResult<usize> {
    let footer = reader.get_metadata()?;
    let is_sound = |group_rows: usize, values: i64, packed: i64, unpacked: i64| {
        u32::try_from(group_rows).is_ok()
            && u32::try_from(values).is_ok()
            && u64::try_from(packed).is_ok_and(|bytes| bytes <= length)
            && (0..=LARGEST_CHUNK).contains(&unpacked)
    };
    let chunks_fit = footer.row_groups.iter().all(|group| {
        let mut columns = group.parquet_columns().iter();
        columns.all(|c| {
            is_sound(
                group.num_rows(),
                c.num_values(),
                c.compressed_size(),
                c.uncompressed_size(),
            )
        })
    });
    let sum = footer
        .row_groups
        .iter()
        .try_fold(0_usize, |sum, group| sum.checked_add(group.num_rows()));
    if !chunks_fit || sum != Some(footer.num_rows) || u32::try_from(footer.num_rows).is_err() {
        return Err(std::io::Error::other(
            "its footer does not fit the file, or counts over 4 billion rows",
        )
        .into());
    }
    Ok(footer.num_rows)
}

fn rows(batch: &DataFrame, offset: usize, sink: &mut dyn Sink) -> PolarsResult<()> {
    let mut columns = Vec::new();
    for column in batch.columns() {
        columns.push(Values::new(&column.as_materialized_series().rechunk())?);
    }
    for index in 0..batch.height() {
        let cells: Vec<Cell<'_>> = columns.iter().map(|column| column.cell(index)).collect();
        if cells.iter().any(|cell| !cell.is_empty()) {
            // The header is row 1.
            sink.row((offset + index + 2) as u32, &cells);
        }
    }
    Ok(())
}

/// The values of a column, by what they can mean.
enum Values {
    Nothing,
    Text(StringChunked),
    Number(Float64Chunked),
    Whole(Int64Chunked),
    Day(Int32Chunked),
    Moment(Int64Chunked, TimeUnit),
    Truth(BooleanChunked),
    Other(String),
}

impl Values {
    fn new(series: &Series) -> PolarsResult<Self> {
        Ok(match series.dtype() {
            DataType::Null => Self::Nothing,
            DataType::String => Self::Text(series.str()?.clone()),
            DataType::Float32 | DataType::Float64 | DataType::UInt64 => {
                Self::Number(series.cast(&DataType::Float64)?.f64()?.clone())
            }
            DataType::Int8
            | DataType::Int16
            | DataType::Int32
            | DataType::Int64
            | DataType::UInt8
            | DataType::UInt16
            | DataType::UInt32 => Self::Whole(series.cast(&DataType::Int64)?.i64()?.clone()),
            DataType::Date => Self::Day(series.to_physical_repr().i32()?.clone()),
            DataType::Datetime(unit, _) => {
                Self::Moment(series.to_physical_repr().i64()?.clone(), *unit)
            }
            DataType::Boolean => Self::Truth(series.bool()?.clone()),
            other => Self::Other(format!("a value of type {other:?}")),
        })
    }

    fn cell(&self, index: usize) -> Cell<'_> {
        let cell = match self {
            Self::Nothing => None,
            Self::Text(values) => values.get(index).map(Cell::text),
            Self::Number(values) => values.get(index).map(Cell::Number),
            Self::Whole(values) => values.get(index).map(whole),
            Self::Day(values) => values.get(index).map(day),
            Self::Moment(values, unit) => values.get(index).map(|v| moment(v, *unit)),
            Self::Truth(values) => values
                .get(index)
                .map(|v| Cell::Text(Cow::Borrowed(if v { "true" } else { "false" }))),
            Self::Other(what) => Some(Cell::Text(Cow::Borrowed(what))),
        };
        cell.unwrap_or(Cell::Empty)
    }
}

fn whole(value: i64) -> Cell<'static> {
    if value.abs() <= EXACT {
        Cell::Number(value as f64)
    } else {
        Cell::owned(value.to_string())
    }
}

fn day(days: i32) -> Cell<'static> {
    let date = days
        .checked_add(EPOCH)
        .and_then(chrono::NaiveDate::from_num_days_from_ce_opt);
    date.map_or_else(|| Cell::owned(format!("day {days}")), Cell::Date)
}

fn moment(value: i64, unit: TimeUnit) -> Cell<'static> {
    let moment = match unit {
        TimeUnit::Milliseconds => DateTime::from_timestamp_millis(value),
        TimeUnit::Microseconds => DateTime::from_timestamp_micros(value),
        TimeUnit::Nanoseconds => Some(DateTime::from_timestamp_nanos(value)),
    };
    moment.map_or_else(
        || Cell::owned(format!("moment {value}")),
        |m| Cell::moment(m.naive_utc()),
    )
}
