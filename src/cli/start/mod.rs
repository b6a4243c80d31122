//! `start`: an empty records workbook, or a copy of a sample folder.

mod samples;

use std::io::Write;

use super::args::StartArgs;
use super::next::quoted;
use super::output;
use super::{CliError, ExitStatus};
use crate::family::Families;
use crate::read;
use crate::report::xlsx::blank::blank;

pub(super) use samples::names as sample_names;

type Out<'a> = &'a mut dyn Write;

/// The settings that go beside the workbook.
const SETTINGS: &str = include_str!("settings.toml");
const WORKBOOK: &str = "records.xlsx";

pub(super) fn run(args: &StartArgs, out: Out<'_>) -> Result<ExitStatus, CliError> {
    let files: Vec<(&str, Vec<u8>)> = if let Some(name) = &args.example {
        let sample = samples::find(name).ok_or_else(|| {
            let names: Vec<&str> = sample_names().collect();
            CliError::Usage(format!(
                "no example `{name}`; there are {}",
                names.join(", ")
            ))
        })?;
        let copy = |(name, bytes): &(&'static str, &[u8])| (*name, bytes.to_vec());
        sample.files.iter().map(copy).collect()
    } else {
        let families = Families::built_in();
        let names: Vec<&str> = families.iter().map(|f| f.name.as_str()).collect();
        let book = blank(&names, !args.no_examples)?;
        vec![
            (WORKBOOK, book),
            ("settings.toml", SETTINGS.as_bytes().to_vec()),
        ]
    };
    refuse(args, &files)?;
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let named = |(name, bytes): &(&str, Vec<u8>)| ((*name).to_owned(), bytes.clone());
    output::give_files(&args.dir, files.iter().map(named).collect(), args.force)?;
    for name in names {
        writeln!(out, "wrote {}", args.dir.join(name).display())?;
    }
    next(args, out)?;
    Ok(ExitStatus::Done)
}

/// A folder that holds records is left alone, unless it is forced; and even then never so that
/// a table stands in two places afterwards.
fn refuse(args: &StartArgs, files: &[(&str, Vec<u8>)]) -> Result<(), CliError> {
    let held = read::records_held(&args.dir)?;
    let ours = |name: &String| files.iter().any(|(file, _)| file == name);
    let wrong = |why: String| {
        Err(CliError::Write {
            path: args.dir.display().to_string(),
            why,
        })
    };
    if !held.is_empty() && !args.force {
        return wrong(format!(
            "it holds records already ({}); name another folder, or add `--force` to replace files of the same name",
            held.join(", ")
        ));
    }
    let is_table = |name: &&String| !name.eq_ignore_ascii_case("settings.toml");
    let others: Vec<&str> = held
        .iter()
        .filter(|name| !ours(name))
        .filter(is_table)
        .map(String::as_str)
        .collect();
    if others.is_empty() {
        return Ok(());
    }
    wrong(format!(
        "beside what would be written it holds {}, and a table may stand in one place only; move these away first",
        others.join(", ")
    ))
}

fn next(args: &StartArgs, out: Out<'_>) -> Result<(), CliError> {
    let dir = quoted(&args.dir);
    if args.example.is_some() {
        writeln!(out, "Invented records. Next: wearcast budget {dir}")?;
        return Ok(());
    }
    writeln!(
        out,
        "Next: open {WORKBOOK}, read its first sheet, fill in machines, parts, positions, products"
    )?;
    writeln!(out, "and usage, save, and run: wearcast check {dir}")?;
    Ok(())
}
