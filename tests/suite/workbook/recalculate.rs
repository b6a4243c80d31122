//! Every stored result against what a spreadsheet program makes of the formulas.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use calamine::{Data, Reader, Xlsx, open_workbook};
use wearcast::report::xlsx::budget;

use super::fixture;

/// Recalculate every formula on loading, which is not the default.
const SETTINGS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"#;

#[test]
#[expect(
    clippy::print_stderr,
    reason = "a skipped test must say that it was skipped"
)]
fn stored_results_are_those_of_a_recalculation() {
    let Some(program) = on_path("soffice") else {
        eprintln!("skipped: no `soffice` on PATH, stored results were not recalculated");
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let reports = [
        ("usual", fixture::usual()),
        ("thin", fixture::thin()),
        ("bare", fixture::bare()),
        ("large", fixture::large()),
    ];
    let files = reports.map(|(name, report)| {
        let file = folder.path().join(format!("{name}.xlsx"));
        fs::write(&file, budget(&report).expect("a workbook"))
            .expect("a file in the temporary folder");
        file
    });
    // A result that is wrong on purpose: it shows that formulas are indeed recalculated.
    let wrong = wrong_on_purpose(folder.path());
    let recalculated = convert(
        &program,
        folder.path(),
        &[files.as_slice(), &[wrong]].concat(),
    );
    assert_eq!(
        cells(&recalculated.join("wrong.xlsx"))[0].3,
        Data::Float(2.0)
    );
    for file in &files {
        let compared = compare(
            file,
            &recalculated.join(file.file_name().expect("a file name")),
        );
        assert!(compared >= 3, "{} formulas in {}", compared, file.display());
    }
}

/// Compares every formula cell; their number.
pub(super) fn compare(stored: &Path, recalculated: &Path) -> usize {
    let (before, after) = (cells(stored), cells(recalculated));
    for (sheet, cell, formula, value) in &before {
        let found = after.iter().find(|(s, c, ..)| s == sheet && c == cell);
        let again = found.map_or(&Data::Empty, |(.., value)| value);
        assert!(
            same(value, again),
            "{sheet} {cell:?} ={formula}: stored {value:?}, recalculated {again:?}"
        );
    }
    before.len()
}

fn same(stored: &Data, again: &Data) -> bool {
    match (stored, again) {
        (Data::Float(a), Data::Float(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1.0),
        (Data::Empty, Data::String(text)) | (Data::String(text), Data::Empty) => text.is_empty(),
        (a, b) => a == b,
    }
}

/// Sheet, place, formula and value of every cell with a formula.
fn cells(file: &Path) -> Vec<(String, (u32, u32), String, Data)> {
    let mut book: Xlsx<_> = open_workbook(file).expect("a workbook that can be read");
    let mut cells = Vec::new();
    for sheet in book.sheet_names() {
        let formulas = book.worksheet_formula(&sheet).expect("formulas");
        let values = book.worksheet_range(&sheet).expect("values");
        let (top, left) = formulas.start().unwrap_or_default();
        for (row, column, formula) in formulas.used_cells() {
            let cell = (top + row as u32, left + column as u32);
            let value = values.get_value(cell).cloned().unwrap_or(Data::Empty);
            cells.push((sheet.clone(), cell, formula.clone(), value));
        }
    }
    cells
}

fn wrong_on_purpose(folder: &Path) -> PathBuf {
    let file = folder.join("wrong.xlsx");
    let mut book = rust_xlsxwriter::Workbook::new();
    let formula = rust_xlsxwriter::Formula::new("1+1").set_result("3");
    book.add_worksheet()
        .write_formula(0, 0, formula)
        .expect("a formula");
    book.save(&file).expect("a file in the temporary folder");
    file
}

pub(super) fn on_path(program: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .map(|folder| folder.join(program))
        .find(|file| file.is_file())
}

/// Has the program read and write the files again; the folder it wrote them to.
pub(super) fn convert(program: &Path, folder: &Path, files: &[PathBuf]) -> PathBuf {
    let (profile, out) = (folder.join("profile"), folder.join("again"));
    fs::create_dir_all(profile.join("user")).expect("a profile folder");
    fs::write(profile.join("user/registrymodifications.xcu"), SETTINGS).expect("profile settings");
    let mut child = Command::new(program)
        .arg(format!(
            "-env:UserInstallation=file://{}",
            profile.display()
        ))
        .args(["--headless", "--convert-to", "xlsx", "--outdir"])
        .arg(&out)
        .args(files)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let begun = Instant::now();
    while child.try_wait().expect("the program's status").is_none() {
        if begun.elapsed() > Duration::from_mins(5) {
            child.kill().expect("the program can be stopped");
            panic!("the recalculation took more than five minutes");
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    out
}
