//! Why a file cannot be read at all.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// A file that cannot be read; everything short of that is a [`crate::record::Problem`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// Nothing is there.
    #[error("`{}` is not there; check the spelling of the path", path.display())]
    NotFound {
        /// The path.
        path: PathBuf,
    },
    /// A file where a folder is needed.
    #[error("`{}` is not a folder; give the folder that holds the records", path.display())]
    NotAFolder {
        /// The path.
        path: PathBuf,
    },
    /// Something else where a file is needed.
    #[error("`{}` is {what} and no file that can be opened; put the file there that it should be, or take it away", path.display())]
    NotAFile {
        /// The path.
        path: PathBuf,
        /// What is there.
        what: &'static str,
    },
    /// The operating system refuses.
    #[error("`{}` cannot be read ({why}); check that it may be read and is not locked by another program", path.display())]
    Io {
        /// The path.
        path: PathBuf,
        /// What the operating system says.
        why: String,
    },
    /// A disk or a share that does not answer.
    #[error("`{}` cannot be read now ({why}); check that its disk or share is there, and try again", path.display())]
    Away {
        /// The path.
        path: PathBuf,
        /// What the operating system says.
        why: String,
    },
    /// Not what its name says, or damaged.
    #[error("`{}` is not a sound {what} ({why}); save it again with the program that made it", path.display())]
    Corrupt {
        /// The path.
        path: PathBuf,
        /// What it should be.
        what: &'static str,
        /// What is wrong with it.
        why: String,
    },
    /// More than can be read safely.
    #[error("`{}` is too large ({why}); split it, or save usage as CSV or Parquet", path.display())]
    TooLarge {
        /// The path.
        path: PathBuf,
        /// Which limit it is over.
        why: String,
    },
    /// An extension that stands for no table.
    #[error("`{}` is neither .csv, .parquet nor .xlsx; save it as one of these", path.display())]
    UnknownKind {
        /// The path.
        path: PathBuf,
    },
    /// Daily sums of use in a form they are not read in.
    #[error("`{}` is neither .csv, .parquet nor a folder of .parquet files; save the daily sums as one of these", path.display())]
    UnknownSums {
        /// The path.
        path: PathBuf,
    },
}

impl ReadError {
    /// What the operating system said of a path.
    pub(super) fn io(path: &Path, error: &std::io::Error) -> Self {
        let (path, why) = (path.to_path_buf(), error.to_string());
        match error.kind() {
            ErrorKind::NotFound => Self::NotFound { path },
            ErrorKind::TimedOut
            | ErrorKind::StaleNetworkFileHandle
            | ErrorKind::NotConnected
            | ErrorKind::ConnectionReset
            | ErrorKind::HostUnreachable
            | ErrorKind::NetworkUnreachable
            | ErrorKind::NetworkDown => Self::Away { path, why },
            _ => Self::Io { path, why },
        }
    }

    pub(super) fn corrupt(path: &Path, what: &'static str, why: impl std::fmt::Display) -> Self {
        let why = why.to_string();
        let why = why.lines().next().unwrap_or_default().to_owned();
        Self::Corrupt {
            path: path.to_path_buf(),
            what,
            why,
        }
    }

    pub(super) fn too_large(path: &Path, why: impl Into<String>) -> Self {
        Self::TooLarge {
            path: path.to_path_buf(),
            why: why.into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of errors as Linux has them: no answer in time, a file of a share that is gone, no way to the host.
    #[test]
    #[cfg(target_os = "linux")]
    fn a_share_that_does_not_answer_is_told_as_such() {
        for number in [110, 116, 113] {
            let error = std::io::Error::from_raw_os_error(number);
            let told = ReadError::io(Path::new("records"), &error).to_string();
            assert!(told.contains("`records` cannot be read now"), "{told}");
            assert!(told.contains("share is there"), "{told}");
        }
    }
}
