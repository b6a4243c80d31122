//! Workbooks, cell by cell.
//!
//! A workbook is a zip archive and may unpack to far more than its size, so it is unpacked once
//! into nothing, with limits, before anything is kept; and sheets are only ever read as a stream
//! of cells, because their stated dimensions may be any.

use std::borrow::Cow;
use std::fs::File;
use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};

use calamine::{DataRef, Reader, SheetType, Xlsx, XlsxFormulaMetadata};
use chrono::NaiveDateTime;

use crate::record::{ProblemKind, results};

use super::caught::caught;
use super::cell::{Cell, Wrong, quoted};
use super::error::ReadError;
use super::sink::Sink;

/// Most bytes a sheet may unpack to; sheets are streamed and never held.
const LARGEST_SHEET: u64 = 2 << 30;
/// Most bytes anything else in a workbook may unpack to: texts and formats are held.
const LARGEST_OTHER: u64 = 128 << 20;
/// Most bytes in all.
const LARGEST_BOOK: u64 = 4 << 30;
/// Most files in a workbook.
const MOST_ENTRIES: usize = 10_000;
/// Most sheets of a workbook.
const MOST_SHEETS: usize = 1_000;
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
        let inner = caught(|| Xlsx::new(BufReader::new(file)))
            .ok_or_else(|| ReadError::corrupt(path, "workbook", "its parts do not fit together"))?
            .map_err(|e| ReadError::corrupt(path, "workbook", e))?;
        if MOST_SHEETS < inner.sheets_metadata().len() {
            let over = format!("more than {MOST_SHEETS} sheets");
            return Err(ReadError::too_large(path, over));
        }
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

    /// Whether it is marked as a workbook of results.
    pub(super) fn holds_results(&self) -> bool {
        let names = self.inner.defined_names().iter();
        names.map(|(name, _)| name).any(|n| n == results::NAME)
    }

    /// Whether a sheet holds no more than a header.
    pub(super) fn is_blank(&mut self, sheet: &str) -> Result<bool, ReadError> {
        let mut rows = Rows::default();
        self.read(sheet, &mut rows)?;
        Ok(!rows.any)
    }

    /// Reads a sheet into a sink.
    pub(super) fn read(&mut self, sheet: &str, sink: &mut dyn Sink) -> Result<(), ReadError> {
        let Self { path, inner } = self;
        caught(|| stream(path, inner, sheet, sink)).unwrap_or_else(|| {
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
        let mut claims = Claims::default();
        let unpacked =
            std::io::copy(&mut entry.take(limit + 1), &mut claims).map_err(|e| corrupt(&e))?;
        claims.look(0);
        total += unpacked;
        if unpacked / SHORTEST_TEXT < claims.largest {
            let found = format!(
                "a list that counts {} texts and holds fewer",
                claims.largest
            );
            return Err(corrupt(&found));
        }
        if limit < unpacked || LARGEST_BOOK < total {
            return Err(ReadError::too_large(
                path,
                format!("a part unpacks to more than {} MB", limit >> 20),
            ));
        }
    }
    Ok(())
}

/// Bytes of the shortest text in a list of texts: `<si/>`.
const SHORTEST_TEXT: u64 = 5;
/// The attribute that says how many texts there are; room for them is made before any is read.
const COUNT: &[u8] = b"uniqueCount";
/// Bytes in which the attribute and its value stand.
const CLAIM: usize = 64;

/// Looks through bytes for the largest number of texts that they claim to hold.
#[derive(Default)]
struct Claims {
    seen: Vec<u8>,
    largest: u64,
}

impl Claims {
    /// Looks at what was seen and has that many bytes behind it.
    fn look(&mut self, behind: usize) {
        let end = self.seen.len().saturating_sub(behind);
        let mut from = 0;
        while let Some(at) = memchr::memmem::find(&self.seen[from..], COUNT).map(|at| from + at) {
            from = at + COUNT.len();
            if end <= at {
                break;
            }
            let value = self.seen[from..].iter().take(CLAIM - COUNT.len());
            let value = value.skip_while(|b| b"='\" \t\r\n+".contains(b));
            let digits = value.take_while(|b| b.is_ascii_digit());
            let claim = digits.fold(0_u64, |sum, digit| {
                sum.saturating_mul(10)
                    .saturating_add(u64::from(digit - b'0'))
            });
            self.largest = self.largest.max(claim);
        }
        self.seen.drain(..end);
    }
}

impl Write for Claims {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.seen.extend_from_slice(bytes);
        self.look(CLAIM);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Whether there is any row below the header.
#[derive(Default)]
struct Rows {
    any: bool,
}

impl Sink for Rows {
    fn header(&mut self, _: &[String]) -> bool {
        true
    }

    fn row(&mut self, _: u32, _: &[Cell<'_>]) {
        self.any = true;
    }

    fn bad_row(&mut self, _: u32, _: Option<usize>, _: Wrong) {
        self.any = true;
    }

    fn bad_table(&mut self, _: Wrong) {}

    fn takes(&self) -> String {
        String::new()
    }
}

/// Where in a sheet the reading is.
struct Progress<'a> {
    /// From 0.
    row: Option<u32>,
    cells: Vec<Cell<'a>>,
    /// The row's formulas that were saved without their results, each with its place.
    unreckoned: Vec<(usize, String)>,
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
        unreckoned: Vec::new(),
        has_header: false,
    };
    while let Some(cell) = reader
        .next_cell_with_formula_metadata()
        .map_err(|e| corrupt(&e))?
    {
        let (row, column) = cell.pos;
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
        let column = column as usize;
        if let (DataRef::Empty, Some(formula)) = (&cell.value, &cell.formula) {
            progress.unreckoned.push((column, formula_text(formula)));
        }
        let value = convert(cell.value);
        if !value.is_empty() {
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
    let unreckoned = std::mem::take(&mut progress.unreckoned);
    if !progress.has_header && !unreckoned.is_empty() {
        sink.bad_table(without_result(&unreckoned[0].1));
        progress.has_header = true;
        go_on = false;
    } else if let Some((column, formula)) = unreckoned.into_iter().find(|(c, _)| sink.needs(*c)) {
        sink.bad_row(row + 1, Some(column), without_result(&formula));
    } else if !progress.cells.is_empty() {
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

fn formula_text(formula: &XlsxFormulaMetadata) -> String {
    match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => {
            format!("={formula}")
        }
        // One of a column of formulas that only the first of them spells out.
        _ => "=".to_owned(),
    }
}

/// A formula that a program wrote and no spreadsheet program has worked out: to take its cell for
/// an empty one would lose what the owner meant to be there.
fn without_result(formula: &str) -> Wrong {
    Wrong::new(
        ProblemKind::Formula,
        format!("the formula {} without its result", quoted(formula)),
        "the result beside it; open the workbook in a spreadsheet program, let it calculate, and save",
    )
}

/// A length of time in days as hours and minutes, which is what its cell shows.
fn clock(days: f64) -> String {
    let minutes = (days.abs() * 24.0 * 60.0).round();
    let sign = if days < 0.0 { "-" } else { "" };
    format!("{sign}{}:{:02}", (minutes / 60.0).floor(), minutes % 60.0)
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
        DataRef::DateTime(moment) if moment.is_duration() => Cell::owned(clock(moment.as_f64())),
        DataRef::DateTime(moment) => moment
            .as_datetime()
            .map_or_else(|| Cell::Number(moment.as_f64()), Cell::moment),
        DataRef::DateTimeIso(text) => match text.parse::<NaiveDateTime>() {
            Ok(moment) => Cell::moment(moment),
            Err(_) => Cell::owned(text),
        },
    }
}
