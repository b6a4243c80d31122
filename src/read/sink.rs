//! Where a file's rows go: the header is matched once, then row by row is read and accounted for.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::record::{CommonTexts, Place, Problem, ProblemKind, Severity};

use super::cell::{Cell, DateForm, Wrong};
use super::header::{Columns, MOST_COLUMNS, Spec};
use super::mapping::{Mapper, Rules};
use super::parquet::Batch;
use super::row::{Fault, Row};

/// Takes the rows of a table.
pub(super) trait Take {
    /// A row, to be read and kept if it is sound.
    fn row(&mut self, row: &mut Row<'_>);

    /// Rows in columns: keeps those that are plainly sound, and returns the places of the others,
    /// which are to be read one by one. `None`: all are.
    fn batch(&mut self, _columns: &Columns, _batch: &Batch<'_>) -> Option<Vec<u32>> {
        None
    }
}

impl<F: FnMut(&mut Row<'_>)> Take for F {
    fn row(&mut self, row: &mut Row<'_>) {
        self(row);
    }
}

/// Takes what a reader finds, one row at a time.
pub(super) trait Sink {
    /// The header texts; `false`: the table cannot be used, read no further.
    fn header(&mut self, headers: &[String]) -> bool;
    /// A row that is not blank.
    fn row(&mut self, number: u32, cells: &[Cell<'_>]);
    /// Rows in columns; `None`: they are to be given one by one, and else those at the places
    /// returned are.
    fn batch(&mut self, _batch: &Batch<'_>) -> Option<Vec<u32>> {
        None
    }
    /// A row whose cells cannot be told apart or read.
    fn bad_row(&mut self, number: u32, column: Option<usize>, wrong: Wrong);
    /// Whether a column means anything to the table, or is only kept.
    fn needs(&self, _column: usize) -> bool {
        true
    }
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
    /// Rows with a problem that are dated after the as-of date.
    pub(super) later: u64,
    /// Rows that each rule of the mapping touched.
    pub(super) touched: Vec<u64>,
    /// Rows that are credits.
    pub(super) credits: Vec<u32>,
    /// Headings that mean nothing to the table.
    pub(super) own_columns: BTreeSet<String>,
}

impl Outcome {
    /// Takes in what came of another file of the same table.
    pub(super) fn join(&mut self, other: Self) {
        self.problems.extend(other.problems);
        self.read += other.read;
        self.set_aside += other.set_aside;
        self.later += other.later;
        let rules = self.touched.len().max(other.touched.len());
        self.touched.resize(rules, 0);
        for (sum, touched) in self.touched.iter_mut().zip(other.touched) {
            *sum += touched;
        }
        self.credits.extend(other.credits);
        self.own_columns.extend(other.own_columns);
    }
}

/// Reads rows of one table and hands the sound ones on.
pub(super) struct TableSink<'a> {
    source: &'a str,
    spec: &'a Spec,
    dates: &'a DateForm,
    /// Rows of a later date are not yet known.
    as_of: Option<NaiveDate>,
    /// The user's own columns, where they have rules.
    rules: Option<&'a Rules>,
    mapper: Option<Mapper>,
    /// Header texts as they stand in the file.
    own: Vec<String>,
    columns: Option<Columns>,
    take: &'a mut dyn Take,
    texts: CommonTexts,
    pub(super) outcome: Outcome,
}

impl<'a> TableSink<'a> {
    /// `take` reads a row and keeps it if it is sound.
    pub(super) fn new(
        source: &'a str,
        spec: &'a Spec,
        dates: &'a DateForm,
        take: &'a mut dyn Take,
    ) -> Self {
        Self {
            source,
            spec,
            dates,
            as_of: None,
            rules: None,
            mapper: None,
            own: Vec::new(),
            columns: None,
            take,
            texts: CommonTexts::default(),
            outcome: Outcome::default(),
        }
    }

    /// Passes rows through the rules for the user's own columns.
    pub(super) fn with_rules(self, rules: Option<&'a Rules>) -> Self {
        Self { rules, ..self }
    }

    /// Takes rows of a later date as not yet known: what is wrong with them is remarked on.
    pub(super) fn known_on(self, as_of: Option<NaiveDate>) -> Self {
        Self { as_of, ..self }
    }

    /// What came of the table.
    pub(super) fn finish(mut self) -> Outcome {
        if let Some(mapper) = self.mapper {
            self.outcome.touched = mapper.touched;
            self.outcome.credits = mapper.credit_rows;
        }
        self.outcome
    }

    fn fitted(&mut self, headers: &[String]) -> Result<Columns, Vec<(Option<String>, Wrong)>> {
        let Some(rules) = self.rules else {
            return self.spec.columns(headers);
        };
        let (mapper, columns) = Mapper::new(rules, self.spec, &self.own)?;
        self.mapper = Some(mapper);
        Ok(columns)
    }

    fn read_row(&mut self, number: u32, cells: &[Cell<'_>], columns: &Columns) {
        let mut row = Row::new(number, cells, columns, self.dates);
        self.take.row(&mut row);
        if !row.is_sound() {
            let is_later = self.is_later(&row);
            let faults = row.into_faults();
            if is_later {
                self.leave_for_later(number, faults);
            } else {
                self.set_aside(number, faults);
            }
        }
    }

    fn is_later(&self, row: &Row<'_>) -> bool {
        let first = self.as_of.and_then(|_| row.first_day());
        first
            .zip(self.as_of)
            .is_some_and(|(first, as_of)| as_of < first)
    }

    fn note(&mut self, severity: Severity, row: Option<u32>, column: Option<String>, wrong: Wrong) {
        let texts = &mut self.texts;
        let mut found = wrong.found;
        found.shrink_to_fit();
        self.outcome.problems.push(Problem {
            severity,
            place: Place {
                source: texts.shared(self.source),
                row,
                column: column.map(|column| texts.shared(&column)),
            },
            kind: wrong.kind,
            found,
            expected: texts.shared(&wrong.expected),
        });
    }

    /// A column under a name of its own is kept and counts for nothing: an easy slip.
    fn remark_likely(&mut self, columns: &Columns) {
        for (header, name) in self.spec.likely_meant(columns) {
            self.outcome.problems.push(Problem {
                severity: Severity::Remark,
                place: Place {
                    source: self.source.into(),
                    row: None,
                    column: Some(header.into()),
                },
                kind: ProblemKind::Odd,
                found: "a column of your own, which is kept and counts for nothing".to_owned(),
                expected: format!("the heading `{name}`, if that is what it holds").into(),
            });
        }
    }

    fn set_aside(&mut self, number: u32, faults: Vec<Fault>) {
        self.outcome.set_aside += 1;
        for fault in faults {
            self.note(Severity::Problem, Some(number), fault.column, fault.wrong);
        }
    }

    fn leave_for_later(&mut self, number: u32, faults: Vec<Fault>) {
        self.outcome.later += 1;
        for fault in faults {
            self.note(Severity::Remark, Some(number), fault.column, fault.wrong);
        }
    }
}

/// Cells under no header that hold something.
fn strays(headers: &[String], cells: &[Cell<'_>]) -> Option<Wrong> {
    let width = headers.len();
    let headless = |i: usize| headers.get(i).is_none_or(String::is_empty);
    let stray = (0..cells.len()).find(|i| headless(*i) && !cells[*i].is_empty())?;
    let text = cells[stray].as_text().unwrap_or_default();
    Some(Wrong::new(
        ProblemKind::RaggedRow,
        format!(
            "{} in cell {}, column {}, under no header",
            super::cell::quoted(&text),
            stray + 1,
            letters(stray)
        ),
        format!(
            "{width} cells as in the header, or a name above every cell that holds something; in \
             comma-separated text put a cell that has a comma in double quotes"
        ),
    ))
}

/// A column as spreadsheet programs name it, from 0: `A` to `Z`, then `AA`.
fn letters(column: usize) -> String {
    let last = char::from(b'A' + (column % 26) as u8);
    match column / 26 {
        0 => last.to_string(),
        before => format!("{}{last}", letters(before - 1)),
    }
}

impl Sink for TableSink<'_> {
    fn header(&mut self, headers: &[String]) -> bool {
        let used = headers.iter().rposition(|h| !h.trim().is_empty());
        let used = used.map_or(0, |last| last + 1);
        if MOST_COLUMNS < used {
            self.bad_table(Wrong::new(
                ProblemKind::ColumnTwice,
                format!("{used} columns"),
                format!("at most {MOST_COLUMNS}; delete those that are no records"),
            ));
            return false;
        }
        self.own = headers[..used]
            .iter()
            .map(|h| h.trim().to_owned())
            .collect();
        match self.fitted(headers) {
            Ok(columns) => {
                self.remark_likely(&columns);
                let own = columns.extra.iter().map(|i| columns.headers[*i].clone());
                self.outcome.own_columns = own.collect();
                self.columns = Some(columns);
                true
            }
            Err(list) => {
                for (column, wrong) in list {
                    self.note(Severity::Problem, None, column, wrong);
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
        if let Some(wrong) = strays(&self.own, cells) {
            self.set_aside(
                number,
                vec![Fault {
                    column: None,
                    wrong,
                }],
            );
        } else if let Some(mapper) = &mut self.mapper {
            match mapper.apply(number, cells, self.dates) {
                Ok(mapped) => self.read_row(number, &mapped, &columns),
                Err(faults) => self.set_aside(number, faults),
            }
        } else {
            self.read_row(number, cells, &columns);
        }
        self.columns = Some(columns);
    }

    fn batch(&mut self, batch: &Batch<'_>) -> Option<Vec<u32>> {
        // Rules look at cells, and so does the search for cells under no header.
        if self.mapper.is_some()
            || self.own.len() < batch.values.len()
            || self.own.iter().any(String::is_empty)
        {
            return None;
        }
        let left = self.take.batch(self.columns.as_ref()?, batch)?;
        self.outcome.read += (batch.height - left.len()) as u64;
        Some(left)
    }

    fn bad_row(&mut self, number: u32, column: Option<usize>, wrong: Wrong) {
        let column = column.and_then(|i| self.own.get(i).cloned());
        self.outcome.read += 1;
        self.set_aside(number, vec![Fault { column, wrong }]);
    }

    fn needs(&self, column: usize) -> bool {
        let kept = |columns: &Columns| columns.extra.contains(&column);
        // Rules may look at any column.
        self.mapper.is_some() || !self.columns.as_ref().is_some_and(kept)
    }

    fn bad_table(&mut self, wrong: Wrong) {
        self.note(Severity::Problem, None, None, wrong);
    }

    fn takes(&self) -> String {
        self.spec.takes()
    }
}
