//! Records folders: every bad input is listed, every row is accounted for.

use std::path::Path;

use chrono::NaiveDate;
use tempfile::TempDir;
use wearcast::family::Families;
use wearcast::read::{self, Reading};
use wearcast::record::{Installed, ProblemKind, Severity, Table};

pub(crate) use crate::fuzz::targets::folder::{GOOD, assert_accounted};

/// A folder of text files that goes away after the test.
pub(crate) struct Folder(TempDir);

impl Folder {
    pub(crate) fn empty() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    pub(crate) fn good() -> Self {
        let folder = Self::empty();
        for (name, text) in GOOD {
            folder.write(name, text);
        }
        folder
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> &Self {
        std::fs::write(self.path().join(name), bytes).expect("a file in a temporary folder");
        self
    }

    pub(crate) fn remove(&self, name: &str) -> &Self {
        std::fs::remove_file(self.path().join(name)).expect("the file is there");
        self
    }

    /// Adds a row, or whatever text, to the end of a good file.
    pub(crate) fn add(&self, name: &str, text: &str) -> &Self {
        let path = self.path().join(name);
        let old = std::fs::read_to_string(&path).expect("a good file");
        self.write(name, format!("{old}{text}\n"))
    }

    pub(crate) fn read(&self) -> Reading {
        let reading =
            read::folder(self.path(), None, &Families::built_in()).expect("readable files");
        assert_accounted(&reading);
        reading
    }
}

pub(crate) fn day(text: &str) -> NaiveDate {
    text.parse().expect("an ISO date")
}

pub(crate) fn problems(
    reading: &Reading,
    severity: Severity,
) -> Vec<(String, Option<u32>, ProblemKind)> {
    let of = reading.problems.iter().filter(|p| p.severity == severity);
    of.map(|p| (p.place.source.to_string(), p.place.row, p.kind))
        .collect()
}

#[test]
fn a_good_folder_has_no_problem_and_uses_every_row() {
    let reading = Folder::good().read();
    assert_eq!(reading.problems, []);
    let used: Vec<u64> = reading.accounts.iter().map(|a| a.used).collect();
    assert_eq!(used, [2, 5, 4, 2, 3, 2, 1, 1, 1, 2]);
    let records = &reading.records;
    assert_eq!(
        records.machine("M1").map(|m| m.records_from),
        Some(day("2024-03-01"))
    );
    assert_eq!(
        records
            .machine("M2")
            .map(|m| m.extra["owner code"].as_str()),
        Some("8")
    );
    assert_eq!(
        records.position("M1", "fins").map(|p| p.installed),
        Some(Installed::On(day("2024-03-01")))
    );
    assert_eq!(
        records.position("M2", "fins").map(|p| p.installed),
        Some(Installed::Unknown)
    );
    assert_eq!(
        records.position("M2", "chain").and_then(|p| p.before.tons),
        Some(250.0)
    );
    assert_eq!(
        records.part("C-1").map(|p| (p.pack, p.price)),
        Some((1, Some(900.0)))
    );
    assert_eq!(records.products[1].group, "potash");
    assert_eq!(records.plan[0].month, day("2025-04-01"));
    assert_eq!(records.sources[&Table::Usage], "usage.csv");
}

/// Instead of a good file: file, whole text, kind of the one problem of the whole table.
#[rustfmt::skip]
const BAD_FILES: &[(&str, &[u8], ProblemKind)] = &[
    ("stock.csv", b"", ProblemKind::MissingColumn),
    ("stock.csv", b"\n \n", ProblemKind::MissingColumn),
    ("stock.csv", b"part,held\nF-1,3\n", ProblemKind::MissingColumn),
    ("stock.csv", b"part,on_hand,On Hand\nF-1,3,3\n", ProblemKind::ColumnTwice),
    ("stock.csv", b"part,on_hand,colour,Colour\nF-1,3,a,b\n", ProblemKind::ColumnTwice),
    ("stock.csv", b"part;on_hand\nF-1;3,5\n", ProblemKind::Encoding),
    ("stock.csv", b"part\ton_hand\nF-1\t3\n", ProblemKind::Encoding),
    ("stock.csv", b"\xff\xfep\0a\0r\0t\0", ProblemKind::Encoding),
    ("stock.csv", b"p\0a\0r\0t\0,\0", ProblemKind::Encoding),
    ("stock.csv", b"PK\x03\x04 and so on", ProblemKind::Encoding),
    ("stock.csv", b"part,on_hand,caf\xe9\nF-1,3,\n", ProblemKind::Encoding),
    ("stock.csv", b"part,\"on_hand\nF-1,3\n", ProblemKind::Encoding),
    ("usage.csv", b"date,machine,product\n2024-04-01,M1,lime\n", ProblemKind::MissingColumn),
    ("usage.csv", b"date,machine,product,acres,hectares\n2024-04-01,M1,lime,1,1\n", ProblemKind::ColumnTwice),
    ("settings.toml", b"labor_rate = 12,5", ProblemKind::Settings),
    ("settings.toml", b"labour_rate = 12.5", ProblemKind::Settings),
    ("settings.toml", b"labor_rate = -1", ProblemKind::Settings),
    ("settings.toml", b"date_format = \"%Q\"", ProblemKind::Settings),
    ("settings.toml", b"date_format = \"%m/%d\"", ProblemKind::Settings),
    ("settings.toml", b"currency = \"\xa3\"", ProblemKind::Settings),
];

#[test]
fn a_table_that_cannot_be_used_is_one_problem_without_a_row() {
    for (file, text, kind) in BAD_FILES {
        let reading = Folder::good().write(file, text).read();
        let shown = String::from_utf8_lossy(text);
        let found = problems(&reading, Severity::Problem);
        assert_eq!(found, [((*file).to_owned(), None, *kind)], "{shown}");
        assert!(reading.has_whole_problems());
    }
}

#[test]
fn a_header_alone_is_a_table_of_no_rows() {
    let folder = Folder::good();
    folder
        .write("stock.csv", "part,on_hand\n")
        .write("plan.csv", "\u{feff}month,machine,product,tons");
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    assert_eq!(reading.accounts[8].read, 0);
}

#[test]
fn settings_name_line_and_key_of_what_is_wrong() {
    let reading = Folder::good()
        .write("settings.toml", "units = \"us\"\nlabour_rate = 1\n")
        .read();
    assert!(
        reading.problems[0].found.contains("line 2"),
        "{}",
        reading.problems[0]
    );
    assert!(
        reading.problems[0].found.contains("labour_rate"),
        "{}",
        reading.problems[0]
    );
    let reading = Folder::good()
        .write("settings.toml", "units = \"us\"\nlabor_rate = -1\n")
        .read();
    assert!(
        reading.problems[0].found.contains("line 2, `labor_rate`"),
        "{}",
        reading.problems[0]
    );
}

#[test]
fn everything_wrong_with_the_settings_is_told_at_once_with_its_line_and_key() {
    let text = "labour_rate = 1\nunits = \"imperial\"\nlabor_rate = \"40\"\nrush_cost = -1\n\
                service_level = 95\nseason_starts = \"13-01\"\nholding_rate = 12,5\n\
                date_format = \"%Q\"\nreference_group = \"no such group\"\nbudget_limit = 9\n";
    let reading = Folder::good().write("settings.toml", text).read();
    let found: Vec<&str> = reading.problems.iter().map(|p| p.found.as_str()).collect();
    let told = |line: &str, key: &str| {
        let line = format!("line {line},");
        let hits = found
            .iter()
            .filter(|f| f.starts_with(&line) && f.contains(key));
        assert_eq!(hits.count(), 1, "{line} {key}: {found:#?}");
    };
    told("1", "`labour_rate`");
    told("2", "`units`");
    told("3", "`labor_rate`");
    told("4", "`rush_cost`");
    told("5", "`service_level`");
    told("6", "`season_starts`");
    told("7", "");
    told("8", "`date_format`");
    told("9", "`reference_group`");
    assert_eq!(found.len(), 9, "{found:#?}");
    // What is sound holds.
    assert_eq!(reading.records.settings.budget_limit, Some(9.0));
    assert_eq!(reading.records.settings.season_start(), (11, 1));
}

#[test]
fn dates_in_the_form_of_the_settings_are_read_and_never_guessed() {
    let folder = Folder::good();
    folder
        .write("settings.toml", "date_format = \"%m/%d/%Y\"")
        .add("usage.csv", "06/13/2024,M1,lime,1,1,1,rear");
    assert_eq!(folder.read().problems, []);
    folder.add("usage.csv", "13/06/2024,M1,lime,1,1,1,rear");
    assert_eq!(
        problems(&folder.read(), Severity::Problem),
        [("usage.csv".to_owned(), Some(6), ProblemKind::NotADate)]
    );
}

#[test]
fn a_name_that_is_not_utf8_costs_its_row_alone() {
    let folder = Folder::good();
    let mut bytes = GOOD[4].1.as_bytes().to_vec();
    bytes.extend(b"2024-06-01,M1,lim\xe9,1,1,1,rear\n2024-06-02,M1,lime,1,1,1,rear\n");
    let reading = folder.write("usage.csv", bytes).read();
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("usage.csv".to_owned(), Some(5), ProblemKind::Encoding)]
    );
    assert_eq!(reading.problems[0].place.column.as_deref(), Some("product"));
    assert_eq!(reading.accounts[4].used, 4);
}

#[test]
fn a_quote_never_closed_costs_its_row_and_not_the_rest_of_the_file() {
    let folder = Folder::good();
    folder.add("usage.csv", "2024-06-01,M1,lime,1,1,1,\"rear\n2024-06-02,M1,\"lime\",1,1,1,rear\n2024-06-03,M1,lime,1,1,1,rear");
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("usage.csv".to_owned(), Some(5), ProblemKind::RaggedRow)]
    );
    assert_eq!(reading.accounts[4].used, 5);
}

#[test]
fn blank_rows_are_counted_in_row_numbers_and_nowhere_else() {
    let folder = Folder::good();
    folder.add("stock.csv", "\n,,,\nF-9,1,,");
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("stock.csv".to_owned(), Some(5), ProblemKind::Unknown)]
    );
    assert_eq!(reading.accounts[8].read, 2);
}

#[test]
fn line_ends_of_any_one_kind_and_trailing_commas_are_harmless() {
    for end in ["\r\n", "\r", "\n"] {
        let folder = Folder::good();
        for (name, text) in GOOD {
            folder.write(name, text.replace('\n', &format!(",,{end}")));
        }
        assert_eq!(folder.read().problems, [], "{end:?}");
    }
}

#[test]
fn a_note_of_two_lines_in_quotes_is_one_row() {
    let folder = Folder::good();
    folder.write(
        "stock.csv",
        "part,on_hand,note\nF-1,3,\"two\nlines, \"\"one\"\" row\"\nF-9,1,\n",
    );
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("stock.csv".to_owned(), Some(3), ProblemKind::Unknown)]
    );
    assert_eq!(
        reading.records.stock[0].extra["note"],
        "two\nlines, \"one\" row"
    );
}

#[test]
fn units_of_the_header_are_converted_on_the_way_in() {
    let folder = Folder::good();
    folder.write(
        "usage.csv",
        "Date,MACHINE,Product,Hectares,kg,Bin\n2024-04-01,M1,lime,40.468564224,907184.74,rear\n",
    );
    let reading = folder.read();
    let amounts = reading.records.usage.iter().next().expect("a row").amounts;
    assert!((amounts.acres.expect("given") - 100.0).abs() < 1e-9);
    assert!((amounts.tons.expect("given") - 1000.0).abs() < 1e-9);
    assert_eq!(amounts.hours, None);
}
