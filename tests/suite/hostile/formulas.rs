//! Text that begins like a formula stays text in whatever is written.

use calamine::{Data, Reader, Xlsx, open_workbook};
use proptest::prelude::*;
use wearcast::cli::ExitStatus;

use super::dir;
use crate::cli::{fleet, wearcast};
use crate::read::Folder;

/// Stands in every text that should do harm.
const HARM: &str = "HARM";
/// What spreadsheet programs take for the begin of a formula.
const BEGINS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Records in which every free text begins with `begin`.
fn harmful(begin: &str) -> Folder {
    let folder = fleet();
    let name = |text: &str| format!("{begin}{HARM}({text})");
    for entry in std::fs::read_dir(folder.path()).expect("a folder") {
        let path = entry.expect("an entry").path();
        let mut text = std::fs::read_to_string(&path).expect("text");
        for word in ["north", "chain", "fins", "C-1", "F-1", "lime", "potash"] {
            // The family of the chains and the product groups are words of their own.
            text = text
                .replace("conveyor-chain", "conveyor~")
                .replace(word, &name(word));
            text = text.replace("conveyor~", "conveyor-chain");
        }
        std::fs::write(path, text).expect("a file");
    }
    let machine = name("north");
    let (site, customer, own, kit, material, text) = (
        name("site"),
        name("customer"),
        name("own"),
        name("kit"),
        name("steel"),
        name("text"),
    );
    folder
        .write(
            "machines.csv",
            format!("machine,in_service,site,customer,{own}\n{machine},2023-11-01,{site},{customer},{text}\n"),
        )
        .write(
            "parts.csv",
            format!(
                "part,family,price,labor_hours,description,material,kit,critical\n\
                 {},conveyor-chain,900,6,{text},{material},{kit},stops\n\
                 {},{},40,1,{text},{material},{kit},degrades\n",
                name("C-1"),
                name("F-1"),
                name("family"),
            ),
        )
        .write(
            "replacements.csv",
            format!(
                "date,machine,position,reason,slot,note\n2024-09-09,{machine},{},worn,{},{text}\n",
                name("fins"),
                name("slot"),
            ),
        )
        .write("stock.csv", format!("part,on_hand\n{},3\n", name("C-1")))
        .write("settings.toml", format!("labor_rate = 100\ncurrency = \"{begin}\"\n"));
    folder
}

/// No cell of the text is a formula; whether some hold a text that should do harm.
fn assert_plain(what: &str, text: &str) -> bool {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut found = false;
    for row in reader.records() {
        for cell in &row.expect("a row") {
            // A sign alone is a text to every spreadsheet program, and leaves a name out here.
            let is_harmless = cell.parse::<f64>().is_ok() || cell == "-";
            assert!(is_harmless || !cell.starts_with(BEGINS), "{what}: {cell}");
            found |= cell.contains(HARM);
        }
    }
    found
}

#[test]
fn no_result_as_csv_holds_a_formula() {
    for begin in ["=", "@"] {
        let folder = harmful(begin);
        let dir = dir(&folder);
        let by = format!("{begin}{HARM}(own)");
        for command in [
            &["lives"][..],
            &["fit", "--no-priors"],
            &["remaining", "--family", "conveyor-chain"],
            &["budget", "--family", "conveyor-chain"],
            &["stock", "--family", "conveyor-chain"],
            &["compare", "--by", "product"],
            &["compare", "--by", &by],
            &["compare", "--by", "material"],
            &["backtest", "--family", "conveyor-chain"],
        ] {
            let args = [
                &command[..1],
                &[dir.as_str()],
                &command[1..],
                &["--format", "csv"],
            ]
            .concat();
            let (status, out, err) = wearcast(&args);
            assert!(
                matches!(status, ExitStatus::Done | ExitStatus::TooThin),
                "{command:?}: {err}"
            );
            let harm = assert_plain(&format!("{command:?}"), &out);
            let names_none = ["fit", "backtest"].contains(&command[0]);
            assert!(
                harm || names_none || status == ExitStatus::TooThin,
                "{command:?}: {out}"
            );
        }
        folder.add(
            "usage.csv",
            &format!("{begin}{HARM},{begin}{HARM},{begin}{HARM},{begin}{HARM},,"),
        );
        let (status, out, _) = wearcast(&["check", &dir, "--format", "csv"]);
        assert_eq!(status, ExitStatus::Problems);
        assert!(assert_plain("check", &out), "{out}");
    }
}

/// The cells are read back by another crate than the one that wrote them.
#[test]
fn no_workbook_holds_a_formula_made_of_a_text() {
    let folder = harmful("=");
    let dir = dir(&folder);
    for command in ["budget", "stock"] {
        let book = tempfile::tempdir().expect("a folder");
        let path = book
            .path()
            .join(format!("{command}.xlsx"))
            .display()
            .to_string();
        let (status, _, err) = wearcast(&[command, &dir, "--out", &path]);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let mut read: Xlsx<_> = open_workbook(&path).expect("a workbook");
        let (mut texts, mut formulas) = (0, 0);
        for sheet in read.sheet_names() {
            for (_, _, formula) in read
                .worksheet_formula(&sheet)
                .expect("a sheet")
                .used_cells()
            {
                assert!(!formula.contains(HARM), "{command}, {sheet}: {formula}");
                formulas += 1;
            }
            for (_, _, cell) in read.worksheet_range(&sheet).expect("a sheet").used_cells() {
                texts += usize::from(
                    matches!(cell, Data::String(text) if text.contains(&format!("={HARM}"))),
                );
            }
        }
        assert!(
            0 < texts && 0 < formulas,
            "{command}: {texts} texts, {formulas} formulas"
        );
    }
}

/// The owner's own names may begin so; rows that are added carry them as text, and are read as the names they are.
#[test]
fn a_machine_with_the_name_of_a_formula_is_imported_and_read_back() {
    for name in ["=x", "@red", "-cab+1", "+49"] {
        let folder = Folder::empty();
        folder
            .write(
                "machines.csv",
                format!("machine,in_service\n{name},2025-01-01\n"),
            )
            .write(
                "positions.csv",
                format!("machine,position,part\n{name},chain,C-1\n"),
            )
            .write("parts.csv", "part,family\nC-1,conveyor-chain\n");
        let tasks = format!(
            r#"<ISO11783_TaskData VersionMajor="3"><DVC A="DVC-1" E="{name}"><DET A="DET-1" B="1" C="3" F="0"/></DVC><PDT A="PDT-1" B="=lime"/><TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4"><DLV A="0051" B="2000" C="DET-1"/></TIM><PAN A="PDT-1" E="DET-1"/></TSK></ISO11783_TaskData>"#
        );
        let feed = serde_json::json!({"Equipment": [{
            "EquipmentHeader": {"PIN": name},
            "CumulativeOperatingHours": {"datetime": "2026-04-14T00:00:00Z", "Hour": 12.5},
        }]});
        let sources = tempfile::tempdir().expect("a folder");
        std::fs::write(sources.path().join("TASKDATA.XML"), tasks).expect("a file");
        std::fs::write(sources.path().join("feed.json"), feed.to_string()).expect("a file");
        let dir = dir(&folder);
        let mut before = Vec::new();
        for _ in 0..2 {
            for (kind, file) in [("taskdata", "TASKDATA.XML"), ("telematics", "feed.json")] {
                let path = sources.path().join(file).display().to_string();
                let (status, _, err) = wearcast(&["import", kind, &path, "--into", &dir]);
                assert_eq!(status, ExitStatus::Done, "{name}: {err}");
            }
            let tables = [
                "usage.csv",
                "meters.csv",
                "machine_names.csv",
                "product_names.csv",
            ];
            let now = tables.map(|table| {
                let text = std::fs::read_to_string(folder.path().join(table)).expect("a table");
                assert_plain(table, &text);
                text
            });
            assert!(before.is_empty() || before == now, "{name}: {now:?}");
            before = now.to_vec();
        }
        let reading = folder.read();
        let machines: Vec<&str> = reading
            .records
            .usage
            .iter()
            .map(|row| row.machine)
            .collect();
        assert_eq!(machines, [name]);
        assert_eq!(
            reading.records.usage.iter().next().map(|row| row.product),
            Some("=lime")
        );
        assert_eq!(reading.records.meters[0].machine, name);
        assert!(!reading.has_problems(), "{:?}", reading.problems);
    }
}

/// A text as it may stand in somebody's file, beginning like a formula more often than not.
fn text() -> impl Strategy<Value = String> {
    let begin = prop::sample::select(vec![
        "=", "+", "-", "@", "\t=", "\r@", " =", "'=", "\"=", "", "-1", "=\n=",
    ]);
    (begin, "[-=+@A-Za-z0-9(),;!|'\" \t]{0,12}").prop_map(|(begin, rest)| format!("{begin}{rest}"))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Names of machines in a feed go into the kept table, and into what is told as CSV.
    #[test]
    fn names_in_a_feed_become_no_formula(number in text(), maker in text(), model in text()) {
        let folder = Folder::good();
        folder.remove("meters.csv");
        let feed = serde_json::json!({"Equipment": [{
            "EquipmentHeader": {"PIN": number, "OEMName": maker, "Model": model},
            "CumulativeOperatingHours": {"datetime": "2026-01-01T00:00:00Z", "Hour": 12.5},
        }]});
        folder.write("feed.json", feed.to_string());
        let dir = dir(&folder);
        let path = format!("{dir}/feed.json");
        let (_, out, err) = wearcast(&["import", "telematics", &path, "--into", &dir, "--format", "csv"]);
        prop_assert!(!out.is_empty(), "{}", err);
        assert_plain("the account", &out);
        for table in ["machine_names.csv", "meters.csv"] {
            if let Ok(written) = std::fs::read_to_string(folder.path().join(table)) {
                assert_plain(table, &written);
            }
        }
    }

    /// Products are taken as they are named where the records keep no list of them.
    #[test]
    fn names_in_task_data_become_no_formula(product in text(), bin in text(), rig in text()) {
        let escaped = |text: &str| {
            text.replace('&', "&amp;").replace('"', "&quot;").replace('<', "&lt;")
        };
        let folder = Folder::good();
        folder.remove("products.csv").remove("usage.csv").remove("plan.csv");
        folder.write("TASKDATA.XML", format!(
            r#"<ISO11783_TaskData VersionMajor="3"><DVC A="DVC-1" B="{}" E="M1"><DET A="DET-1" B="1" C="3" D="{}" F="0"/></DVC><PDT A="PDT-1" B="{}"/><TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4"><DLV A="0051" B="2000" C="DET-1"/></TIM><PAN A="PDT-1" E="DET-1"/></TSK></ISO11783_TaskData>"#,
            escaped(&rig), escaped(&bin), escaped(&product),
        ));
        let dir = dir(&folder);
        let path = format!("{dir}/TASKDATA.XML");
        let (_, out, err) = wearcast(&["import", "taskdata", &path, "--into", &dir, "--format", "csv"]);
        prop_assert!(!out.is_empty(), "{}", err);
        assert_plain("the account", &out);
        for table in ["machine_names.csv", "bin_names.csv", "product_names.csv", "usage.csv"] {
            if let Ok(written) = std::fs::read_to_string(folder.path().join(table)) {
                assert_plain(table, &written);
            }
        }
    }
}
