//! What stands where a file is looked for, and cannot be opened as one.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use super::error::ReadError;
use super::find::{extension, is_kept_beside, table_named};
use super::parts;
use crate::record::Table;

/// Refuses what has the name of a file and is none: a link that leads nowhere, a folder, a pipe,
/// which would keep its reader waiting for whoever writes. Nothing at all is refused by nobody.
pub(super) fn as_file(path: &Path) -> Result<(), ReadError> {
    let no_file = |what| {
        Err(ReadError::NotAFile {
            path: path.to_path_buf(),
            what,
        })
    };
    match std::fs::metadata(path) {
        Ok(about) if about.is_file() => Ok(()),
        Ok(about) if about.is_dir() => no_file("a folder"),
        Ok(_) => no_file("a pipe or a device"),
        // What should be the folder is a file: whoever opens the folder says so.
        Err(e) if e.kind() == ErrorKind::NotADirectory => Ok(()),
        Err(e) if e.kind() != ErrorKind::NotFound => Err(ReadError::io(path, &e)),
        Err(_) if path.is_symlink() => no_file("a link that leads nowhere"),
        Err(_) => Ok(()),
    }
}

/// A file of a folder, in whatever case its name is written there; as asked for where there is none, or one
/// so named.
pub(super) fn named(dir: &Path, name: &str) -> PathBuf {
    let exact = dir.join(name);
    if exact.exists() || exact.is_symlink() {
        return exact;
    }
    let entries = std::fs::read_dir(dir).into_iter().flatten().flatten();
    let like = entries.filter(|e| {
        let found = e.file_name();
        found
            .to_str()
            .is_some_and(|found| found.eq_ignore_ascii_case(name))
    });
    like.map(|e| e.path()).min().unwrap_or(exact)
}

/// Whether something that is no file would have been read, had it been one.
pub(super) fn is_missed(path: &Path, name: &str) -> bool {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let table = table_named(&stem);
    let is_table = table.is_some() || parts::year_of(&stem).is_some() || is_kept_beside(name);
    let is_folder = path.is_dir();
    match extension(path).as_str() {
        "csv" => is_table,
        // Programs that divide a usage log give its folder the name of a file.
        "parquet" => is_table && !(is_folder && table == Some(Table::Usage)),
        "" => table == Some(Table::Usage) && !is_folder,
        "xlsx" | "toml" | "xml" | "bin" | "json" => !is_folder,
        _ => false,
    }
}
