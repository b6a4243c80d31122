//! Checks across tables: names that are known, dates that can follow each other, pieces that fit.
//!
//! Pure and on typed rows. A row with a problem is dropped before the tables that name it are
//! looked at, so what is left is sound in itself: a position that is set aside makes its
//! replacements replacements of an unknown position.

mod fleet;
mod log;
mod meters;
mod odd;
mod order;
mod shop;
mod spellings;
mod spread;
mod supersession;
mod twins;
mod unmeasured;
mod vague;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::{
    CommonTexts, Inspection, Place, Problem, ProblemKind, Product, Records, Severity, Table,
};
use crate::units::Measure;

pub use log::LogCheck;

/// What the checks must know of a part family.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FamilyFacts {
    /// Whether a model file stands behind it.
    pub has_model: bool,
    /// Whether it is changed by schedule, and so may be counted in fractions: fluids and filters.
    pub is_scheduled: bool,
    /// Whether every piece has its own life.
    pub is_counted_each: bool,
    /// What its life is counted in, where a model file says so and it is not changed by schedule.
    pub measure: Option<Measure>,
}

/// What the checks must know beside the records.
pub struct Context<'a> {
    /// Later rows are counted and remarked on.
    pub as_of: Option<NaiveDate>,
    /// Facts of a family by its name.
    pub family: &'a dyn Fn(&str) -> FamilyFacts,
    /// Names of the families that have a model file.
    pub families: &'a [&'a str],
    /// The lowest reading of a part that can be measuring error, by its family; 0 at most.
    pub lowest: &'a dyn Fn(&str, &Inspection) -> f64,
}

/// Records without the rows that have problems, and what was wrong with those.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// The rows that passed, in the order that [`Records`] states.
    pub records: Records,
    /// Problems and remarks, not yet sorted.
    pub problems: Vec<Problem>,
    /// Rows dropped, by table.
    pub dropped: BTreeMap<Table, u64>,
    /// Rows that are dated after the as-of date, by table: kept, or left out with a remark where
    /// something else is wrong with them.
    pub later: BTreeMap<Table, u64>,
}

/// Checks records as read: rows in any order, products only if a products table lists them.
///
/// `read_log` is asked for the usage log once the tables that it names are checked, and hands its
/// rows on one by one. `records.sources` must name the tables that were there.
///
/// # Errors
/// What `read_log` returns.
pub fn check<E>(
    records: Records,
    context: &Context<'_>,
    read_log: impl FnOnce(&mut LogCheck) -> Result<(), E>,
) -> Result<Checked, E> {
    let mut check = Check {
        context,
        notes: Notes {
            sources: records.sources.clone(),
            as_of: context.as_of,
            ..Notes::default()
        },
        records,
    };
    check.machines();
    check.parts();
    check.products();
    check.positions();
    let mut log = LogCheck::new(&check.records, context.as_of);
    read_log(&mut log)?;
    check.usage(log);
    check.replacements();
    check.inspections();
    check.plan();
    check.stock();
    check.meters();
    check.bins();
    check.later();
    check.odd();
    check.spread_meters();
    check.unmeasured();
    check.spellings();
    check.fill_products();
    let Check {
        mut records, notes, ..
    } = check;
    order::sort(&mut records);
    Ok(Checked {
        records,
        problems: notes.problems,
        dropped: notes.dropped,
        later: notes.later,
    })
}

/// The checks at work.
struct Check<'a> {
    context: &'a Context<'a>,
    records: Records,
    notes: Notes,
}

/// What was found so far.
#[derive(Default)]
struct Notes {
    sources: BTreeMap<Table, String>,
    as_of: Option<NaiveDate>,
    problems: Vec<Problem>,
    texts: CommonTexts,
    dropped: BTreeMap<Table, u64>,
    later: BTreeMap<Table, u64>,
}

/// A finding before it has a place.
#[derive(Clone, Debug)]
struct Finding {
    column: &'static str,
    kind: ProblemKind,
    found: String,
    expected: String,
}

impl Finding {
    fn new(
        column: &'static str,
        kind: ProblemKind,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Self {
            column,
            kind,
            found: found.into(),
            expected: expected.into(),
        }
    }
}

impl Notes {
    fn add(&mut self, severity: Severity, table: Table, row: Option<u32>, finding: Finding) {
        let source = self
            .sources
            .get(&table)
            .map_or(table.name(), String::as_str);
        let column = (!finding.column.is_empty()).then_some(finding.column);
        let texts = &mut self.texts;
        let mut found = finding.found;
        found.shrink_to_fit();
        self.problems.push(Problem {
            severity,
            place: Place {
                source: texts.shared(source),
                row,
                column: column.map(|column| texts.shared(column)),
            },
            kind: finding.kind,
            found,
            expected: texts.shared(&finding.expected),
        });
    }

    fn remark(&mut self, table: Table, row: Option<u32>, finding: Finding) {
        self.add(Severity::Remark, table, row, finding);
    }

    /// Notes what is wrong with a row; whether it may stay.
    ///
    /// - `date`: of a record; one after the as-of date is not yet known, so that nothing wrong with it
    ///   stands in the way.
    fn passes(
        &mut self,
        table: Table,
        row: u32,
        date: Option<NaiveDate>,
        findings: Vec<Finding>,
    ) -> bool {
        if findings.is_empty() {
            return true;
        }
        let is_later = date
            .zip(self.as_of)
            .is_some_and(|(date, as_of)| as_of < date);
        let (counts, severity) = if is_later {
            (&mut self.later, Severity::Remark)
        } else {
            (&mut self.dropped, Severity::Problem)
        };
        *counts.entry(table).or_default() += 1;
        for finding in findings {
            self.add(severity, table, Some(row), finding);
        }
        false
    }

    /// Keeps the rows of a table without findings.
    fn keep<T>(
        &mut self,
        table: Table,
        rows: &mut Vec<T>,
        row: fn(&T) -> u32,
        wrong: impl FnMut(&T) -> Vec<Finding>,
    ) {
        self.keep_dated(table, rows, row, |_| None, wrong);
    }

    /// The same of records that have a date.
    fn keep_dated<T>(
        &mut self,
        table: Table,
        rows: &mut Vec<T>,
        row: fn(&T) -> u32,
        date: fn(&T) -> Option<NaiveDate>,
        wrong: impl FnMut(&T) -> Vec<Finding>,
    ) {
        let mut wrong = wrong;
        rows.sort_by_key(row);
        rows.retain(|item| {
            let findings = wrong(item);
            self.passes(table, row(item), date(item), findings)
        });
    }
}

/// A name that no row of its own table has.
fn unknown(column: &'static str, what: &str, name: &str, table: Table) -> Finding {
    Finding::new(
        column,
        ProblemKind::Unknown,
        format!("the unknown {what} `{name}`"),
        format!(
            "a {what} that a sound row of the table `{}` lists; mind spelling and case",
            table.name()
        ),
    )
}

/// The second and later of equal names.
struct Names {
    what: &'static str,
    column: &'static str,
    seen: BTreeMap<String, u32>,
}

impl Names {
    fn new(what: &'static str, column: &'static str) -> Self {
        Self {
            what,
            column,
            seen: BTreeMap::new(),
        }
    }

    fn twice(&mut self, name: &str, row: u32) -> Option<Finding> {
        if let Some(first) = self.seen.get(name) {
            return Some(Finding::new(
                self.column,
                ProblemKind::NamedTwice,
                format!("the {} {} again, as in row {first}", self.what, name),
                "each name once; delete or rename one of the two",
            ));
        }
        self.seen.insert(name.to_owned(), row);
        None
    }
}

impl Check<'_> {
    /// Without a products table every product that is named is a group of its own.
    fn fill_products(&mut self) {
        if self.records.sources.contains_key(&Table::Products) {
            return;
        }
        let mut names: BTreeSet<&str> = self
            .records
            .plan
            .iter()
            .map(|row| row.product.as_str())
            .collect();
        names.extend(self.records.usage.products().iter().map(String::as_str));
        let product = |name: &str| Product {
            row: 0,
            name: name.to_owned(),
            group: name.to_owned(),
            extra: super::Extra::new(),
        };
        self.records.products = names.into_iter().map(product).collect();
    }

    /// Counts rows after the as-of date: sound, and not yet known.
    fn later(&mut self) {
        let Some(as_of) = self.context.as_of else {
            return;
        };
        let records = &self.records;
        let count = |dates: &mut dyn Iterator<Item = NaiveDate>| {
            dates.filter(|date| as_of < *date).count() as u64
        };
        let counts = [
            (
                Table::Replacements,
                count(&mut records.replacements.iter().map(|r| r.date)),
            ),
            (
                Table::Inspections,
                count(&mut records.inspections.iter().map(|i| i.date)),
            ),
            (
                Table::Meters,
                count(&mut records.meters.iter().map(|m| m.date)),
            ),
        ];
        for (table, rows) in counts {
            *self.notes.later.entry(table).or_default() += rows;
        }
    }
}

/// What is said of the rows of a table that are dated after the as-of date.
#[must_use]
pub fn told_later(source: &str, rows: u64, as_of: NaiveDate) -> Problem {
    Problem {
        severity: Severity::Remark,
        place: Place {
            source: source.into(),
            row: None,
            column: None,
        },
        kind: ProblemKind::Later,
        found: format!(
            "{rows} {} dated after {as_of}",
            if rows == 1 { "row" } else { "rows" }
        ),
        expected: format!(
            "rows up to the as-of date {as_of}; later ones are treated as not yet known"
        )
        .into(),
    }
}

/// `1 piece`, `4 pieces`, `2.5 pieces`.
fn pieces(quantity: f64) -> String {
    format!(
        "{quantity} {}",
        if (quantity - 1.0).abs() < f64::EPSILON {
            "piece"
        } else {
            "pieces"
        }
    )
}
