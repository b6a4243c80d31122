//! Files that belong together, from a folder or a zip archive, into memory.
//!
//! An archive is never unpacked to disk: no name in it can reach outside, and limits on every
//! entry and on all of them keep one that unpacks to far more than its size from filling memory.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use super::error::ReadError;
use super::find::{extension, file_name, files};

/// Most bytes of one file.
const LARGEST_FILE: u64 = 64 << 20;
/// Most bytes of all files.
const LARGEST_BUNDLE: u64 = 256 << 20;
/// Most files.
const MOST_FILES: usize = 10_000;

/// A file in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedFile {
    /// Folder inside the bundle, `/` between parts; empty at the top.
    pub folder: String,
    /// Name with extension.
    pub name: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

/// Reads a file, the files of a folder and of the folders right below it, or those of a zip
/// archive; only those with one of these extensions (lower case).
///
/// # Errors
/// [`ReadError`] when the path is not there or may not be read, when an archive is damaged, or
/// when there is more than can be read safely: 64 MB a file, 256 MB and 10,000 files in all.
pub fn bundle(path: &Path, extensions: &[&str]) -> Result<Vec<NamedFile>, ReadError> {
    let meta = std::fs::metadata(path).map_err(|e| ReadError::io(path, &e))?;
    let mut gathered = Gathered {
        path,
        extensions,
        files: Vec::new(),
        total: 0,
    };
    if meta.is_dir() {
        gathered.folder(path, "")?;
        for folder in folders(path)? {
            gathered.folder(&folder, &file_name(&folder))?;
        }
    } else if is_zip(path)? {
        gathered.archive()?;
    } else {
        gathered.file(path, "")?;
    }
    gathered
        .files
        .sort_by(|a, b| (&a.folder, &a.name).cmp(&(&b.folder, &b.name)));
    Ok(gathered.files)
}

/// Folders right below a folder, in order, without hidden ones.
fn folders(dir: &Path) -> Result<Vec<std::path::PathBuf>, ReadError> {
    let mut folders = Vec::new();
    for entry in std::fs::read_dir(dir).map_err(|e| ReadError::io(dir, &e))? {
        let path = entry.map_err(|e| ReadError::io(dir, &e))?.path();
        if !file_name(&path).starts_with('.') && path.is_dir() {
            folders.push(path);
        }
    }
    folders.sort();
    Ok(folders)
}

/// Told by the first bytes, as archives come with any name.
fn is_zip(path: &Path) -> Result<bool, ReadError> {
    let mut start = Vec::new();
    File::open(path)
        .and_then(|file| file.take(4).read_to_end(&mut start))
        .map_err(|e| ReadError::io(path, &e))?;
    Ok(start.starts_with(b"PK\x03\x04") || start.starts_with(b"PK\x05\x06"))
}

struct Gathered<'a> {
    path: &'a Path,
    extensions: &'a [&'a str],
    files: Vec<NamedFile>,
    total: u64,
}

impl Gathered<'_> {
    fn wanted(&self, name: &str) -> bool {
        self.extensions
            .contains(&extension(Path::new(name)).as_str())
    }

    fn folder(&mut self, dir: &Path, name: &str) -> Result<(), ReadError> {
        for path in files(dir)? {
            if self.wanted(&file_name(&path)) {
                self.file(&path, name)?;
            }
        }
        Ok(())
    }

    fn file(&mut self, path: &Path, folder: &str) -> Result<(), ReadError> {
        let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
        self.take(&mut BufReader::new(file), path, folder, file_name(path))
    }

    fn archive(&mut self) -> Result<(), ReadError> {
        let path = self.path;
        let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
        let corrupt = |e: &dyn std::fmt::Display| ReadError::corrupt(path, "zip archive", e);
        let mut archive = ::zip::ZipArchive::new(BufReader::new(file)).map_err(|e| corrupt(&e))?;
        if MOST_FILES < archive.len() {
            return Err(ReadError::too_large(
                path,
                format!("more than {MOST_FILES} files"),
            ));
        }
        for index in 0..archive.len() {
            let mut entry = archive.by_index(index).map_err(|e| corrupt(&e))?;
            let full = entry.name().map_err(|e| corrupt(&e))?.replace('\\', "/");
            let (folder, name) = full.rsplit_once('/').unwrap_or(("", &full));
            // A Mac adds a shadow of each file; its names begin with a dot.
            if name.starts_with('.') || !self.wanted(name) {
                continue;
            }
            let (folder, name) = (folder.to_owned(), name.to_owned());
            self.take(&mut entry, path, &folder, name)?;
        }
        Ok(())
    }

    fn take(
        &mut self,
        from: &mut dyn Read,
        path: &Path,
        folder: &str,
        name: String,
    ) -> Result<(), ReadError> {
        let mut bytes = Vec::new();
        from.take(LARGEST_FILE + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| {
                if path == self.path {
                    ReadError::corrupt(path, "file", e)
                } else {
                    ReadError::io(path, &e)
                }
            })?;
        self.total += bytes.len() as u64;
        let over = |what: String| Err(ReadError::too_large(path, what));
        if LARGEST_FILE < bytes.len() as u64 {
            return over(format!("{name} holds more than {} MB", LARGEST_FILE >> 20));
        }
        if LARGEST_BUNDLE < self.total {
            return over(format!(
                "its files hold more than {} MB together",
                LARGEST_BUNDLE >> 20
            ));
        }
        if MOST_FILES <= self.files.len() {
            return over(format!("more than {MOST_FILES} files"));
        }
        self.files.push(NamedFile {
            folder: folder.to_owned(),
            name,
            bytes,
        });
        Ok(())
    }
}
