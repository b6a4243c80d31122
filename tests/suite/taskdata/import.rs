//! `wearcast import taskdata` into a records folder.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;

use super::reference;

const MACHINES: &str = "name_in_file,machine,note\nSN-A-1001,red,\nSN-B-1002,big,\n";

/// A records folder for the two machines of the sample.
pub(crate) fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let put = |name: &str, text: &str| fs::write(dir.path().join(name), text).expect("a file");
    put(
        "machines.csv",
        "machine,in_service\nred,2025-01-01\nbig,2025-01-01\n",
    );
    put(
        "positions.csv",
        "machine,position,part\nred,chain,C-1\nbig,chain,C-1\n",
    );
    put("parts.csv", "part,family\nC-1,conveyor-chain\n");
    for (name, text) in files {
        put(name, text);
    }
    dir
}

fn import(path: &Path, into: &Path, more: &[&str]) -> Output {
    cargo_bin_cmd!("wearcast")
        .args(["import", "taskdata"])
        .arg(path)
        .arg("--into")
        .arg(into)
        .args(more)
        .output()
        .expect("a run")
}

fn sample(into: &Path, more: &[&str]) -> Output {
    import(&reference("TASKDATA"), into, more)
}

fn text(dir: &Path, name: &str) -> String {
    fs::read_to_string(dir.join(name)).expect("a file")
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn counts(output: &Output) -> [u64; 6] {
    let json = json(output);
    [
        "read",
        "used",
        "set_aside",
        "added",
        "already_there",
        "replaced",
    ]
    .map(|key| json[key].as_u64().expect("a count"))
}

const JSON: &[&str] = &["--format", "json"];

/// The first ten columns of the CSV are those of the answer.
#[test]
fn the_sample_is_told_as_its_answer_and_stands_in_the_usage_log() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    let output = sample(dir.path(), &["--format", "csv"]);
    assert_eq!(output.status.code(), Some(0));
    let told = String::from_utf8(output.stdout).expect("text");
    let ten = |line: &str| line.split(',').take(10).collect::<Vec<_>>().join(",");
    let told: Vec<String> = told.lines().map(ten).collect();
    let answer = fs::read_to_string(reference("expected_usage.csv")).expect("the answer");
    assert_eq!(told, answer.lines().collect::<Vec<_>>());
    let usage = text(dir.path(), "usage.csv");
    assert!(usage.starts_with("date,machine,product,bin,acres,tons,hours,source\n"));
    // Worked by hand: 3,220 kg / 907.18474, 322,000 square metres / 4,046.8564224, 9,000 s / 3,600.
    assert!(
        usage.contains("2026-04-14,red,Urea 46-0-0,DET-3,79.567933,3.549442,2.5,"),
        "{usage}"
    );
    // Tons and acres of the task without totals are unknown: empty cells.
    assert!(
        usage.contains("2026-05-07,red,Potash 0-0-60,DET-4,,,1.5,"),
        "{usage}"
    );
    let check = cargo_bin_cmd!("wearcast")
        .arg("check")
        .arg(dir.path())
        .output()
        .expect("a run");
    assert_eq!(
        check.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&check.stdout)
    );
}

#[test]
fn importing_twice_changes_nothing() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    assert_eq!(counts(&sample(dir.path(), JSON)), [7, 7, 0, 7, 0, 0]);
    let first = text(dir.path(), "usage.csv");
    assert_eq!(counts(&sample(dir.path(), JSON)), [7, 7, 0, 0, 7, 0]);
    assert_eq!(text(dir.path(), "usage.csv"), first);
}

#[test]
fn other_rows_and_columns_of_the_usage_log_stay_byte_for_byte() {
    let own = "Date,Machine,Product,Hectares,Ticket No\r\n2026-03-01,red,urea,\"1.50\",\" A, 1\"\r\n\r\n2026-03-02,red,urea,02.0,";
    let dir = folder(&[("machine_names.csv", MACHINES), ("usage.csv", own)]);
    assert_eq!(sample(dir.path(), &[]).status.code(), Some(0));
    let usage = text(dir.path(), "usage.csv");
    let padded = "Date,Machine,Product,Hectares,Ticket No,bin,tons,hours,source\r\n\
        2026-03-01,red,urea,\"1.50\",\" A, 1\",,,,\r\n\r\n2026-03-02,red,urea,02.0,,,,,\r\n\
        2026-04-14,red,Urea 46-0-0,32.2,,DET-3,3.549442,2.5,";
    assert!(usage.starts_with(padded), "{usage}");
    assert!(usage.ends_with("\r\n") && !usage.replace("\r\n", "").contains('\n'));
    sample(dir.path(), &[]);
    assert_eq!(text(dir.path(), "usage.csv"), usage);
}

#[test]
fn names_that_are_not_matched_are_listed_with_what_to_do_and_never_guessed() {
    let products = "product\nurea\npotash\nAg lime\n";
    let dir = folder(&[("products.csv", products), ("machine_names.csv", MACHINES)]);
    let output = sample(dir.path(), JSON);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(
        counts(&output),
        [7, 2, 5, 2, 0, 0],
        "only `Ag lime` has the very same name"
    );
    let todo = String::from_utf8(output.stderr).expect("text");
    assert!(
        todo.contains("product `Urea 46-0-0` is not matched") && todo.contains("product_names.csv"),
        "{todo}"
    );
    let names = text(dir.path(), "product_names.csv");
    assert!(
        names.contains("\nUrea 46-0-0,,\n") && names.contains("\nAg lime,Ag lime,\n"),
        "{names}"
    );
    let filled = names
        .replace("Urea 46-0-0,,", "Urea 46-0-0,urea,")
        .replace("Potash 0-0-60,,", "Potash 0-0-60,potash,")
        .replace(
            "Ammonium sulfate 21-0-0-24S,,",
            "Ammonium sulfate 21-0-0-24S,-,",
        );
    fs::write(dir.path().join("product_names.csv"), &filled).expect("a file");
    let output = sample(dir.path(), JSON);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(counts(&output), [7, 6, 1, 4, 2, 0]);
    assert_eq!(text(dir.path(), "product_names.csv"), filled);
}

#[test]
fn a_machine_that_the_records_do_not_list_is_not_matched() {
    let names = MACHINES.replace(",big,", ",blue,");
    let dir = folder(&[("machine_names.csv", &names)]);
    let output = sample(dir.path(), JSON);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(json(&output)["unmatched"][0]["name"], "SN-B-1002");
    assert_eq!(counts(&output)[2], 2);
    assert_eq!(sample(dir.path(), &["--set-aside"]).status.code(), Some(0));
}

#[test]
fn bins_are_asked_for_where_positions_tell_bins_apart() {
    let positions =
        "machine,position,part,bin\nred,chain,C-1,front\nred,chain 2,C-1,rear\nbig,chain,C-1,\n";
    let dir = folder(&[
        ("machine_names.csv", MACHINES),
        ("positions.csv", positions),
    ]);
    assert_eq!(counts(&sample(dir.path(), JSON))[2], 5);
    let names = text(dir.path(), "bin_names.csv");
    assert!(names.contains("SN-A-1001 DET-3,,Bin 1\n"), "{names}");
    let filled = names
        .replace("DET-3,,", "DET-3,front,")
        .replace("DET-4,,", "DET-4,rear,");
    fs::write(dir.path().join("bin_names.csv"), filled).expect("a file");
    assert_eq!(counts(&sample(dir.path(), JSON)), [7, 7, 0, 5, 2, 0]);
    assert!(text(dir.path(), "usage.csv").contains("2026-04-14,red,Urea 46-0-0,front,"));
}

/// A copy of the sample with its text changed.
fn changed(from: &str, to: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["TASKDATA.XML", "TLG00001.xml", "TLG00001.bin"] {
        let bytes = fs::read(reference("TASKDATA").join(name)).expect("a file");
        let bytes = match String::from_utf8(bytes) {
            Ok(text) => text.replace(from, to).into_bytes(),
            Err(error) => error.into_bytes(),
        };
        fs::write(folder.path().join(name), bytes).expect("a file");
    }
    let path = folder.path().to_path_buf();
    (folder, path)
}

#[test]
fn a_later_state_of_a_task_takes_the_place_of_the_earlier_one() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    sample(dir.path(), &[]);
    let (_folder, later) = changed(r#"B="5410""#, r#"B="6317.18474""#);
    // Not a whole number of kilograms, so only those before it are known, and these are less than the
    // table has; then a real one.
    assert_eq!(
        counts(&import(&later, dir.path(), JSON)),
        [7, 6, 1, 0, 6, 0]
    );
    let (_folder, later) = changed(r#"B="5410""#, r#"B="6000""#);
    assert_eq!(
        counts(&import(&later, dir.path(), JSON)),
        [7, 7, 0, 0, 6, 1]
    );
    let usage = text(dir.path(), "usage.csv");
    assert!(usage.contains("DET-4,79.567933,6.613868,2.5,"), "{usage}");
    assert_eq!(usage.lines().count(), 8);
}

#[test]
fn a_product_renamed_in_the_file_leaves_no_row_of_the_old_name_behind() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    sample(dir.path(), &[]);
    let (_folder, later) = changed("Ag lime", "Ag lime, fine");
    let output = import(&later, dir.path(), JSON);
    assert_eq!(json(&output)["taken_out"], 2);
    assert_eq!(text(dir.path(), "usage.csv").lines().count(), 8);
}

#[test]
fn a_row_that_the_owner_has_mended_is_left_alone() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    sample(dir.path(), &[]);
    let mended = text(dir.path(), "usage.csv").replace(",5.963504,", ",5.5,");
    fs::write(dir.path().join("usage.csv"), &mended).expect("a file");
    let output = sample(dir.path(), JSON);
    assert_eq!(json(&output)["kept_as_changed"], 1);
    assert_eq!(text(dir.path(), "usage.csv"), mended);
}

#[test]
fn rows_whose_source_was_lost_are_known_by_what_they_say() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    sample(dir.path(), &[]);
    let cut = |line: &str| line.rsplit_once(',').map(|(rest, _)| format!("{rest}\n"));
    let bare: String = text(dir.path(), "usage.csv")
        .lines()
        .filter_map(cut)
        .collect();
    fs::write(dir.path().join("usage.csv"), &bare).expect("a file");
    assert_eq!(counts(&sample(dir.path(), JSON)), [7, 7, 0, 0, 7, 0]);
    assert_eq!(text(dir.path(), "usage.csv"), bare);
}

#[test]
fn use_before_the_records_begin_is_set_aside() {
    let machines = "machine,in_service\nred,2026-05-01\nbig,2025-01-01\n";
    let dir = folder(&[("machine_names.csv", MACHINES), ("machines.csv", machines)]);
    assert_eq!(counts(&sample(dir.path(), JSON)), [7, 5, 2, 5, 0, 0]);
}

#[test]
fn a_dry_run_writes_nothing() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    assert_eq!(
        counts(&sample(dir.path(), &["--format", "json", "--dry-run"])),
        [7, 7, 0, 7, 0, 0]
    );
    assert!(!dir.path().join("usage.csv").exists());
    assert!(!dir.path().join("product_names.csv").exists());
}

#[test]
fn usage_in_a_workbook_or_torn_rows_stop_the_import() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    sheet.set_name("usage").expect("a name");
    for (i, name) in ["date", "machine", "product", "tons"].iter().enumerate() {
        sheet.write(0, i as u16, *name).expect("a cell");
        sheet.write(1, i as u16, "something").expect("a cell");
    }
    book.save(dir.path().join("records.xlsx"))
        .expect("a workbook");
    let output = sample(dir.path(), &[]);
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).expect("text");
    assert!(
        told.contains("records.xlsx, sheet usage") && told.contains("save it as `usage.csv`"),
        "{told}"
    );

    let torn = "date,machine,product,tons\n2026-03-01,red,\"urea,3\n2026-03-02,red,urea,2\n";
    let dir = folder(&[("machine_names.csv", MACHINES), ("usage.csv", torn)]);
    assert_eq!(sample(dir.path(), &[]).status.code(), Some(1));
    assert_eq!(text(dir.path(), "usage.csv"), torn);
}

#[test]
fn files_that_are_no_task_data_end_with_status_3() {
    let dir = folder(&[]);
    for path in [
        dir.path().to_path_buf(),
        dir.path().join("nowhere"),
        dir.path().join("machines.csv"),
    ] {
        let output = import(&path, dir.path(), &[]);
        assert_eq!(output.status.code(), Some(3), "{}", path.display());
        assert!(output.stdout.is_empty());
    }
}

/// By hand: of the pass's 8,630 kg the first bin spread 3,220, so 79.567933 acres x 3,220 / 8,630.
#[test]
fn a_pass_of_two_bins_can_be_shared_out_by_tons_so_that_rows_add_up() {
    let dir = folder(&[("machine_names.csv", MACHINES)]);
    sample(dir.path(), &[]);
    let told = sample(dir.path(), &["--format", "json", "--two-bins", "shared"]);
    assert_eq!(counts(&told), [7, 7, 0, 0, 5, 2]);
    let usage = text(dir.path(), "usage.csv");
    assert!(
        usage.contains("2026-04-14,red,Urea 46-0-0,DET-3,29.688151,3.549442,0.932793,"),
        "{usage}"
    );
    assert!(
        usage.contains("2026-04-14,red,Potash 0-0-60,DET-4,49.879782,5.963504,1.567207,"),
        "{usage}"
    );
}

/// By hand: 3,220 kg are 3.22 tonnes, and 322,000 square metres 32.2 hectares.
#[test]
fn the_printed_table_follows_the_units_of_the_settings_and_nothing_else_does() {
    let metric = "units = \"metric\"\n";
    let dir = folder(&[("machine_names.csv", MACHINES), ("settings.toml", metric)]);
    let printed = String::from_utf8(sample(dir.path(), &["--dry-run"]).stdout).expect("text");
    assert!(
        printed.contains("Tonnes") && printed.contains("Hectares"),
        "{printed}"
    );
    assert!(
        printed.contains("3.22") && printed.contains("32.2"),
        "{printed}"
    );
    let told = json(&sample(dir.path(), JSON));
    assert!((told["rows"][0]["tons"].as_f64().expect("tons") - 3.549_442).abs() < 1e-6);
    assert!((told["rows"][0]["acres"].as_f64().expect("acres") - 79.567_933).abs() < 1e-6);
}

/// Days that somebody wrote down by hand before are told when the same work comes from the machine.
#[test]
fn work_that_is_in_the_log_already_is_told() {
    let names = ("machine_names.csv", MACHINES);
    let first = folder(&[names]);
    sample(first.path(), &[]);
    let imported = text(first.path(), "usage.csv");
    let mut lines = imported.lines();
    let heads: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let place = |name: &str| heads.iter().position(|h| *h == name).expect("a column");
    let row: Vec<&str> = lines.next().expect("a row").split(',').collect();
    let [date, machine, product] = ["date", "machine", "product"].map(|name| row[place(name)]);
    let by_hand = format!("date,machine,product,tons\n{date},{machine},{product},12\n");
    let second = folder(&[names, ("usage.csv", &by_hand)]);
    let told = json(&sample(second.path(), &["--format", "json"]));
    let notes = told["notes"].to_string();
    assert!(
        notes.contains(&format!("{date} {machine} {product}")),
        "{notes}"
    );
    // The same again is no second time.
    let again = json(&sample(second.path(), &["--format", "json"]));
    assert!(
        !again["notes"].to_string().contains("The log had use"),
        "{again}"
    );
}
