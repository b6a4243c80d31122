//! What stands in the columns of a file: its headers, and the different texts under each.

use std::collections::BTreeMap;

use crate::read::cell::{Cell, Wrong};
use crate::read::csv;
use crate::read::error::ReadError;
use crate::read::find::{Found, Home};
use crate::read::header::MOST_COLUMNS;
use crate::read::parquet;
use crate::read::sink::Sink;
use crate::read::xlsx::Book;

/// Longer texts are no words that a rule could be about.
const LONGEST: usize = 400;
/// Different texts that are kept of a column.
const MOST: usize = 500;

/// One column.
#[derive(Clone, Debug, Default)]
pub(super) struct Column {
    pub(super) header: String,
    /// Each with the rows that have it.
    pub(super) texts: BTreeMap<String, u64>,
}

/// The columns of a file, and what stands between its cells.
#[derive(Clone, Debug, Default)]
pub(super) struct Sample {
    pub(super) columns: Vec<Column>,
    pub(super) mark: Option<char>,
    /// Whether rows are looked at, too.
    rows: bool,
}

impl Sink for Sample {
    fn header(&mut self, headers: &[String]) -> bool {
        let column = |h: &String| Column {
            header: h.trim().to_owned(),
            texts: BTreeMap::new(),
        };
        self.columns = headers.iter().take(MOST_COLUMNS).map(column).collect();
        self.rows
    }

    fn row(&mut self, _: u32, cells: &[Cell<'_>]) {
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            if let Cell::Text(_) | Cell::Number(_) = cell
                && let Some(text) = cell.as_text()
                && text.len() < LONGEST
            {
                if let Some(rows) = column.texts.get_mut(text.as_ref()) {
                    *rows += 1;
                } else if column.texts.len() < MOST {
                    column.texts.insert(text.into_owned(), 1);
                }
            }
        }
    }

    fn bad_row(&mut self, _: u32, _: Option<usize>, _: Wrong) {}
    fn bad_table(&mut self, _: Wrong) {}

    fn takes(&self) -> String {
        String::new()
    }
}

/// Looks through a file; of a text file the mark between cells is the one its header has most of.
pub(super) fn sample(
    found: &Found,
    book: Option<&mut Book>,
    rows: bool,
) -> Result<Sample, ReadError> {
    let new = || Sample {
        rows,
        ..Sample::default()
    };
    let mut best = new();
    match (&found.home, book) {
        (Home::Csv(path), _) => {
            let mut most = 0;
            for mark in [',', ';', '\t', '|'] {
                let mut headers = Sample::default();
                csv::read(path, mark, &mut headers)?;
                if most < headers.columns.len() {
                    most = headers.columns.len();
                    best.mark = Some(mark);
                }
            }
            csv::read(path, best.mark.unwrap_or(','), &mut best)?;
        }
        (Home::Parquet(path), _) => parquet::read(path, &[], &mut best)?,
        (Home::Parts(parts), _) => {
            for part in parts {
                parquet::read(&part.path, &part.constants, &mut best)?;
            }
        }
        (Home::Sheet(sheet), Some(book)) => book.read(sheet, &mut best)?,
        (Home::Sheet(_), None) => {}
    }
    Ok(best)
}
