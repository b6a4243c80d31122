//! One row of one table: its cells by column name, and the faults found on the way.

use std::borrow::Cow;

use chrono::NaiveDate;

use crate::record::{Amounts, Extra, ProblemKind};
use crate::units::Measure;

use super::cell::{Cell, DateForm, Wrong};
use super::header::Columns;
use super::mapping::FORMS;

/// A fault and its column.
pub(super) struct Fault {
    pub(super) column: Option<String>,
    pub(super) wrong: Wrong,
}

/// A row being read; every getter that meets a fault notes it and goes on.
pub(super) struct Row<'r> {
    /// Row of its table, the header being row 1.
    pub(super) number: u32,
    cells: &'r [Cell<'r>],
    columns: &'r Columns,
    dates: &'r DateForm,
    faults: Vec<Fault>,
}

/// The cell where a row is shorter than its header.
const EMPTY: Cell<'static> = Cell::Empty;

impl<'r> Row<'r> {
    pub(super) fn new(
        number: u32,
        cells: &'r [Cell<'r>],
        columns: &'r Columns,
        dates: &'r DateForm,
    ) -> Self {
        Self {
            number,
            cells,
            columns,
            dates,
            faults: Vec::new(),
        }
    }

    /// Whether no fault was met so far.
    pub(super) fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }

    pub(super) fn into_faults(self) -> Vec<Fault> {
        self.faults
    }

    /// The columns of the file.
    pub(super) fn columns(&self) -> &'r Columns {
        self.columns
    }

    /// The cell at a place, empty beyond the end of the row.
    pub(super) fn at(&self, index: usize) -> &'r Cell<'r> {
        self.cells.get(index).unwrap_or(&EMPTY)
    }

    fn cell(&self, name: &str) -> &'r Cell<'r> {
        self.columns
            .index(name)
            .map_or(&EMPTY, |index| self.at(index))
    }

    /// The day of a record, or the first that it can have been; `None` where its date cannot be read.
    pub(super) fn first_day(&self) -> Option<NaiveDate> {
        let day = |name: &str| self.cell(name).date(self.dates).ok();
        let (date, from) = (day("date")??, day("date_from")?);
        Some(from.map_or(date, |from| from.min(date)))
    }

    /// Notes a fault in a column; the first in a column stands for the rest.
    pub(super) fn fault(&mut self, name: &str, wrong: Wrong) {
        let header = self
            .columns
            .index(name)
            .map(|index| self.columns.headers[index].clone());
        self.fault_under(header.or_else(|| Some(name.to_owned())), wrong);
    }

    fn fault_under(&mut self, column: Option<String>, wrong: Wrong) {
        self.faults.push(Fault { column, wrong });
    }

    fn kept<T>(&mut self, name: &str, value: Result<Option<T>, Wrong>) -> Option<T> {
        value.unwrap_or_else(|wrong| {
            self.fault(name, wrong);
            None
        })
    }

    /// A needed value, or its fault; a value that was there and wrong has its fault already.
    fn needed<T>(&mut self, name: &str, what: &str, value: Option<T>) -> Option<T> {
        if value.is_none() && self.cell(name).is_empty() {
            self.fault(
                name,
                Wrong::new(ProblemKind::Missing, "an empty cell", what),
            );
        }
        value
    }

    /// Text, borrowed where the file has it as text.
    pub(super) fn str(&self, name: &str) -> Option<Cow<'r, str>> {
        self.cell(name).as_text()
    }

    /// Text.
    pub(super) fn text(&self, name: &str) -> Option<String> {
        self.str(name).map(Cow::into_owned)
    }

    /// Text that must be there; empty where it is not.
    pub(super) fn needed_str(&mut self, name: &str) -> Cow<'r, str> {
        let text = self.str(name);
        self.needed(name, &format!("the {name}"), text)
            .unwrap_or_default()
    }

    /// Text that must be there; empty where it is not.
    pub(super) fn needed_text(&mut self, name: &str) -> String {
        self.needed_str(name).into_owned()
    }

    /// A number that is not negative.
    pub(super) fn number(&mut self, name: &str) -> Option<f64> {
        let value = self.cell(name).number();
        self.kept(name, value)
    }

    /// A number that is not negative and must be there; 0 where it is not.
    pub(super) fn needed_number(&mut self, name: &str) -> f64 {
        let value = self.number(name);
        self.needed(name, "a number", value).unwrap_or_default()
    }

    /// A number of either sign that must be there; 0 where it is not.
    pub(super) fn needed_signed(&mut self, name: &str) -> f64 {
        let value = self.cell(name).signed();
        let value = self.kept(name, value);
        self.needed(name, "a number", value).unwrap_or_default()
    }

    /// A number above zero.
    pub(super) fn positive(&mut self, name: &str) -> Option<f64> {
        let value = self.cell(name).positive();
        self.kept(name, value)
    }

    /// A whole number of 1 or more.
    pub(super) fn whole(&mut self, name: &str) -> Option<u32> {
        let value = self.cell(name).whole();
        self.kept(name, value)
    }

    /// A day.
    pub(super) fn date(&mut self, name: &str) -> Option<NaiveDate> {
        let value = self.cell(name).date(self.dates);
        self.kept(name, value)
    }

    /// A day that must be there; some day where it is not.
    pub(super) fn needed_date(&mut self, name: &str) -> NaiveDate {
        let value = self.date(name);
        self.needed(name, "a date such as `2026-04-17`", value)
            .unwrap_or_default()
    }

    /// A day that must be there, of something of which people know the year or the season at times.
    pub(super) fn needed_last_day(&mut self, name: &str) -> NaiveDate {
        let cell = self.cell(name);
        let value = cell.date(self.dates).map_err(|wrong| Wrong {
            expected: if cell.is_vague() {
                format!(
                    "a date such as `2026-04-17`; of a stretch of days write the last here and the first \
                     under `date_from`, or let `season = true` in columns.toml read {FORMS}"
                )
            } else {
                wrong.expected
            },
            ..wrong
        });
        let value = self.kept(name, value);
        self.needed(name, "a date such as `2026-04-17`", value)
            .unwrap_or_default()
    }

    /// A month that must be there, as its first day; some day where it is not.
    pub(super) fn needed_month(&mut self, name: &str) -> NaiveDate {
        let value = self.cell(name).month(self.dates);
        let value = self.kept(name, value);
        self.needed(name, "a month such as `2027-04`", value)
            .unwrap_or_default()
    }

    /// One of a list of words.
    pub(super) fn word<T: Copy>(&mut self, name: &str, words: &[(&str, T)]) -> Option<T> {
        let value = self.cell(name).word(words);
        self.kept(name, value)
    }

    /// One of a list of words that must be there; the first where it is not.
    pub(super) fn needed_word<T: Copy>(&mut self, name: &str, words: &[(&str, T)]) -> T {
        let value = self.word(name, words);
        let list: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        self.needed(name, &format!("one of {}", list.join(", ")), value)
            .unwrap_or(words[0].1)
    }

    /// A number that is not negative, in any column.
    pub(super) fn number_at(&mut self, index: usize) -> Option<f64> {
        match self.at(index).number() {
            Ok(value) => value,
            Err(wrong) => {
                self.fault_under(self.columns.headers.get(index).cloned(), wrong);
                None
            }
        }
    }

    /// The amounts of use, in internal units.
    pub(super) fn amounts(&mut self) -> Amounts {
        let mut amounts = Amounts::default();
        for column in &self.columns.amounts {
            let value = self
                .number_at(column.index)
                .map(|value| value * column.factor);
            match column.measure {
                Measure::Acres => amounts.acres = value,
                Measure::Tons => amounts.tons = value,
                Measure::Hours => amounts.hours = value,
                Measure::Days => {}
            }
        }
        amounts
    }

    /// Acres, tons and hours in the units of the file; NaN where none is written.
    pub(super) fn amounts_as_written(&mut self) -> [f64; 3] {
        let mut amounts = [f64::NAN; 3];
        for column in &self.columns.amounts {
            let value = self.number_at(column.index);
            if let (Some(value), true) = (value, column.measure != Measure::Days) {
                amounts[column.measure.index()] = value;
            }
        }
        amounts
    }

    /// Every column the table does not name, where it holds something.
    pub(super) fn extra(&self) -> Extra {
        let text = |index: &usize| {
            let text = self.at(*index).as_text()?.into_owned();
            Some((self.columns.headers[*index].clone(), text))
        };
        self.columns.extra.iter().filter_map(text).collect()
    }
}
