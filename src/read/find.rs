//! Which file of a folder, or sheet of its workbook, holds which table.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::record::{Place, Problem, ProblemKind, Severity, Table};

use super::cell::quoted;
use super::error::ReadError;
use super::header::normal;
use super::mapping::{self, Mapping};
use super::parts;
use super::there;
use super::xlsx::Book;

/// Where a table is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Home {
    Csv(PathBuf),
    Parquet(PathBuf),
    /// A folder of Parquet files, or a sheet or file for each year, for the usage log only.
    Parts(Vec<Part>),
    Sheet(String),
}

/// One file of a table that is kept in several, such as `usage/season=2026/part.parquet`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) found: Found,
    /// What the names of its folders say, such as `season` and `2026`: columns that are left out
    /// of the file.
    pub(super) constants: Vec<(String, String)>,
}

/// A table and the words for where it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) source: String,
    pub(super) home: Home,
}

impl Found {
    /// The files the table is in, each with columns that its folders stand for.
    pub(super) fn files(&self) -> Vec<(Self, Vec<(String, String)>)> {
        let Home::Parts(parts) = &self.home else {
            return vec![(self.clone(), Vec::new())];
        };
        parts
            .iter()
            .map(|part| (part.found.clone(), part.constants.clone()))
            .collect()
    }

    /// Whether a problem that names this place is one of the table.
    pub(super) fn is_source_of(&self, source: &str) -> bool {
        match &self.home {
            Home::Parts(parts) => parts.iter().any(|part| part.found.is_source_of(source)),
            _ => self.source == source,
        }
    }

    /// Whether the table, or some of it, is there.
    fn is_at(&self, home: &Home) -> bool {
        match &self.home {
            Home::Parts(parts) => parts.iter().any(|part| part.found.is_at(home)),
            own => own == home,
        }
    }
}

/// What a folder holds.
pub(super) struct Folder {
    /// Every table that is in one place.
    pub(super) tables: BTreeMap<Table, Found>,
    pub(super) book: Option<Book>,
    /// What `columns.toml` says.
    pub(super) mapping: Mapping,
    pub(super) problems: Vec<Problem>,
}

/// Sheets that explain a workbook and hold no records.
const EXPLAINING: [&str; 8] = [
    "readme",
    "about",
    "help",
    "notes",
    "lists",
    "instructions",
    "start",
    "settings",
];

/// Tables that `import` keeps beside the records: what a name in a file stands for.
const KEPT_BESIDE: [&str; 3] = ["machine_names.csv", "bin_names.csv", "product_names.csv"];

/// Whether a file is one of these.
pub(super) fn is_kept_beside(name: &str) -> bool {
    KEPT_BESIDE.contains(&name.to_lowercase().as_str())
}

/// A problem of a whole file.
pub(super) fn whole(
    severity: Severity,
    source: &str,
    kind: ProblemKind,
    found: impl Into<String>,
    expected: impl Into<String>,
) -> Problem {
    let expected: String = expected.into();
    Problem {
        severity,
        place: Place {
            source: source.into(),
            row: None,
            column: None,
        },
        kind,
        found: found.into(),
        expected: expected.into(),
    }
}

/// File names of a folder in order, without hidden and lock files; what would be read and cannot be
/// opened as a file is an error, since without it other results would come out.
pub(super) fn files(dir: &Path) -> Result<Vec<PathBuf>, ReadError> {
    let meta = std::fs::metadata(dir).map_err(|e| ReadError::io(dir, &e))?;
    if !meta.is_dir() {
        return Err(ReadError::NotAFolder {
            path: dir.to_path_buf(),
        });
    }
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(dir).map_err(|e| ReadError::io(dir, &e))? {
        let path = entry.map_err(|e| ReadError::io(dir, &e))?.path();
        let name = file_name(&path);
        if name.starts_with('.') || name.starts_with("~$") {
            continue;
        }
        if path.is_file() {
            paths.push(path);
        } else if there::is_missed(&path, &name) {
            there::as_file(&path)?;
        }
    }
    paths.sort();
    Ok(paths)
}

/// Last part of a path, for people.
pub(super) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Extension in lower case.
pub(super) fn extension(path: &Path) -> String {
    path.extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default()
}

pub(super) fn table_named(name: &str) -> Option<Table> {
    let name = normal(name);
    Table::ALL.into_iter().find(|table| table.name() == name)
}

/// Looks for the tables of a folder.
pub(super) fn folder(dir: &Path) -> Result<Folder, ReadError> {
    folder_with(dir, None)
}

/// The same with daily sums of use in a file of their own, in place of the usage log.
pub(super) fn folder_with(dir: &Path, usage_sums: Option<&Path>) -> Result<Folder, ReadError> {
    let mut homes: BTreeMap<Table, Vec<Found>> = BTreeMap::new();
    let mut years = parts::Years::default();
    let (mut mapping, mut problems) = mapping::read(dir)?;
    for path in mapping.files().map(|name| dir.join(name)) {
        if !path.is_dir() {
            there::as_file(&path)?;
        }
    }
    let mut books = Vec::new();
    for path in files(dir)? {
        let mapped = mapping.table_of_file(&file_name(&path));
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        // `usage.csv.gz` and `usage.csv.txt` are meant as well.
        let first = stem.split('.').next().unwrap_or_default();
        let table = mapped.or_else(|| table_named(&stem).or_else(|| table_named(first)));
        let home = match extension(&path).as_str() {
            "txt" | "tsv" if mapped.is_some() => Home::Csv(path.clone()),
            "csv" => Home::Csv(path.clone()),
            "parquet" => Home::Parquet(path.clone()),
            "xlsx" => {
                books.push(path);
                continue;
            }
            other => {
                problems.extend(unread(&path, other, table));
                continue;
            }
        };
        let source = file_name(&path);
        match table {
            Some(table) => homes.entry(table).or_default().push(Found { source, home }),
            None if is_kept_beside(&source) => {}
            None => match parts::year_of(&stem) {
                Some(year) => years.add(year, Found { source, home }),
                None => problems.push(no_table(&source)),
            },
        }
    }
    if usage_sums.is_none() {
        let (parts, told) = parts::usage(dir)?;
        problems.extend(told);
        if !parts.is_empty() {
            homes.entry(Table::Usage).or_default().extend(parts);
        }
    }
    let mut places = Places {
        homes: &mut homes,
        years: &mut years,
    };
    let (book, several_books) = workbook(&books, &mapping, &mut places, &mut problems)?;
    problems.extend(years.settle(&mut homes));
    if let Some(path) = usage_sums {
        let (sums, told) = parts::sums(path)?;
        problems.extend(told);
        homes.insert(Table::Usage, vec![sums]);
        // Its rules are for the log that the sums take the place of.
        mapping.tables.remove(&Table::Usage);
    }
    let mut book = book;
    without_blank(&mut homes, book.as_mut())?;
    problems.extend(mapping.without_home(&homes));
    let tables = single(homes, &mut problems);
    if !several_books {
        problems.extend(missing(&tables, &problems));
    }
    Ok(Folder {
        tables,
        book,
        mapping,
        problems,
    })
}

/// A sheet that was to be filled in stands in nobody's way where the table is elsewhere, as after an
/// import.
fn without_blank(
    homes: &mut BTreeMap<Table, Vec<Found>>,
    book: Option<&mut Book>,
) -> Result<(), ReadError> {
    let Some(book) = book else { return Ok(()) };
    let grown = [Table::Usage, Table::Meters];
    let several =
        |(table, places): &(&Table, &mut Vec<Found>)| grown.contains(table) && 1 < places.len();
    for (_, places) in homes.iter_mut().filter(several) {
        let sheet = places
            .iter()
            .enumerate()
            .find_map(|(i, found)| match &found.home {
                Home::Sheet(sheet) => Some((i, sheet.clone())),
                _ => None,
            });
        if let Some((at, sheet)) = sheet
            && book.is_blank(&sheet)?
        {
            places.remove(at);
        }
    }
    Ok(())
}

/// A file that looks as if it were meant, and is not read.
fn unread(path: &Path, extension: &str, table: Option<Table>) -> Option<Problem> {
    let is_book = matches!(extension, "xls" | "xlsm" | "xlsb" | "ods");
    (is_book || table.is_some()).then(|| {
        let expected = "a table as .csv or .parquet, or a workbook saved as .xlsx; ignored";
        let found = format!("a file of kind {}", quoted(&format!(".{extension}")));
        whole(
            Severity::Remark,
            &file_name(path),
            ProblemKind::Unread,
            found,
            expected,
        )
    })
}

fn no_table(source: &str) -> Problem {
    let names: Vec<&str> = Table::ALL.iter().map(|table| table.name()).collect();
    let expected = format!("one of the tables {}; ignored", names.join(", "));
    whole(
        Severity::Remark,
        source,
        ProblemKind::MissingTable,
        "a name that is no table's",
        expected,
    )
}

/// Files and sheets that no table has, with the names they go by.
pub(super) fn strangers(dir: &Path, folder: &Folder) -> Result<Vec<(String, Found)>, ReadError> {
    let known = |home: &Home| folder.tables.values().any(|found| found.is_at(home));
    let mut list = Vec::new();
    for path in files(dir)? {
        let name = file_name(&path);
        let home = match extension(&path).as_str() {
            "csv" | "txt" | "tsv" => Home::Csv(path),
            "parquet" => Home::Parquet(path),
            _ => continue,
        };
        if !known(&home) && !is_kept_beside(&name) {
            let source = name.clone();
            list.push((name, Found { source, home }));
        }
    }
    for sheet in folder.book.iter().flat_map(Book::sheets) {
        let home = Home::Sheet(sheet.clone());
        if !known(&home) && !EXPLAINING.contains(&normal(&sheet).as_str()) {
            let source = sheet.clone();
            list.push((sheet, Found { source, home }));
        }
    }
    Ok(list)
}

/// Where the tables of a folder were found.
struct Places<'a> {
    homes: &'a mut BTreeMap<Table, Vec<Found>>,
    years: &'a mut parts::Years,
}

/// The only workbook of records, and whether there are several; those of results are passed over.
fn workbook(
    books: &[PathBuf],
    mapping: &Mapping,
    places: &mut Places<'_>,
    problems: &mut Vec<Problem>,
) -> Result<(Option<Book>, bool), ReadError> {
    let mut first = None;
    let mut others = Vec::new();
    for path in books {
        let book = Book::open(path);
        if book.as_ref().is_ok_and(Book::holds_results) {
            problems.push(of_results(&file_name(path)));
        } else if first.is_none() {
            first = Some((path, book));
        } else {
            others.push(quoted(&file_name(path)));
        }
    }
    let Some((path, book)) = first else {
        return Ok((None, false));
    };
    if !others.is_empty() {
        problems.push(whole(
            Severity::Problem,
            &file_name(path),
            ProblemKind::TwoPlaces,
            format!("another workbook beside it: {}", others.join(", ")),
            "one workbook in a records folder; move the others away",
        ));
        return Ok((None, true));
    }
    let book = book?;
    for sheet in book.sheets() {
        let source = format!("{}, sheet {sheet}", file_name(path));
        match mapping
            .table_of_sheet(&sheet)
            .or_else(|| table_named(&sheet))
        {
            Some(table) => places.homes.entry(table).or_default().push(Found {
                source,
                home: Home::Sheet(sheet),
            }),
            None if EXPLAINING.contains(&normal(&sheet).as_str()) => {}
            None => match parts::year_of(&sheet) {
                Some(year) => {
                    let home = Home::Sheet(sheet);
                    places.years.add(year, Found { source, home });
                }
                None => problems.push(no_table(&source)),
            },
        }
    }
    Ok((Some(book), false))
}

fn of_results(source: &str) -> Problem {
    whole(
        Severity::Remark,
        source,
        ProblemKind::MissingTable,
        "a workbook of results",
        "records; ignored",
    )
}

/// Keeps the tables that are in one place.
fn single(
    homes: BTreeMap<Table, Vec<Found>>,
    problems: &mut Vec<Problem>,
) -> BTreeMap<Table, Found> {
    let mut tables = BTreeMap::new();
    for (table, mut places) in homes {
        let first = places.remove(0);
        if places.is_empty() {
            tables.insert(table, first);
            continue;
        }
        let others: Vec<String> = places.iter().map(|found| quoted(&found.source)).collect();
        problems.push(whole(
            Severity::Problem,
            &first.source,
            ProblemKind::TwoPlaces,
            format!(
                "the table `{}` here and in {}",
                table.name(),
                others.join(", ")
            ),
            "each table in one place; delete or rename the one that is out of date, or put its rows below the others",
        ));
    }
    tables
}

/// Tables that are needed, or without which little can be told.
fn missing(tables: &BTreeMap<Table, Found>, problems: &[Problem]) -> Vec<Problem> {
    let doubled = |table: Table| {
        let words = format!("the table `{}` here", table.name());
        problems.iter().any(|p| p.found.starts_with(&words))
    };
    let needed =
        [Table::Machines, Table::Positions, Table::Parts].map(|t| (t, Severity::Problem, ""));
    let wanted = [
        (
            Table::Usage,
            Severity::Remark,
            "; without it lives can be counted in days only",
        ),
        (
            Table::Replacements,
            Severity::Remark,
            "; without it no part is known to have worn out",
        ),
    ];
    let all = needed.into_iter().chain(wanted);
    all.filter(|(table, ..)| !tables.contains_key(table) && !doubled(*table))
        .map(|(table, severity, why)| {
            let name = table.name();
            let expected = format!(
                "`{name}.csv`, `{name}.parquet` or a sheet `{name}` of the only .xlsx file in the folder{why}; \
                 README.md shows a small one of each"
            );
            whole(severity, name, ProblemKind::MissingTable, "no such table", expected)
        })
        .collect()
}
