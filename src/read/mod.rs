//! Files to records: every row is read or listed with what is wrong with it.
//!
//! The only home of the file formats. A file is streamed row by row through a sink that knows the
//! table's columns; the rows that pass go through [`crate::record::check`], and every row that was
//! read ends up either used or set aside with at least one problem.
#![expect(
    clippy::disallowed_methods,
    reason = "this is where files are looked for and opened"
)]

mod bare;
mod bundle;
mod caught;
mod cell;
mod csv;
mod error;
mod find;
mod header;
mod home;
mod json;
mod log_columns;
mod mapping;
mod parquet;
mod parts;
mod row;
mod sink;
mod tables;
mod text;
mod there;
mod title;
mod xlsx;

use std::collections::BTreeMap;
use std::path::Path;

use chrono::NaiveDate;

use crate::degradation::scale;
use crate::family::{Counted, Families, Family, MeasureChoice, WearLimit};
use crate::record::check::{self, Context, FamilyFacts, LogCheck};
use crate::record::{
    Account, Inspection, Problem, ProblemKind, Records, Replacement, RuleCount, Severity, Table,
};

use cell::DateForm;
use find::{Found, Home};
use header::Spec;
use mapping::{Mapping, Rules};
use row::Row;
use sink::{Outcome, Sink, TableSink, Take};
use tables::{Spread, UsageTake};
use title::Below;
use xlsx::Book;

pub use bare::{BareReading, RowCounts, bare_ages, bare_lives};
pub use bundle::{NamedFile, bundle};
pub use error::ReadError;
pub(crate) use header::normal as header_name;
pub use home::{TableHome, is_among_records, is_same_file, kept_file, records_held, table_home};
pub use log_columns::log_columns;
pub use mapping::proposal;
pub use text::{ModelFile, ModelFileError, families, model_files};

/// What a records folder says, and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The rows without a problem.
    pub records: Records,
    /// Problems, then remarks; each by place.
    pub problems: Vec<Problem>,
    /// One for each table, in the order of [`Table::ALL`].
    pub accounts: Vec<Account>,
    /// Every rule of `columns.toml`, and how many rows it touched.
    pub mapping: Vec<RuleCount>,
}

impl Reading {
    /// Whether the work must stop: some row or table cannot be used.
    #[must_use]
    pub fn has_problems(&self) -> bool {
        self.problems
            .iter()
            .any(|p| p.severity == Severity::Problem)
    }

    /// Whether some problem concerns a whole table or file, which cannot be set aside.
    #[must_use]
    pub fn has_whole_problems(&self) -> bool {
        self.problems
            .iter()
            .any(|p| p.severity == Severity::Problem && p.place.row.is_none())
    }
}

/// Reads a records folder.
///
/// - `as_of`: later rows are counted and remarked on, and stay in the records.
/// - `families`: see [`families`]; part families without a model file are remarked on.
///
/// # Errors
/// [`ReadError`] when the folder or one of its files cannot be read at all.
pub fn folder(
    dir: &Path,
    as_of: Option<NaiveDate>,
    families: &Families,
) -> Result<Reading, ReadError> {
    folder_with(dir, None, as_of, families)
}

/// Reads a records folder, with daily sums of use in a file of their own in place of the usage log.
///
/// - `usage_sums`: `.csv` or `.parquet` with the columns `date`, `machine`, `group` (of products),
///   `bin` where it matters, and amounts as in the usage log.
///
/// # Errors
/// [`ReadError`] when the folder or one of the files cannot be read at all.
pub fn folder_with(
    dir: &Path,
    usage_sums: Option<&Path>,
    as_of: Option<NaiveDate>,
    families: &Families,
) -> Result<Reading, ReadError> {
    let find::Folder {
        tables,
        mut book,
        mapping,
        mut problems,
    } = find::folder_with(dir, usage_sums)?;
    let (settings, wrong) = text::settings(dir)?;
    problems.extend(wrong);
    let dates = DateForm {
        format: settings.date_format.clone(),
    };
    let mut reader = Reader {
        tables: &tables,
        book: &mut book,
        dates: &dates,
        mapping: &mapping,
        what: if usage_sums.is_some() {
            Spread::Group
        } else {
            Spread::Product
        },
        as_of,
        outcomes: BTreeMap::new(),
    };
    let mut records = reader.records()?;
    records.settings = settings;
    records.sources = tables
        .iter()
        .map(|(table, found)| (*table, found.source.clone()))
        .collect();
    // A list of products without a row, as in a new workbook, lists none: each is its own group.
    let products = reader.outcomes.get(&Table::Products);
    if products.is_some_and(|outcome| outcome.read == 0 && outcome.problems.is_empty()) {
        records.sources.remove(&Table::Products);
    }
    let with_model: Vec<&str> = families.iter().map(|f| f.name.as_str()).collect();
    let context = Context {
        as_of,
        families: &with_model,
        family: &|name| facts(families, name),
        lowest: &|name, row| lowest(&families.get(name), row),
    };
    let mut checked = check::check(records, &context, |log| reader.usage(log))?;
    let outcomes = reader.outcomes;
    own_headers(&mut checked.problems, &tables, &mapping);
    problems.extend(checked.problems);
    problems.extend(text::reference_group(dir, &checked.records)?);
    let accounts = Table::ALL.into_iter().map(|table| {
        let outcome = outcomes.get(&table);
        let dropped = checked.dropped.get(&table).copied().unwrap_or(0);
        let (read, bad) = outcome.map_or((0, 0), |o| (o.read, o.set_aside));
        let unread = outcome.map_or(0, |o| o.later);
        Account {
            table,
            source: tables.get(&table).map(|found| found.source.clone()),
            read,
            used: read - bad - dropped,
            set_aside: bad + dropped,
            later: unread + checked.later.get(&table).copied().unwrap_or(0),
            own_columns: outcome.map_or_else(Vec::new, |o| o.own_columns.iter().cloned().collect()),
        }
    });
    let accounts: Vec<Account> = accounts.collect();
    for account in accounts.iter().filter(|account| 0 < account.later) {
        if let (Some(as_of), Some(source)) = (as_of, &account.source) {
            problems.push(check::told_later(source, account.later, as_of));
        }
    }
    let mut counts = Vec::new();
    for (table, rules) in &mapping.tables {
        let touched = outcomes.get(table).map_or(&[][..], |o| &o.touched);
        counts.extend(rules.counts(*table, touched));
    }
    problems.extend(outcomes.into_values().flat_map(|outcome| outcome.problems));
    problems.iter_mut().for_each(shorten);
    // Equal ones are alike in everything: in place, as there may be millions.
    problems.sort_unstable();
    problems.dedup();
    Ok(Reading {
        records: checked.records,
        problems,
        accounts,
        mapping: counts,
    })
}

/// Longest account of what was found; a name can be as long as a row.
const LONGEST_FOUND: usize = 2_000;

fn shorten(problem: &mut Problem) {
    if let Some((end, _)) = problem.found.char_indices().nth(LONGEST_FOUND) {
        problem.found.truncate(end);
        problem.found.push('…');
    }
}

/// Problems found after reading name the column of the records: puts the user's own header there.
fn own_headers(problems: &mut [Problem], tables: &BTreeMap<Table, Found>, mapping: &Mapping) {
    for problem in problems {
        let home = tables
            .iter()
            .find(|(_, f)| f.is_source_of(&problem.place.source));
        let rules = home.and_then(|(table, _)| mapping.tables.get(table));
        let own = rules.zip(problem.place.column.as_deref());
        if let Some(header) = own.and_then(|(rules, column)| rules.own_header(column)) {
            problem.place.column = Some(header.into());
        }
    }
}

fn facts(families: &Families, name: &str) -> FamilyFacts {
    let family = families.get(name);
    FamilyFacts {
        has_model: families.has(name),
        is_scheduled: family.service.is_some(),
        is_counted_each: family.counted == Counted::Each,
        measure: match family.measure {
            MeasureChoice::Fixed(measure) if family.service.is_none() => Some(measure),
            _ => None,
        },
    }
}

/// Share of the way from new to the limit by which a reading of a new part may be below new: twice the
/// measuring error that is usual (our own choice, no source).
const ERROR: f64 = 0.1;

/// The lowest reading that can be measuring error: below 0 where a new part reads 0.
fn lowest(family: &Family, row: &Inspection) -> f64 {
    let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
    let limit = family.wear.as_ref().filter(|wear| {
        wear.new.abs() < f64::EPSILON && 0.0 < wear.limit && same(&wear.measure, &row.measure)
    });
    let in_unit = |wear: &WearLimit| match &row.unit {
        Some(unit) => scale::factor(&wear.unit, unit),
        None => Some(1.0),
    };
    let factor = limit.and_then(in_unit);
    limit
        .zip(factor)
        .map_or(0.0, |(wear, factor)| -ERROR * wear.limit * factor)
}

/// Reads the tables of a folder one after the other.
struct Reader<'a> {
    tables: &'a BTreeMap<Table, Found>,
    book: &'a mut Option<Book>,
    dates: &'a DateForm,
    mapping: &'a Mapping,
    /// What the rows of the usage table say was spread.
    what: Spread,
    /// Records of a later date are not yet known.
    as_of: Option<NaiveDate>,
    outcomes: BTreeMap<Table, Outcome>,
}

impl Reader<'_> {
    /// Every table but the usage log.
    fn records(&mut self) -> Result<Records, ReadError> {
        let machines = self.table(Table::Machines, tables::machine)?;
        let in_service = machines
            .iter()
            .rev()
            .map(|m| (m.name.clone(), m.in_service))
            .collect();
        let mut records = Records {
            positions: self.table(Table::Positions, |row| tables::position(row, &in_service))?,
            parts: self.table(Table::Parts, tables::part)?,
            products: self.table(Table::Products, tables::product)?,
            replacements: self.table(Table::Replacements, tables::replacement)?,
            inspections: self.table(Table::Inspections, tables::inspection)?,
            plan: self.table(Table::Plan, tables::plan)?,
            stock: self.table(Table::Stock, tables::stock)?,
            meters: self.table(Table::Meters, tables::meter)?,
            machines,
            ..Records::default()
        };
        self.cancel_credits(&mut records.replacements);
        Ok(records)
    }

    /// The usage log, row by row.
    fn usage(&mut self, log: &mut LogCheck) -> Result<(), ReadError> {
        let Some(found) = self.tables.get(&Table::Usage) else {
            return Ok(());
        };
        let mut sum = Outcome::default();
        for (file, constants) in found.files() {
            let mut take = UsageTake::new(log, self.what, &file.source);
            sum.join(self.read(Table::Usage, &file, &constants, &mut take)?);
        }
        self.outcomes.insert(Table::Usage, sum);
        Ok(())
    }

    /// Takes out replacements that a credit takes back.
    fn cancel_credits(&mut self, rows: &mut Vec<Replacement>) {
        let table = Table::Replacements;
        let (Some(found), Some(outcome)) = (self.tables.get(&table), self.outcomes.get_mut(&table))
        else {
            return;
        };
        let rules = self.mapping.tables.get(&table);
        let own = rules.and_then(|r| r.own_header("quantity"));
        let credits = outcome.credits.iter().copied().collect();
        let told = mapping::cancel(rows, &credits, &found.source, own.unwrap_or("quantity"));
        let alone = told.iter().filter(|p| p.severity == Severity::Problem);
        outcome.set_aside += alone.count() as u64;
        outcome.problems.extend(told);
    }

    fn table<T>(
        &mut self,
        table: Table,
        parse: impl Fn(&mut Row<'_>) -> T,
    ) -> Result<Vec<T>, ReadError> {
        let mut rows = Vec::new();
        self.feed(table, &mut |row: &mut Row<'_>| {
            let typed = parse(row);
            if row.is_sound() {
                rows.push(typed);
            }
        })?;
        Ok(rows)
    }

    fn feed(&mut self, table: Table, take: &mut dyn Take) -> Result<(), ReadError> {
        if let Some(found) = self.tables.get(&table) {
            let outcome = self.read(table, found, &[], take)?;
            self.outcomes.insert(table, outcome);
        }
        Ok(())
    }

    /// Reads one file of a table.
    fn read(
        &mut self,
        table: Table,
        found: &Found,
        constants: &[(String, String)],
        take: &mut dyn Take,
    ) -> Result<Outcome, ReadError> {
        let sums = table == Table::Usage && self.what == Spread::Group;
        let rules = self.mapping.tables.get(&table);
        let own = rules
            .and_then(|r| r.date_format.as_ref())
            .map(|(f, _)| DateForm {
                format: Some(f.clone()),
            });
        let dates = own.as_ref().unwrap_or(self.dates);
        let book = self.book.as_mut();
        let spec = if sums {
            tables::sums_spec()
        } else {
            tables::spec(table)
        };
        let columns = (spec, rules);
        // Plans and orders lie ahead, and count.
        let is_record = matches!(
            table,
            Table::Usage | Table::Replacements | Table::Inspections | Table::Meters
        );
        let as_of = self.as_of.filter(|_| is_record);
        feed((found, constants), book, columns, (dates, as_of), take)
    }
}

/// Reads one file of a table.
fn feed(
    (found, constants): (&Found, &[(String, String)]),
    book: Option<&mut Book>,
    (spec, rules): (&Spec, Option<&Rules>),
    (dates, as_of): (&DateForm, Option<NaiveDate>),
    take: &mut dyn Take,
) -> Result<Outcome, ReadError> {
    let mut sink = TableSink::new(&found.source, spec, dates, take)
        .with_rules(rules)
        .known_on(as_of);
    let mark = rules
        .and_then(|r| r.separator)
        .map_or(',', |(mark, _)| mark);
    let mut book = book;
    // What the names of folders say beside the table's own columns is of use to rules only; it
    // tells no rows apart.
    let of_use = |(name, _): &&(String, String)| rules.is_some() || spec.has(name);
    let constants: Vec<_> = constants.iter().filter(of_use).cloned().collect();
    stream(found, &constants, book.as_deref_mut(), mark, &mut sink)?;
    let mut outcome = sink.finish();
    let no_header = |p: &Problem| p.kind == ProblemKind::MissingColumn;
    if outcome.read == 0 && outcome.problems.iter().any(no_header) {
        let mut below = Below::new(spec);
        stream(found, &constants, book, mark, &mut below)?;
        if let Some(problem) = below.problem(&found.source) {
            outcome.problems = vec![problem];
        }
    }
    Ok(outcome)
}

/// Hands the rows of a file to a sink, from wherever the file is.
fn stream(
    found: &Found,
    constants: &[(String, String)],
    book: Option<&mut Book>,
    mark: char,
    sink: &mut dyn Sink,
) -> Result<(), ReadError> {
    match (&found.home, book) {
        (Home::Csv(path), _) => csv::read(path, mark, sink),
        (Home::Parquet(path), _) => parquet::read(path, constants, sink),
        (Home::Sheet(sheet), Some(book)) => book.read(sheet, sink),
        (Home::Sheet(_) | Home::Parts(_), _) => {
            sink.bad_table(cell::Wrong::new(
                ProblemKind::MissingTable,
                "a sheet without its workbook",
                "a workbook that stays in place while it is read",
            ));
            Ok(())
        }
    }
}
