//! Bare tables of lives and of ages, for users who keep no usage log.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::life::Ending;
use crate::life::bare::{BareAge, BareLife, BareUse};
use crate::record::{Problem, ProblemKind, Severity};

use super::cell::{DateForm, Wrong, quoted};
use super::error::ReadError;
use super::find::{Found, Home, extension, file_name, whole};
use super::header::{AmountColumns, Columns, Spec, normal};
use super::row::Row;
use super::sink::{Outcome, TableSink};
use super::xlsx::Book;
use crate::units::Measure;

/// Rows of a bare table: read, used, set aside; read = used + set aside.
pub type RowCounts = (u64, u64, u64);
/// Sound rows of a bare table in file order, everything wrong with it, and the counts of its rows.
pub type BareReading<T> = (Vec<T>, Vec<Problem>, RowCounts);

const LIVES: Spec = Spec {
    name: "lives",
    columns: &[
        ("life", true),
        ("ended", true),
        ("family", false),
        ("low", false),
        ("entry", false),
        ("count", false),
        ("measure", false),
        ("start_known", false),
        ("reference_group", false),
        ("machine", false),
    ],
    amounts: AmountColumns::None,
};

/// What stands under `start_known` where nobody knows.
const NOT_KNOWN: [&str; 3] = ["false", "no", "0"];

const AGES: Spec = Spec {
    name: "ages",
    columns: &[("age", true), ("family", false), ("name", false)],
    amounts: AmountColumns::None,
};

/// Reads a bare table of lives.
///
/// A file without a column that is needed gives no lives and a problem of the whole file.
///
/// # Errors
/// [`ReadError`] when the file cannot be read at all, or is of no known kind.
pub fn bare_lives(path: &Path) -> Result<BareReading<BareLife>, ReadError> {
    table(path, &LIVES, life)
}

/// Reads a bare table of the ages of parts in service.
///
/// A file without a column that is needed gives no ages and a problem of the whole file.
///
/// # Errors
/// [`ReadError`] when the file cannot be read at all, or is of no known kind.
pub fn bare_ages(path: &Path) -> Result<BareReading<BareAge>, ReadError> {
    table(path, &AGES, age)
}

fn table<T>(
    path: &Path,
    spec: &Spec,
    parse: fn(&mut Row<'_>) -> T,
) -> Result<BareReading<T>, ReadError> {
    let name = file_name(path);
    let mut rows = Vec::new();
    let mut keep = |row: &mut Row<'_>| {
        let typed = parse(row);
        if row.is_sound() {
            rows.push(typed);
        }
    };
    let dates = DateForm::default();
    if extension(path) == "json" {
        let mut sink = TableSink::new(&name, spec, &dates, &mut keep);
        super::json::read(path, spec.name, &mut sink)?;
        let outcome = sink.finish();
        return Ok(told(rows, outcome));
    }
    let mut book = None;
    let found = match extension(path).as_str() {
        "csv" => Found {
            source: name,
            home: Home::Csv(path.to_path_buf()),
        },
        "parquet" => Found {
            source: name,
            home: Home::Parquet(path.to_path_buf()),
        },
        "xlsx" => {
            let opened = Book::open(path)?;
            let Some(sheet) = sheet(&opened, spec.name) else {
                let expected = format!("a sheet `{}`, or one sheet in all", spec.name);
                let kind = ProblemKind::MissingTable;
                let problem = whole(
                    Severity::Problem,
                    &name,
                    kind,
                    "several sheets, none of that name",
                    expected,
                );
                return Ok((Vec::new(), vec![problem], (0, 0, 0)));
            };
            book = Some(opened);
            Found {
                source: format!("{name}, sheet {sheet}"),
                home: Home::Sheet(sheet),
            }
        }
        _ => {
            return Err(ReadError::UnknownKind {
                path: path.to_path_buf(),
            });
        }
    };
    let book = book.as_mut();
    let outcome = super::feed((&found, &[]), book, (spec, None), (&dates, None), &mut keep)?;
    Ok(told(rows, outcome))
}

fn told<T>(rows: Vec<T>, outcome: Outcome) -> BareReading<T> {
    let mut problems = outcome.problems;
    problems.sort();
    let counts = (
        outcome.read,
        outcome.read - outcome.set_aside,
        outcome.set_aside,
    );
    (rows, problems, counts)
}

/// The sheet of that name, or the only one.
fn sheet(book: &Book, name: &str) -> Option<String> {
    let mut sheets = book.sheets();
    let named = sheets.iter().position(|sheet| normal(sheet) == name);
    let only = (sheets.len() == 1).then_some(0);
    named.or(only).map(|index| sheets.swap_remove(index))
}

/// The columns `PREFIX_GROUP`: group as written, and place.
fn group_columns<'c>(columns: &'c Columns, prefix: &str) -> Vec<(&'c str, usize)> {
    let group = |index: &usize| {
        let header = columns.headers[*index].as_str();
        let start = header.get(..prefix.len())?;
        let rest = header
            .get(prefix.len()..)?
            .strip_prefix(['_', '-', ' '])?
            .trim();
        (start.eq_ignore_ascii_case(prefix) && !rest.is_empty()).then_some((rest, *index))
    };
    columns.extra.iter().filter_map(group).collect()
}

/// Amounts by group; empty cells are 0 where another group of the row is recorded, else `None`.
fn by_group(row: &mut Row<'_>, prefix: &str) -> Option<BTreeMap<String, f64>> {
    let columns = row.columns();
    let cells = group_columns(columns, prefix)
        .into_iter()
        .map(|(group, i)| (group.to_owned(), row.number_at(i)));
    let cells: Vec<(String, Option<f64>)> = cells.collect();
    let recorded = cells.iter().any(|(_, amount)| amount.is_some());
    recorded.then(|| {
        cells
            .into_iter()
            .map(|(group, amount)| (group, amount.unwrap_or(0.0)))
            .collect()
    })
}

fn life(row: &mut Row<'_>) -> BareLife {
    let life = BareLife {
        row: row.number,
        family: row.text("family"),
        life: row.number("life"),
        ended: row.needed_word("ended", &Ending::ALL.map(|ending| (ending.name(), ending))),
        low: row.number("low"),
        entry: row.number("entry").unwrap_or(0.0),
        count: row.whole("count").map_or(1, u64::from),
        // Another word is a column of the user's own.
        measure: row.text("measure").and_then(|text| {
            Measure::ALL
                .into_iter()
                .find(|m| text.eq_ignore_ascii_case(m.name()))
        }),
        machine: row.text("machine"),
        start_known: !row
            .str("start_known")
            .is_some_and(|text| NOT_KNOWN.iter().any(|no| text.eq_ignore_ascii_case(no))),
        reference: row.text("reference_group"),
        groups: groups(row),
    };
    check_order(row, &life);
    life
}

fn groups(row: &mut Row<'_>) -> BTreeMap<String, BareUse> {
    let [entry, low, end] = ["entry", "low", "use"].map(|prefix| by_group(row, prefix));
    let maps = [&entry, &low, &end];
    let names: BTreeSet<&String> = maps
        .into_iter()
        .flatten()
        .flat_map(BTreeMap::keys)
        .collect();
    let amount = |map: &Option<BTreeMap<String, f64>>, name: &str| {
        map.as_ref()
            .map(|map| map.get(name).copied().unwrap_or(0.0))
    };
    let uses = names.into_iter().map(|name| {
        let group = BareUse {
            entry: amount(&entry, name).unwrap_or(0.0),
            low: amount(&low, name),
            end: amount(&end, name).unwrap_or(0.0),
        };
        (name.clone(), group)
    });
    uses.collect()
}

/// Part of an age by which sums of rounded amounts may differ from it.
const NEAR: f64 = 0.01;

/// Exposures that cannot follow each other.
fn check_order(row: &mut Row<'_>, life: &BareLife) {
    let Some(end) = life.life else { return };
    for (column, value) in [("low", life.low), ("entry", Some(life.entry))] {
        if let Some(value) = value.filter(|value| end < *value) {
            let expected = format!("no more than the `life` of {end}");
            row.fault(
                column,
                Wrong::new(ProblemKind::Order, quoted(&value.to_string()), expected),
            );
        }
    }
    for (group, part) in &life.groups {
        for (prefix, value) in [("entry", Some(part.entry)), ("low", part.low)] {
            if let Some(value) = value.filter(|value| part.end < *value) {
                let expected = format!("no more than `use_{group}` of {}", part.end);
                let column = format!("{prefix}_{group}");
                row.fault(
                    &column,
                    Wrong::new(ProblemKind::Order, quoted(&value.to_string()), expected),
                );
            }
        }
    }
}

fn age(row: &mut Row<'_>) -> BareAge {
    let age = BareAge {
        row: row.number,
        name: row.text("name"),
        family: row.text("family"),
        age: row.needed_number("age"),
        groups: by_group(row, "use").unwrap_or_default(),
    };
    let sum: f64 = age.groups.values().sum();
    if row.is_sound() && !age.groups.is_empty() && NEAR * age.age < (sum - age.age).abs() {
        let found = format!(
            "an age of {} beside columns `use_` that add up to {sum}",
            age.age
        );
        let expected = "the sum of the `use_` columns, or these left empty";
        row.fault("age", Wrong::new(ProblemKind::Order, found, expected));
    }
    age
}
