//! Why a file cannot be written, and what to do about it.
#![expect(
    clippy::disallowed_methods,
    reason = "looks at the places that results and records are written to"
)]

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use super::whole::folder_of;

/// What can be seen to be in the way of a file before it is written.
pub(super) fn refused(path: &Path) -> Option<String> {
    let folder = folder_of(path);
    if path.is_dir() {
        return Some("it is a folder; name a file in it".to_owned());
    }
    if path.is_symlink() && !path.exists() {
        return Some("it is a link that leads nowhere; delete it, or name another file".to_owned());
    }
    if !folder.exists() {
        return Some(absent(folder));
    }
    if !folder.is_dir() {
        return Some(no_folder(folder));
    }
    if std::fs::metadata(path).is_ok_and(|meta| meta.permissions().readonly()) {
        // Somebody took care that it stays as it is; the folder alone would let it be replaced.
        return Some(
            "it is read-only; allow writing to it first (as with `chmod u+w`), or name another file"
                .to_owned(),
        );
    }
    let lock = path.exists().then(|| lock_beside(path)).flatten()?;
    Some(format!(
        "it is open in a spreadsheet program, which would write over it again; close it there first \
         (if no program has it open, delete `{}`)",
        lock.display()
    ))
}

/// The file by which spreadsheet programs tell each other that they have a file open.
///
/// # Source
/// Names from memory: `.~lock.NAME#` of programs for open documents, `~$NAME` of others.
fn lock_beside(path: &Path) -> Option<PathBuf> {
    let name = path.file_name()?.to_string_lossy();
    let beside = |lock: String| Some(path.with_file_name(lock)).filter(|lock| lock.exists());
    beside(format!(".~lock.{name}#")).or_else(|| beside(format!("~${name}")))
}

fn absent(folder: &Path) -> String {
    let folder = folder.display();
    format!("there is no folder `{folder}`; make it first, or check the spelling")
}

fn no_folder(path: &Path) -> String {
    format!(
        "`{}` is a file and no folder; check the spelling",
        path.display()
    )
}

/// What the operating system said, and what to do about it.
pub(super) fn why(path: &Path, error: &io::Error) -> String {
    let folder = folder_of(path);
    let here = folder.display();
    let advice = match error.kind() {
        ErrorKind::NotFound if !folder.exists() => {
            return absent(folder);
        }
        ErrorKind::NotADirectory => return no_folder(folder),
        ErrorKind::NotFound => format!("the folder `{here}` takes no files; name another one"),
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            format!("the disk is full; make room for the folder `{here}`, or write to another disk")
        }
        ErrorKind::FileTooLarge => {
            "files may not be as large as that here; write to another disk".to_owned()
        }
        ErrorKind::PermissionDenied => format!(
            "it may not be written; check who may write in the folder `{here}` and that no other program has the file \
             open, or write to another folder"
        ),
        ErrorKind::ReadOnlyFilesystem => {
            format!(
                "nothing can be written to the disk of the folder `{here}`; write to another one"
            )
        }
        ErrorKind::InvalidFilename => "shorten its name".to_owned(),
        ErrorKind::AlreadyExists => return super::whole::IN_THE_WAY.to_owned(),
        _ => "check that the disk or share is there, and try again".to_owned(),
    };
    format!("{error}: {advice}")
}
