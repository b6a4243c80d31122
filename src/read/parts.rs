//! The usage log kept as a folder of Parquet files, as programs that divide large tables write it.
//!
//! The folder `usage` holds its files, at any depth. A folder `season=2026` in it
//! stands for a column `season` with that value in every row below, as those programs leave such
//! columns out of the files.

use std::path::{Path, PathBuf};

use super::error::ReadError;
use super::find::{Found, Home, Part, extension, file_name, table_named};
use crate::record::Table;

/// Folders within folders that are looked into; a table divided by more is none.
const DEEPEST: usize = 8;
/// What some programs write for a value that is not there.
const NO_VALUE: &str = "__HIVE_DEFAULT_PARTITION__";

/// The usage log, where it is kept as a folder; more than once where several are called so.
pub(super) fn usage(dir: &Path) -> Result<Vec<Found>, ReadError> {
    let mut found = Vec::new();
    for path in entries(dir)?.into_iter().filter(|p| p.is_dir()) {
        let name = file_name(&path);
        if table_named(&name) != Some(Table::Usage) {
            continue;
        }
        let mut parts = Vec::new();
        gather(&path, &name, &[], DEEPEST, &mut parts)?;
        if !parts.is_empty() {
            found.push(Found {
                source: format!("{name}/"),
                home: Home::Parts(parts),
            });
        }
    }
    Ok(found)
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
    parts: &mut Vec<Part>,
) -> Result<(), ReadError> {
    for path in entries(dir)? {
        let name = file_name(&path);
        let source = format!("{source}/{name}");
        if path.is_dir() {
            let mut constants = constants.to_vec();
            constants.extend(constant(&name));
            if 0 < depth {
                gather(&path, &source, &constants, depth - 1, parts)?;
            }
        } else if extension(&path) == "parquet" {
            parts.push(Part {
                path,
                source,
                constants: constants.to_vec(),
            });
        }
    }
    Ok(())
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
