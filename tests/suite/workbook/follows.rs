//! The budget's workbook changed by its reader: what a spreadsheet program makes of it, beside what
//! the tool says to records changed in the same way.
//!
//! The spreadsheet program is the outside reference here: it recalculates every formula.

#![expect(
    clippy::print_stderr,
    reason = "a skipped test must say that it was skipped"
)]

use std::fmt::Write as _;
use std::fs;
use std::io::{Cursor, Read as _, Write as _};
use std::path::{Path, PathBuf};

use assert_cmd::cargo::cargo_bin_cmd;
use calamine::{Data, Reader, Xlsx, open_workbook};
use serde_json::Value;
use wearcast::family::Families;
use wearcast::read;
use wearcast::report::xlsx;
use wearcast::study::{Options, Study};

use super::recalculate::{compare, convert, on_path};

fn owner() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/owner")
}

/// A copy of the owner's records in which each table may be another.
fn records(folder: &Path, name: &str, change: impl Fn(&str, String) -> String) -> PathBuf {
    let copy = folder.join(name);
    fs::create_dir(&copy).expect("a folder");
    for entry in fs::read_dir(owner()).expect("the sample") {
        let path = entry.expect("an entry").path();
        let file = path.file_name().and_then(|n| n.to_str()).expect("a name");
        let kind = path.extension().and_then(|e| e.to_str());
        if matches!(kind, Some("csv" | "toml")) {
            let text = fs::read_to_string(&path).expect("a table");
            fs::write(copy.join(file), change(file, text)).expect("a file");
        }
    }
    copy
}

/// Every amount of the plan times a factor.
fn scaled(factor: f64) -> impl Fn(&str, String) -> String {
    move |file, text| {
        if file != "plan.csv" {
            return text;
        }
        let mut lines = text.lines();
        let mut out = format!("{}\n", lines.next().expect("a header"));
        for line in lines {
            let cells: Vec<String> = (line.split(',').enumerate())
                .map(|(i, cell)| match cell.parse::<f64>() {
                    Ok(amount) if (3..6).contains(&i) => (amount * factor).to_string(),
                    _ => cell.to_owned(),
                })
                .collect();
            let _ = writeln!(out, "{}", cells.join(","));
        }
        out
    }
}

fn budget(folder: &Path, records: &Path, file: &str) -> PathBuf {
    let out = folder.join(file);
    let mut command = cargo_bin_cmd!("wearcast");
    command.arg("budget").arg(records).arg("--out").arg(&out);
    command.assert().success();
    out
}

/// Expected total and the figure in 8 of 10, as the tool says.
fn told(folder: &Path, records: &Path) -> [f64; 2] {
    let name = records
        .file_name()
        .and_then(|n| n.to_str())
        .expect("a name");
    let file = budget(folder, records, &format!("{name}.json"));
    let json: Value = serde_json::from_slice(&fs::read(file).expect("a file")).expect("JSON");
    ["expected", "p80"].map(|key| json["total"][key].as_f64().expect("a number"))
}

/// The same workbook with the numbers of some cells of a sheet changed, as its reader would.
fn changed(workbook: &Path, to: &Path, sheet: usize, change: impl Fn(&str, f64) -> f64) {
    let bytes = fs::read(workbook).expect("a workbook");
    let mut from = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip archive");
    let mut out = zip::ZipWriter::new(fs::File::create(to).expect("a file"));
    let name = format!("xl/worksheets/sheet{sheet}.xml");
    for i in 0..from.len() {
        let mut file = from.by_index(i).expect("a part");
        let part = file.name().expect("a name").into_owned();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).expect("bytes");
        if part == name {
            bytes = with_numbers(&String::from_utf8(bytes).expect("text"), &change).into_bytes();
        }
        let options = zip::write::SimpleFileOptions::default();
        out.start_file(part, options).expect("a part");
        out.write_all(&bytes).expect("written");
    }
    out.finish().expect("a zip archive");
}

/// A change to what is no number empties the cell. Numbers that are no formula, text or date stand as `<c r="F5" s="9"><v>0</v></c>`.
fn with_numbers(xml: &str, change: &impl Fn(&str, f64) -> f64) -> String {
    let mut out = String::new();
    for (i, piece) in xml.split("<c r=\"").enumerate() {
        if i == 0 {
            out.push_str(piece);
            continue;
        }
        let cell = piece.split('"').next().expect("a cell's name");
        let number = piece
            .split_once("\"><v>")
            .filter(|(head, _)| !head.contains("t=\"") && !head.contains('>'))
            .and_then(|(head, rest)| Some((head, rest.split_once("</v>")?)));
        let number =
            number.and_then(|(head, (n, rest))| Some((head, n.parse::<f64>().ok()?, rest)));
        // An empty input, `<c r="D5" s="9"/>`, is filled where the change makes it other than 0.
        let empty = piece
            .split_once("/>")
            .filter(|(head, _)| !head.contains('>'));
        let filled = empty.map(|(head, rest)| (head, change(cell, 0.0), rest));
        let filled = filled.filter(|(_, number, _)| *number != 0.0);
        let taken_out = number.filter(|(_, number, _)| change(cell, *number).is_nan());
        let _ = if let Some((head, _, rest)) = taken_out {
            let rest = rest.strip_prefix("</c>").expect("the cell's end");
            write!(out, "<c r=\"{head}\"/>{rest}")
        } else if let Some((head, number, rest)) = number {
            write!(out, "<c r=\"{head}\"><v>{}</v>{rest}", change(cell, number))
        } else if let Some((head, number, rest)) = filled {
            write!(out, "<c r=\"{head}><v>{number}</v></c>{rest}")
        } else {
            write!(out, "<c r=\"{piece}")
        };
    }
    out
}

/// Expected total and the figure in 8 of 10, as the workbook's Summary shows them; nothing in it is an error.
fn shown(workbook: &Path) -> [f64; 2] {
    let mut book: Xlsx<_> = open_workbook(workbook).expect("a workbook");
    for sheet in book.sheet_names() {
        let values = book.worksheet_range(&sheet).expect("values");
        for (row, column, value) in values.used_cells() {
            let wrong = match value {
                Data::Error(_) => true,
                Data::String(text) => text.starts_with("Err:") || text.starts_with("#N"),
                _ => false,
            };
            assert!(!wrong, "{sheet} {row} {column}: {value:?}");
        }
    }
    let summary = book.worksheet_range("Summary").expect("a sheet");
    [4, 5].map(|row| match summary.get_value((row, 2)) {
        Some(Data::Float(number)) => *number,
        other => panic!(
            "{}: row {row} of the Summary is {other:?}",
            workbook.display()
        ),
    })
}

/// Place of a sheet in the workbook, counted from 1.
fn place(workbook: &Path, sheet: &str) -> usize {
    let book: Xlsx<_> = open_workbook(workbook).expect("a workbook");
    let names = book.sheet_names();
    1 + names.iter().position(|n| n == sheet).expect("the sheet")
}

#[track_caller]
fn assert_near(what: &str, shown: [f64; 2], told: [f64; 2], shares: [f64; 2]) {
    for ((name, share), (shown, told)) in ["expected", "8 of 10"]
        .into_iter()
        .zip(shares)
        .zip(shown.into_iter().zip(told))
    {
        let off = (shown / told - 1.0).abs();
        assert!(
            off < share,
            "{what}, {name}: {shown} for {told}, {:.2} % off",
            off * 100.0
        );
    }
}

/// Row and column name of a cell such as `F12`.
fn split(cell: &str) -> (&str, u32) {
    let digits = cell.find(|c: char| c.is_ascii_digit()).expect("a row");
    (&cell[..digits], cell[digits..].parse().expect("a row"))
}

#[test]
fn a_changed_workbook_says_what_the_tool_says() {
    let Some(program) = on_path("soffice") else {
        eprintln!("skipped: no `soffice` on PATH, no changed workbook was recalculated");
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let workbook = budget(folder, &owner(), "budget.xlsx");
    let base = told(folder, &records(folder, "as-it-is", |_, text| text));
    let [plan, prices] = ["Plan", "Prices"].map(|s| place(&workbook, s));
    let mut files = vec![workbook.clone()];
    let mut cases: Vec<(PathBuf, [f64; 2], [f64; 2])> = vec![(workbook.clone(), base, [1e-9; 2])];
    let mut add =
        |from: &Path, name: &str, sheet, change: &dyn Fn(&str, f64) -> f64, told, near| {
            let file = folder.join(format!("{name}.xlsx"));
            changed(from, &file, sheet, change);
            files.push(file.clone());
            cases.push((file, told, near));
        };
    let near = [0.01, 0.03];
    // -37 % lies between two columns of the tables.
    for (name, change) in [("less", -0.30), ("more", 0.50), ("between", -0.37)] {
        let told = told(folder, &records(folder, name, scaled(1.0 + change)));
        let all_at_once = |cell: &str, n: f64| if cell == "F5" { change } else { n };
        add(&workbook, name, plan, &all_at_once, told, near);
        if name == "more" {
            let row_by_row = |cell: &str, n: f64| match split(cell) {
                ("F" | "G" | "H", row) if 7 < row => n * (1.0 + change),
                _ => n,
            };
            add(&workbook, "rows", plan, &row_by_row, told, near);
        }
    }
    let dearer = records(folder, "dearer", |file, text| {
        let dear = text.replace("price_change = 0.04", "price_change = 0.20");
        assert!(file != "settings.toml" || dear != text);
        dear
    });
    let dear = |cell: &str, n: f64| if cell == "D4" { 0.20 } else { n };
    add(
        &workbook,
        "prices",
        prices,
        &dear,
        told(folder, &dearer),
        [1e-6, 0.03],
    );
    let idle = records(folder, "no-labor", |_, text| {
        text.replace("labor_rate = 130", "# ")
    });
    let parts_alone = budget(folder, &idle, "no-labor.xlsx");
    let filled_in = |cell: &str, n: f64| if cell == "D5" { 130.0 } else { n };
    add(
        &parts_alone,
        "labor",
        prices,
        &filled_in,
        base,
        [1e-6, 0.03],
    );

    let again = convert(&program, folder, &files);
    let of = |file: &Path| again.join(file.file_name().expect("a name"));
    assert!(900 < compare(&workbook, &of(&workbook)), "formulas");
    for (file, told, near) in &cases {
        let name = file.file_stem().and_then(|n| n.to_str()).expect("a name");
        assert_near(name, shown(&of(file)), *told, *near);
    }
}

/// Figures of the season's money on the Summary, and every text of it.
fn season_money(workbook: &Path) -> ([f64; 4], Vec<String>) {
    let mut book: Xlsx<_> = open_workbook(workbook).expect("a workbook");
    let summary = book.worksheet_range("Summary").expect("a sheet");
    let figures = [4, 5, 6, 7].map(|row| match summary.get_value((row, 2)) {
        Some(Data::Float(number)) => *number,
        other => panic!("row {row} of the Summary is {other:?}"),
    });
    let texts = summary.used_cells().filter_map(|(.., value)| match value {
        Data::String(text) => Some(text.clone()),
        _ => None,
    });
    (figures, texts.collect())
}

/// A dearer part makes no season cheaper, and what is filled in is called missing no more.
#[test]
fn a_dearer_part_lowers_no_figure_and_remarks_follow_the_inputs() {
    let Some(program) = on_path("soffice") else {
        eprintln!("skipped: no `soffice` on PATH, no changed workbook was recalculated");
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let workbook = budget(folder, &owner(), "budget.xlsx");
    let prices = place(&workbook, "Prices");
    let (before, _) = season_money(&workbook);
    let mut files = Vec::new();
    for row in 9..=17 {
        let file = folder.join(format!("row-{row}.xlsx"));
        let dearer = |cell: &str, n: f64| {
            if split(cell) == ("D", row) {
                1.5 * n
            } else {
                n
            }
        };
        changed(&workbook, &file, prices, dearer);
        files.push(file);
    }
    // Nobody wrote down what flaps cost in the field.
    let silent = records(folder, "silent", |file, text| {
        if file != "replacements.csv" {
            return text;
        }
        let lines = text.lines().map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if cells[2] == "flaps" {
                cells[8] = "";
            }
            cells.join(",") + "\n"
        });
        lines.collect()
    });
    let gap = budget(folder, &silent, "gap.xlsx");
    let filled = folder.join("filled.xlsx");
    changed(
        &gap,
        &filled,
        prices,
        |cell, n| if cell == "F11" { 0.875 } else { n },
    );
    let dearer = files.len();
    files.extend([gap, filled]);

    let again = convert(&program, folder, &files);
    let of = |file: &PathBuf| season_money(&again.join(file.file_name().expect("a name")));
    for file in &files[..dearer] {
        let (after, _) = of(file);
        for (before, after) in before.iter().zip(after) {
            assert!(
                before - 1e-6 <= after,
                "{}: {before} {after}",
                file.display()
            );
        }
    }
    let says = |file: &PathBuf, words: &str| {
        let (_, texts) = of(file);
        texts.iter().any(|text| text.contains(words))
    };
    let [gap, filled] = [&files[dearer], &files[dearer + 1]];
    for words in ["unknown: down cost", "Fill them in"] {
        assert!(says(gap, words), "{words}");
        assert!(!says(filled, words), "{words}");
    }
}

/// The text of a part of a workbook.
fn part(workbook: &Path, name: &str) -> String {
    let bytes = fs::read(workbook).expect("a workbook");
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip archive");
    let file = archive.by_name(name).expect("the part of the workbook");
    std::io::read_to_string(file).expect("text")
}

#[test]
fn inputs_are_marked_ruled_and_open_and_all_else_is_locked_without_a_password() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let workbook = budget(folder, &owner(), "budget.xlsx");
    // The same again, on one thread.
    let again = folder.join("again.xlsx");
    let mut command = cargo_bin_cmd!("wearcast");
    command.env("RAYON_NUM_THREADS", "1");
    command.arg("budget").arg(owner()).arg("--out").arg(&again);
    command.assert().success();
    let read = |file: &Path| fs::read(file).expect("a file");
    assert!(
        read(&workbook) == read(&again),
        "the same records, other bytes"
    );

    let book: Xlsx<_> = open_workbook(&workbook).expect("a workbook");
    let names = book.sheet_names();
    let unlocked = unlocked_styles(&part(&workbook, "xl/styles.xml"));
    for (number, name) in (1..).zip(&names) {
        let xml = part(&workbook, &format!("xl/worksheets/sheet{number}.xml"));
        let locked = xml.split("<sheetProtection").nth(1);
        if ["Assumptions", "Rows"].contains(&name.as_str()) {
            // Words, and the account of rows, which no plan changes.
            continue;
        }
        let locked = locked.unwrap_or_else(|| panic!("{name} is not locked"));
        let locked = locked.split("/>").next().expect("an element");
        assert!(
            !locked.contains("password") && !locked.contains("hash"),
            "{name}"
        );
        let inputs = ["Plan", "Prices"].contains(&name.as_str());
        assert_eq!(xml.contains("<dataValidation "), inputs, "{name}");
        let open = xml
            .split("<c r=")
            .skip(1)
            .map(|c| c.split('>').next().unwrap_or(""));
        let open = open
            .filter(|cell| {
                unlocked
                    .iter()
                    .any(|s| cell.contains(&format!(" s=\"{s}\"")))
            })
            .count();
        // 77 rows of plan with three amounts and the change of all; 9 part numbers and 3 rates.
        let expected = match name.as_str() {
            "Plan" => 3 * 77 + 1,
            "Prices" => 3 * 9 + 3,
            _ => 0,
        };
        assert_eq!(open, expected, "{name}: cells to be changed");
    }
    let defined = part(&workbook, "xl/workbook.xml");
    for name in [
        "Plan_change",
        "Price_change",
        "Labor_rate",
        "Down_cost",
        "Total_expected",
        "Total_8_in_10",
    ] {
        assert!(defined.contains(&format!("name=\"{name}\"")), "{name}");
    }
    for (sheet, headings) in [
        ("Plan", ["Acres, input", "Tons, input", "Hours, input"]),
        (
            "Prices",
            [
                "Price of one, input",
                "Labor hours a job, input",
                "Field hours lost, input",
            ],
        ),
    ] {
        let mut book: Xlsx<_> = open_workbook(&workbook).expect("a workbook");
        let values = book.worksheet_range(sheet).expect("a sheet");
        for heading in headings {
            let found = values
                .used_cells()
                .any(|(.., v)| *v == Data::String(heading.to_owned()));
            assert!(found, "{sheet}: {heading}");
        }
    }
}

/// Numbers of the cell formats that are not locked.
fn unlocked_styles(styles: &str) -> Vec<usize> {
    let formats = styles.split("<cellXfs").nth(1).expect("cell formats");
    let formats = formats.split("</cellXfs>").next().expect("cell formats");
    let formats = formats.split("<xf ").skip(1).enumerate();
    let open = formats.filter(|(_, format)| format.contains("locked=\"0\""));
    open.map(|(number, _)| number).collect()
}

#[test]
fn a_fleet_too_large_to_follow_says_why() {
    let desk = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/desk");
    let families = Families::built_in();
    let reading = read::folder(&desk, None, &families).expect("readable files");
    let mut study =
        Study::new(reading.records, families, Options::default()).expect("sound records");
    study.accounts = reading.accounts;
    let report = study.budget_to_change().expect("a budget");
    assert!(report.live.is_none());
    let said = &report.header.notes[0];
    assert!(
        said.starts_with("the workbook's figures do not follow changes"),
        "{said}"
    );
    let bytes = xlsx::budget(&report).expect("a workbook");
    let book = Xlsx::new(Cursor::new(bytes)).expect("a workbook that can be read");
    assert!(!book.sheet_names().contains(&"Places".to_owned()));
}

/// Spreadsheet programs take `Potash` for `potash`, the tool does not: it remarks on them.
#[test]
fn names_that_differ_in_their_case_stay_apart() {
    let Some(program) = on_path("soffice") else {
        eprintln!("skipped: no `soffice` on PATH, no workbook was recalculated");
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let spelled = |file: &str, text: String| match file {
        "usage.csv" | "plan.csv" => text.replace("creek rig,potash", "creek rig,Potash"),
        "settings.toml" => text.replace("dry fertilizer", "potash"),
        _ => text,
    };
    let records = records(folder, "two-spellings", spelled);
    fs::remove_file(records.join("products.csv")).expect("a table");
    let workbook = budget(folder, &records, "budget.xlsx");
    let again = convert(&program, folder, std::slice::from_ref(&workbook));
    assert!(
        900 < compare(&workbook, &again.join("budget.xlsx")),
        "formulas"
    );
}

/// An amount that is taken out of the plan is unknown, not 0, and so is what rests on it.
#[test]
fn an_amount_taken_out_of_the_plan_is_not_0() {
    let Some(program) = on_path("soffice") else {
        eprintln!("skipped: no `soffice` on PATH, no changed workbook was recalculated");
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let workbook = budget(folder, &owner(), "budget.xlsx");
    let plan = place(&workbook, "Plan");
    let out = folder.join("taken-out.xlsx");
    changed(&workbook, &out, plan, |cell, n| {
        if split(cell) == ("G", 9) { f64::NAN } else { n }
    });
    let again = convert(&program, folder, &[out]);
    let mut book: Xlsx<_> = open_workbook(again.join("taken-out.xlsx")).expect("a workbook");
    let summary = book.worksheet_range("Summary").expect("a sheet");
    for row in [4, 5] {
        let total = summary.get_value((row, 2));
        assert!(!matches!(total, Some(Data::Float(_))), "{total:?}");
    }
    let plan = book.worksheet_range("Plan").expect("a sheet");
    let remark = plan.get_value((8, 8)).map(ToString::to_string);
    assert_eq!(remark.as_deref(), Some("unknown: tons"));
}
