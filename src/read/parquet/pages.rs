//! The headers of a Parquet file's pages, gone through without unpacking any.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};

use polars_core::prelude::PolarsResult;
use polars_io::parquet::read::FileMetadata;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{Encoding, PageHeader, PageType};

use super::refused;

/// Most bytes that one page may unpack to. Usual ones hold one megabyte.
const LARGEST: i32 = 128 << 20;
/// Most values of a list, and bytes of it, that is kept as it is: longer ones spare nothing.
const MOST_VALUES: i32 = 1 << 18;
const LARGEST_LIST: i32 = 4 << 20;
/// Most rows of a page of places, as one that says the same of all takes a few bytes for any number.
const MOST_ROWS: i32 = 1 << 24;
/// Bytes that a page's header takes at most where it notes nothing unusual.
const USUAL_HEADER: usize = 512;
/// Most bytes that a page's header may take.
const LONGEST_HEADER: usize = 1 << 20;

/// By row group and column: whether the chunk is a list of values, and pages of places in it alone.
///
/// # Errors
/// When a page claims to be larger than any is, or to hold more than its column: room is made for it
/// by what its header says.
pub(super) fn are_listed(file: File, footer: &FileMetadata) -> PolarsResult<Vec<Vec<bool>>> {
    let mut file = Counted {
        file: BufReader::with_capacity(USUAL_HEADER, file),
        count: 0,
    };
    let mut of_groups = Vec::with_capacity(footer.row_groups.len());
    for group in &footer.row_groups {
        let mut of_chunks = Vec::new();
        for chunk in group.parquet_columns() {
            let range = chunk.byte_range();
            file.file.seek(SeekFrom::Start(range.start))?;
            let mut left = range.end.saturating_sub(range.start);
            let (mut has_list, mut has_other) = (false, false);
            let mut values = 0;
            while 0 < left {
                let (page, bytes) = page(&mut file)?;
                left = left.saturating_sub(bytes);
                let claim =
                    Claim::of(&page).ok_or_else(|| refused("a page whose header is odd"))?;
                match claim {
                    Claim::List(count) => {
                        has_list = true;
                        has_other |=
                            MOST_VALUES < count || LARGEST_LIST < page.uncompressed_page_size;
                    }
                    Claim::Rows(count, are_places) => {
                        values += i64::from(count);
                        has_other |= !are_places || MOST_ROWS < count;
                    }
                    Claim::Nothing => {}
                }
                if chunk.num_values() < values {
                    return Err(refused("a page claims more values than there are"));
                }
            }
            of_chunks.push(has_list && !has_other);
        }
        of_groups.push(of_chunks);
    }
    Ok(of_groups)
}

/// What a page claims to hold.
enum Claim {
    /// A list of so many values.
    List(i32),
    /// Values of so many rows, and whether they are places in a list.
    Rows(i32, bool),
    /// Nothing that is unpacked.
    Nothing,
}

impl Claim {
    /// `None` where its numbers cannot be, or its header is another page's.
    fn of(page: &PageHeader) -> Option<Self> {
        let size = page.uncompressed_page_size;
        let is_in = |most: i32, claims: &[i32]| claims.iter().all(|n| (0..=most).contains(n));
        let are_places =
            |encoding| [Encoding::PLAIN_DICTIONARY, Encoding::RLE_DICTIONARY].contains(&encoding);
        match page.type_ {
            PageType::DICTIONARY_PAGE => {
                let list = page.dictionary_page_header.as_ref()?;
                // Every value takes a byte at least.
                is_in(size, &[list.num_values]).then_some(Self::List(list.num_values))
            }
            PageType::DATA_PAGE => {
                let first = page.data_page_header.as_ref()?;
                let claim = Self::Rows(first.num_values, are_places(first.encoding));
                is_in(i32::MAX, &[first.num_values]).then_some(claim)
            }
            PageType::DATA_PAGE_V2 => {
                let second = page.data_page_header_v2.as_ref()?;
                let levels = [
                    second.definition_levels_byte_length,
                    second.repetition_levels_byte_length,
                ];
                let values = second.num_values;
                let fits = is_in(i32::MAX, &[values])
                    && is_in(values, &[second.num_nulls, second.num_rows])
                    && is_in(size, &levels)
                    && levels[0] <= size - levels[1];
                fits.then_some(Self::Rows(values, are_places(second.encoding)))
            }
            _ => Some(Self::Nothing),
        }
    }
}

/// Goes past one page; its header, and the bytes it takes.
fn page(file: &mut Counted<BufReader<File>>) -> PolarsResult<(PageHeader, u64)> {
    file.count = 0;
    let mut header = TCompactInputProtocol::new(&mut *file, LONGEST_HEADER);
    let page = PageHeader::read_from_in_protocol(&mut header);
    let page = page.map_err(|e| refused(&e.to_string()))?;
    let claims = [page.compressed_page_size, page.uncompressed_page_size];
    if claims
        .into_iter()
        .any(|size| !(0..=LARGEST).contains(&size))
    {
        let most = LARGEST >> 20;
        return Err(refused(&format!(
            "a page that unpacks to more than {most} MB"
        )));
    }
    let packed = page.compressed_page_size;
    file.file.seek_relative(i64::from(packed))?;
    Ok((page, file.count + u64::from(packed.unsigned_abs())))
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
