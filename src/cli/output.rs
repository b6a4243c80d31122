//! Results to the screen or to a file that is written whole or not at all.
#![expect(
    clippy::disallowed_methods,
    reason = "this is where the screen is measured and results are written"
)]

use std::io::Write;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::CliError;
use super::args::{Format, Target};
use crate::plot::Picture;

/// A result in every form it has.
pub(super) struct Forms<'a> {
    pub(super) table: &'a dyn Fn(usize) -> String,
    pub(super) json: &'a dyn Fn() -> serde_json::Value,
    pub(super) csv: &'a dyn Fn() -> String,
    /// Only for results that have a workbook.
    pub(super) xlsx: Option<&'a dyn Fn() -> Result<Vec<u8>, CliError>>,
}

/// Columns of the screen, 80 where there is none.
fn width() -> usize {
    terminal_size::terminal_size_of(std::io::stdout())
        .map_or(80, |(width, _)| usize::from(width.0).clamp(80, 160))
}

/// Prints the result, or writes it to the file of `--out`.
pub(super) fn give(
    forms: &Forms<'_>,
    target: &impl AsRef<Target>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<(), CliError> {
    let target = target.as_ref();
    let Some(path) = &target.out else {
        out.write_all(&bytes(forms, target.format, width())?)?;
        return Ok(out.flush()?);
    };
    let extension = path
        .extension()
        .and_then(|e| e.to_str())
        .unwrap_or("")
        .to_lowercase();
    let bytes = match (extension.as_str(), forms.xlsx) {
        ("xlsx", Some(xlsx)) => xlsx()?,
        ("json", _) => bytes(forms, Format::Json, 80)?,
        ("csv", _) => bytes(forms, Format::Csv, 80)?,
        ("txt", _) => bytes(forms, Format::Table, 80)?,
        (_, xlsx) => {
            let known = if xlsx.is_some() {
                ".xlsx, .csv, .json or .txt"
            } else {
                ".csv, .json or .txt"
            };
            return Err(CliError::Usage(format!(
                "`--out {}`: this result can be written as {known}",
                path.display()
            )));
        }
    };
    write_whole(path, &bytes, target.force)?;
    writeln!(err, "wrote {}", path.display())?;
    Ok(())
}

const IN_THE_WAY: &str = "it is there already; name another file, or add `--force` to replace it";

const NOTHING_TO_FORCE: &str = "`--force` needs a file to replace: name it with `--out`";

/// Refuses early what [`give`] would refuse late.
pub(super) fn check(target: &impl AsRef<Target>) -> Result<(), CliError> {
    let target = target.as_ref();
    match &target.out {
        Some(path) if path.exists() && !target.force => Err(CliError::Write {
            path: path.display().to_string(),
            why: IN_THE_WAY.to_owned(),
        }),
        None if target.force => Err(CliError::Usage(NOTHING_TO_FORCE.to_owned())),
        _ => Ok(()),
    }
}

/// Whether the result goes to a workbook.
pub(super) fn is_workbook(target: &impl AsRef<Target>) -> bool {
    let out = target.as_ref().out.as_deref();
    let extension = out.and_then(Path::extension);
    extension.is_some_and(|e| e.eq_ignore_ascii_case("xlsx"))
}

fn bytes(forms: &Forms<'_>, format: Format, width: usize) -> Result<Vec<u8>, CliError> {
    Ok(match format {
        Format::Table => (forms.table)(width).into_bytes(),
        Format::Csv => (forms.csv)().into_bytes(),
        Format::Json => {
            let mut text = serde_json::to_vec_pretty(&(forms.json)())
                .map_err(|e| CliError::Print(std::io::Error::other(e)))?;
            text.push(b'\n');
            text
        }
    })
}

/// Refuses early what [`give_page`] would refuse late.
pub(super) fn check_page(target: &Target, figures: Option<&Path>) -> Result<(), CliError> {
    if target.format != Format::Table {
        return Err(CliError::Usage(
            "`--format`: a report is a page; `budget`, `remaining`, `fit` and `backtest` give its figures as json and csv"
                .to_owned(),
        ));
    }
    if let Some(path) = &target.out {
        let extension = path.extension().and_then(|e| e.to_str());
        let extension = extension.unwrap_or("").to_lowercase();
        if !["html", "htm"].contains(&extension.as_str()) {
            return Err(CliError::Usage(format!(
                "`--out {}`: a report can be written as .html",
                path.display()
            )));
        }
    }
    match figures {
        None if target.force && target.out.is_none() => {
            Err(CliError::Usage(NOTHING_TO_FORCE.to_owned()))
        }
        Some(folder) if folder.exists() && !folder.is_dir() => Err(CliError::Write {
            path: folder.display().to_string(),
            why: "`--figures` needs a folder, and this is a file".to_owned(),
        }),
        _ => Ok(()),
    }
}

/// Writes the pictures into their folder and the page to its file; the page goes to the screen
/// where neither is asked for.
pub(super) fn give_page(
    page: &dyn Fn() -> String,
    figures: Option<(&Path, &[Picture])>,
    target: &Target,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<(), CliError> {
    if let Some((folder, pictures)) = figures {
        write_pictures(folder, pictures, target.force)?;
        let count = pictures.len();
        writeln!(err, "wrote {count} pictures into {}", folder.display())?;
    }
    if let Some(path) = &target.out {
        write_whole(path, page().as_bytes(), target.force)?;
        writeln!(err, "wrote {}", path.display())?;
    } else if figures.is_none() {
        out.write_all(page().as_bytes())?;
        out.flush()?;
    }
    Ok(())
}

/// Every picture in a file of its own.
fn write_pictures(folder: &Path, pictures: &[Picture], force: bool) -> Result<(), CliError> {
    let file = |p: &Picture| (format!("{}.svg", p.caption.name), p.svg().into_bytes());
    let files: Vec<(String, Vec<u8>)> = pictures.iter().map(file).collect();
    give_files(folder, &files, force)
}

/// Files by name into one folder: all are written beside their places before any is moved there.
pub(super) fn give_files(
    folder: &Path,
    files: &[(String, Vec<u8>)],
    force: bool,
) -> Result<(), CliError> {
    let wrong = |path: &Path, why: &dyn std::fmt::Display| CliError::Write {
        path: path.display().to_string(),
        why: why.to_string(),
    };
    std::fs::create_dir_all(folder).map_err(|e| wrong(folder, &e))?;
    let paths: Vec<PathBuf> = files.iter().map(|(name, _)| folder.join(name)).collect();
    if let Some(there) = paths.iter().find(|path| !force && path.exists()) {
        return Err(wrong(there, &IN_THE_WAY));
    }
    let mut staged = Vec::new();
    for ((_, bytes), path) in files.iter().zip(&paths) {
        staged.push((stage(path, bytes)?, path));
    }
    staged
        .into_iter()
        .try_for_each(|(file, path)| place(file, path, force))
}

/// Puts new bytes in the place of a file, or makes it.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    write_whole(path, bytes, true)
}

/// Makes a folder, and those above it, where they are not there.
pub(super) fn make_folder(path: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(path).map_err(|e| CliError::Write {
        path: path.display().to_string(),
        why: e.to_string(),
    })
}

/// Writes beside the target, then moves into its place.
fn write_whole(path: &Path, bytes: &[u8], force: bool) -> Result<(), CliError> {
    place(stage(path, bytes)?, path, force)
}

fn stage(path: &Path, bytes: &[u8]) -> Result<NamedTempFile, CliError> {
    let wrong = |why: String| CliError::Write {
        path: path.display().to_string(),
        why,
    };
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = tempfile::Builder::new()
        .prefix(".wearcast-")
        .tempfile_in(folder)
        .map_err(|e| wrong(e.to_string()))?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(|e| wrong(e.to_string()))?;
    share(file.as_file());
    Ok(file)
}

fn place(file: NamedTempFile, path: &Path, force: bool) -> Result<(), CliError> {
    let wrong = |why: String| CliError::Write {
        path: path.display().to_string(),
        why,
    };
    if force {
        file.persist(path).map_err(|e| wrong(e.error.to_string()))?;
    } else {
        file.persist_noclobber(path)
            .map_err(|e| wrong(e.error.to_string()))?;
    }
    Ok(())
}

/// A temporary file is its owner's alone; a result is to be read like any other file.
#[cfg(unix)]
fn share(file: &std::fs::File) {
    use std::os::unix::fs::PermissionsExt;
    // A file that stays private is still a whole file, so a refusal is no error.
    let _ = file.set_permissions(std::fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn share(_file: &std::fs::File) {}
