//! What a Parquet file holds, and any rows of it in columns.

use std::fs::File;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use polars_buffer::Buffer;
use polars_core::prelude::{ArrowDataType, DataFrame, PolarsResult};
use polars_io::SerReader;
use polars_io::mmap::ReaderBytes;
use polars_io::parquet::read::{FileMetadata, ParquetReader, infer_schema};
use polars_parquet::read::PhysicalType;

use super::listed::{Listed, Of, Scratch};
use super::values::Values;
use super::{footer, pages, refused};
use crate::read::header::MOST_COLUMNS;

/// Most bytes that one column of one row group may unpack to.
const LARGEST_CHUNK: i64 = 4 << 30;

/// Columns that are read as lists: all lists of a batch are kept, and no table of ours has so many.
const MOST_LISTED: usize = 64;

/// A file of which the footer and the headers of pages have been looked at.
pub(super) struct Content {
    pub(super) names: Vec<String>,
    footer: Arc<FileMetadata>,
    groups: Vec<Group>,
}

/// Rows that the file keeps together.
struct Group {
    rows: Range<usize>,
    /// Columns that are lists and places in them, and what their lists have.
    listed: Vec<(usize, Of)>,
}

impl Content {
    pub(super) fn new(path: &Path, length: u64) -> PolarsResult<Self> {
        if !footer::holds_what_it_claims(File::open(path)?, length)? {
            return Err(refused("its footer claims more than it holds"));
        }
        let mut reader = ParquetReader::new(File::open(path)?);
        plausible_rows(&mut reader, length)?;
        let are_listed = pages::are_listed(File::open(path)?, reader.get_metadata()?)?;
        let schema = reader.schema()?;
        let types = schema.iter_values().map(|field| &field.dtype);
        let footer = as_plain_text(types, reader.get_metadata()?.clone());
        let groups = groups(&footer, &are_listed)?;
        Ok(Self {
            names: schema.iter_names().map(ToString::to_string).collect(),
            footer,
            groups,
        })
    }

    /// How many rows each group has.
    pub(super) fn group_rows(&self) -> impl Iterator<Item = usize> {
        self.groups.iter().map(|group| group.rows.len())
    }

    /// The columns of some rows.
    pub(super) fn rows(
        &self,
        path: &Path,
        rows: Range<usize>,
        scratch: &mut Scratch,
    ) -> PolarsResult<Vec<Values>> {
        let at = self
            .groups
            .partition_point(|group| group.rows.end <= rows.start);
        let mut columns: Vec<Option<Listed>> = self.names.iter().map(|_| None).collect();
        if let Some(group) = self
            .groups
            .get(at)
            .filter(|group| rows.end <= group.rows.end)
        {
            let chunks = self.footer.row_groups[at].parquet_columns();
            let of_group = rows.start - group.rows.start..rows.end - group.rows.start;
            let bytes = bytes(path)?;
            for (column, of) in &group.listed {
                let chunk = (&chunks[*column], *of);
                let listed = Listed::read(&bytes, chunk, &of_group, scratch)?;
                columns[*column] = Some(listed);
            }
        }
        let others = (0..columns.len()).filter(|i| columns[*i].is_none());
        let others = self.plain(path, others.collect(), &rows)?;
        let mut others = others.columns().iter();
        let mut values = Vec::with_capacity(columns.len());
        for listed in columns {
            let (len, column) = if let Some(listed) = listed {
                (listed.len(), Values::Listed(listed.into()))
            } else {
                let column = others
                    .next()
                    .ok_or_else(|| refused("a column is missing"))?;
                let series = column.as_materialized_series().rechunk();
                (series.len(), Values::new(&series)?)
            };
            // Footer and pages may disagree in a damaged file.
            if len != rows.len() {
                return Err(refused("its columns differ in length"));
            }
            values.push(column);
        }
        Ok(values)
    }

    /// Some columns, as they are.
    fn plain(
        &self,
        path: &Path,
        columns: Vec<usize>,
        rows: &Range<usize>,
    ) -> PolarsResult<DataFrame> {
        if columns.is_empty() {
            return Ok(DataFrame::empty());
        }
        let mut reader = ParquetReader::new(File::open(path)?);
        reader.set_metadata(self.footer.clone());
        reader
            .with_projection(Some(columns))
            .with_slice(Some((rows.start, rows.len())))
            .finish()
    }
}

/// The bytes of a file, which are not read before they are asked for.
fn bytes(path: &Path) -> PolarsResult<Buffer<u8>> {
    let mut file = File::open(path)?;
    Ok(match ReaderBytes::from(&mut file) {
        ReaderBytes::Owned(bytes) => bytes,
        ReaderBytes::Borrowed(bytes) => bytes.to_vec().into(),
    })
}

/// What a list has that stands for a column, where that is known.
fn of(dtype: &ArrowDataType, physical: PhysicalType) -> Option<Of> {
    Some(match (dtype, physical) {
        (ArrowDataType::Utf8View, PhysicalType::ByteArray) => Of::Texts,
        (ArrowDataType::Float64, PhysicalType::Double) => Of::Numbers,
        (ArrowDataType::Date32, PhysicalType::Int32) => Of::Days,
        (ArrowDataType::Int32, PhysicalType::Int32) => Of::Short,
        (ArrowDataType::Int64, PhysicalType::Int64) => Of::Long,
        _ => return None,
    })
}

/// The row groups of a file; `are_listed`: what its pages are, by group and chunk.
fn groups(footer: &FileMetadata, are_listed: &[Vec<bool>]) -> PolarsResult<Vec<Group>> {
    let schema = infer_schema(footer)?;
    let mut from = 0;
    let groups = footer.row_groups.iter().zip(are_listed);
    Ok(groups
        .map(|(group, are_listed)| {
            let rows = from..from + group.num_rows();
            from = rows.end;
            let chunks = group.parquet_columns();
            // Columns within columns would shift those behind them.
            let is_flat = chunks.len() == schema.len();
            let each = chunks.iter().zip(are_listed).zip(schema.iter_values());
            let each = each.filter(|_| is_flat).enumerate();
            let listed = each.filter_map(|(column, ((chunk, is_listed), field))| {
                let of = of(&field.dtype, chunk.physical_type())?;
                is_listed.then_some((column, of))
            });
            let listed = listed.take(MOST_LISTED).collect();
            Group { rows, listed }
        })
        .collect())
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Files of pyarrow, whose pages hold a few rows each, against the decoder of whole columns.
    #[test]
    fn columns_read_as_lists_say_what_they_say_in_full() {
        const ROWS: usize = 3_000;
        for name in ["listed_log_1.parquet", "listed_log_2.parquet"] {
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
            let path = path.join(name);
            let length = File::open(&path)
                .and_then(|f| f.metadata())
                .expect("a file");
            let content = Content::new(&path, length.len()).expect("a sound file");
            let all = (0..content.names.len()).collect();
            let full = content.plain(&path, all, &(0..ROWS)).expect("columns");
            let ranges = [
                0..ROWS,
                0..1,
                ROWS - 1..ROWS,
                49..51,
                50..100,
                999..2_001,
                1_700..2_000,
            ];
            let mut scratch = Scratch::default();
            for rows in ranges {
                let columns = content
                    .rows(&path, rows.clone(), &mut scratch)
                    .expect("columns");
                for (values, full) in columns.iter().zip(full.columns()) {
                    assert!(matches!(values, Values::Listed(_)), "{}", full.name());
                    let full = Values::new(full.as_materialized_series()).expect("values");
                    for row in rows.clone() {
                        assert_eq!(values.cell(row - rows.start), full.cell(row));
                    }
                }
            }
        }
    }
}
