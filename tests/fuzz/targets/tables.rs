//! Tables of the records, the rules they are read by, and the folder as a whole.

use std::io::{Cursor, Write as _};
use std::path::Path;
use std::sync::OnceLock;

use wearcast::cli::{self, ExitStatus};
use wearcast::family::{Families, Family};
use wearcast::read::{self, ReadError};
use wearcast::record::Settings;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::files;
use super::folder::{GOOD, Room, assert_accounted};

/// Reads a folder, where it can be read at all.
fn read(dir: &Path, sums: Option<&Path>) {
    static FAMILIES: OnceLock<Families> = OnceLock::new();
    let families = FAMILIES.get_or_init(Families::built_in);
    match read::folder_with(dir, sums, None, families) {
        Ok(reading) => assert_accounted(&reading),
        Err(error) => assert_told(&error),
    }
}

/// An error is a sentence that can be read.
fn assert_told(error: &ReadError) {
    let words = error.to_string();
    assert!(words.contains(' ') && words.len() < 10_000, "{words}");
}

/// A number that says which, and the rest.
fn picked(bytes: &[u8], of: usize) -> (usize, &[u8]) {
    let (first, rest) = bytes.split_first().unwrap_or((&0, &[]));
    (usize::from(*first) % of, rest)
}

pub(super) fn csv(room: &mut Room, bytes: &[u8]) {
    let (table, text) = picked(bytes, GOOD.len());
    read(room.good_but(&[(GOOD[table].0, text)]), None);
}

pub(super) fn bare(room: &mut Room, bytes: &[u8]) {
    let names = ["lives.csv", "lives.json"];
    let dir = room.lay(&names.map(|name| (name, bytes))).to_owned();
    for name in names {
        bare_at(&dir.join(name));
    }
}

fn bare_at(path: &Path) {
    match read::bare_lives(path) {
        Ok((lives, _, (rows, used, aside))) => {
            assert_eq!(lives.len() as u64, used);
            assert_eq!(rows, used + aside);
        }
        Err(error) => assert_told(&error),
    }
    match read::bare_ages(path) {
        Ok((ages, _, (rows, used, aside))) => {
            assert_eq!(ages.len() as u64, used);
            assert_eq!(rows, used + aside);
        }
        Err(error) => assert_told(&error),
    }
}

pub(super) fn parquet(room: &mut Room, bytes: &[u8]) {
    let (place, bytes) = picked(bytes, 6);
    let name = [
        "usage.parquet",
        "usage/season=2024/a.parquet",
        "stock.parquet",
        "replacements.parquet",
        "sums.parquet",
        "lives.parquet",
    ][place];
    let dir = room.good_but(&[(name, bytes)]).to_owned();
    let file = dir.join(name);
    match place {
        4 => read(&dir, Some(&file)),
        5 => bare_at(&file),
        _ => read(&dir, None),
    }
    let _ = read::log_columns(&dir);
}

pub(super) fn xlsx(room: &mut Room, bytes: &[u8]) {
    read(room.lay(&[("records.xlsx", bytes)]), None);
}

/// Names of the parts of a workbook, in the order in which an input has them.
pub(super) const PARTS: [&str; 7] = [
    "[Content_Types].xml",
    "_rels/.rels",
    "xl/workbook.xml",
    "xl/_rels/workbook.xml.rels",
    "xl/styles.xml",
    "xl/sharedStrings.xml",
    "xl/worksheets/sheet1.xml",
];

/// The parts of a workbook are put together soundly: behind the archive are texts to get wrong too.
pub(super) fn sheets(room: &mut Room, bytes: &[u8]) {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, part) in PARTS.iter().zip(files::<7>(bytes)) {
        writer.start_file(*name, stored).expect("a part");
        writer.write_all(part).expect("its bytes");
    }
    let book = writer.finish().expect("an archive").into_inner();
    read(room.lay(&[("records.xlsx", &book)]), None);
}

pub(super) fn columns(room: &mut Room, bytes: &[u8]) {
    let [rules, settings, usage, replacements] = files(bytes);
    let dir = room.good_but(&[
        ("columns.toml", rules),
        ("settings.toml", settings),
        ("usage book.csv", usage),
        ("replacements.csv", replacements),
    ]);
    read(dir, None);
    match read::proposal(dir, true) {
        Ok(Some(text)) => assert!(
            text.parse::<toml::Table>().is_ok(),
            "a proposal that is no TOML:\n{text}"
        ),
        Ok(None) => {}
        Err(error) => assert_told(&error),
    }
}

pub(super) fn toml(_: &mut Room, bytes: &[u8]) {
    let [family, settings] = files(bytes).map(String::from_utf8_lossy);
    if let Err(error) = Family::from_toml(&family) {
        assert!(!error.to_string().is_empty());
    }
    for error in Settings::from_toml(&settings).err().into_iter().flatten() {
        assert!(!error.to_string().is_empty());
    }
}

/// Every text of a folder at once, in the order in which an input has them.
pub(super) const TEXTS: usize = GOOD.len() + 3;

pub(super) fn whole_folder(room: &mut Room, bytes: &[u8]) {
    let texts: [&[u8]; TEXTS] = files(bytes);
    let names = GOOD.iter().map(|(name, _)| *name);
    let names = names.chain(["settings.toml", "columns.toml", "models/own.toml"]);
    // An empty text is a file that is not there.
    let laid: Vec<(&str, &[u8])> = names.zip(texts).filter(|(_, t)| !t.is_empty()).collect();
    let dir = room.lay(&laid).display().to_string();
    let check = run(&["check", &dir]);
    assert!(
        [ExitStatus::Done, ExitStatus::Problems, ExitStatus::File].contains(&check),
        "{check:?}"
    );
    run(&["lives", &dir, "--set-aside", "--format", "json"]);
}

fn run(args: &[&str]) -> ExitStatus {
    let args = std::iter::once("wearcast").chain(args.iter().copied());
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = cli::main(args.map(Into::into), &mut out, &mut err);
    assert!(!out.is_empty() || !err.is_empty(), "nothing was said");
    status
}
