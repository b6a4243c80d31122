//! Where a table of the records lives, for those who add to it.

use std::path::{Path, PathBuf};

use super::error::ReadError;
use super::find::{self, Home};
use super::mapping;
use super::parts;
use super::xlsx::Book;
use crate::record::Table;

/// Where a table is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TableHome {
    /// In this comma-separated text.
    Csv(PathBuf),
    /// In this Parquet file, or in a sheet of a workbook: not to be added to.
    Other(String),
    /// In this file, whose headers or values rules of `columns.toml` turn into the table's own.
    ThroughRules(String),
    /// In several places, of which none is the right one.
    Several,
    /// Nowhere yet.
    Nowhere,
}

/// Where a table of a records folder is.
///
/// # Errors
/// [`ReadError`] when the folder or its workbook cannot be read.
pub fn table_home(dir: &Path, table: Table) -> Result<TableHome, ReadError> {
    let mut folder = find::folder(dir)?;
    let twice = folder.problems.iter().any(|p| {
        p.kind == crate::record::ProblemKind::TwoPlaces
            && (p
                .found
                .starts_with(&format!("the table `{}`", table.name()))
                || p.found.starts_with("another workbook"))
    });
    let is_blank = match (folder.tables.get(&table), folder.book.as_mut()) {
        (Some(found), Some(book)) => match &found.home {
            Home::Sheet(sheet) => book.is_blank(sheet)?,
            _ => false,
        },
        _ => false,
    };
    let rules = folder.mapping.tables.get(&table);
    let through_rules = rules.is_some_and(|rules| !rules.only_words());
    Ok(match folder.tables.get(&table) {
        _ if twice => TableHome::Several,
        None => TableHome::Nowhere,
        Some(_) if is_blank => TableHome::Nowhere,
        Some(found) if through_rules => TableHome::ThroughRules(found.source.clone()),
        Some(found) => match &found.home {
            Home::Csv(path) => TableHome::Csv(path.clone()),
            Home::Parquet(_) | Home::Parts(_) | Home::Sheet(_) => {
                TableHome::Other(found.source.clone())
            }
        },
    })
}

/// Whether a file of that name would be read as a table, or a year of one.
fn is_table(stem: &str) -> bool {
    find::table_named(stem).is_some() || parts::year_of(stem).is_some()
}

/// Whether a TOML file of that name says how records are read.
fn is_settings(stem: &str) -> bool {
    ["settings", "columns"]
        .iter()
        .any(|name| stem.eq_ignore_ascii_case(name))
}

/// Names of files of a folder that hold records or settings; none where there is no folder.
///
/// # Errors
/// [`ReadError`] when the path is no folder, or may not be read.
pub fn records_held(dir: &Path) -> Result<Vec<String>, ReadError> {
    if !dir.exists() {
        return Ok(Vec::new());
    }
    let holds = |path: &PathBuf| {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        match find::extension(path).as_str() {
            "xlsx" => true,
            "csv" | "parquet" => is_table(&stem),
            "toml" => is_settings(&stem),
            _ => false,
        }
    };
    let files = find::files(dir)?.into_iter().filter(holds);
    Ok(files.map(|path| find::file_name(&path)).collect())
}

/// Whether a file of results would take the place of records of a folder, under whatever name.
///
/// # Errors
/// [`ReadError`] when the folder, its workbook or its `columns.toml` cannot be read.
pub fn is_among_records(dir: &Path, file: &Path) -> Result<bool, ReadError> {
    if takes_place(dir, file)? {
        return Ok(true);
    }
    // A file may have several names on a disk, and a table may be a link to a file elsewhere.
    if !file.exists() || !dir.is_dir() {
        return Ok(false);
    }
    for held in find::files(dir)? {
        if is_same_file(&held, file) && is_record_name(dir, &held)? {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Whether two paths lead to one file on the disk.
#[cfg(unix)]
#[must_use]
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let place = |path: &Path| {
        let meta = std::fs::metadata(path).ok()?;
        Some((meta.dev(), meta.ino()))
    };
    place(one).is_some_and(|one| Some(one) == place(other))
}

/// Whether two paths lead to one file on the disk.
#[cfg(not(unix))]
#[must_use]
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    let place = |path: &Path| path.canonicalize().ok();
    place(one).is_some_and(|one| Some(one) == place(other))
}

/// Whether a file of results would take the place of one that has its name in a records folder.
fn takes_place(dir: &Path, file: &Path) -> Result<bool, ReadError> {
    // What a link of that name leads to would be written.
    let linked = file.canonicalize();
    let file = linked.as_deref().unwrap_or(file);
    let above = file.parent().filter(|above| !above.as_os_str().is_empty());
    let above = above.unwrap_or(Path::new(".")).canonicalize();
    if !matches!((dir.canonicalize(), above), (Ok(a), Ok(b)) if a == b) {
        return Ok(false);
    }
    is_record_name(dir, file)
}

/// Whether a file that is in a records folder, or would be, is one of the records.
fn is_record_name(dir: &Path, file: &Path) -> Result<bool, ReadError> {
    let name = find::file_name(file);
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    Ok(match find::extension(file).as_str() {
        // Whatever it holds; a workbook that nobody can open may be the only copy of something.
        "xlsx" => file.exists() && !Book::open(file).is_ok_and(|book| book.holds_results()),
        "csv" if is_table(&stem) || find::is_kept_beside(&name) => true,
        // What a link with another ending leads to.
        "parquet" => is_table(&stem),
        "toml" => is_settings(&stem),
        "csv" | "txt" => mapping::read(dir)?.0.table_of_file(&name).is_some(),
        _ => false,
    })
}

/// Largest table that is added to.
const LARGEST: u64 = 256 << 20;

/// Bytes of a file that may not be there.
///
/// # Errors
/// [`ReadError`] when it is there and cannot be read, or holds more than 256 MB.
pub fn kept_file(path: &Path) -> Result<Option<Vec<u8>>, ReadError> {
    super::there::as_file(path)?;
    match std::fs::metadata(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(ReadError::io(path, &e)),
        Ok(meta) if LARGEST < meta.len() => {
            return Err(ReadError::too_large(
                path,
                "more than 256 MB to be added to",
            ));
        }
        Ok(_) => {}
    }
    std::fs::read(path)
        .map(Some)
        .map_err(|e| ReadError::io(path, &e))
}
