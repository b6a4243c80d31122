//! Files written whole or not at all: one, or several that belong together.
//!
//! Every file is first written under another name beside its place, and only when all of them are
//! on the disk are they moved there, one after the other. Killed at any moment, each place holds
//! the old file or the new one. Between the first move and the last, which is a matter of
//! renaming, some places may hold new files and others old ones; where a move fails, the message
//! says which.
#![expect(
    clippy::disallowed_methods,
    reason = "this is where results and records are written"
)]

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::CliError;
use super::write_error::{refused, why};

/// Begins the names of files that are not whole yet. Readers pass over names with a dot in front,
/// and one that is left behind by a killed program says what it is.
const UNFINISHED: &str = ".wearcast-unfinished-";
/// Letters of the file's own name that are repeated there; names have an end at 255 bytes.
const REPEATED: usize = 60;
/// Said of a file that may not be replaced.
pub(super) const IN_THE_WAY: &str =
    "it is there already; name another file, or add `--force` to replace it";

/// Files that belong together.
#[derive(Default)]
pub(super) struct Whole {
    files: Vec<New>,
}

struct New {
    path: PathBuf,
    bytes: Vec<u8>,
    replaces: bool,
}

/// A file that is on the disk, but not in its place.
struct Staged<'a> {
    file: NamedTempFile,
    /// As it is called by the user.
    path: &'a Path,
    /// Where it goes: what a link of that name leads to.
    place: PathBuf,
    replaces: bool,
}

impl Whole {
    /// Adds a file; those added first are moved first.
    pub(super) fn add(&mut self, path: impl Into<PathBuf>, bytes: Vec<u8>, replaces: bool) {
        self.files.push(New {
            path: path.into(),
            bytes,
            replaces,
        });
    }

    /// Where the files go.
    pub(super) fn paths(&self) -> Vec<PathBuf> {
        self.files.iter().map(|f| f.path.clone()).collect()
    }

    /// Writes all of them, or says what became of each.
    pub(super) fn write(self) -> Result<(), CliError> {
        for new in &self.files {
            check(&new.path, new.replaces)?;
        }
        let staged = self.files.iter().map(stage);
        let staged = staged.collect::<Result<Vec<_>, _>>()?;
        let mut done: Vec<&Path> = Vec::new();
        for staged in staged {
            let path = staged.path;
            if let Err(error) = place(staged) {
                let all = self.files.iter().map(|f| f.path.as_path());
                return Err(CliError::Write {
                    path: path.display().to_string(),
                    why: why(path, &error) + &state(&done, all.skip(done.len())),
                });
            }
            done.push(path);
        }
        Ok(())
    }
}

/// What cannot be written to, as far as that can be seen without writing.
pub(super) fn check(path: &Path, replaces: bool) -> Result<(), CliError> {
    let why = match refused(path) {
        Some(why) => why,
        // A link that leads nowhere is in the way as well.
        None if !replaces && std::fs::symlink_metadata(path).is_ok() => IN_THE_WAY.to_owned(),
        None => return Ok(()),
    };
    let path = path.display().to_string();
    Err(CliError::Write { path, why })
}

/// Makes a folder, and those above it, where they are not there.
pub(super) fn make_folder(path: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(path).map_err(|e| CliError::Write {
        path: path.display().to_string(),
        why: why(path, &e),
    })
}

/// The folder a file is in.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

fn stage(new: &New) -> Result<Staged<'_>, CliError> {
    stage_beside(new).map_err(|error| CliError::Write {
        path: new.path.display().to_string(),
        why: why(&new.path, &error),
    })
}

fn stage_beside(new: &New) -> io::Result<Staged<'_>> {
    let place = if new.path.is_symlink() {
        new.path.canonicalize()?
    } else {
        new.path.clone()
    };
    let name = place.file_name().unwrap_or_default().to_string_lossy();
    let name: String = name.chars().take(REPEATED).collect();
    let mut file = builder(&format!("{UNFINISHED}{name}-")).tempfile_in(folder_of(&place))?;
    file.write_all(&new.bytes)?;
    // A file that replaces another may be read and written by the same people as that one.
    if let Ok(old) = std::fs::metadata(&place) {
        // One that stays private is still a whole file, so a refusal is no error.
        let _ = file.as_file().set_permissions(old.permissions());
    }
    file.as_file().sync_all()?;
    Ok(Staged {
        file,
        path: &new.path,
        place,
        replaces: new.replaces,
    })
}

/// A maker of files beside others, that may be read like any other file.
fn builder(prefix: &str) -> Builder<'_> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(prefix);
    share(&mut builder);
    builder
}

type Builder<'a> = tempfile::Builder<'a, 'static>;

/// A temporary file is its owner's alone; a result is whoever's the system lets read new files.
#[cfg(unix)]
fn share(builder: &mut Builder<'_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(std::fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn share(_builder: &mut Builder<'_>) {}

fn place(staged: Staged<'_>) -> io::Result<()> {
    let Staged { file, place, .. } = staged;
    if staged.replaces {
        return file.persist(&place).map(drop).map_err(|e| e.error);
    }
    match file.persist_noclobber(&place) {
        Ok(_) => Ok(()),
        // Some disks and shares cannot move a file only where none is; looking comes close to it.
        Err(e) if std::fs::symlink_metadata(&place).is_err() => {
            e.file.persist(&place).map(drop).map_err(|e| e.error)
        }
        Err(e) => Err(e.error),
    }
}

/// Which of several files are new, when not all of them are.
fn state<'a>(done: &[&Path], rest: impl Iterator<Item = &'a Path>) -> String {
    let list = |paths: &[&Path]| {
        let names: Vec<String> = paths.iter().map(|p| format!("`{}`", p.display())).collect();
        names.join(", ")
    };
    let rest: Vec<&Path> = rest.collect();
    match done {
        [] if rest.len() == 1 => String::new(),
        [] => "; no file is changed".to_owned(),
        _ => format!(
            "; written before it: {}; as it was: {}",
            list(done),
            list(&rest)
        ),
    }
}
