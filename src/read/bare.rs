//! Bare tables of lives and of ages, for users who keep no usage log.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::life::Ending;
use crate::life::bare::{BareAge, BareLife, BareUse};
use crate::record::{Problem, ProblemKind, Severity};

use super::cell::{DateForm, Wrong, quoted};
use super::error::ReadError;
use super::find::{Found, Home, extension, file_name, whole};
use super::header::{AmountColumns, Columns, Spec, group_of, normal};
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
    groups: &["entry", "low", "use"],
};

/// What stands under `start_known` where nobody knows.
const NOT_KNOWN: [&str; 6] = ["false", "no", "0", "unknown", "n", "f"];

const AGES: Spec = Spec {
    name: "ages",
    columns: &[("age", true), ("family", false), ("name", false)],
    amounts: AmountColumns::None,
    groups: &["entry", "low", "use"],
};

/// Reads a bare table of lives.
///
/// A file without a column that is needed gives no lives and a problem of the whole file.
///
/// # Errors
/// [`ReadError`] when the file cannot be read at all, or is of no known kind.
pub fn bare_lives(path: &Path) -> Result<BareReading<BareLife>, ReadError> {
    let (lives, problems, counts) = table(path, &LIVES, life)?;
    Ok(in_one_measure(&file_name(path), lives, problems, counts))
}

/// Sets lives aside that are told in another measure than the first of their family.
fn in_one_measure(
    source: &str,
    mut lives: Vec<BareLife>,
    mut problems: Vec<Problem>,
    (read, used, aside): RowCounts,
) -> BareReading<BareLife> {
    let mut first: BTreeMap<Option<String>, (Measure, u32)> = BTreeMap::new();
    lives.retain(|life| {
        let Some(measure) = life.measure else {
            return true;
        };
        let (of_first, row) = *first
            .entry(life.family.clone())
            .or_insert((measure, life.row));
        if measure != of_first {
            let mut problem = whole(
                Severity::Problem,
                source,
                ProblemKind::Order,
                quoted(measure.name()),
                format!(
                    "{} as in row {row}: a family's lives are told in one measure",
                    quoted(of_first.name())
                ),
            );
            problem.place.row = Some(life.row);
            problem.place.column = Some("measure".into());
            problems.push(problem);
        }
        measure == of_first
    });
    let more = used - lives.len() as u64;
    problems.sort();
    (lives, problems, (read, used - more, aside + more))
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
    let group = |index: &usize| Some((group_of(&columns.headers[*index], prefix)?, *index));
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
    check_measure(row);
    life.with_sums()
}

impl BareLife {
    /// With what stands in the columns by group alone.
    fn with_sums(mut self) -> Self {
        let entries = self.groups.values().map(|group| group.entry);
        if self.entry <= 0.0 {
            self.entry = entries.fold(0.0, |sum, entry| sum + entry);
        }
        if self.low.is_none() && self.ended.is_wear() {
            let lows = self.groups.values().map(|group| group.low);
            self.low = lows
                .sum::<Option<f64>>()
                .filter(|_| !self.groups.is_empty());
        }
        self
    }
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

/// Part of a life or an age by which sums of rounded amounts may differ from it.
const NEAR: f64 = 0.01;

/// Units that are no measure of lives: what is told in them would count as told in another.
const OTHER_UNITS: [&str; 14] = [
    "tonnes", "tonne", "ton", "t", "kg", "lb", "lbs", "acre", "ac", "ha", "hectares", "hectare",
    "hour", "h",
];

fn check_measure(row: &mut Row<'_>) {
    let Some(text) = row.text("measure") else {
        return;
    };
    if OTHER_UNITS
        .iter()
        .any(|unit| text.eq_ignore_ascii_case(unit))
    {
        let expected = "`acres`, `tons` (short), `hours` or `days`, and lives in that";
        let wrong = Wrong::new(ProblemKind::UnknownWord, quoted(&text), expected);
        row.fault("measure", wrong);
    }
}

/// Exposures that cannot follow each other, or are not those of the groups.
fn check_order(row: &mut Row<'_>, life: &BareLife) {
    let Some(end) = life.life else { return };
    check_sum(
        row,
        "life",
        end,
        life.groups.values().map(|group| group.end),
    );
    let lows: Option<Vec<f64>> = life.groups.values().map(|group| group.low).collect();
    if let (Some(low), Some(lows), true) = (life.low, lows, life.ended.is_wear()) {
        check_sum(row, "low", low, lows.into_iter());
    }
    let entries = life.groups.values().map(|group| group.entry);
    if 0.0 < life.entry && entries.clone().any(|entry| 0.0 < entry) {
        check_sum(row, "entry", life.entry, entries);
    }
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
    if row.is_sound() {
        check_sum(row, "age", age.age, age.groups.values().copied());
    }
    age
}

/// Columns by group that do not add up to the whole.
fn check_sum(row: &mut Row<'_>, column: &str, whole: f64, groups: impl Iterator<Item = f64>) {
    let groups: Vec<f64> = groups.collect();
    let sum: f64 = groups.iter().sum();
    if groups.is_empty() || (sum - whole).abs() <= NEAR * whole {
        return;
    }
    let prefix = match column {
        "low" | "entry" => column,
        _ => "use",
    };
    let found = format!("{whole} beside columns `{prefix}_` that add up to {sum}");
    let expected = format!("the sum of the `{prefix}_` columns, or these left empty");
    row.fault(column, Wrong::new(ProblemKind::Order, found, expected));
}
