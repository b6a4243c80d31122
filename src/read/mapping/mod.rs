//! `columns.toml`: a user's own headers and values, and what they are in the tables of the records.
//!
//! A folder without that file is read as if this did not exist. With it, the rows of a table pass
//! through its rules before anything looks at them; every rule counts the rows it touched, and
//! nothing that no rule names is changed.

mod apply;
mod credits;
mod likely;
mod propose;
mod sample;
mod season;
mod target;
mod text;
mod words;
mod write;

use std::collections::BTreeMap;
use std::path::Path;

use crate::record::{Problem, ProblemKind, RuleCount, Severity, Table};

use super::cell::quoted;
use super::error::ReadError;
use super::find::{Found, Home, whole};

pub(super) use apply::Mapper;
pub(super) use credits::cancel;
pub use propose::proposal;
pub(super) use season::FORMS;

/// Name of the file.
pub(super) const FILE: &str = "columns.toml";

/// What a `columns.toml` says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Mapping {
    pub(super) tables: BTreeMap<Table, Rules>,
}

/// Where a table is kept under a name of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct OwnName {
    pub(super) name: String,
    pub(super) rule: usize,
}

/// The rules of one table.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Rules {
    pub(super) file: Option<OwnName>,
    pub(super) sheet: Option<OwnName>,
    /// What stands between cells, where it is no comma.
    pub(super) separator: Option<(char, usize)>,
    /// The rule that says numbers have a decimal comma.
    pub(super) decimal_comma: Option<usize>,
    /// How dates are written, in `strftime` letters.
    pub(super) date_format: Option<(String, usize)>,
    /// The rule that says negative quantities are credits.
    pub(super) credits: Option<usize>,
    pub(super) columns: Vec<ColumnRule>,
    pub(super) constants: Vec<ConstantRule>,
    pub(super) values: Vec<ValueRule>,
    /// Each rule in the words of the file, with its line.
    pub(super) list: Vec<(String, usize)>,
}

/// A header of the user, and the column it is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ColumnRule {
    pub(super) own: String,
    pub(super) to: Target,
    pub(super) rule: usize,
}

/// What a column of the user is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Target {
    /// Column of the table; a name of the user's where `kept`.
    pub(super) column: String,
    /// The unit it is in, where that is not the column's.
    pub(super) unit: Option<String>,
    /// Units of the column in one load.
    pub(super) load: Option<f64>,
    /// What to multiply by; 1 where there is neither unit nor load.
    pub(super) factor: f64,
    /// Dates may be a year, a season or a month.
    pub(super) season: bool,
    /// No column of the table: kept beside it under that name.
    pub(super) kept: bool,
}

/// The same value in every row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ConstantRule {
    pub(super) column: String,
    pub(super) value: String,
    pub(super) rule: usize,
}

/// A word of the user, and what it is in the records.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ValueRule {
    pub(super) column: String,
    pub(super) from: String,
    pub(super) to: String,
    pub(super) rule: usize,
}

impl Mapping {
    /// The table that a file of that name holds.
    pub(super) fn table_of_file(&self, name: &str) -> Option<Table> {
        let is = |rules: &Rules| rules.file.as_ref().is_some_and(|own| own.name == name);
        let mut tables = self.tables.iter();
        tables.find(|(_, rules)| is(rules)).map(|(table, _)| *table)
    }

    /// Files that tables are kept in.
    pub(super) fn files(&self) -> impl Iterator<Item = &str> {
        let own = self.tables.values().filter_map(|rules| rules.file.as_ref());
        own.map(|own| own.name.as_str())
    }

    /// The table that a sheet of that name holds.
    pub(super) fn table_of_sheet(&self, name: &str) -> Option<Table> {
        let name = name.trim();
        let is = |rules: &Rules| rules.sheet.as_ref().is_some_and(|own| own.name == name);
        let mut tables = self.tables.iter();
        tables.find(|(_, rules)| is(rules)).map(|(table, _)| *table)
    }

    /// Rules for tables, files and sheets that are not there.
    pub(super) fn without_home(&self, homes: &BTreeMap<Table, Vec<Found>>) -> Vec<Problem> {
        let mut told = Vec::new();
        for (table, rules) in &self.tables {
            let there = homes.get(table).map_or(&[][..], Vec::as_slice);
            let is = |own: &OwnName, found: &Found| match &found.home {
                Home::Sheet(sheet) => sheet.trim() == own.name,
                Home::Csv(_) | Home::Parquet(_) | Home::Parts(_) => found.source == own.name,
            };
            let names = [(&rules.file, "file"), (&rules.sheet, "sheet")];
            for (own, what) in names {
                if let Some(own) = own.as_ref().filter(|own| !there.iter().any(|f| is(own, f))) {
                    told.push(problem(
                        format!(
                            "line {}, `{what}` = {}: not in the folder",
                            rules.line(own.rule),
                            quoted(&own.name)
                        ),
                        format!("the name of a {what} that is there; mind spelling and case"),
                    ));
                }
            }
            let specific = rules
                .list
                .iter()
                .any(|(text, _)| !text.contains(".values."));
            if there.is_empty() && specific && told.is_empty() {
                told.push(problem(
                    format!("line {}: rules for the table `{}`, which is not there", rules.line(0), table.name()),
                    "rules for tables of the folder; delete them, or say which `file` or `sheet` the table is",
                ));
            }
        }
        told
    }
}

impl Rules {
    /// Adds a rule to the list.
    fn rule(&mut self, text: String, line: usize) -> usize {
        self.list.push((text, line));
        self.list.len() - 1
    }

    /// Whether they say no more than what some words of the owner stand for: the columns are those of
    /// the table, and rows in the words of the records may be added.
    pub(super) fn only_words(&self) -> bool {
        let words = Self {
            values: self.values.clone(),
            list: self.list.clone(),
            ..Self::default()
        };
        *self == words
    }

    /// The line of a rule, from 1.
    pub(super) fn line(&self, rule: usize) -> usize {
        self.list.get(rule).map_or(0, |(_, line)| *line)
    }

    /// The user's own header of a column, for problems that are found after reading.
    pub(super) fn own_header(&self, column: &str) -> Option<&str> {
        let named = self.columns.iter().find(|c| c.to.column == column);
        named.map(|c| c.own.as_str())
    }

    /// The rules and the rows each touched.
    pub(super) fn counts(&self, table: Table, touched: &[u64]) -> Vec<RuleCount> {
        let count = |(i, (text, line)): (usize, &(String, usize))| RuleCount {
            table,
            rule: text.clone(),
            line: *line,
            rows: touched.get(i).copied().unwrap_or(0),
        };
        self.list.iter().enumerate().map(count).collect()
    }
}

/// Lower case with single spaces: how words of a user are compared.
pub(super) fn plain(text: &str) -> String {
    let words: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

/// Reads the `columns.toml` of a folder; rules that cannot be understood are problems.
pub(super) fn read(dir: &Path) -> Result<(Mapping, Vec<Problem>), ReadError> {
    let path = super::there::named(dir, FILE);
    super::there::as_file(&path)?;
    if !path.exists() {
        return Ok((Mapping::default(), Vec::new()));
    }
    let Ok(text) = super::text::text(&path)? else {
        let expected = "text in UTF-8; save it again";
        let problem = problem("bytes that are not UTF-8", expected);
        return Ok((Mapping::default(), vec![problem]));
    };
    let (mapping, wrong) = text::parse(&text);
    let told = wrong.into_iter().map(|w| {
        let key = w
            .key
            .map_or_else(String::new, |k| format!(", {}", quoted(&k)));
        problem(format!("line {}{key}: {}", w.line, w.found), w.expected)
    });
    Ok((mapping, told.collect()))
}

/// A problem of the file.
pub(super) fn problem(found: impl Into<String>, expected: impl Into<String>) -> Problem {
    whole(
        Severity::Problem,
        FILE,
        ProblemKind::Mapping,
        found,
        expected,
    )
}
