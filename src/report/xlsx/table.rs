//! A table with a header row: its cells, its formulas and what they come to.

use chrono::NaiveDate;
use rust_xlsxwriter::utility::row_col_to_cell;

use super::styles::Kind;

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell {
    /// Nothing: unknown, or not for this row.
    Empty,
    /// Words, never a formula or a link whatever they begin with.
    Text(String),
    /// Words that may run over the next cell, which is empty.
    Wide(String),
    /// A number.
    Number(f64),
    /// A day.
    Date(NaiveDate),
    /// A number that the reader may change; empty where unknown.
    Input(Kind, Option<f64>),
    /// A formula and what it comes to.
    Formula {
        /// Without the `=`.
        formula: String,
        /// What a recalculation gives.
        result: Outcome,
    },
}

/// What a formula comes to.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Outcome {
    /// An empty text.
    Empty,
    /// Words.
    Text(String),
    /// A number.
    Number(f64),
}

impl From<Option<f64>> for Outcome {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Self::Empty, Self::Number)
    }
}

impl From<Option<f64>> for Cell {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Self::Empty, Self::Number)
    }
}

impl From<f64> for Cell {
    fn from(value: f64) -> Self {
        Self::Number(value)
    }
}

impl From<&str> for Cell {
    fn from(value: &str) -> Self {
        Self::Text(value.to_owned())
    }
}

impl From<String> for Cell {
    fn from(value: String) -> Self {
        Self::Text(value)
    }
}

impl From<Option<&str>> for Cell {
    fn from(value: Option<&str>) -> Self {
        value.map_or(Self::Empty, Self::from)
    }
}

impl Cell {
    /// A formula that comes to a number, or to an empty text.
    pub(super) fn formula(formula: String, result: Option<f64>) -> Self {
        Self::Formula {
            formula,
            result: result.into(),
        }
    }

    /// The same by a formula, whose result it is now; words stay words.
    pub(super) fn by(self, formula: impl Into<String>) -> Self {
        match self {
            Self::Number(number) => Self::formula(formula.into(), Some(number)),
            Self::Empty => Self::formula(formula.into(), None),
            other => other,
        }
    }

    /// Says whether two cells agree to a hundredth, in words.
    pub(super) fn agreement(
        left: (&str, Option<f64>),
        right: (&str, Option<f64>),
        words: (&'static str, &'static str),
    ) -> Self {
        let ((a, x), (b, y), (yes, no)) = (left, right, words);
        let result = match (x, y) {
            (Some(x), Some(y)) if (x - y).abs() < 0.01 => Outcome::Text(yes.to_owned()),
            (Some(_), Some(_)) => Outcome::Text(no.to_owned()),
            _ => Outcome::Empty,
        };
        let formula = format!("IF(COUNT({a},{b})<2,\"\",IF(ABS({a}-{b})<0.01,\"{yes}\",\"{no}\"))");
        Self::Formula { formula, result }
    }

    /// The number it holds or comes to.
    pub(super) fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number)
            | Self::Input(_, Some(number))
            | Self::Formula {
                result: Outcome::Number(number),
                ..
            } => Some(*number),
            _ => None,
        }
    }
}

/// A column: its heading, its kind, and how wide it may be in digits.
pub(super) struct Column {
    pub(super) heading: String,
    pub(super) kind: Kind,
    pub(super) widest: f64,
}

impl Column {
    /// A column of numbers, as wide as they need.
    pub(super) fn new(heading: impl Into<String>, kind: Kind) -> Self {
        Self {
            heading: heading.into(),
            kind,
            widest: 40.0,
        }
    }

    /// A column of words that go on below when they are wider than `widest` digits.
    pub(super) fn words(heading: impl Into<String>, widest: f64) -> Self {
        Self {
            heading: heading.into(),
            kind: Kind::Text,
            widest,
        }
    }

    /// The last column: what is unknown or out of the ordinary.
    pub(super) fn remark(widest: f64) -> Self {
        Self {
            heading: "Remark".to_owned(),
            kind: Kind::Remark,
            widest,
        }
    }
}

/// A table that begins at a known row, so that its formulas can name their cells.
pub(super) struct Table {
    pub(super) header_row: u32,
    pub(super) columns: Vec<Column>,
    pub(super) rows: Vec<Vec<Cell>>,
    pub(super) totals: Vec<Vec<Cell>>,
}

impl Table {
    pub(super) fn at(header_row: u32, columns: Vec<Column>) -> Self {
        Self {
            header_row,
            columns,
            rows: Vec::new(),
            totals: Vec::new(),
        }
    }

    /// Adds a row; those of `columns` that it leaves out are empty.
    pub(super) fn push(&mut self, cells: Vec<Cell>) {
        self.rows.push(cells);
    }

    /// Says `none` in a table without a row.
    pub(super) fn say_none(&mut self) {
        if self.rows.is_empty() {
            self.push(vec![Cell::Wide("none".to_owned())]);
        }
    }

    /// Adds a row that stands out at the end.
    pub(super) fn total(&mut self, cells: Vec<Cell>) {
        self.totals.push(cells);
    }

    /// Row of the sheet that the next row or total will have.
    pub(super) fn next_row(&self) -> u32 {
        self.header_row + 1 + self.len()
    }

    /// First row of the sheet with a body cell.
    pub(super) fn first_row(&self) -> u32 {
        self.header_row + 1
    }

    /// Last row of the sheet with a body cell, where there is one.
    pub(super) fn last_row(&self) -> u32 {
        self.header_row + self.rows.len() as u32
    }

    /// Rows below the header.
    pub(super) fn len(&self) -> u32 {
        (self.rows.len() + self.totals.len()) as u32
    }

    /// Name of a cell in the next row.
    pub(super) fn here(&self, column: u16) -> String {
        row_col_to_cell(self.next_row(), column)
    }

    /// Sum of the known numbers of a column; empty where none is known.
    pub(super) fn sum(&self, column: u16) -> Cell {
        if self.rows.is_empty() {
            return Cell::Empty;
        }
        let range = self.range(column);
        let known = self
            .rows
            .iter()
            .filter_map(|row| row.get(usize::from(column))?.number());
        let result = known.reduce(|sum, number| sum + number);
        Cell::formula(format!("IF(COUNT({range})=0,\"\",SUM({range}))"), result)
    }

    pub(super) fn range(&self, column: u16) -> String {
        let first = row_col_to_cell(self.first_row(), column);
        let last = row_col_to_cell(self.last_row(), column);
        format!("{first}:{last}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(numbers: &[Option<f64>]) -> Table {
        let mut table = Table::at(3, vec![Column::new("n", Kind::Whole)]);
        for &number in numbers {
            table.push(vec![number.into()]);
        }
        table
    }

    #[test]
    fn a_sum_leaves_out_what_is_unknown() {
        let formula = "IF(COUNT(A5:A7)=0,\"\",SUM(A5:A7))".to_owned();
        let sum = table(&[Some(1.5), None, Some(2.0)]).sum(0);
        assert_eq!(
            sum,
            Cell::Formula {
                formula,
                result: Outcome::Number(3.5)
            }
        );
    }

    #[test]
    fn a_sum_of_unknowns_is_unknown_not_zero() {
        assert_eq!(table(&[None]).sum(0).number(), None);
        assert_eq!(table(&[]).sum(0), Cell::Empty);
    }

    #[test]
    fn two_cells_agree_to_a_hundredth() {
        let agree = |x, y| match Cell::agreement(("A1", x), ("A2", y), ("yes", "no")) {
            Cell::Formula { result, .. } => result,
            _ => unreachable!("an agreement is a formula"),
        };
        assert_eq!(
            agree(Some(1.0), Some(1.001)),
            Outcome::Text("yes".to_owned())
        );
        assert_eq!(agree(Some(1.0), Some(1.1)), Outcome::Text("no".to_owned()));
        assert_eq!(agree(None, Some(1.1)), Outcome::Empty);
    }
}
