//! Results to the screen or to a file that is written whole or not at all.
#![expect(
    clippy::disallowed_methods,
    reason = "this is where the screen is measured and results are written"
)]

use std::io::Write;
use std::path::Path;

use super::CliError;
use super::args::{Format, Target};

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

/// Refuses early what [`give`] would refuse late.
pub(super) fn check(target: &impl AsRef<Target>) -> Result<(), CliError> {
    let target = target.as_ref();
    match &target.out {
        Some(path) if path.exists() && !target.force => Err(CliError::Write {
            path: path.display().to_string(),
            why: "it is there already; name another file, or add `--force` to replace it"
                .to_owned(),
        }),
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
