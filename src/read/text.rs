//! The small TOML files: settings of the owner, and model files of part families.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use chrono::format::{Item, StrftimeItems};

use crate::family::{Families, Family, FamilyError};
use crate::record::{Problem, ProblemKind, Records, Settings, SettingsError, Severity};

use super::cell::quoted;
use super::error::ReadError;
use super::find::{extension, file_name, files, whole};
use super::there;

/// No settings or model file is longer.
const LONGEST: u64 = 1 << 20;
const SETTINGS: &str = "settings.toml";

/// Text of a file; `Err` of the inner result for bytes that are no UTF-8.
pub(super) fn text(path: &Path) -> Result<Result<String, ()>, ReadError> {
    let io = |e: std::io::Error| ReadError::io(path, &e);
    if LONGEST < std::fs::metadata(path).map_err(io)?.len() {
        return Err(ReadError::too_large(path, "more than 1 MB of settings"));
    }
    let bytes = std::fs::read(path).map_err(io)?;
    Ok(String::from_utf8(bytes)
        .map_err(|_| ())
        .map(|t| t.trim_start_matches('\u{feff}').to_owned()))
}

fn problem(source: &str, found: impl Into<String>, expected: impl Into<String>) -> Problem {
    whole(
        Severity::Problem,
        source,
        ProblemKind::Settings,
        found,
        expected,
    )
}

/// Line of a key in a text, from 1.
fn line_of(text: &str, key: &str) -> Option<usize> {
    let is_key = |line: &str| {
        line.trim_start()
            .strip_prefix(key)
            .is_some_and(|rest| rest.trim_start().starts_with('='))
    };
    text.lines().position(is_key).map(|line| line + 1)
}

/// Settings of a records folder, but for those that have a problem, and every such problem.
pub(super) fn settings(dir: &Path) -> Result<(Settings, Vec<Problem>), ReadError> {
    let path = there::named(dir, SETTINGS);
    there::as_file(&path)?;
    if !path.exists() {
        return Ok((Settings::default(), Vec::new()));
    }
    let Ok(text) = text(&path)? else {
        let problem = problem(
            SETTINGS,
            "bytes that are not UTF-8",
            "text in UTF-8; save it again",
        );
        return Ok((Settings::default(), vec![problem]));
    };
    let (mut settings, errors) = Settings::sound_of_toml(&text);
    let told = errors.iter().map(|error| settings_problem(&text, error));
    let mut problems: Vec<Problem> = told.collect();
    if let Some(problem) = date_format(&text, &settings) {
        problems.push(problem);
        settings.date_format = None;
    }
    Ok((settings, problems))
}

fn settings_problem(text: &str, error: &SettingsError) -> Problem {
    match error {
        SettingsError::Toml(message) => problem(
            SETTINGS,
            message.as_str(),
            "`key = value` lines with the keys of the settings",
        ),
        SettingsError::Key {
            line,
            key,
            expected,
        } => problem(
            SETTINGS,
            format!("line {line}, {}", quoted(key)),
            expected.as_str(),
        ),
        SettingsError::Value {
            key,
            found,
            expected,
        } => {
            let line = line_of(text, key)
                .map(|line| format!("line {line}, "))
                .unwrap_or_default();
            problem(SETTINGS, format!("{line}`{key}` = {found}"), *expected)
        }
    }
}

/// A date format that no date can be read by.
fn date_format(text: &str, settings: &Settings) -> Option<Problem> {
    let format = settings.date_format.as_deref()?;
    let sound = is_date_format(format);
    let line = line_of(text, "date_format")
        .map(|line| format!("line {line}, "))
        .unwrap_or_default();
    (!sound).then(|| {
        let expected = "`strftime` letters for day, month and year, such as `%m/%d/%Y`";
        problem(
            SETTINGS,
            format!("{line}`date_format` = {}", quoted(format)),
            expected,
        )
    })
}

/// A reference group that no product of the records is of.
pub(super) fn reference_group(dir: &Path, records: &Records) -> Result<Option<Problem>, ReadError> {
    const KEY: &str = "reference_group";
    let groups: BTreeSet<&str> = records.products.iter().map(|p| p.group.as_str()).collect();
    let wanted = records.settings.reference_group.as_deref();
    // Without any product nothing is there to refer to yet.
    let Some(wanted) = wanted.filter(|w| !groups.is_empty() && !groups.contains(w)) else {
        return Ok(None);
    };
    let text = text(&there::named(dir, SETTINGS))?.unwrap_or_default();
    let line = line_of(&text, KEY).map(|line| format!("line {line}, "));
    let found = format!("{}`{KEY}` = {}", line.unwrap_or_default(), quoted(wanted));
    let known: Vec<String> = groups.into_iter().map(quoted).collect();
    let expected = format!("a product group of the records: {}", known.join(", "));
    Ok(Some(problem(SETTINGS, found, expected)))
}

/// Whether every day can be written and read back in a form.
pub(super) fn is_date_format(format: &str) -> bool {
    // A day is written and read back: a format that leaves out the year, month or day fails.
    let day = chrono::NaiveDate::from_ymd_opt(2026, 4, 17).unwrap_or_default();
    let broken = StrftimeItems::new(format).any(|item| matches!(item, Item::Error));
    let mut written = String::new();
    !broken
        && std::fmt::Write::write_fmt(&mut written, format_args!("{}", day.format(format))).is_ok()
        && chrono::NaiveDate::parse_from_str(&written, format) == Ok(day)
}

/// Part families: the built-in ones, those of `models` in the records folder, and those of `extra`;
/// a later one replaces an earlier one of the same name.
///
/// A model file that cannot be understood is a problem; the family it replaces, if any, stays.
///
/// # Errors
/// [`ReadError`] when `extra` is not there, or a file or folder may not be read.
pub fn families(
    dir: Option<&Path>,
    extra: Option<&Path>,
) -> Result<(Families, Vec<Problem>), ReadError> {
    let mut families = Families::built_in();
    let mut problems = Vec::new();
    let own = dir
        .map(|dir| dir.join("models"))
        .filter(|models| models.is_dir() || models.is_symlink());
    for folder in own.iter().map(PathBuf::as_path).chain(extra) {
        model_folder(folder, &mut families, &mut problems)?;
    }
    problems.sort();
    Ok((families, problems))
}

/// Adds the families of one folder.
fn model_folder(
    folder: &Path,
    families: &mut Families,
    problems: &mut Vec<Problem>,
) -> Result<(), ReadError> {
    let paths = files(folder)?;
    let models = paths.iter().filter(|path| extension(path) == "toml");
    for file in model_files(models)? {
        let source = format!("{}/{}", file_name(folder), file_name(&file.path));
        match file.family {
            Ok(family) => families.insert(family),
            Err(error) => problems.push(model_problem(&source, &error)),
        }
    }
    Ok(())
}

/// A model file, and what it says or what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelFile {
    /// The file.
    pub path: PathBuf,
    /// Its family.
    pub family: Result<Family, ModelFileError>,
}

/// What is wrong with a model file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ModelFileError {
    /// The text.
    #[error(transparent)]
    Family(#[from] FamilyError),
    /// Another encoding.
    #[error("not text in UTF-8; save it again")]
    Encoding,
    /// Two files for one family contradict each other.
    #[error(
        "key `family`: `{family}` is the family of {first} too; delete or rename one of the two"
    )]
    Twice {
        /// The family.
        family: String,
        /// Name of the file that is read.
        first: String,
    },
}

/// Reads model files; of two for one family the second is refused.
///
/// # Errors
/// [`ReadError`] when a file is not there or may not be read.
pub fn model_files<'a>(
    paths: impl IntoIterator<Item = &'a PathBuf>,
) -> Result<Vec<ModelFile>, ReadError> {
    let mut known: BTreeMap<String, String> = BTreeMap::new();
    let mut read = Vec::new();
    for path in paths {
        let mut family = match text(path)? {
            Ok(text) => Family::from_toml(&text).map_err(ModelFileError::from),
            Err(()) => Err(ModelFileError::Encoding),
        };
        if let Ok(Family { name, .. }) = &family {
            if let Some(first) = known.get(name) {
                family = Err(ModelFileError::Twice {
                    family: name.clone(),
                    first: first.clone(),
                });
            } else {
                known.insert(name.clone(), file_name(path));
            }
        }
        read.push(ModelFile {
            path: path.clone(),
            family,
        });
    }
    Ok(read)
}

fn model_problem(source: &str, error: &ModelFileError) -> Problem {
    let expected = "a model file of a part family";
    match error {
        ModelFileError::Family(FamilyError::Value {
            line,
            key,
            found,
            expected,
        }) => problem(source, format!("line {line}, `{key}`: {found}"), *expected),
        ModelFileError::Twice { family, first } => problem(
            source,
            format!("`family` = {}, as in {}", quoted(family), quoted(first)),
            "one file for a family; delete or rename one of the two",
        ),
        other => problem(source, other.to_string(), expected),
    }
}
