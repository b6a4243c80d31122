//! The program as a whole: exit statuses, messages, files written whole or not at all.

use std::fmt::Write as _;
use std::path::Path;

use wearcast::cli::{self, ExitStatus};

use crate::read::Folder;

/// Runs the program; status, standard output, standard error.
pub(crate) fn wearcast(args: &[&str]) -> (ExitStatus, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = std::iter::once("wearcast")
        .chain(args.iter().copied())
        .map(Into::into);
    let status = cli::main(args, &mut out, &mut err);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

const SAMPLE: &str = "sample-data/owner";

/// A folder of good records with enough in them to forecast from.
pub(crate) fn fleet() -> Folder {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service\nnorth,2023-11-01\n")
        .write(
            "positions.csv",
            "machine,position,part,quantity\nnorth,chain,C-1,1\nnorth,fins,F-1,4\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nC-1,conveyor-chain,900,6\nF-1,spinner-fin,40,1\n",
        )
        .write("products.csv", "product,group\nlime,lime\npotash,dry\n")
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2024-09-09,north,fins,worn\n",
        )
        .write("settings.toml", "labor_rate = 100\n");
    let mut usage = "date,machine,product,acres,tons,hours\n".to_owned();
    for (year, month) in [(2023, 11), (2024, 4), (2024, 9), (2025, 4), (2025, 9)] {
        for day in 5..25 {
            let (product, acres, tons) = if day % 3 == 0 {
                ("lime", 60, 120)
            } else {
                ("potash", 300, 40)
            };
            writeln!(
                usage,
                "{year}-{month:02}-{day:02},north,{product},{acres},{tons},5"
            )
            .expect("text");
        }
    }
    folder.write("usage.csv", usage);
    folder
}

fn dir(folder: &Folder) -> String {
    folder.path().display().to_string()
}

/// The names of everything in a folder, hidden files too.
pub fn listing(path: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(path).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

/// The folder after a deed.
fn spoilt(_: &Folder) {}

/// Bad input: what is done to a good folder, the status of `budget`, words of the message.
type Case = (
    &'static str,
    fn(&Folder),
    ExitStatus,
    &'static [&'static str],
);

const BAD_INPUT: &[Case] = &[
    (
        "an empty file",
        |f| spoilt(f.write("usage.csv", "")),
        ExitStatus::Problems,
        &["usage.csv"],
    ),
    (
        "UTF-16",
        |f| spoilt(f.write("parts.csv", b"\xff\xfep\x00a\x00r\x00t\x00".as_slice())),
        ExitStatus::Problems,
        &["parts.csv", "UTF-8"],
    ),
    (
        "a name in Latin-1",
        |f| {
            spoilt(f.write(
                "machines.csv",
                b"machine,in_service\nnorth,2023-11-01\nM\xfcller,2024-01-01\n".as_slice(),
            ));
        },
        ExitStatus::Problems,
        &["machines.csv, row 3", "UTF-8"],
    ),
    (
        "semicolons",
        |f| spoilt(f.write("machines.csv", "machine;in_service\nnorth;2023-11-01\n")),
        ExitStatus::Problems,
        &["machines.csv", "semicolon"],
    ),
    (
        "30 February",
        |f| spoilt(f.write("machines.csv", "machine,in_service\nnorth,2023-02-30\n")),
        ExitStatus::Problems,
        &["machines.csv, row 2, column `in_service`", "2023-02-30"],
    ),
    (
        "text in a number",
        |f| spoilt(f.add("usage.csv", "2025-10-01,north,lime,12k,100,3")),
        ExitStatus::Problems,
        &["usage.csv, row 102, column `acres`", "12k"],
    ),
    (
        "a table both in csv and xlsx",
        |f| {
            let mut book = rust_xlsxwriter::Workbook::new();
            let sheet = book.add_worksheet();
            sheet.set_name("parts").expect("a name");
            sheet.write(0, 0, "part").expect("a cell");
            book.save(f.path().join("records.xlsx")).expect("written");
        },
        ExitStatus::Problems,
        &["parts"],
    ),
    (
        "a corrupt workbook",
        |f| spoilt(f.write("records.xlsx", "PK not a workbook")),
        ExitStatus::File,
        &["records.xlsx"],
    ),
    (
        "a missing column",
        |f| spoilt(f.write("parts.csv", "part,price\nC-1,900\n")),
        ExitStatus::Problems,
        &["parts.csv", "family"],
    ),
    (
        "an unknown part",
        |f| spoilt(f.add("positions.csv", "north,belt,B-9,1")),
        ExitStatus::Problems,
        &["positions.csv, row 4, column `part`", "B-9"],
    ),
    (
        "nothing but headers",
        |f| {
            f.write("machines.csv", "machine,in_service\n");
            f.write("positions.csv", "machine,position,part\n");
            f.write("replacements.csv", "date,machine,position,reason\n");
            f.write("usage.csv", "date,machine,product,tons\n");
        },
        ExitStatus::TooThin,
        &["machine"],
    ),
    (
        "a wrong setting",
        |f| spoilt(f.write("settings.toml", "labour_rate = 100\n")),
        ExitStatus::Problems,
        &["settings.toml", "labour_rate"],
    ),
];

#[test]
fn bad_input_gets_a_clear_message_its_status_and_nothing_written() {
    for (name, spoil, status, words) in BAD_INPUT {
        let folder = fleet();
        spoil(&folder);
        let before = listing(folder.path());
        let target = folder.path().join("budget.xlsx");
        let (got, out, err) = wearcast(&[
            "budget",
            &dir(&folder),
            "--out",
            &target.display().to_string(),
        ]);
        assert_eq!(got, *status, "{name}: {err}");
        assert_eq!(out, "", "{name}");
        for word in *words {
            assert!(err.contains(word), "{name}: no `{word}` in {err}");
        }
        assert_eq!(listing(folder.path()), before, "{name}");
    }
}

#[test]
fn a_folder_that_is_empty_or_not_there_is_told_apart() {
    let folder = Folder::empty();
    let (status, _, err) = wearcast(&["budget", &dir(&folder)]);
    assert_eq!(status, ExitStatus::Problems);
    assert!(
        err.contains("machines") && err.contains("positions") && err.contains("parts"),
        "{err}"
    );
    let (status, _, err) = wearcast(&["budget", "no/such/folder"]);
    assert_eq!(status, ExitStatus::File);
    assert!(err.contains("no/such/folder"), "{err}");
}

#[test]
fn a_byte_order_mark_is_no_problem() {
    let folder = fleet();
    folder.write(
        "machines.csv",
        "\u{feff}machine,in_service\nnorth,2023-11-01\n",
    );
    assert_eq!(wearcast(&["budget", &dir(&folder)]).0, ExitStatus::Done);
}

#[test]
fn no_wear_out_and_one_wear_out_are_enough_for_a_budget() {
    let folder = fleet();
    assert_eq!(wearcast(&["budget", &dir(&folder)]).0, ExitStatus::Done);
    folder.write("replacements.csv", "date,machine,position,reason\n");
    let (status, out, err) = wearcast(&["budget", &dir(&folder), "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert!(0.0 < budget["total"]["expected"].as_f64().expect("known"));
}

#[test]
fn without_wear_outs_and_priors_the_records_are_too_thin_to_forecast() {
    let folder = fleet();
    folder.write("replacements.csv", "date,machine,position,reason\n");
    let (status, _, err) = wearcast(&["budget", &dir(&folder), "--no-priors"]);
    assert_eq!(status, ExitStatus::TooThin);
    assert!(err.contains("--no-priors"), "{err}");
    // A fit says what it can: a bound.
    let (status, out, err) = wearcast(&["fit", &dir(&folder), "--no-priors", "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let fit: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let chain = &fit["families"][0];
    assert!(chain["scale"].is_null() && chain["shape"].is_null());
    assert!(0.0 < chain["life50_at_least"].as_f64().expect("a bound"));
}

#[test]
fn a_price_that_is_not_known_is_never_zero() {
    let folder = fleet();
    folder.write(
        "parts.csv",
        "part,family,price,labor_hours\nC-1,conveyor-chain,,6\nF-1,spinner-fin,40,1\n",
    );
    let (status, out, _) = wearcast(&["budget", &dir(&folder), "--format", "json"]);
    assert_eq!(status, ExitStatus::Done);
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    for key in ["total", "per_acre"] {
        assert!(budget[key].is_null(), "{key}");
    }
    assert!(budget["families"][0]["parts_cost"].is_null());
    assert!(0.0 < budget["known_total"]["expected"].as_f64().expect("known"));
    assert!(budget["notes"].to_string().contains("C-1"));
}

#[test]
fn use_that_nobody_recorded_is_never_zero() {
    let folder = fleet();
    folder.write(
        "parts.csv",
        "part,family,price,labor_hours\nC-1,conveyor-chain,900,6\nF-1,frame-bushing,40,1\n",
    );
    let usage = std::fs::read_to_string(folder.path().join("usage.csv")).expect("usage");
    let without_hours: String = usage
        .lines()
        .map(|line| line.rsplit_once(',').expect("a last cell").0.to_owned() + "\n")
        .collect();
    folder.write("usage.csv", without_hours);
    let (status, out, err) = wearcast(&["budget", &dir(&folder), "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let bushing = &budget["families"][1];
    assert_eq!(bushing["family"], "frame-bushing");
    for key in ["replacements", "parts_cost", "labor_cost"] {
        assert!(bushing[key].is_null(), "{key}");
    }
    assert!(budget["total"].is_null());
    assert!(
        0.0 < budget["known_total"]["expected"]
            .as_f64()
            .expect("the chain's")
    );
    let (_, out, _) = wearcast(&["remaining", &dir(&folder), "--format", "json"]);
    let remaining: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let parts = remaining["parts"].as_array().expect("parts");
    let bushings = parts.iter().filter(|p| p["family"] == "frame-bushing");
    assert!(
        bushings
            .into_iter()
            .all(|p| p["chance_this_season"].is_null())
    );
}

#[test]
fn rows_with_problems_can_be_set_aside() {
    let folder = fleet();
    folder.add("usage.csv", "2025-10-01,north,lime,12k,100,3");
    let (status, out, err) =
        wearcast(&["budget", &dir(&folder), "--set-aside", "--format", "json"]);
    assert_eq!(status, ExitStatus::Done);
    assert!(err.contains("usage.csv, row 102"), "{err}");
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let rows = budget["rows"].as_array().expect("an account");
    let usage = rows.iter().find(|r| r["table"] == "usage").expect("usage");
    assert_eq!(
        (&usage["read"], &usage["used"], &usage["set_aside"]),
        (&101.into(), &100.into(), &1.into())
    );
    let note = "rows with problems are set aside: usage 1 of 101; `wearcast check` lists them";
    assert_eq!(budget["notes"][0], note);
}

/// A part that the parts list no longer lists is in no figure, and the first note says so.
#[test]
fn a_price_that_costs_its_part_is_told_in_the_result() {
    let folder = fleet();
    folder.write(
        "parts.csv",
        "part,family,price,labor_hours\nC-1,conveyor-chain,900,6\nF-1,spinner-fin,$40,1\n",
    );
    let (status, out, _) = wearcast(&["budget", &dir(&folder), "--set-aside", "--format", "json"]);
    assert_eq!(status, ExitStatus::Done);
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let note = budget["notes"][0].as_str().expect("a note");
    assert!(
        note.contains("positions 1 of 2, parts 1 of 2, replacements 1 of 1"),
        "{note}"
    );
    assert!(note.contains("the sums are too low"), "{note}");
}

/// After the spreading of a year: no use is ahead, which is no reason to tell nothing.
#[test]
fn a_season_without_use_ahead_costs_nothing_and_says_so() {
    let folder = fleet();
    folder.add("usage.csv", "2025-10-20,north,lime,1,1,1");
    for command in ["budget", "remaining", "stock", "report"] {
        let (status, out, err) = wearcast(&[command, &dir(&folder)]);
        assert_eq!(status, ExitStatus::Done, "{command}: {err}");
        assert!(out.contains("2025"), "{command}");
    }
    let (_, out, _) = wearcast(&["budget", &dir(&folder), "--format", "json"]);
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(budget["total"]["expected"], 0.0);
    assert!(budget["per_acre"].is_null());
    let notes = budget["notes"].to_string();
    let told = "no use is expected in the 11 days that are left of season 2025; for the next one add `--season 2026`";
    assert!(notes.contains(told), "{notes}");
}

/// Work by schedule is a line of the budget also where none of it falls due.
#[test]
fn scheduled_work_that_is_not_due_is_a_line_of_nothing_and_overdue_work_is_told() {
    let folder = fleet();
    folder
        .write(
            "positions.csv",
            "machine,position,part\nnorth,gearcase,OIL-1\nnorth,filter,FLT-1\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nOIL-1,oil,10,1\nFLT-1,filter,5,1\n",
        )
        .write("replacements.csv", "date,machine,position,reason\n");
    let models = folder.path().join("models");
    std::fs::create_dir(&models).expect("a folder");
    let rule = |name: &str, every: &str| {
        std::fs::write(
            models.join(format!("{name}.toml")),
            format!("family = \"{name}\"\nmeasure = \"hours\"\n[service]\nevery = {{ {every} }}\n"),
        )
        .expect("a file");
    };
    rule("oil", "hours = 100000");
    rule("filter", "days = 365");
    let (status, out, err) = wearcast(&[
        "budget",
        &dir(&folder),
        "--season",
        "2026",
        "--format",
        "json",
    ]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let budget: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let families = budget["families"].as_array().expect("families");
    let of = |name: &str| {
        families
            .iter()
            .find(|f| f["family"] == name)
            .expect("a line")
    };
    assert_eq!(of("oil")["replacements"]["expected"], 0.0);
    assert_eq!(of("filter")["replacements"]["expected"], 1.0);
    let notes = budget["notes"].to_string();
    assert!(
        notes.contains("due before the season is taken to be done then"),
        "{notes}"
    );
    assert!(notes.contains("filter of north (2025-09-25)"), "{notes}");
}

/// Whoever reads may have had enough; what the status says of the records stays true, and nobody's
/// silence costs a result.
#[test]
fn a_reader_who_goes_away_changes_no_status_and_no_result() {
    struct Gone;
    impl std::io::Write for Gone {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::BrokenPipe.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let folder = fleet();
    let args = |command: &str| ["wearcast", command, &dir(&folder), "--set-aside"].map(Into::into);
    let status = cli::main(args("budget"), &mut Gone, &mut Vec::new());
    assert_eq!(status, ExitStatus::Done);
    folder.add("usage.csv", "2025-10-01,north,lime,12k,100,3");
    let mut out = Vec::new();
    let status = cli::main(args("budget"), &mut out, &mut Gone);
    assert_eq!(status, ExitStatus::Done);
    assert!(!out.is_empty());
    for (out, err) in [(true, false), (false, true)] {
        let mut both = (Vec::new(), Vec::new());
        let args = ["wearcast", "check", &dir(&folder)].map(Into::into);
        let status = match (out, err) {
            (true, _) => cli::main(args, &mut Gone, &mut both.1),
            _ => cli::main(args, &mut both.0, &mut Gone),
        };
        assert_eq!(status, ExitStatus::Problems);
    }
}

#[test]
fn a_file_that_is_there_is_replaced_only_with_force() {
    let folder = fleet();
    let target = folder.path().join("out.csv");
    folder.write("out.csv", "mine\n");
    let target_text = target.display().to_string();
    let args = ["fit", &dir(&folder), "--out", &target_text];
    // The file in the folder is not a table, so it is a remark and no problem.
    let (status, _, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::File);
    assert!(err.contains("--force"), "{err}");
    assert_eq!(
        std::fs::read_to_string(&target).expect("still there"),
        "mine\n"
    );
    let (status, ..) = wearcast(&[&args[..], &["--force"]].concat());
    assert_eq!(status, ExitStatus::Done);
    assert!(
        std::fs::read_to_string(&target)
            .expect("written")
            .starts_with("family,")
    );
}

#[test]
fn a_wrong_command_line_says_so() {
    for args in [
        &["budget"][..],
        &["budget", SAMPLE, "--as-of", "last week"],
        &["budget", SAMPLE, "--level", "1.5"],
        &["budget", SAMPLE, "--family", "no-such-family"],
        &["budget", SAMPLE, "--machine", "no such machine"],
        &["budget", SAMPLE, "--reference", "no such group"],
        &["budget", SAMPLE, "--season", "2020"],
        &["fit", SAMPLE, "--out", "fit.docx"],
        &["nothing"],
    ] {
        let (status, out, err) = wearcast(args);
        assert_eq!(status, ExitStatus::Usage, "{args:?}: {err}");
        assert!(out.is_empty() && !err.is_empty(), "{args:?}");
    }
}

#[test]
fn what_lives_writes_gives_the_same_fit_as_the_folder() {
    let folder = fleet();
    let table = folder.path().join("lives-out.csv");
    let table = table.display().to_string();
    assert_eq!(
        wearcast(&["lives", &dir(&folder), "--out", &table]).0,
        ExitStatus::Done
    );
    let fit = |args: &[&str]| {
        let rest = ["--no-priors", "--family", "spinner-fin", "--format", "json"];
        let (status, out, err) = wearcast(&[&["fit"], args, &rest].concat());
        assert_eq!(status, ExitStatus::Done, "{err}");
        let value: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        value["families"][0].clone()
    };
    let (of_folder, of_table) = (fit(&[&dir(&folder)]), fit(&["--lives", &table]));
    for key in [
        "lives",
        "worn",
        "log_likelihood",
        "shape",
        "scale",
        "wear_factors",
    ] {
        assert_eq!(of_folder[key], of_table[key], "{key}");
    }
}

/// Two customers with a machine each, the second by name with most of the work.
#[test]
fn the_sheet_of_customers_has_the_most_money_first_as_the_screen_has() {
    use calamine::{Data, Reader, Xlsx, open_workbook};
    let folder = fleet();
    folder
        .write(
            "machines.csv",
            "machine,in_service,customer\nsmall,2023-11-01,Abel\nnorth,2023-11-01,Zoe\n",
        )
        .write(
            "positions.csv",
            "machine,position,part,quantity\nnorth,chain,C-1,1\nnorth,fins,F-1,4\nsmall,fins,F-1,4\nsmall,chain,C-1,1\n",
        );
    let mut usage = std::fs::read_to_string(folder.path().join("usage.csv")).expect("written");
    usage.push_str("2024-04-05,small,lime,60,120,5\n2025-04-05,small,lime,60,120,5\n");
    folder.write("usage.csv", usage);
    let plan = "month,machine,product,tons\n2026-04,north,lime,6000\n2026-04,small,lime,2000\n";
    folder.write("plan.csv", plan);
    let out = tempfile::tempdir().expect("a folder");
    let file = out.path().join("order.xlsx");
    let path = file.display().to_string();
    let (status, _, err) = wearcast(&["stock", &dir(&folder), "--season", "2026", "--out", &path]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let mut book: Xlsx<_> = open_workbook(&file).expect("a workbook");
    let sheet = book.worksheet_range("Customers").expect("the sheet");
    let rows = sheet
        .rows()
        .skip_while(|row| row[0] != Data::String("Customer".to_owned()));
    let rows: Vec<&[Data]> = rows
        .skip(1)
        .take_while(|row| row.len() > 4 && row[4] != Data::Empty)
        .collect();
    let money: Vec<f64> = rows
        .iter()
        .filter_map(|row| match row[4] {
            Data::Float(money) => Some(money),
            _ => None,
        })
        .collect();
    assert!(3 <= money.len(), "{rows:?}");
    assert!(money.is_sorted_by(|a, b| b <= a), "{money:?}");
    assert_eq!(rows[0][0], Data::String("Zoe".to_owned()));
    let (_, screen, _) = wearcast(&["stock", &dir(&folder), "--season", "2026"]);
    let (_, told) = screen
        .split_once("by money: call before")
        .expect("the table");
    let zoe = told.find("Zoe").expect("Zoe");
    assert!(told.find("Abel").is_none_or(|abel| zoe < abel), "{told}");
}

/// The sample has families counted in tons, acres, hours and days, some changed by schedule, and
/// parts that nobody knows the age of: what the folder says of each, its table of lives says.
#[test]
fn every_family_of_what_lives_writes_is_fitted_as_in_the_folder() {
    let fit = |args: &[&str]| {
        let rest = ["--no-priors", "--no-machine-effect", "--format", "json"];
        let (status, out, err) = wearcast(&[&["fit"], args, &rest].concat());
        assert_eq!(status, ExitStatus::Done, "{err}");
        let value: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        value["families"].as_array().expect("a list").clone()
    };
    let of_folder = fit(&[SAMPLE]);
    let unknown = |f: &&serde_json::Value| f["start_unknown"] != 0;
    assert!(of_folder.iter().any(|f| unknown(&f)));
    let folder = Folder::empty();
    for name in ["lives.csv", "lives.json"] {
        let table = folder.path().join(name).display().to_string();
        let (status, _, err) = wearcast(&["lives", SAMPLE, "--out", &table]);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let of_table = fit(&["--lives", &table]);
        assert_eq!(of_folder.len(), of_table.len(), "{name}");
        for (a, b) in of_folder.iter().zip(&of_table) {
            for (key, value) in a.as_object().expect("an object") {
                // An estimate from draws, of which a folder makes none without priors.
                if key == "wear_outs_to_halve" {
                    continue;
                }
                assert!(
                    alike(value, &b[key]),
                    "{name}: {} {key}: {value} {}",
                    a["family"],
                    b[key]
                );
            }
        }
    }
}

/// Equal, but for the last digits of numbers: lives that are summed in another order.
fn alike(a: &serde_json::Value, b: &serde_json::Value) -> bool {
    use serde_json::Value;
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().expect("a number"), b.as_f64().expect("a number"));
            (a - b).abs() <= 1e-6 * a.abs().max(1e-3)
        }
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| alike(a, b))
        }
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(key, value)| alike(value, &b[key]))
        }
        _ => a == b,
    }
}

/// The sample in one workbook and in Parquet says what it says in CSV.
#[test]
fn the_same_records_in_a_workbook_and_in_parquet_give_the_same_budget() {
    let budget = |dir: &str| {
        let (status, out, err) = wearcast(&["budget", dir, "--format", "json"]);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let mut value: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        value["rows"] = serde_json::Value::Null;
        value
    };
    let folder = Folder::empty();
    let mut book = rust_xlsxwriter::Workbook::new();
    for entry in std::fs::read_dir(SAMPLE).expect("the sample") {
        let path = entry.expect("an entry").path();
        let stem = path
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        match path.extension().and_then(|e| e.to_str()) {
            Some("toml") => {
                std::fs::copy(&path, folder.path().join("settings.toml")).expect("copied");
            }
            Some("csv") if stem == "usage" => {
                to_parquet(&path, &folder.path().join("usage.parquet"));
            }
            Some("csv") => to_sheet(&path, book.add_worksheet().set_name(&stem).expect("a name")),
            _ => {}
        }
    }
    book.save(folder.path().join("records.xlsx"))
        .expect("written");
    assert_eq!(budget(SAMPLE), budget(&dir(&folder)));
}

fn rows(path: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_path(path)
        .expect("csv");
    reader
        .records()
        .map(|r| r.expect("a row").iter().map(str::to_owned).collect())
        .collect()
}

/// Numbers as numbers, dates as dates, the rest as text.
fn to_sheet(path: &Path, sheet: &mut rust_xlsxwriter::Worksheet) {
    let date = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd");
    for (r, row) in rows(path).iter().enumerate() {
        for (c, cell) in row.iter().enumerate() {
            let (r, c) = (
                u32::try_from(r).expect("few rows"),
                u16::try_from(c).expect("few columns"),
            );
            if cell.is_empty() {
                continue;
            }
            if let Ok(day) = cell.parse::<chrono::NaiveDate>() {
                sheet
                    .write_with_format(
                        r,
                        c,
                        rust_xlsxwriter::ExcelDateTime::parse_from_str(&day.to_string())
                            .expect("a date"),
                        &date,
                    )
                    .expect("a cell");
            } else if let Ok(number) = cell.parse::<f64>() {
                sheet.write(r, c, number).expect("a cell");
            } else {
                sheet.write(r, c, cell).expect("a cell");
            }
        }
    }
}

fn to_parquet(path: &Path, target: &Path) {
    use polars_core::prelude::{Column, DataFrame};
    use polars_io::parquet::write::ParquetWriter;
    let rows = rows(path);
    let columns: Vec<Column> = rows[0]
        .iter()
        .enumerate()
        .map(|(c, name)| {
            let cells = rows[1..].iter().map(|r| r[c].as_str());
            let name = name.as_str().into();
            if ["acres", "tons", "hours"].contains(&rows[0][c].as_str()) {
                let numbers: Vec<Option<f64>> = cells.map(|c| c.parse().ok()).collect();
                Column::new(name, numbers)
            } else {
                let words: Vec<Option<&str>> =
                    cells.map(|c| Some(c).filter(|c| !c.is_empty())).collect();
                Column::new(name, words)
            }
        })
        .collect();
    let mut frame = DataFrame::new(rows.len() - 1, columns).expect("columns of one length");
    let file = std::fs::File::create(target).expect("a file");
    ParquetWriter::new(file)
        .finish(&mut frame)
        .expect("written");
}

#[test]
fn a_result_does_not_take_the_place_of_records_nor_pass_for_them_in_silence() {
    let folder = fleet();
    let dir = folder.path().display().to_string();
    let before = std::fs::read(folder.path().join("usage.csv")).expect("a log");
    folder.write("columns.toml", "[plan]\nfile = \"my plan.csv\"\n");
    let write = |command: &str, name: &str| {
        let path = format!("{dir}/{name}");
        wearcast(&[command, &dir, "--force", "--out", &path])
    };
    for name in ["usage.csv", "Usage.CSV", "my plan.csv", "machine_names.csv"] {
        let (status, out, err) = write("lives", name);
        assert_eq!(
            (status, out.as_str()),
            (ExitStatus::File, ""),
            "{name}: {err}"
        );
        assert!(
            err.contains(name) && err.contains("place of records"),
            "{err}"
        );
    }
    assert_eq!(
        std::fs::read(folder.path().join("usage.csv")).expect("a log"),
        before
    );
    folder.remove("columns.toml");
    // What is no table's name does no harm there.
    for name in ["lives.csv", "lives.json"] {
        let (status, _, err) = write("lives", name);
        assert_eq!(status, ExitStatus::Done, "{err}");
        assert!(!err.contains("among the records"), "{err}");
    }
    // A workbook of results may lie there and be written anew: it is known and passed over.
    for (command, name) in [("budget", "budget.xlsx"), ("stock", "order.xlsx")] {
        for _ in 0..2 {
            let (status, _, err) = write(command, name);
            assert_eq!(status, ExitStatus::Done, "{err}");
        }
        let (status, out, _) = wearcast(&["check", &dir]);
        assert_eq!(status, ExitStatus::Done, "{out}");
        assert!(out.contains("a workbook of results"), "{out}");
    }
    // A workbook that holds tables is not written over, whoever made it.
    folder.remove("usage.csv");
    let log = String::from_utf8(before).expect("text");
    crate::read_files::workbook(&folder, "records.xlsx", &[("usage.csv", &log)]);
    let (status, _, err) = write("budget", "records.xlsx");
    assert_eq!(status, ExitStatus::File, "{err}");
    assert!(err.contains("place of records"), "{err}");
}

/// What a link of another name leads to would be written, and so would a table that is read.
#[cfg(unix)]
#[test]
fn no_result_takes_the_place_of_what_it_is_made_from() {
    let folder = fleet();
    let before = std::fs::read(folder.path().join("usage.csv")).expect("a log");
    let away = Folder::empty();
    let link = away.path().join("link.csv");
    std::os::unix::fs::symlink(folder.path().join("usage.csv"), &link).expect("a link");
    let link = link.display().to_string();
    let (status, _, _) = wearcast(&["lives", &dir(&folder), "--out", &link, "--force"]);
    assert_eq!(status, ExitStatus::File);
    let lives = away.path().join("lives.csv").display().to_string();
    let (status, _, _) = wearcast(&["lives", &dir(&folder), "--out", &lives]);
    assert_eq!(status, ExitStatus::Done);
    let (status, _, _) = wearcast(&["fit", "--lives", &lives, "--out", &lives, "--force"]);
    assert_eq!(status, ExitStatus::File);
    let after = std::fs::read(folder.path().join("usage.csv")).expect("a log");
    assert_eq!(before, after);
}

/// Without its usage log a folder gives another budget, so a log that is there and cannot be opened is no log that is missing.
#[test]
#[cfg(unix)]
fn what_has_the_name_of_a_table_and_is_no_file_stops_the_work() {
    use std::os::unix::fs::symlink;
    let names = [
        "usage.csv",
        "stock.csv",
        "settings.toml",
        "columns.toml",
        "meters.parquet",
        "more.xlsx",
        "usage",
        "models",
    ];
    for name in names {
        let folder = fleet();
        let path = folder.path().join(name);
        let _ = std::fs::remove_file(&path);
        symlink("/nowhere/at-all", &path).expect("a link");
        let (status, out, err) = wearcast(&["budget", &dir(&folder)]);
        assert_eq!(status, ExitStatus::File, "{name}: {err}");
        assert_eq!(out, "", "{name}");
        assert!(err.contains(name), "{name}: {err}");
    }
    for name in ["usage.csv", "machines.parquet", "settings.toml"] {
        let folder = fleet();
        let path = folder.path().join(name);
        let _ = std::fs::remove_file(&path);
        std::fs::create_dir(&path).expect("a folder");
        let (status, _, err) = wearcast(&["budget", &dir(&folder)]);
        assert_eq!(status, ExitStatus::File, "{name}: {err}");
        assert!(err.contains(&format!("{name}` is a folder")), "{err}");
        std::fs::remove_dir(&path).expect("a folder");
        let made = std::process::Command::new("mkfifo").arg(&path).status();
        assert!(made.expect("mkfifo").success());
        let (status, _, err) = wearcast(&["budget", &dir(&folder)]);
        assert_eq!(status, ExitStatus::File, "{name}: {err}");
        assert!(err.contains(&format!("{name}` is a pipe")), "{err}");
    }
}

#[test]
fn a_folder_without_any_use_says_so_with_every_forecast() {
    let folder = fleet();
    folder.remove("usage.csv").write("plan.csv", "month,machine,product,acres,tons,hours\n2024-10,north,lime,60,120,5\n2025-03,north,lime,60,120,5\n");
    for command in ["budget", "remaining"] {
        let (_, out, err) = wearcast(&[command, &dir(&folder)]);
        assert!(
            out.contains("no usage is on record"),
            "{command}: {out}{err}"
        );
    }
}

/// A table of lives and one of ages, each with a row that cannot be used.
#[test]
fn problems_of_lives_and_of_ages_are_told_at_once_and_counted_where_they_are_set_aside() {
    let folder = Folder::empty();
    let lives =
        "life,ended,family\n900,worn,flap\n1100,worn,flap\n1000,worn,flap\nlong,worn,flap\n";
    folder.write("lives.csv", lives).write(
        "ages.csv",
        "age,family,name\n200,flap,first\nold,flap,second\n",
    );
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (lives, ages) = (file("lives.csv"), file("ages.csv"));
    let args = ["remaining", "--lives", &lives, "--ages", &ages];
    let (status, _, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Problems);
    for told in ["lives.csv", "`long`", "ages.csv", "`old`", "2 problems"] {
        assert!(err.contains(told), "{told}: {err}");
    }
    let (status, out, err) = wearcast(&[&args[..], &["--set-aside", "--format", "json"]].concat());
    assert_eq!(status, ExitStatus::Done, "{err}");
    assert!(
        out.contains("rows with problems are set aside: 1 of 4 lives, 1 of 2 ages"),
        "{out}"
    );
}
