//! What stands in the columns of a file: its headers, and the different texts under each.

use std::collections::BTreeMap;
use std::path::Path;

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
const MOST: usize = 2_000;

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
        let used = headers.iter().take(MOST_COLUMNS).map(|h| h.trim());
        if !self
            .columns
            .iter()
            .map(|c| c.header.as_str())
            .eq(used.clone())
        {
            let column = |header: &str| Column {
                header: header.to_owned(),
                texts: BTreeMap::new(),
            };
            self.columns = used.map(column).collect();
        }
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

/// Looks through the files of a table.
pub(super) fn sample(
    found: &Found,
    mut book: Option<&mut Book>,
    rows: bool,
) -> Result<Sample, ReadError> {
    let mut seen = Sample {
        rows,
        ..Sample::default()
    };
    for (file, constants) in found.files() {
        match (&file.home, book.as_deref_mut()) {
            (Home::Csv(path), _) => {
                seen.mark = mark(path)?;
                csv::read(path, seen.mark.unwrap_or(','), &mut seen)?;
            }
            (Home::Parquet(path), _) => parquet::read(path, &constants, &mut seen)?,
            (Home::Sheet(sheet), Some(book)) => book.read(sheet, &mut seen)?,
            (Home::Sheet(_) | Home::Parts(_), _) => {}
        }
    }
    Ok(seen)
}

/// The mark between the cells of a text file: the one its header has most of.
fn mark(path: &Path) -> Result<Option<char>, ReadError> {
    let (mut best, mut most) = (None, 0);
    for mark in [',', ';', '\t', '|'] {
        let mut headers = Sample::default();
        csv::read(path, mark, &mut headers)?;
        if most < headers.columns.len() {
            most = headers.columns.len();
            best = Some(mark);
        }
    }
    Ok(best)
}
