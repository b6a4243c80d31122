//! Workbooks, cell by cell.
//!
//! A workbook is a zip archive and may unpack to far more than its size, so it is unpacked once
//! into nothing, with limits, before anything is kept; and sheets are only ever read as a stream
//! of cells, because their stated dimensions may be any.

use std::borrow::Cow;
use std::fs::File;
use std::io::{BufReader, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use calamine::{DataRef, Reader, SheetType, Xlsx};
use chrono::NaiveDateTime;

use crate::record::ProblemKind;

use super::cell::{Cell, Wrong};
use super::error::ReadError;
use super::sink::Sink;

/// Most bytes a sheet may unpack to; sheets are streamed and never held.
const LARGEST_SHEET: u64 = 2 << 30;
/// Most bytes anything else in a workbook may unpack to: texts and formats are held.
const LARGEST_OTHER: u64 = 256 << 20;
/// Most bytes in all.
const LARGEST_BOOK: u64 = 4 << 30;
/// Most files in a workbook.
const MOST_ENTRIES: usize = 10_000;
/// Columns and rows that a sheet can have.
const MOST_COLUMNS: u32 = 16_384;
const MOST_ROWS: u32 = 1_048_576;

/// An open workbook.
pub(super) struct Book {
    path: PathBuf,
    inner: Xlsx<BufReader<File>>,
}

impl Book {
    pub(super) fn open(path: &Path) -> Result<Self, ReadError> {
        guard(path)?;
        let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
        let opened = catch_unwind(AssertUnwindSafe(|| Xlsx::new(BufReader::new(file))));
        let inner = opened
            .map_err(|_| ReadError::corrupt(path, "workbook", "its parts do not fit together"))?
            .map_err(|e| ReadError::corrupt(path, "workbook", e))?;
        Ok(Self {
            path: path.to_path_buf(),
            inner,
        })
    }

    /// Names of the sheets that hold cells, in the book's order.
    pub(super) fn sheets(&self) -> Vec<String> {
        let sheets = self.inner.sheets_metadata().iter();
        sheets
            .filter(|s| s.typ == SheetType::WorkSheet)
            .map(|s| s.name.clone())
            .collect()
    }

    /// Reads a sheet into a sink.
    pub(super) fn read(&mut self, sheet: &str, sink: &mut dyn Sink) -> Result<(), ReadError> {
        let Self { path, inner } = self;
        catch_unwind(AssertUnwindSafe(|| stream(path, inner, sheet, sink))).unwrap_or_else(|_| {
            Err(ReadError::corrupt(
                path,
                "workbook",
                format!("sheet {sheet}"),
            ))
        })
    }
}

/// Unpacks everything into nothing and stops at a limit.
fn guard(path: &Path) -> Result<(), ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
    let corrupt = |e: &dyn std::fmt::Display| ReadError::corrupt(path, "workbook", e);
    let mut archive = ::zip::ZipArchive::new(BufReader::new(file)).map_err(|e| corrupt(&e))?;
    if MOST_ENTRIES < archive.len() {
        return Err(ReadError::too_large(
            path,
            format!("more than {MOST_ENTRIES} parts"),
        ));
    }
    let mut total = 0;
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(|e| corrupt(&e))?;
        let is_sheet = entry
            .name()
            .map_err(|e| corrupt(&e))?
            .to_lowercase()
            .contains("worksheets/");
        let limit = if is_sheet {
            LARGEST_SHEET
        } else {
            LARGEST_OTHER
        };
        let unpacked = std::io::copy(&mut entry.take(limit + 1), &mut std::io::sink())
            .map_err(|e| corrupt(&e))?;
        total += unpacked;
        if limit < unpacked || LARGEST_BOOK < total {
            return Err(ReadError::too_large(
                path,
                format!("a part unpacks to more than {} MB", limit >> 20),
            ));
        }
    }
    Ok(())
}

/// Where in a sheet the reading is.
struct Progress<'a> {
    /// From 0.
    row: Option<u32>,
    cells: Vec<Cell<'a>>,
    has_header: bool,
}

fn stream(
    path: &Path,
    book: &mut Xlsx<BufReader<File>>,
    sheet: &str,
    sink: &mut dyn Sink,
) -> Result<(), ReadError> {
    let corrupt = |e: &dyn std::fmt::Display| {
        ReadError::corrupt(path, "workbook", format!("sheet {sheet}: {e}"))
    };
    let mut reader = book
        .worksheet_cells_reader(sheet)
        .map_err(|e| corrupt(&e))?;
    let mut progress = Progress {
        row: None,
        cells: Vec::new(),
        has_header: false,
    };
    while let Some(cell) = reader.next_cell().map_err(|e| corrupt(&e))? {
        let (row, column) = cell.get_position();
        if MOST_ROWS <= row || MOST_COLUMNS <= column || progress.row.is_some_and(|last| row < last)
        {
            return Err(corrupt(&format!(
                "a cell at row {}, column {}",
                u64::from(row) + 1,
                u64::from(column) + 1
            )));
        }
        if progress.row != Some(row) {
            if !finish_row(&mut progress, sink) {
                return Ok(());
            }
            progress.row = Some(row);
        }
        let value = convert(cell.get_value().clone());
        if !value.is_empty() {
            let column = column as usize;
            if progress.cells.len() <= column {
                progress.cells.resize(column + 1, Cell::Empty);
            }
            progress.cells[column] = value;
        }
    }
    if finish_row(&mut progress, sink) && !progress.has_header {
        sink.bad_table(Wrong::new(
            ProblemKind::MissingColumn,
            "an empty sheet",
            sink.takes(),
        ));
    }
    Ok(())
}

/// Hands a row on; `false`: read no further.
fn finish_row(progress: &mut Progress<'_>, sink: &mut dyn Sink) -> bool {
    let Some(row) = progress.row else { return true };
    let mut go_on = true;
    if !progress.cells.is_empty() {
        if progress.has_header {
            sink.row(row + 1, &progress.cells);
        } else {
            progress.has_header = true;
            let texts = progress
                .cells
                .iter()
                .map(|c| c.as_text().unwrap_or_default().into_owned());
            go_on = sink.header(&texts.collect::<Vec<_>>());
        }
    }
    progress.cells.clear();
    go_on
}

fn convert(value: DataRef<'_>) -> Cell<'_> {
    match value {
        DataRef::Empty => Cell::Empty,
        DataRef::Int(number) => Cell::Number(number as f64),
        DataRef::Float(number) => Cell::Number(number),
        DataRef::String(text) | DataRef::DurationIso(text) => Cell::owned(text),
        DataRef::SharedString(text) => Cell::text(text),
        DataRef::Bool(value) => Cell::Text(Cow::Borrowed(if value { "TRUE" } else { "FALSE" })),
        DataRef::Error(error) => Cell::owned(error.to_string()),
        DataRef::DateTime(moment) if moment.is_duration() => {
            Cell::owned(format!("{} days", moment.as_f64()))
        }
        DataRef::DateTime(moment) => moment
            .as_datetime()
            .map_or_else(|| Cell::Number(moment.as_f64()), Cell::moment),
        DataRef::DateTimeIso(text) => match text.parse::<NaiveDateTime>() {
            Ok(moment) => Cell::moment(moment),
            Err(_) => Cell::owned(text),
        },
    }
}
