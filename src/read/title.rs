//! Rows above the header, such as a title, that keep a table from being read.

use crate::record::{Problem, ProblemKind, Severity};

use super::cell::{Cell, Wrong, quoted};
use super::find::whole;
use super::header::Spec;
use super::sink::Sink;

/// Rows that are looked through for the header.
const LOOKED_AT: u32 = 100;
/// Cells of a row that are names of columns, where it is a header.
const NAMED: usize = 2;

/// Looks for a header below the first row.
pub(super) struct Below<'a> {
    spec: &'a Spec,
    /// What stands where the header should.
    first: String,
    looked_at: u32,
    header: Option<u32>,
}

impl<'a> Below<'a> {
    pub(super) fn new(spec: &'a Spec) -> Self {
        Self {
            spec,
            first: String::new(),
            looked_at: 0,
            header: None,
        }
    }

    /// What to do about the rows above the header, where there is one below them.
    pub(super) fn problem(&self, source: &str) -> Option<Problem> {
        let header = self.header?;
        Some(whole(
            Severity::Problem,
            source,
            ProblemKind::Title,
            format!(
                "{} above the header, which is in row {header}",
                quoted(&self.first)
            ),
            format!("the header in the first row; delete the rows above row {header}"),
        ))
    }
}

impl Sink for Below<'_> {
    fn header(&mut self, headers: &[String]) -> bool {
        let text = headers.iter().find(|h| !h.trim().is_empty());
        self.first = text.map_or_else(String::new, |h| h.trim().to_owned());
        true
    }

    fn row(&mut self, number: u32, cells: &[Cell<'_>]) {
        self.looked_at += 1;
        if LOOKED_AT < self.looked_at || self.header.is_some() {
            return;
        }
        let texts = cells.iter().filter_map(Cell::as_text);
        if NAMED <= texts.filter(|text| self.spec.has(text)).count() {
            self.header = Some(number);
        }
    }

    fn bad_row(&mut self, _: u32, _: Option<usize>, _: Wrong) {}
    fn bad_table(&mut self, _: Wrong) {}

    fn takes(&self) -> String {
        String::new()
    }
}
