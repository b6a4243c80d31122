//! Results to the screen or to a file.
#![expect(
    clippy::disallowed_methods,
    reason = "this is where the screen is measured and folders for results are looked at"
)]

use std::io::IsTerminal as _;
use std::path::Path;

use super::args::{Format, Target};
use super::whole::{self, Whole};
use super::{CliError, Streams};
use crate::plot::Picture;
use crate::read;
use crate::report::terminal;
use crate::report::xlsx::XlsxError;

type ToWorkbook<R> = fn(&R) -> Result<Vec<u8>, XlsxError>;

/// A result, and what tells it in every form it has.
pub(super) struct Forms<'a, R> {
    report: &'a R,
    table: fn(&R, usize) -> String,
    json: fn(&R) -> serde_json::Value,
    csv: fn(&R) -> String,
    /// Only for results that have a workbook.
    xlsx: Option<ToWorkbook<R>>,
}

impl<'a, R> Forms<'a, R> {
    /// - `table`: takes the width of the screen in columns.
    pub(super) fn new(
        report: &'a R,
        table: fn(&R, usize) -> String,
        json: fn(&R) -> serde_json::Value,
        csv: fn(&R) -> String,
    ) -> Self {
        Self {
            report,
            table,
            json,
            csv,
            xlsx: None,
        }
    }

    pub(super) fn with_workbook(self, xlsx: ToWorkbook<R>) -> Self {
        Self {
            xlsx: Some(xlsx),
            ..self
        }
    }

    /// In the form that the extension of its file says.
    fn for_file(&self, path: &Path) -> Result<Vec<u8>, CliError> {
        let extension = path
            .extension()
            .and_then(|e| e.to_str())
            .unwrap_or("")
            .to_lowercase();
        match (extension.as_str(), self.xlsx) {
            ("xlsx", Some(xlsx)) => Ok(xlsx(self.report)?),
            ("json", _) => self.bytes(Format::Json, 80),
            ("csv", _) => self.bytes(Format::Csv, 80),
            ("txt", _) => self.bytes(Format::Table, 80),
            (_, xlsx) => {
                let known = if xlsx.is_some() {
                    ".xlsx, .csv, .json or .txt"
                } else {
                    ".csv, .json or .txt"
                };
                let page = match extension.as_str() {
                    "html" | "htm" => "; `wearcast report` writes a page",
                    _ => "",
                };
                Err(CliError::Usage(format!(
                    "`--out {}`: this result can be written as {known}{page}",
                    path.display()
                )))
            }
        }
    }

    fn bytes(&self, format: Format, width: usize) -> Result<Vec<u8>, CliError> {
        Ok(match format {
            Format::Table => terminal::harmless(&(self.table)(self.report, width))
                .as_bytes()
                .to_vec(),
            Format::Csv => (self.csv)(self.report).into_bytes(),
            Format::Json => {
                let mut text = serde_json::to_vec_pretty(&(self.json)(self.report))
                    .map_err(|e| CliError::Print(std::io::Error::other(e)))?;
                text.push(b'\n');
                text
            }
        })
    }
}

/// Columns of the screen, 80 where there is none.
fn width() -> usize {
    terminal_size::terminal_size_of(std::io::stdout())
        .map_or(80, |(width, _)| usize::from(width.0).clamp(80, 160))
}

/// Prints the result, or writes it to the file of `--out`.
pub(super) fn give<R>(
    forms: &Forms<'_, R>,
    target: &impl AsRef<Target>,
    to: &mut Streams<'_>,
) -> Result<(), CliError> {
    give_with(Whole::default(), forms, target, to)
}

/// The same, after files that belong together are written; the file of `--out` is one of them.
pub(super) fn give_with<R>(
    mut files: Whole,
    forms: &Forms<'_, R>,
    target: &impl AsRef<Target>,
    to: &mut Streams<'_>,
) -> Result<(), CliError> {
    let target = target.as_ref();
    let printed = match &target.out {
        Some(path) => {
            files.add(path, forms.for_file(path)?, target.force);
            None
        }
        None => Some(forms.bytes(target.format, width())?),
    };
    let paths = files.paths();
    files.write()?;
    for path in paths {
        writeln!(to.err, "wrote {}", path.display())?;
    }
    if let Some(bytes) = printed {
        to.out.write_all(&bytes)?;
        to.out.flush()?;
    }
    Ok(())
}

const NOTHING_TO_FORCE: &str = "`--force` needs a file to replace: name it with `--out`";

/// The same for results of the records in a folder: they never take the place of these.
pub(super) fn check_beside(dir: &Path, target: &impl AsRef<Target>) -> Result<(), CliError> {
    if let Some(path) = &target.as_ref().out
        && read::is_among_records(dir, path)?
    {
        return Err(among_records(path));
    }
    check(target)
}

/// The same for results of single files.
pub(super) fn check_apart(inputs: &[&Path], target: &impl AsRef<Target>) -> Result<(), CliError> {
    let out = target.as_ref().out.as_deref();
    if let Some(path) = out
        && inputs.iter().any(|input| read::is_same_file(input, path))
    {
        return Err(among_records(path));
    }
    check(target)
}

fn among_records(path: &Path) -> CliError {
    CliError::Write {
        path: path.display().to_string(),
        why: "it would take the place of records; name a file in another folder".to_owned(),
    }
}

/// Refuses early what [`give`] would refuse late.
pub(super) fn check(target: &impl AsRef<Target>) -> Result<(), CliError> {
    let target = target.as_ref();
    match &target.out {
        Some(path) => whole::check(path, target.force),
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
    if target.out.is_none() && figures.is_none() && std::io::stdout().is_terminal() {
        return Err(CliError::Usage(
            "a page is for a browser: name a file for it, such as `--out report.html`".to_owned(),
        ));
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
    to: &mut Streams<'_>,
) -> Result<(), CliError> {
    let mut files = Whole::default();
    if let Some((folder, pictures)) = figures {
        whole::make_folder(folder)?;
        for picture in pictures {
            let path = folder.join(format!("{}.svg", picture.caption.name));
            files.add(path, picture.svg().into_bytes(), target.force);
        }
    }
    if let Some(path) = &target.out {
        files.add(path, page().into_bytes(), target.force);
    }
    files.write()?;
    if let Some((folder, pictures)) = figures {
        let count = pictures.len();
        writeln!(to.err, "wrote {count} pictures into {}", folder.display())?;
    }
    if let Some(path) = &target.out {
        writeln!(to.err, "wrote {}", path.display())?;
    } else if figures.is_none() {
        to.out.write_all(page().as_bytes())?;
        to.out.flush()?;
    }
    Ok(())
}

/// Files by name into one folder, which is made where there is none.
pub(super) fn give_files(
    folder: &Path,
    files: Vec<(String, Vec<u8>)>,
    force: bool,
) -> Result<(), CliError> {
    let mut whole = Whole::default();
    for (name, bytes) in files {
        whole.add(folder.join(name), bytes, force);
    }
    for path in whole.paths() {
        whole::make_folder(whole::folder_of(&path))?;
    }
    whole.write()
}
