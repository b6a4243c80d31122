//! The usage log kept as a folder of Parquet files, as programs that divide large tables write it.
//!
//! The folder `usage` (or `usage.parquet`) holds its files, at any depth. A folder `season=2026` in
//! it stands for a column `season` with that value in every row below, as those programs leave such
//! columns out of the files. What is no Parquet file is remarked on; names that begin with `.` or
//! `_` are the programs' own.
//!
//! Owners divide it by years: sheets or files `usage 2025` and `usage 2026` are one log, too.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::cell::quoted;
use super::error::ReadError;
use super::find::{Found, Home, Part, extension, file_name, table_named, whole};
use super::header::normal;
use super::there;
use crate::record::{Problem, ProblemKind, Severity, Table};

/// Folders within folders that are looked into; a table divided by more is none.
const DEEPEST: usize = 8;
/// What some programs write for a value that is not there.
const NO_VALUE: &str = "__HIVE_DEFAULT_PARTITION__";

/// The usage log, where it is kept as a folder, more than once where several are called so; and
/// what in such a folder is not read.
pub(super) fn usage(dir: &Path) -> Result<(Vec<Found>, Vec<Problem>), ReadError> {
    let (mut found, mut problems) = (Vec::new(), Vec::new());
    for path in entries(dir)?.into_iter().filter(|p| p.is_dir()) {
        let name = file_name(&path);
        let of_table = name.strip_suffix(".parquet").unwrap_or(&name);
        if table_named(of_table) == Some(Table::Usage) {
            let (one, told) = folder(&path)?;
            found.extend(one);
            problems.extend(told);
        }
    }
    Ok((found, problems))
}

/// Daily sums: a file, or a folder of them as some programs write it.
pub(super) fn sums(path: &Path) -> Result<(Found, Vec<Problem>), ReadError> {
    let unknown = || ReadError::UnknownSums {
        path: path.to_path_buf(),
    };
    let about = std::fs::metadata(path).map_err(|e| ReadError::io(path, &e))?;
    if about.is_dir() {
        let (found, problems) = folder(path)?;
        return Ok((found.ok_or_else(unknown)?, problems));
    }
    let home = match extension(path).as_str() {
        "csv" => Home::Csv(path.to_path_buf()),
        "parquet" => Home::Parquet(path.to_path_buf()),
        _ => return Err(unknown()),
    };
    let source = file_name(path);
    Ok((Found { source, home }, Vec::new()))
}

/// The Parquet files of a folder, where it has any, and what is not read of it.
fn folder(path: &Path) -> Result<(Option<Found>, Vec<Problem>), ReadError> {
    let name = file_name(path);
    let mut seen = Seen::default();
    gather(path, &name, &[], DEEPEST, &mut seen)?;
    let source = format!("{name}/");
    let mut problems = Vec::new();
    if let [first, rest @ ..] = &seen.others[..] {
        let more = match rest.len() {
            0 => String::new(),
            1 => " and another".to_owned(),
            n => format!(" and {n} more"),
        };
        problems.push(whole(
            Severity::Remark,
            &source,
            ProblemKind::MissingTable,
            format!("{}{more}", quoted(first)),
            "files of kind .parquet in a folder of the usage log; others are ignored",
        ));
    }
    for deep in &seen.too_deep {
        problems.push(whole(
            Severity::Problem,
            &source,
            ProblemKind::TwoPlaces,
            format!("the folder {} within {DEEPEST} others", quoted(deep)),
            "fewer folders within each other, and none that leads back to one it is in",
        ));
    }
    let found = (!seen.parts.is_empty()).then_some(Found {
        source,
        home: Home::Parts(seen.parts),
    });
    Ok((found, problems))
}

/// What a folder holds, at any depth.
#[derive(Default)]
struct Seen {
    parts: Vec<Part>,
    others: Vec<String>,
    too_deep: Vec<String>,
}

/// What a folder holds, in order, without hidden files and those that programs keep for themselves.
fn entries(dir: &Path) -> Result<Vec<PathBuf>, ReadError> {
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(dir).map_err(|e| ReadError::io(dir, &e))? {
        let path = entry.map_err(|e| ReadError::io(dir, &e))?.path();
        if !file_name(&path).starts_with(['.', '_']) {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

fn gather(
    dir: &Path,
    source: &str,
    constants: &[(String, String)],
    depth: usize,
    seen: &mut Seen,
) -> Result<(), ReadError> {
    for path in entries(dir)? {
        let name = file_name(&path);
        let source = format!("{source}/{name}");
        if path.is_dir() {
            let mut constants = constants.to_vec();
            constants.extend(constant(&name));
            if 0 < depth {
                gather(&path, &source, &constants, depth - 1, seen)?;
            } else {
                seen.too_deep.push(source);
            }
        } else if extension(&path) == "parquet" {
            there::as_file(&path)?;
            seen.parts.push(Part {
                found: Found {
                    source,
                    home: Home::Parquet(path),
                },
                constants: constants.to_vec(),
            });
        } else {
            seen.others.push(source);
        }
    }
    Ok(())
}

/// The table a name says with a year behind it, such as `usage 2026` or `usage_2025-26`, and the year.
pub(super) fn year_of(name: &str) -> Option<(Table, String)> {
    let name = normal(name);
    let table = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let year = &name[table.len()..];
    let is_year = matches!(year.len(), 4 | 6 | 8) && ["19", "20", "21"].contains(&&year[..2]);
    table_named(table)
        .filter(|_| is_year)
        .map(|table| (table, year.to_owned()))
}

/// Files and sheets of single years, by table and year.
#[derive(Default)]
pub(super) struct Years(BTreeMap<Table, Vec<(String, Found)>>);

impl Years {
    pub(super) fn add(&mut self, (table, year): (Table, String), found: Found) {
        self.0.entry(table).or_default().push((year, found));
    }

    /// Puts the years where their tables are: those of a usage log as one, a lone year of any other
    /// table as that table. The same year twice is the table in two places.
    pub(super) fn settle(self, homes: &mut BTreeMap<Table, Vec<Found>>) -> Vec<Problem> {
        let mut problems = Vec::new();
        for (table, years) in self.0 {
            let names: BTreeSet<&String> = years.iter().map(|(year, _)| year).collect();
            let is_twice = names.len() < years.len();
            let is_alone = years.len() == 1 && !homes.contains_key(&table);
            let found = years.into_iter().map(|(_, found)| found);
            if is_alone || is_twice {
                homes.entry(table).or_default().extend(found);
            } else if table == Table::Usage {
                homes
                    .entry(table)
                    .or_default()
                    .extend(of_years(found.collect()));
            } else {
                problems.extend(found.map(|found| divided(table, &found)));
            }
        }
        problems
    }
}

/// No other table is divided by years.
fn divided(table: Table, found: &Found) -> Problem {
    let name = table.name();
    whole(
        Severity::Problem,
        &found.source,
        ProblemKind::TwoPlaces,
        format!("a single year of the table `{name}`"),
        format!(
            "all years of `{name}` in one table; put these rows below its others, or rename this one if it is out of date"
        ),
    )
}

/// The years of a usage log as one; `None` without any.
fn of_years(years: Vec<Found>) -> Option<Found> {
    let first = years.first().map_or("", |found| found.source.as_str());
    let source = match years.len() {
        0 | 1 => first.to_owned(),
        2 => format!("{first} and another year"),
        n => format!("{first} and {} more years", n - 1),
    };
    let part = |found| Part {
        found,
        constants: Vec::new(),
    };
    let parts: Vec<Part> = years.into_iter().map(part).collect();
    (!parts.is_empty()).then_some(Found {
        source,
        home: Home::Parts(parts),
    })
}

/// The column that the name of a folder stands for.
fn constant(name: &str) -> Option<(String, String)> {
    let (column, value) = name.split_once('=')?;
    let value = if value == NO_VALUE {
        String::new()
    } else {
        unescaped(value)
    };
    Some((unescaped(column), value))
}

/// Signs that no file name may hold are written as `%` and two digits (RFC 3986, section 2.1).
fn unescaped(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [first, after @ ..] = rest {
        let code = (*first == b'%')
            .then(|| after.get(..2))
            .flatten()
            .and_then(|digits| u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok());
        bytes.push(code.unwrap_or(*first));
        rest = &after[if code.is_some() { 2 } else { 0 }..];
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_may_have_a_year_behind_its_name_and_nothing_else() {
        for name in ["usage 2026", "Usage_2025-26", "usage2024", "USAGE-20242025"] {
            let table = year_of(name).map(|(table, _)| table);
            assert_eq!(table, Some(Table::Usage), "{name}");
        }
        let parts = Some((Table::Parts, "2026".to_owned()));
        assert_eq!(year_of("parts 2026"), parts);
        for name in [
            "usage",
            "usage 2",
            "usage 1066",
            "usage 20265",
            "2026",
            "usage 2026 old",
        ] {
            assert_eq!(year_of(name), None, "{name}");
        }
    }

    #[test]
    fn a_folder_name_with_a_value_is_a_column() {
        let pair = |a: &str, b: &str| Some((a.to_owned(), b.to_owned()));
        assert_eq!(constant("season=2026"), pair("season", "2026"));
        assert_eq!(
            constant("product=ag%20lime%2Ffine"),
            pair("product", "ag lime/fine")
        );
        assert_eq!(constant("bin=__HIVE_DEFAULT_PARTITION__"), pair("bin", ""));
        assert_eq!(constant("site=50%"), pair("site", "50%"));
        assert_eq!(constant("old"), None);
    }
}
