//! What an import read, and what became of every row of it.

use chrono::NaiveDate;

use super::Header;
use crate::units::Units;

/// What became of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Written.
    Added,
    /// There already.
    Already,
    /// Written in place of an earlier state of the same work.
    Replaced,
    /// There, and changed by the owner since: left as it is.
    KeptChanged,
    /// Not written, and why.
    SetAside(String),
}

impl Fate {
    /// The word in files.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Added => "added",
            Self::Already => "already there",
            Self::Replaced => "replaced",
            Self::KeptChanged => "kept as you changed it",
            Self::SetAside(_) => "set aside",
        }
    }

    /// Why it was set aside.
    #[must_use]
    pub fn why(&self) -> Option<&str> {
        match self {
            Self::SetAside(why) => Some(why),
            _ => None,
        }
    }
}

/// A row of use: in the words of the file, and in those of the records where these are known.
#[derive(Clone, Debug, PartialEq)]
pub struct UseLine {
    /// Task in the file.
    pub task: String,
    /// Day; `None`: the file has none that can be read.
    pub date: Option<NaiveDate>,
    /// Machine in the file.
    pub machine: String,
    /// Bin in the file.
    pub bin: Option<String>,
    /// Product in the file.
    pub product: Option<String>,
    /// Kilograms spread.
    pub kilograms: Option<f64>,
    /// Square metres covered.
    pub square_metres: Option<f64>,
    /// Hours at work.
    pub hours: Option<f64>,
    /// Machine, bin and product of the records.
    pub ours: [Option<String>; 3],
    /// What became of it.
    pub fate: Fate,
}

/// A meter reading: in the words of the file, and in those of the records where these are known.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterLine {
    /// Day; `None`: the file does not say.
    pub date: Option<NaiveDate>,
    /// Machine in the file.
    pub machine: String,
    /// `engine_hours` or `miles`.
    pub meter: &'static str,
    /// What the meter showed; `None`: the file does not say.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
    /// Machine of the records.
    pub ours: Option<String>,
    /// What became of it.
    pub fate: Fate,
}

/// Rows of an import.
#[derive(Clone, Debug, PartialEq)]
pub enum Lines {
    /// Use.
    Use(Vec<UseLine>),
    /// Meter readings.
    Meters(Vec<MeterLine>),
}

impl Lines {
    /// What became of each row.
    pub fn fates(&self) -> impl Iterator<Item = &Fate> {
        let (used, meters) = match self {
            Self::Use(lines) => (Some(lines), None),
            Self::Meters(lines) => (None, Some(lines)),
        };
        let used = used.into_iter().flatten().map(|line| &line.fate);
        used.chain(meters.into_iter().flatten().map(|line| &line.fate))
    }
}

/// A name in the file that the records do not know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnmatchedName {
    /// `machine`, `bin` or `product`.
    pub kind: &'static str,
    /// The name.
    pub name: String,
    /// Rows set aside for it.
    pub rows: usize,
    /// What to do.
    pub todo: String,
}

/// An import.
#[derive(Clone, Debug, PartialEq)]
pub struct ImportReport {
    /// What every result says.
    pub header: Header,
    /// `taskdata` or `telematics`.
    pub kind: &'static str,
    /// Units for people.
    pub units: Units,
    /// Name of the file that is written to.
    pub into: String,
    /// Every row.
    pub lines: Lines,
    /// Rows of an earlier state of the same work that were taken out.
    pub taken_out: usize,
    /// Names to be matched.
    pub unmatched: Vec<UnmatchedName>,
    /// What is wrong in the files, so that rows are set aside: file, place, what is found there and
    /// what is expected.
    pub problems: Vec<String>,
}

impl ImportReport {
    /// How many rows met that fate.
    pub fn count(&self, is: impl Fn(&Fate) -> bool) -> usize {
        self.lines.fates().filter(|fate| is(fate)).count()
    }

    /// Rows read, used and set aside; the last two add up to the first.
    #[must_use]
    pub fn account(&self) -> [usize; 3] {
        let read = self.lines.fates().count();
        let aside = self.count(|fate| matches!(fate, Fate::SetAside(_)));
        [read, read - aside, aside]
    }
}
