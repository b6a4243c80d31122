//! Parquet files, in batches of rows.

use std::borrow::Cow;
use std::fs::File;
use std::io::{BufReader, Seek, SeekFrom};
use std::path::Path;

use chrono::DateTime;
use polars_core::prelude::{
    BooleanChunked, DataFrame, DataType, Float64Chunked, Int32Chunked, Int64Chunked, PolarsError,
    PolarsResult, Series, StringChunked, TimeUnit,
};
use polars_io::SerReader;
use polars_io::parquet::read::{FileMetadata, ParquetReader};
use polars_parquet_format::PageHeader;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;

use super::caught::caught;
use super::cell::Cell;
use super::error::ReadError;
use super::header::MOST_COLUMNS;
use super::sink::Sink;

/// Rows held at a time.
const BATCH: usize = 1 << 19;
/// Most bytes that one column of one row group may unpack to.
const LARGEST_CHUNK: i64 = 4 << 30;
/// Most bytes that one page may unpack to. Usual ones hold one megabyte.
const LARGEST_PAGE: i32 = 128 << 20;
/// Most bytes that a page's header may take.
const LONGEST_HEADER: usize = 1 << 20;
/// Whole numbers up to this are exact as floating point numbers.
const EXACT: i64 = 1 << 53;
/// Days from the first day of the common era to 1970-01-01, which is day 719,163.
const EPOCH: i32 = 719_163;

/// Reads a file into a sink.
pub(super) fn read(path: &Path, sink: &mut dyn Sink) -> Result<(), ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
    let length = file.metadata().map_err(|e| ReadError::io(path, &e))?.len();
    let corrupt = |e: &dyn std::fmt::Display| ReadError::corrupt(path, "Parquet file", e);
    let decoded = |f: &mut dyn FnMut() -> PolarsResult<(DataFrame, usize)>| {
        caught(f)
            .ok_or_else(|| corrupt(&"its pages cannot be decoded"))?
            .map_err(|e| corrupt(&e))
    };
    let mut offset = 0;
    loop {
        let (batch, total) = decoded(&mut || {
            let file = File::open(path)?;
            let mut reader = ParquetReader::new(file).with_slice(Some((offset, BATCH)));
            let total = plausible_rows(&mut reader, length)?;
            if offset == 0 {
                pages_fit(File::open(path)?, reader.get_metadata()?)?;
            }
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
    // Chunks do not share bytes.
    let mut packed = 0_u64;
    for group in &footer.row_groups {
        for chunk in group.parquet_columns() {
            let bytes = u64::try_from(chunk.compressed_size()).unwrap_or(u64::MAX);
            packed = packed.saturating_add(bytes);
        }
    }
    let columns = footer.schema_descr.columns().len();
    if length < packed || MOST_COLUMNS < columns {
        return Err(refused(&format!(
            "its footer does not fit the file, or names over {MOST_COLUMNS} columns"
        )));
    }
    let sum = footer
        .row_groups
        .iter()
        .try_fold(0_usize, |sum, group| sum.checked_add(group.num_rows()));
    if !chunks_fit || sum != Some(footer.num_rows) || u32::try_from(footer.num_rows).is_err() {
        return Err(refused(
            "its footer does not fit the file, or counts over 4 billion rows",
        ));
    }
    Ok(footer.num_rows)
}

fn refused(why: &str) -> PolarsError {
    std::io::Error::other(why).into()
}

/// Goes through the headers of all pages without unpacking any: room is made for a page by what its
/// header says.
fn pages_fit(file: File, footer: &FileMetadata) -> PolarsResult<()> {
    let mut file = BufReader::new(file);
    for group in &footer.row_groups {
        for chunk in group.parquet_columns() {
            let range = chunk.byte_range();
            file.seek(SeekFrom::Start(range.start))?;
            let mut left = range.end.saturating_sub(range.start);
            while 0 < left {
                left = left.saturating_sub(page_fits(&mut file)?);
            }
        }
    }
    Ok(())
}

/// Goes past one page; the bytes it takes.
fn page_fits(file: &mut BufReader<File>) -> PolarsResult<u64> {
    let before = file.stream_position()?;
    let mut header = TCompactInputProtocol::new(&mut *file, LONGEST_HEADER);
    let page = PageHeader::read_from_in_protocol(&mut header);
    let page = page.map_err(|e| refused(&e.to_string()))?;
    let claims = [page.compressed_page_size, page.uncompressed_page_size];
    if claims
        .into_iter()
        .any(|size| !(0..=LARGEST_PAGE).contains(&size))
    {
        let most = LARGEST_PAGE >> 20;
        return Err(refused(&format!(
            "a page that unpacks to more than {most} MB"
        )));
    }
    file.seek_relative(i64::from(page.compressed_page_size))?;
    Ok(file.stream_position()?.saturating_sub(before))
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
