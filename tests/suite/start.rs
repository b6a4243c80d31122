//! `wearcast start`: a workbook to be filled in, and copies of the sample folders.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use assert_cmd::cargo::cargo_bin_cmd;
use calamine::{Data, Reader, Xlsx, open_workbook};
use wearcast::read::{self, TableHome};
use wearcast::record::{Settings, Table};

use crate::read::Folder;

fn run(args: &[&str], dir: &Path) -> Output {
    cargo_bin_cmd!("wearcast")
        .arg(args[0])
        .arg(dir)
        .args(&args[1..])
        .output()
        .expect("a run")
}

fn temporary() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// What `check` says of a folder, and that it finds nothing wrong.
fn checked(dir: &Path) -> String {
    let output = run(&["check"], dir);
    let told = String::from_utf8(output.stdout).expect("text");
    assert_eq!(output.status.code(), Some(0), "{told}");
    told
}

#[test]
fn the_workbook_passes_the_check_at_once_with_its_examples_and_without() {
    for (more, rows) in [(&[][..], 18), (&["--no-examples"][..], 0)] {
        let folder = temporary();
        let dir = folder.path().join("new folder");
        let output = run(&[&["start"], more].concat(), &dir);
        assert_eq!(output.status.code(), Some(0));
        let told = checked(&dir);
        let begins = if more.is_empty() {
            // The rows that show how are named as such.
            "1 remark, which stops nothing\n  records.xlsx, sheet machines, row 2, column `machine`\n    found     the example `red spreader`"
        } else {
            "No problems."
        };
        assert!(told.starts_with(begins), "{told}");
        let all = told
            .lines()
            .find(|l| l.trim().starts_with("in all"))
            .expect("a sum");
        assert_eq!(
            all.split_whitespace().nth(2),
            Some(rows.to_string().as_str()),
            "{all}"
        );
    }
}

/// Imports write text files beside a workbook that is still to be filled in.
#[test]
fn a_sheet_to_be_filled_in_stands_in_no_imports_way() {
    let folder = temporary();
    run(&["start", "--no-examples"], folder.path());
    let home = read::table_home(folder.path(), Table::Usage).expect("readable");
    assert_eq!(home, TableHome::Nowhere);
    fs::write(
        folder.path().join("usage.csv"),
        "date,machine,product,acres\n",
    )
    .expect("a file");
    assert!(checked(folder.path()).starts_with("No problems."));
}

/// What a word of the owner stands for is asked of every row, and changes no column.
#[test]
fn words_of_ones_own_stand_in_no_imports_way() {
    let folder = Folder::good();
    let home = || read::table_home(folder.path(), Table::Usage).expect("readable");
    let in_csv = TableHome::Csv(folder.path().join("usage.csv"));
    folder.write(
        "columns.toml",
        "[values.machine]\n\"the old one\" = \"M1\"\n",
    );
    assert_eq!(home(), in_csv);
    folder.write("columns.toml", "[usage]\nseparator = \";\"\n");
    assert!(matches!(home(), TableHome::ThroughRules(_)));
}

#[test]
fn the_examples_are_enough_for_a_budget() {
    let folder = temporary();
    run(&["start"], folder.path());
    assert_eq!(run(&["budget"], folder.path()).status.code(), Some(0));
}

#[test]
fn the_same_workbook_is_written_every_time() {
    let books = [temporary(), temporary()].map(|folder| {
        run(&["start"], folder.path());
        fs::read(folder.path().join("records.xlsx")).expect("a workbook")
    });
    assert!(books[0] == books[1]);
}

/// Headings against the columns that the reader of records names, table by table.
#[test]
fn every_table_has_a_sheet_with_every_column_it_takes() {
    let folder = temporary();
    run(&["start"], folder.path());
    let mut book: Xlsx<_> = open_workbook(folder.path().join("records.xlsx")).expect("a workbook");
    for table in Table::ALL {
        let range = book.worksheet_range(table.name()).expect("a sheet");
        let headings: Vec<String> = range
            .rows()
            .next()
            .expect("headings")
            .iter()
            .map(Data::to_string)
            .collect();
        // A table of one column it does not take: the reader says all that it takes.
        let probe = temporary();
        fs::write(
            probe.path().join(format!("{}.csv", table.name())),
            "nonsense\n1\n",
        )
        .expect("a file");
        let told = run(&["check", "--format", "json"], probe.path()).stdout;
        let told = String::from_utf8(told).expect("text");
        let takes = told
            .split(&format!("the columns of `{}`: ", table.name()))
            .nth(1);
        let takes = takes
            .and_then(|t| t.split(" (* needed)").next())
            .unwrap_or_else(|| panic!("{} takes columns: {told}", table.name()));
        for column in takes.split(", ") {
            let name = column.trim_matches(['`', '*', ' ']);
            let other_unit = ["hectares", "tonnes", "lb", "kg"]
                .iter()
                .any(|unit| name.starts_with(unit));
            assert!(
                other_unit || headings.iter().any(|h| h == name),
                "sheet {} lacks `{name}`",
                table.name()
            );
        }
    }
}

/// The text of a part of the workbook.
fn part(book: &Path, name: &str) -> String {
    let mut archive =
        zip::ZipArchive::new(fs::File::open(book).expect("a file")).expect("an archive");
    let mut text = String::new();
    std::io::Read::read_to_string(&mut archive.by_name(name).expect("a part"), &mut text)
        .expect("text");
    text
}

#[test]
fn lists_draw_on_the_columns_of_other_sheets_and_headings_carry_notes() {
    let folder = temporary();
    run(&["start"], folder.path());
    let book = folder.path().join("records.xlsx");
    // The seventh sheet: start, machines, parts, positions, products, usage, replacements.
    let replacements = part(&book, "xl/worksheets/sheet7.xml");
    for formula in [
        "OFFSET(machines!$A$2",
        "OFFSET(positions!$B$2",
        "OFFSET(parts!$A$2",
        "\"worn,broken,planned,damage,upgrade\"",
    ] {
        assert!(
            replacements.replace("&quot;", "\"").contains(formula),
            "{formula}"
        );
    }
    assert!(replacements.contains("state=\"frozen\""));
    let usage = part(&book, "xl/worksheets/sheet6.xml");
    assert!(usage.contains("OFFSET(products!$A$2"));
    let notes = part(&book, "xl/comments6.xml");
    assert_eq!(
        notes.matches("<comment ").count(),
        13,
        "one for each heading of replacements"
    );
    assert!(notes.contains("The last day somebody looked and found it good"));
}

#[test]
fn every_key_of_the_settings_is_explained_and_may_be_switched_on() {
    let folder = temporary();
    run(&["start"], folder.path());
    let text = fs::read_to_string(folder.path().join("settings.toml")).expect("settings");
    assert_eq!(
        Settings::from_toml(&text).expect("sound"),
        Settings::default()
    );
    let is_key = |line: &str| {
        line.split_once(" = ")
            .is_some_and(|(key, _)| key.bytes().all(|b| b.is_ascii_lowercase() || b == b'_'))
    };
    let on: Vec<&str> = text
        .lines()
        .map(|line| {
            line.strip_prefix("# ")
                .filter(|rest| is_key(rest))
                .unwrap_or(line)
        })
        .collect();
    let settings = Settings::from_toml(&on.join("\n")).expect("sound with every key switched on");
    // Every `None` that is left would be a key that is not explained.
    assert!(!format!("{settings:?}").contains("None"), "{settings:?}");
    for (index, line) in on.iter().enumerate().filter(|(_, line)| is_key(line)) {
        assert!(
            text.lines()
                .nth(index - 1)
                .is_some_and(|l| l.starts_with("# ")),
            "no words above `{line}`"
        );
    }
}

#[test]
fn each_example_is_the_sample_folder_and_passes_the_check() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data");
    for sample in fs::read_dir(samples).expect("samples") {
        let sample = sample.expect("a sample").path();
        if !sample.join("machines.csv").is_file() {
            continue;
        }
        let name = sample
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        let folder = temporary();
        let output = run(&["start", "--example", &name], folder.path());
        assert_eq!(
            output.status.code(),
            Some(0),
            "sample-data/{name}: add it to src/cli/start/samples.rs"
        );
        checked(folder.path());
        let models = fs::read_dir(sample.join("models")).into_iter().flatten();
        for file in fs::read_dir(&sample).expect("files").chain(models) {
            let file = file.expect("a file").path();
            let is_recipe = file.extension().is_some_and(|e| e == "py");
            if file.is_file() && !is_recipe {
                let copy = folder
                    .path()
                    .join(file.strip_prefix(&sample).expect("below"));
                let same = fs::read(&copy).ok() == fs::read(&file).ok();
                assert!(same, "{} is not copied", file.display());
            }
        }
    }
}

#[test]
fn a_folder_that_holds_records_is_left_alone() {
    let folder = temporary();
    run(&["start"], folder.path());
    let book = folder.path().join("records.xlsx");
    fs::write(&book, "mine").expect("a file");
    let again = run(&["start"], folder.path());
    assert_eq!(again.status.code(), Some(3));
    assert!(
        String::from_utf8(again.stderr)
            .expect("text")
            .contains("holds records already")
    );
    assert_eq!(fs::read(&book).expect("a file"), b"mine");
    assert_eq!(
        run(&["start", "--force"], folder.path()).status.code(),
        Some(0)
    );
    checked(folder.path());
    // A table must not come to stand in two places, forced or not.
    let mixed = run(&["start", "--example", "owner", "--force"], folder.path());
    assert_eq!(mixed.status.code(), Some(3));
    checked(folder.path());
    let unknown = run(&["start", "--example", "nobody"], &folder.path().join("x"));
    assert_eq!(unknown.status.code(), Some(2));
}

/// Skipped with a message where there is no `soffice`.
#[test]
#[expect(clippy::print_stderr, reason = "a test that is skipped says so")]
fn the_workbook_still_reads_after_another_program_has_saved_it() {
    let folder = temporary();
    run(&["start"], folder.path());
    let out = folder.path().join("saved");
    let profile = format!(
        "-env:UserInstallation=file://{}/profile",
        folder.path().display()
    );
    let saved = Command::new("soffice")
        .args(["--headless", &profile, "--convert-to", "xlsx", "--outdir"])
        .arg(&out)
        .arg(folder.path().join("records.xlsx"))
        .output();
    if !saved.is_ok_and(|s| s.status.success()) {
        eprintln!("no soffice here: skipped");
        return;
    }
    let account = |dir: &Path| {
        let told = checked(dir);
        told.lines()
            .filter(|l| l.contains("sheet") || l.contains("in all"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(account(&out), account(folder.path()));
}
