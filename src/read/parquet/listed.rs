//! Columns that a file keeps as a list of values and places in it, read as they are: what a value
//! means is then worked out once for many rows.

use std::io::Cursor;
use std::ops::Range;

use polars_buffer::Buffer;
use polars_core::prelude::{
    Float64Chunked, Int32Chunked, Int64Chunked, NewChunkedArray, PlSmallStr, PolarsResult,
    StringChunked,
};
use polars_parquet::parquet::encoding::hybrid_rle::{HybridRleChunk, HybridRleDecoder};
use polars_parquet::parquet::page::{DataPage, DictPage, split_buffer};
use polars_parquet::read::{BasicDecompressor, ColumnChunkMetadata, PageReader};

use super::refused;
use super::values::Values;

/// What a list has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    Texts,
    Numbers,
    Days,
    /// Whole numbers of four bytes.
    Short,
    /// Whole numbers of eight bytes.
    Long,
}

/// A column of which every row is one of a list of values.
pub(in crate::read) struct Listed {
    list: Values,
    /// By row: the place of its value, or one past the last for none.
    places: Vec<u32>,
    count: u32,
}

/// Memory to read columns into, as what was asked of the system once need not be asked for again.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    /// To unpack pages in.
    page: Vec<u8>,
    /// Places of columns that are done with.
    pub(super) spare: Vec<Vec<u32>>,
}

impl Listed {
    /// Some rows of a chunk whose pages are all places in a list; `file` has all its bytes.
    pub(super) fn read(
        file: &Buffer<u8>,
        (chunk, of): (&ColumnChunkMetadata, Of),
        rows: &Range<usize>,
        scratch: &mut Scratch,
    ) -> PolarsResult<Self> {
        let bytes = chunk.byte_range();
        let bytes = file
            .clone()
            .sliced(bytes.start as usize..bytes.end as usize);
        let pages = PageReader::new(Cursor::new(bytes), chunk, Vec::new(), usize::MAX);
        let mut pages = BasicDecompressor::new(pages, std::mem::take(&mut scratch.page));
        let list = pages
            .read_dict_page()?
            .ok_or_else(|| refused("a list is missing"))?;
        let count =
            u32::try_from(list.num_values).map_err(|_| refused("a list of too many values"))?;
        let list = values(&list, of)?;
        let mut places = scratch.spare.pop().unwrap_or_default();
        places.clear();
        places.reserve(rows.len());
        // Places before the rows in their first page, and the row that the page now read begins with.
        let (mut before, mut at) = (None, 0);
        while at < rows.end
            && let Some(page) = pages.next()
        {
            let page = page?;
            let until = at + page.num_values();
            if rows.start < until {
                before.get_or_insert(rows.start.saturating_sub(at));
                let page = page.decompress(&mut pages)?;
                add(&page, count, &mut places)?;
                pages.reuse_page_buffer(page);
            }
            at = until;
        }
        scratch.page = pages.into_inner();
        places.drain(..before.unwrap_or(0).min(places.len()));
        places.truncate(rows.len());
        Ok(Self {
            list,
            places,
            count,
        })
    }

    /// The memory of its places, to be used again.
    pub(super) fn into_places(self) -> Vec<u32> {
        self.places
    }

    pub(in crate::read) fn len(&self) -> usize {
        self.places.len()
    }

    /// The values that rows may have.
    pub(in crate::read) fn list(&self) -> &Values {
        &self.list
    }

    /// How many values the list has.
    pub(in crate::read) fn count(&self) -> usize {
        self.count as usize
    }

    /// Adds to `to` what `of_list`, one longer than the list, says of every row.
    pub(in crate::read) fn each(&self, of_list: &[u32], to: &mut Vec<u32>) {
        to.extend(self.places.iter().map(|place| of_list[*place as usize]));
    }

    /// By row: the place of its value, or one past the last for none.
    pub(in crate::read) fn places(&self) -> &[u32] {
        &self.places
    }
}

/// The values of a list, as many as it says.
fn values(list: &DictPage, of: Of) -> PolarsResult<Values> {
    let name = PlSmallStr::EMPTY;
    let (bytes, count) = (&*list.buffer, list.num_values);
    Ok(match of {
        Of::Texts => Values::Text(StringChunked::from_slice(name, &texts(bytes, count)?)),
        Of::Numbers => {
            let numbers = fixed(bytes, count)?.map(f64::from_le_bytes);
            Values::Number(Float64Chunked::from_vec(name, numbers.collect()))
        }
        Of::Days => {
            let days = fixed(bytes, count)?.map(i32::from_le_bytes);
            Values::Day(Int32Chunked::from_vec(name, days.collect()))
        }
        Of::Short => {
            let numbers = fixed(bytes, count)?.map(i32::from_le_bytes);
            Values::Whole(Int64Chunked::from_vec(
                name,
                numbers.map(i64::from).collect(),
            ))
        }
        Of::Long => {
            let numbers = fixed(bytes, count)?.map(i64::from_le_bytes);
            Values::Whole(Int64Chunked::from_vec(name, numbers.collect()))
        }
    })
}

/// Values of so many bytes each, one after the other.
fn fixed<const BYTES: usize>(
    bytes: &[u8],
    count: usize,
) -> PolarsResult<impl Iterator<Item = [u8; BYTES]>> {
    let values = bytes.as_chunks().0.get(..count);
    let values = values.ok_or_else(|| refused("a list is shorter than it says"))?;
    Ok(values.iter().copied())
}

/// Texts, each after its length in four bytes.
fn texts(mut bytes: &[u8], count: usize) -> PolarsResult<Vec<&str>> {
    let mut texts = Vec::new();
    for _ in 0..count {
        let text = bytes.split_first_chunk().and_then(|(len, rest)| {
            let (text, rest) = rest.split_at_checked(u32::from_le_bytes(*len) as usize)?;
            bytes = rest;
            std::str::from_utf8(text).ok()
        });
        texts.push(text.ok_or_else(|| refused("a list of texts is damaged"))?);
    }
    Ok(texts)
}

/// Adds the places of all rows of a page, and `none` for those without.
fn add(page: &DataPage, none: u32, to: &mut Vec<u32>) -> PolarsResult<()> {
    let parts = split_buffer(page)?;
    let (width, places) = parts
        .values
        .split_first()
        .ok_or_else(|| refused("an empty page"))?;
    let rows = page.num_values();
    let are_there = HybridRleDecoder::new(parts.def, 1, rows);
    let all = |chunk| matches!(chunk, Some(HybridRleChunk::Rle(1, count)) if count == rows);
    if page.descriptor.max_def_level == 0 || all(are_there.clone().next_chunk()?) {
        return unpack(
            HybridRleDecoder::new(places, (*width).into(), rows),
            none,
            to,
        );
    }
    let are_there = are_there.collect()?;
    if are_there.len() != rows {
        return Err(refused(
            "a page says of fewer rows than it has which have a value",
        ));
    }
    let count = are_there.iter().filter(|is| **is == 1).count();
    let mut known = Vec::with_capacity(count);
    unpack(
        HybridRleDecoder::new(places, (*width).into(), count),
        none,
        &mut known,
    )?;
    let mut known = known.into_iter();
    to.extend(
        are_there
            .into_iter()
            .map(|is| if is == 1 { known.next() } else { None }.unwrap_or(none)),
    );
    Ok(())
}

/// Adds places, all of which must be below `end`.
fn unpack(places: HybridRleDecoder<'_>, end: u32, to: &mut Vec<u32>) -> PolarsResult<()> {
    let (before, rows) = (to.len(), places.len());
    for chunk in places.into_chunk_iter() {
        match chunk? {
            HybridRleChunk::Rle(place, count) => to.resize(to.len() + count, place),
            HybridRleChunk::Bitpacked(some) => some.collect_into(to),
        }
    }
    let added = &to[before..];
    let most = added.iter().fold(0, |most, place| most.max(*place));
    if added.len() != rows || 0 < rows && end <= most {
        return Err(refused("places in a list are damaged"));
    }
    Ok(())
}
