//! The command line: arguments in, text or files out.

mod args;
mod import;
mod next;
mod output;
mod pages;
mod run;
mod start;
mod waiting;
mod whole;
mod write_error;

use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use crate::read::ReadError;
use crate::report::terminal::harmless;
use crate::report::xlsx::XlsxError;
use crate::study::StudyError;

pub use waiting::Screen;

/// Where a command speaks.
struct Streams<'a> {
    /// Results.
    out: &'a mut dyn Write,
    /// Everything else.
    err: &'a mut dyn Write,
    /// Where somebody waits.
    screen: Screen,
}

/// How a command ended, in numbers that scripts rely on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum ExitStatus {
    /// Done.
    Done = 0,
    /// The records have problems that stop the work.
    Problems = 1,
    /// The command line is wrong.
    Usage = 2,
    /// A file cannot be read or written.
    File = 3,
    /// The records are sound but too thin for what was asked.
    TooThin = 4,
}

impl From<ExitStatus> for ExitCode {
    fn from(status: ExitStatus) -> Self {
        Self::from(status as u8)
    }
}

/// Why a command ended early; each has its exit status.
#[derive(Debug, thiserror::Error)]
enum CliError {
    #[error("{0}")]
    Usage(String),
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error("`{path}` cannot be written: {why}")]
    Write { path: String, why: String },
    #[error("{0}")]
    Import(String),
    #[error(transparent)]
    Study(#[from] StudyError),
    #[error("the workbook cannot be written: {0}")]
    Workbook(#[from] XlsxError),
    #[error(
        "the result cannot be printed ({0}); check what it is written to, or name a file with `--out`"
    )]
    Print(#[from] std::io::Error),
}

impl CliError {
    fn status(&self) -> ExitStatus {
        match self {
            Self::Usage(_)
            | Self::Study(
                StudyError::Filter { .. }
                | StudyError::Group(_)
                | StudyError::Column { .. }
                | StudyError::OfRows { .. }
                | StudyError::SeasonOver { .. },
            ) => ExitStatus::Usage,
            Self::Read(_)
            | Self::Import(_)
            | Self::Write { .. }
            | Self::Workbook(_)
            | Self::Print(_) => ExitStatus::File,
            Self::Study(StudyError::TooThin(_)) => ExitStatus::TooThin,
        }
    }
}

/// Runs the program on these arguments; results to `out`, everything else to `err`.
pub fn main(
    args: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> ExitStatus {
    main_before(args, out, err, None)
}

/// The same before somebody who waits: `screen` is a terminal that is told how far the work is. The
/// line is gone when the result comes.
pub fn main_before(
    args: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
    screen: Screen,
) -> ExitStatus {
    let out = &mut UntilClosed(out);
    let err = &mut Unheard(err);
    let run = match args::Args::try_parse_from(args) {
        Ok(args) => run::run(&args, &mut Streams { out, err, screen }),
        Err(error) => explain(&error, out, err),
    };
    run.unwrap_or_else(|error| {
        let _ = writeln!(err, "wearcast: {error}");
        error.status()
    })
}

/// Where results go, until the reader has had enough, as in `wearcast lives DIR | head`: that is no
/// failure, and what the status says of the records stays true.
struct UntilClosed<'a>(&'a mut dyn Write);

impl Write for UntilClosed<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        match self.0.write(bytes) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(bytes.len()),
            written => written,
        }
    }

    fn flush(&mut self) -> std::io::Result<()> {
        match self.0.flush() {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
            flushed => flushed,
        }
    }
}

/// Where everything else goes, names out of files in it, which must not tell the terminal what to do.
/// That nobody can read it does not stop the work.
struct Unheard<'a>(&'a mut dyn Write);

impl Write for Unheard<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let _ = match std::str::from_utf8(bytes) {
            Ok(text) => self.0.write_all(harmless(text).as_bytes()),
            Err(_) => self.0.write_all(bytes),
        };
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        let _ = self.0.flush();
        Ok(())
    }
}

/// Help and version are results; everything else is about a wrong command line.
fn explain(
    error: &clap::Error,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<ExitStatus, CliError> {
    let text = error.render();
    if error.use_stderr() {
        write!(err, "{text}")?;
        Ok(ExitStatus::Usage)
    } else {
        write!(out, "{text}")?;
        Ok(ExitStatus::Done)
    }
}
