//! Parquet files, in batches of rows.

mod footer;

use std::borrow::Cow;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

use chrono::DateTime;
use polars_core::prelude::{
    ArrowDataType, BooleanChunked, DataFrame, DataType, Float64Chunked, Int32Chunked, Int64Chunked,
    PolarsError, PolarsResult, Series, StringChunked, TimeUnit,
};
use polars_io::SerReader;
use polars_io::parquet::read::{FileMetadata, ParquetReader};
use polars_parquet_format::PageHeader;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;

use super::caught::caught;
use super::cell::Cell;
use super::error::ReadError;
use super::header::{MOST_COLUMNS, normal};
use super::sink::Sink;

/// Rows held at a time.
const BATCH: usize = 1 << 19;
/// Rows up to which row groups are read together.
const SMALL: usize = 1 << 14;
/// Most bytes that one column of one row group may unpack to.
const LARGEST_CHUNK: i64 = 4 << 30;
/// Most bytes that one page may unpack to. Usual ones hold one megabyte.
const LARGEST_PAGE: i32 = 128 << 20;
/// Bytes that a page's header takes at most where it notes nothing unusual.
const USUAL_HEADER: usize = 512;
/// Most bytes that a page's header may take.
const LONGEST_HEADER: usize = 1 << 20;
/// Whole numbers up to this are exact as floating point numbers.
const EXACT: i64 = 1 << 53;
/// Days from the first day of the common era to 1970-01-01, which is day 719,163.
pub(super) const EPOCH: i32 = 719_163;

/// Rows in columns.
pub(super) struct Batch<'b> {
    /// Row of the first, the header being row 1.
    pub(super) first: u32,
    pub(super) height: usize,
    pub(super) values: &'b [Values],
}

/// Reads a file into a sink. `constants` are columns with one value in every row, which the file
/// itself need not have.
pub(super) fn read(
    path: &Path,
    constants: &[(String, String)],
    sink: &mut dyn Sink,
) -> Result<(), ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
    let length = file.metadata().map_err(|e| ReadError::io(path, &e))?.len();
    let corrupt = |e: &dyn std::fmt::Display| ReadError::corrupt(path, "Parquet file", e);
    let (names, footer) = decoded(|| {
        if !footer::holds_what_it_claims(File::open(path)?, length)? {
            return Err(refused("its footer claims more than it holds"));
        }
        let mut reader = ParquetReader::new(file);
        plausible_rows(&mut reader, length)?;
        pages_fit(File::open(path)?, reader.get_metadata()?)?;
        let schema = reader.schema()?;
        let names: Vec<String> = schema.iter_names().map(ToString::to_string).collect();
        let footer = reader.get_metadata()?.clone();
        let types = schema.iter_values().map(|field| &field.dtype);
        Ok((names, as_plain_text(types, footer)))
    })
    .map_err(|e| corrupt(&e))?;
    let constants: Vec<_> = constants.iter().filter(|c| !has(&names, &c.0)).collect();
    let added = constants.iter().map(|(name, _)| name.clone());
    let headers: Vec<String> = names.into_iter().chain(added).collect();
    if !sink.header(&headers) {
        return Ok(());
    }
    let groups = &footer.row_groups;
    let pieces = pieces((0..groups.len()).map(|i| groups[i].num_rows()));
    // The next batch is unpacked while this one is gone through, and no more than that.
    std::thread::scope(|scope| {
        let (send, batches) = sync_channel(0);
        let footer = &footer;
        let unpack = move || {
            for piece in pieces {
                let batch = decoded(|| {
                    let mut reader = ParquetReader::new(File::open(path)?);
                    reader.set_metadata(footer.clone());
                    reader.with_slice(Some(piece)).finish()
                });
                let is_bad = batch.is_err();
                if send.send((piece.0, batch)).is_err() || is_bad {
                    return;
                }
            }
        };
        scope.spawn(unpack);
        for (offset, batch) in batches {
            let batch = batch.map_err(|e| corrupt(&e))?;
            let mut values = columns(&batch).map_err(|e| corrupt(&e))?;
            values.extend(constants.iter().map(|c| Values::Constant(c.1.clone())));
            rows(&values, (offset, batch.height()), sink);
        }
        Ok(())
    })
}

/// Whether a header is among others.
fn has(headers: &[String], wanted: &str) -> bool {
    let wanted = normal(wanted);
    headers.iter().any(|header| normal(header) == wanted)
}

/// Damaged files make the decoder panic now and then; for the user that is the same thing.
fn decoded<T>(f: impl FnOnce() -> PolarsResult<T>) -> Result<T, String> {
    caught(f)
        .ok_or_else(|| "its pages cannot be decoded".to_owned())?
        .map_err(|e| e.to_string())
}

/// Where batches begin, and how long they are. Large row groups are divided and small ones joined:
/// to look for a batch takes the longer the more row groups there are.
fn pieces(groups: impl Iterator<Item = usize>) -> Vec<(usize, usize)> {
    let mut pieces: Vec<(usize, usize)> = Vec::new();
    let mut from = 0;
    for rows in groups {
        let end = from + rows;
        if let Some((_, len)) = pieces.last_mut()
            && *len + rows <= SMALL
        {
            *len += rows;
            from = end;
        }
        while from < end {
            let len = BATCH.min(end - from);
            pieces.push((from, len));
            from += len;
        }
    }
    pieces
}

/// Key under which a writer notes what its own types were.
const WRITERS_TYPES: &str = "ARROW:schema";

/// The footer without the note that texts were kept as numbers into a list: in the pages they are
/// texts all the same. A length of time would be a number without that note, so there it stays.
fn as_plain_text<'t>(
    types: impl Iterator<Item = &'t ArrowDataType>,
    mut footer: Arc<FileMetadata>,
) -> Arc<FileMetadata> {
    let (mut listed, mut other) = (false, false);
    for dtype in types {
        listed |= matches!(dtype, ArrowDataType::Dictionary(..));
        other |= matches!(dtype, ArrowDataType::Duration(_));
    }
    if listed && !other {
        let notes = Arc::make_mut(&mut footer).key_value_metadata.as_mut();
        if let Some(notes) = notes {
            notes.retain(|note| note.key != WRITERS_TYPES);
        }
    }
    footer
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
    let mut file = Counted {
        file: BufReader::with_capacity(USUAL_HEADER, file),
        count: 0,
    };
    for group in &footer.row_groups {
        for chunk in group.parquet_columns() {
            let range = chunk.byte_range();
            file.file.seek(SeekFrom::Start(range.start))?;
            let mut left = range.end.saturating_sub(range.start);
            while 0 < left {
                left = left.saturating_sub(page_fits(&mut file)?);
            }
        }
    }
    Ok(())
}

/// Goes past one page; the bytes it takes.
fn page_fits(file: &mut Counted<BufReader<File>>) -> PolarsResult<u64> {
    file.count = 0;
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
    let packed = page.compressed_page_size;
    file.file.seek_relative(i64::from(packed))?;
    Ok(file.count + u64::from(packed.unsigned_abs()))
}

/// Counts the bytes that are read: to ask where a file stands goes to the system each time.
struct Counted<R> {
    file: R,
    count: u64,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        let read = self.file.read(bytes)?;
        self.count += read as u64;
        Ok(read)
    }
}

/// Values of the columns, all of one length.
fn columns(batch: &DataFrame) -> PolarsResult<Vec<Values>> {
    let mut values = Vec::new();
    for column in batch.columns() {
        // Footer and pages may disagree in a damaged file.
        if column.len() != batch.height() {
            return Err(std::io::Error::other("its columns differ in length").into());
        }
        values.push(Values::new(&column.as_materialized_series().rechunk())?);
    }
    Ok(values)
}

fn rows(values: &[Values], (offset, height): (usize, usize), sink: &mut dyn Sink) {
    // The header is row 1.
    let first = (offset + 2) as u32;
    let batch = Batch {
        first,
        height,
        values,
    };
    let left = sink.batch(&batch);
    let mut one = |index: u32| {
        let cells: Vec<Cell<'_>> = values.iter().map(|v| v.cell(index as usize)).collect();
        let is_constant = |v: &Values| matches!(v, Values::Constant(_));
        let mut own = cells.iter().zip(values).filter(|(_, v)| !is_constant(v));
        if own.any(|(cell, _)| !cell.is_empty()) {
            sink.row(first + index, &cells);
        }
    };
    match left {
        Some(places) => places.into_iter().for_each(&mut one),
        None => (0..height as u32).for_each(&mut one),
    }
}

/// The values of a column, by what they can mean.
pub(super) enum Values {
    Nothing,
    Text(StringChunked),
    Number(Float64Chunked),
    Whole(Int64Chunked),
    Day(Int32Chunked),
    Moment(Int64Chunked, TimeUnit),
    Truth(BooleanChunked),
    Other(String),
    /// The same text in every row.
    Constant(String),
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

    pub(super) fn cell(&self, index: usize) -> Cell<'_> {
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
            Self::Constant(text) => Some(Cell::text(text)),
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

/// Units of time in a day.
pub(super) fn in_a_day(unit: TimeUnit) -> i64 {
    let seconds = 24 * 60 * 60;
    match unit {
        TimeUnit::Milliseconds => seconds * 1_000,
        TimeUnit::Microseconds => seconds * 1_000_000,
        TimeUnit::Nanoseconds => seconds * 1_000_000_000,
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn large_row_groups_are_divided_and_small_ones_joined() {
        let of = |groups: &[usize]| pieces(groups.iter().copied());
        assert_eq!(of(&[]), []);
        assert_eq!(of(&[0, 3, 4]), [(0, 7)]);
        assert_eq!(
            of(&[SMALL, 1, BATCH + 5, 2]),
            [
                (0, SMALL),
                (SMALL, 1),
                (SMALL + 1, BATCH),
                (SMALL + 1 + BATCH, 7)
            ]
        );
    }
}
