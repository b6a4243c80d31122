//! What is wrong with the records: where, what was found, what is expected.

use std::collections::HashSet;
use std::fmt;
use std::sync::Arc;

use super::Table;

/// A cell, a row or a file of the records.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// File, or `file, sheet name`.
    pub source: Arc<str>,
    /// Counted as spreadsheet programs count: the header is row 1. `None`: the whole file.
    pub row: Option<u32>,
    /// Header text of the column.
    pub column: Option<Arc<str>>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.source)?;
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column `{column}`")?;
        }
        Ok(())
    }
}

/// Whether the work can go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The row (or file) cannot be used; the work stops unless it is set aside.
    Problem,
    /// Worth knowing; the row is used.
    Remark,
}

/// The sort of trouble, for programs that read the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum ProblemKind {
    /// A table that is needed is not there.
    MissingTable,
    /// A file that is named like a table and of a kind that is not read.
    Unread,
    /// The same table in two places.
    TwoPlaces,
    /// A column that is needed is not there.
    MissingColumn,
    /// Rows above the header.
    Title,
    /// Two columns that say the same thing.
    ColumnTwice,
    /// Text that is not UTF-8, or a file that is not comma-separated.
    Encoding,
    /// A row with more or fewer cells than the header.
    RaggedRow,
    /// A needed cell is empty.
    Missing,
    /// Not a number.
    NotANumber,
    /// Below zero, or zero where something must be.
    OutOfRange,
    /// Not a date.
    NotADate,
    /// A word that is not in the list.
    UnknownWord,
    /// A machine, position, part, product that its own table does not list.
    Unknown,
    /// The same name twice in a table of names.
    NamedTwice,
    /// A row equal to an earlier one.
    Identical,
    /// Dates in an order that cannot be.
    Order,
    /// More pieces than the position holds.
    TooMany,
    /// Part numbers that replace each other in a circle, or twice.
    Supersession,
    /// Names that are likely one name in several spellings.
    Spelling,
    /// A family that has no model file.
    NoModel,
    /// Dated after the as-of date.
    Later,
    /// A wear-out without any use behind it.
    NoUse,
    /// Settings that cannot be read.
    Settings,
    /// Use that was read off meters, with what was assumed.
    Meters,
    /// Dates of which only a stretch of days is known.
    Vague,
    /// A formula without its result.
    Formula,
    /// Rows that show how, and were to be deleted.
    Example,
    /// What no rule forbids and is most likely a slip.
    Odd,
    /// A mapping of a user's own columns that cannot be read, or a row it left out.
    Mapping,
}

impl ProblemKind {
    /// The word in JSON. Programs rely on it: it stays as it is whatever the variant is called.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::MissingTable => "MissingTable",
            Self::Unread => "Unread",
            Self::TwoPlaces => "TwoPlaces",
            Self::MissingColumn => "MissingColumn",
            Self::Title => "Title",
            Self::ColumnTwice => "ColumnTwice",
            Self::Encoding => "Encoding",
            Self::RaggedRow => "RaggedRow",
            Self::Missing => "Missing",
            Self::NotANumber => "NotANumber",
            Self::OutOfRange => "OutOfRange",
            Self::NotADate => "NotADate",
            Self::UnknownWord => "UnknownWord",
            Self::Unknown => "Unknown",
            Self::NamedTwice => "NamedTwice",
            Self::Identical => "Identical",
            Self::Order => "Order",
            Self::TooMany => "TooMany",
            Self::Supersession => "Supersession",
            Self::Spelling => "Spelling",
            Self::NoModel => "NoModel",
            Self::Later => "Later",
            Self::NoUse => "NoUse",
            Self::Settings => "Settings",
            Self::Meters => "Meters",
            Self::Vague => "Vague",
            Self::Formula => "Formula",
            Self::Example => "Example",
            Self::Odd => "Odd",
            Self::Mapping => "Mapping",
        }
    }
}

/// One thing that is wrong, or worth knowing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Problem {
    /// Whether the work can go on.
    pub severity: Severity,
    /// Where.
    pub place: Place,
    /// The sort of trouble.
    pub kind: ProblemKind,
    /// What stands there.
    pub found: String,
    /// What was expected, and what to do.
    pub expected: Arc<str>,
}

/// Texts that many problems have in common, each held once: every row of a long table may have a problem
/// of its own.
#[derive(Clone, Debug, Default)]
pub struct CommonTexts {
    known: HashSet<Arc<str>>,
}

impl CommonTexts {
    /// Texts held; of more than these none is likely to come again.
    const MOST: usize = 1000;

    /// The text, shared with earlier ones that are equal.
    pub fn shared(&mut self, text: &str) -> Arc<str> {
        if let Some(known) = self.known.get(text) {
            return Arc::clone(known);
        }
        let new: Arc<str> = text.into();
        if self.known.len() < Self::MOST {
            self.known.insert(Arc::clone(&new));
        }
        new
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: found {}; expected {}",
            self.place, self.found, self.expected
        )
    }
}

/// Rows of one table: read = used + set aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// The table.
    pub table: Table,
    /// Where it came from; `None`: there is none.
    pub source: Option<String>,
    /// Rows read.
    pub read: u64,
    /// Rows used.
    pub used: u64,
    /// Rows with a problem.
    pub set_aside: u64,
    /// Of the rows used, those dated after the as-of date: not yet known, whatever else is wrong with
    /// them.
    pub later: u64,
    /// Headings that are none of those the table takes by name.
    pub own_columns: Vec<String>,
}

/// How a rule of `columns.toml` fared: every rule is told, those that touched nothing too.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleCount {
    /// The table it is for.
    pub table: Table,
    /// The rule as it stands in the file, but for spacing, behind the section of its table.
    pub rule: String,
    /// Its line in the file; a rule for the values of all tables has one line.
    pub line: usize,
    /// Rows it changed or gave a meaning to.
    pub rows: u64,
}
