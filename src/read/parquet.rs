//! Parquet files, in batches of rows.

mod content;
mod footer;
mod listed;
mod pages;
mod values;

use std::fs::File;
use std::path::Path;
use std::sync::mpsc::{channel, sync_channel};

use polars_core::prelude::{PolarsError, PolarsResult};

use super::caught::caught;
use super::cell::Cell;
use super::error::ReadError;
use super::header::normal;
use super::sink::Sink;

use content::Content;
use listed::Scratch;
pub(super) use values::{EPOCH, Values, in_a_day};

/// Rows held at a time.
const BATCH: usize = 1 << 19;
/// Rows up to which row groups are read together.
const SMALL: usize = 1 << 14;

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
    let content = decoded(|| Content::new(path, length)).map_err(|e| corrupt(&e))?;
    let constants: Vec<_> = constants
        .iter()
        .filter(|c| !has(&content.names, &c.0))
        .collect();
    let added = constants.iter().map(|(name, _)| name);
    let headers: Vec<String> = content.names.iter().chain(added).cloned().collect();
    if !sink.header(&headers) {
        return Ok(());
    }
    // The next batch is unpacked while this one is gone through, and no more than that.
    std::thread::scope(|scope| {
        let (send, batches) = sync_channel(0);
        let (give_back, spare) = channel();
        let content = &content;
        let unpack = move || {
            let mut scratch = Scratch::default();
            for (from, len) in pieces(content.group_rows()) {
                scratch.spare.extend(spare.try_iter());
                let batch = decoded(|| content.rows(path, from..from + len, &mut scratch));
                let is_bad = batch.is_err();
                if send.send((from, len, batch)).is_err() || is_bad {
                    return;
                }
            }
        };
        scope.spawn(unpack);
        for (offset, len, batch) in batches {
            let mut values = batch.map_err(|e| corrupt(&e))?;
            values.extend(constants.iter().map(|c| Values::Constant(c.1.clone())));
            rows(&values, (offset, len), sink);
            for values in values {
                if let Values::Listed(column) = values {
                    // Nobody waits for it once the last batch is unpacked.
                    let _ = give_back.send(column.into_places());
                }
            }
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

fn refused(why: &str) -> PolarsError {
    std::io::Error::other(why).into()
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
