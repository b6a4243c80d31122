//! Where a file's rows go: the header is matched once, then row by row is read and accounted for.

use crate::record::{Place, Problem, ProblemKind, Severity};

use super::cell::{Cell, DateForm, Wrong};
use super::header::{Columns, Spec};
use super::row::{Fault, Row};

/// Takes what a reader finds, one row at a time.
pub(super) trait Sink {
    /// The header texts; `false`: the table cannot be used, read no further.
    fn header(&mut self, headers: &[String]) -> bool;
    /// A row that is not blank.
    fn row(&mut self, number: u32, cells: &[Cell<'_>]);
    /// A row whose cells cannot be told apart or read.
    fn bad_row(&mut self, number: u32, column: Option<usize>, wrong: Wrong);
    /// The whole table cannot be used.
    fn bad_table(&mut self, wrong: Wrong);
    /// The columns the table takes, in words.
    fn takes(&self) -> String;
}

/// What came of one table.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    pub(super) problems: Vec<Problem>,
    pub(super) read: u64,
    pub(super) set_aside: u64,
}

/// Reads rows of one table and hands the sound ones on.
pub(super) struct TableSink<'a> {
    source: &'a str,
    spec: &'a Spec,
    dates: &'a DateForm,
    columns: Option<Columns>,
    take: &'a mut dyn FnMut(&mut Row<'_>),
    pub(super) outcome: Outcome,
}

impl<'a> TableSink<'a> {
    /// `take` reads a row and keeps it if it is sound.
    pub(super) fn new(
        source: &'a str,
        spec: &'a Spec,
        dates: &'a DateForm,
        take: &'a mut dyn FnMut(&mut Row<'_>),
    ) -> Self {
        Self {
            source,
            spec,
            dates,
            columns: None,
            take,
            outcome: Outcome::default(),
        }
    }

    fn note(&mut self, row: Option<u32>, column: Option<String>, wrong: Wrong) {
        self.outcome.problems.push(Problem {
            severity: Severity::Problem,
            place: Place {
                source: self.source.to_owned(),
                row,
                column,
            },
            kind: wrong.kind,
            found: wrong.found,
            expected: wrong.expected,
        });
    }

    fn set_aside(&mut self, number: u32, faults: Vec<Fault>) {
        self.outcome.set_aside += 1;
        for fault in faults {
            self.note(Some(number), fault.column, fault.wrong);
        }
    }
}

/// Cells under no header that hold something.
fn strays(columns: &Columns, cells: &[Cell<'_>]) -> Option<Wrong> {
    let width = columns.headers.len();
    let headless = |i: usize| columns.headers.get(i).is_none_or(String::is_empty);
    let stray = (0..cells.len()).find(|i| headless(*i) && !cells[*i].is_empty())?;
    let text = cells[stray].as_text().unwrap_or_default();
    Some(Wrong::new(
        ProblemKind::RaggedRow,
        format!(
            "{} in cell {} under no header",
            super::cell::quoted(&text),
            stray + 1
        ),
        format!("{width} cells as in the header; put a cell that has a comma in double quotes"),
    ))
}

impl Sink for TableSink<'_> {
    fn header(&mut self, headers: &[String]) -> bool {
        match self.spec.columns(headers) {
            Ok(columns) => {
                self.columns = Some(columns);
                true
            }
            Err(list) => {
                for (column, wrong) in list {
                    self.note(None, column, wrong);
                }
                false
            }
        }
    }

    fn row(&mut self, number: u32, cells: &[Cell<'_>]) {
        let Some(columns) = self.columns.take() else {
            return;
        };
        self.outcome.read += 1;
        if let Some(wrong) = strays(&columns, cells) {
            self.set_aside(
                number,
                vec![Fault {
                    column: None,
                    wrong,
                }],
            );
        } else {
            let mut row = Row::new(number, cells, &columns, self.dates);
            (self.take)(&mut row);
            if !row.is_sound() {
                let faults = row.into_faults();
                self.set_aside(number, faults);
            }
        }
        self.columns = Some(columns);
    }

    fn bad_row(&mut self, number: u32, column: Option<usize>, wrong: Wrong) {
        let headers = self.columns.as_ref().map(|c| &c.headers);
        let column = column.and_then(|i| headers?.get(i).cloned());
        self.outcome.read += 1;
        self.set_aside(number, vec![Fault { column, wrong }]);
    }

    fn bad_table(&mut self, wrong: Wrong) {
        self.note(None, None, wrong);
    }

    fn takes(&self) -> String {
        self.spec.takes()
    }
}
