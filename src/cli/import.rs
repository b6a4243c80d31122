//! `import`: read a standard's files, match names, add what is new to the records.

use std::path::{Path, PathBuf};

use super::args::{ImportArgs, ImportKind, TwoBinsChoice};
use super::output::{self, Forms};
use super::whole::Whole;
use super::{CliError, ExitStatus, Streams};
use crate::import::usage::{self, Imported, TwoBins};
use crate::import::{Kept, meters, taskdata, telematics};
use crate::read::{self, Reading, TableHome};
use crate::record::{Problem, ProblemKind, Severity, Table};
use crate::report::imports::{Fate, ImportReport, Lines};
use crate::report::{csv, json, terminal};

/// Kinds of file that hold task data.
const TASK_FILES: [&str; 2] = ["xml", "bin"];
/// Kinds of file that hold pages of a feed.
const FEED_FILES: [&str; 2] = ["xml", "json"];

pub(super) fn run(args: &ImportArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    output::check_beside(&args.into, &args.target)?;
    match args.kind {
        ImportKind::Taskdata => task_data(args, to),
        ImportKind::Telematics => feed(args, to),
    }
}

fn task_data(args: &ImportArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let files = read::bundle(set(&args.path), &TASK_FILES)?;
    let data = taskdata::read(&files).map_err(|e| unusable(&args.path, &e))?;
    drop(files);
    let Some(reading) = records(&args.into, Table::Usage, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let path = home(&args.into, Table::Usage)?;
    let mut kept = kept(args, &reading)?;
    let existing = read::kept_file(&path)?;
    let into = path.display().to_string();
    let imported = usage::merge(
        &data,
        &reading.records,
        &mut kept,
        match args.two_bins {
            TwoBinsChoice::Whole => TwoBins::Whole,
            TwoBinsChoice::Shared => TwoBins::Shared,
        },
        existing.as_deref(),
        &into,
    )
    .map_err(|why| CliError::Write { path: into, why })?;
    finish(args, &path, imported, &kept, to)
}

/// The folder of a main file that is named itself.
fn set(path: &Path) -> &Path {
    let is_main = |name: &std::ffi::OsStr| name.eq_ignore_ascii_case(taskdata::MAIN);
    match (path.file_name(), path.parent()) {
        (Some(name), Some(parent)) if is_main(name) && !parent.as_os_str().is_empty() => parent,
        (Some(name), _) if is_main(name) => Path::new("."),
        _ => path,
    }
}

fn feed(args: &ImportArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let files = read::bundle(&args.path, &FEED_FILES)?;
    let feed = telematics::read(&files).map_err(|e| unusable(&args.path, &e))?;
    drop(files);
    let Some(reading) = records(&args.into, Table::Meters, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let path = home(&args.into, Table::Meters)?;
    let mut kept = kept(args, &reading)?;
    let existing = read::kept_file(&path)?;
    let into = path.display().to_string();
    let imported = meters::merge(&feed, &mut kept, existing.as_deref(), &into)
        .map_err(|why| CliError::Write { path: into, why })?;
    finish(args, &path, imported, &kept, to)
}

fn unusable(path: &Path, why: &dyn std::fmt::Display) -> CliError {
    CliError::Import(format!("`{}`: {why}", path.display()))
}

/// The file that a table is in, or will be in; one in several places was told before.
fn home(dir: &Path, table: Table) -> Result<PathBuf, CliError> {
    let name = table.name();
    let path = dir.join(format!("{name}.csv"));
    let elsewhere = |source: &str| {
        format!(
            "the table stands in {source}, and rows are added to comma-separated text only; save it as `{name}.csv` \
             in the records folder, take it out of where it stands, and import again"
        )
    };
    let why = match read::table_home(dir, table)? {
        TableHome::Csv(path) => return Ok(path),
        TableHome::Nowhere => return Ok(path),
        TableHome::Other(source) => elsewhere(&source),
        TableHome::Several => elsewhere("several places"),
        TableHome::ThroughRules(source) => format!(
            "{source} is read through the rules of columns.toml, and rows are added under the table's own headers, dates \
             and units only; write these into `{name}.csv` (`wearcast start` has them), take [{name}] out of \
             columns.toml ([{name}.values] may stay), and import again"
        ),
    };
    Err(CliError::Write {
        path: path.display().to_string(),
        why,
    })
}

fn kept(args: &ImportArgs, reading: &Reading) -> Result<Kept, CliError> {
    let mut wrong = None;
    let kept = Kept::new(&reading.records, |kind| {
        read::kept_file(&args.into.join(kind.file())).unwrap_or_else(|error| {
            wrong = Some(error);
            None
        })
    });
    match (wrong, kept) {
        (Some(error), _) => Err(error.into()),
        (None, kept) => kept.map_err(|e| CliError::Import(e.to_string())),
    }
}

/// The records, where they are sound enough to be added to: machines are listed, and the rows of
/// the table that grows can be told apart. What stands in the way is told otherwise.
fn records(dir: &Path, table: Table, to: &mut Streams<'_>) -> Result<Option<Reading>, CliError> {
    let (families, _) = read::families(Some(dir), None)?;
    let reading = read::folder(dir, None, &families)?;
    let source = |table: Table| {
        let found = reading.records.sources.get(&table).map(String::as_str);
        found.unwrap_or(table.name()).to_owned()
    };
    let (grows, machines) = (source(table), source(Table::Machines));
    let stops = |p: &&Problem| {
        let whole = p.place.row.is_none();
        let settings = p.kind == ProblemKind::Settings;
        let torn = matches!(p.kind, ProblemKind::RaggedRow | ProblemKind::Encoding);
        let of = |name: &str| *p.place.source == *name;
        p.severity == Severity::Problem
            && (settings
                || (whole && of(&machines))
                || (p.kind == ProblemKind::TwoPlaces)
                || (of(&grows) && (whole || torn)))
    };
    let wrong: Vec<&Problem> = reading.problems.iter().filter(stops).collect();
    if wrong.is_empty() {
        return Ok(Some(reading));
    }
    for problem in &wrong {
        writeln!(to.err, "{problem}")?;
    }
    writeln!(
        to.err,
        "wearcast: nothing was imported; mend these first (`wearcast check {}` lists all)",
        dir.display()
    )?;
    Ok(None)
}

/// Writes what changed, tells what became of every row, and what is to be done.
fn finish(
    args: &ImportArgs,
    path: &Path,
    imported: Imported,
    kept: &Kept,
    to: &mut Streams<'_>,
) -> Result<ExitStatus, CliError> {
    let Imported { report, table } = imported;
    // Names go first: without rows they are harmless, and the next import adds the rows.
    let mut files = Whole::default();
    if args.dry_run {
        writeln!(to.err, "nothing is written: `--dry-run`")?;
    } else {
        for (name, bytes) in kept.files() {
            files.add(args.into.join(name), bytes, true);
        }
        if let Some(bytes) = table {
            files.add(path, bytes, true);
        }
    }
    let forms = Forms::new(&report, terminal::imports, json::imports, csv::imports);
    output::give_with(files, &forms, &args.target, to)?;
    tell(&report, to)?;
    let aside = report.count(|fate| matches!(fate, Fate::SetAside(_)));
    Ok(if is_sound(&report) || args.set_aside || aside == 0 {
        ExitStatus::Done
    } else {
        ExitStatus::Problems
    })
}

/// Whether nothing in the files or the names stands in the way of a row. Of a reading nothing else can.
fn is_sound(report: &ImportReport) -> bool {
    let is_meters = matches!(report.lines, Lines::Meters(_));
    report.unmatched.is_empty() && report.problems.is_empty() && !is_meters
}

fn tell(report: &ImportReport, to: &mut Streams<'_>) -> Result<(), CliError> {
    for problem in &report.problems {
        writeln!(to.err, "{problem}")?;
    }
    for name in &report.unmatched {
        writeln!(
            to.err,
            "{} `{}` is not matched ({} {} set aside): {}",
            name.kind,
            name.name,
            name.rows,
            if name.rows == 1 { "row" } else { "rows" },
            name.todo
        )?;
    }
    if !report.unmatched.is_empty() {
        writeln!(
            to.err,
            "wearcast: import again when the names are matched; rows that are there already are not doubled"
        )?;
    }
    Ok(())
}
