//! A user's own headers, words and units, through `columns.toml`.

use std::collections::BTreeMap;

use proptest::prelude::*;
use wearcast::read;
use wearcast::record::{ProblemKind, Reason, Severity};

use crate::read::{Folder, GOOD, day, problems};

/// The good folder with one table under the user's own name, headers, words and units.
fn own_usage(columns: &str) -> Folder {
    let folder = Folder::good();
    folder
        .remove("usage.csv")
        .write(
            "Streubuch.csv",
            "Datum;Streuer;Produkt;Pfund;Fläche;Std;bin\n\
             01.04.2024;der Rote;Lime fine;480000;120,5;8;rear\n\
             02.04.2024;M1;potash;40000;100;5,25;rear\n",
        )
        .write("columns.toml", columns);
    folder
}

const OWN_USAGE: &str = r#"
[usage]
file = "Streubuch.csv"
separator = ";"
decimal = ","
date_format = "%d.%m.%Y"

[usage.columns]
"Datum" = "date"
"Streuer" = "machine"
"Produkt" = "product"
"Pfund" = { column = "tons", unit = "lb" }
"Fläche" = "acres"
"Std" = "hours"

[values.machine]
"Der  rote" = "M1"

[usage.values.product]
"lime fine" = "lime"
"#;

#[test]
fn a_log_with_its_own_name_headers_words_and_units_is_read_as_the_readme_says() {
    let reading = own_usage(OWN_USAGE).read();
    assert_eq!(reading.problems, []);
    let rows: Vec<_> = reading.records.usage.iter().collect();
    assert_eq!(rows.len(), 2);
    let first = rows[0];
    assert_eq!(
        (first.date, first.machine, first.product, first.bin),
        (day("2024-04-01"), "M1", "lime", Some("rear"))
    );
    // 480,000 lb are 240 short tons of 2,000 lb.
    assert_eq!(first.amounts.tons, Some(240.0));
    assert_eq!(
        (first.amounts.acres, first.amounts.hours),
        (Some(120.5), Some(8.0))
    );
    assert_eq!(rows[1].amounts.hours, Some(5.25));
}

#[test]
fn every_rule_says_how_many_rows_it_touched() {
    let reading = own_usage(OWN_USAGE).read();
    let rows = |part: &str| -> Vec<u64> {
        let hits = reading.mapping.iter().filter(|r| r.rule.contains(part));
        hits.map(|r| r.rows).collect()
    };
    assert_eq!(rows("\"Datum\""), [2]);
    assert_eq!(rows("separator"), [2]);
    // 120,5 in the first row and 5,25 in the second.
    assert_eq!(rows("decimal"), [2]);
    assert_eq!(rows("lime fine"), [1]);
    // The nickname holds in every table that has machines; only the log uses it.
    let nickname = rows("Der  rote");
    assert_eq!(nickname.iter().sum::<u64>(), 1);
    assert_eq!(nickname.len(), 7);
}

#[test]
fn what_is_wrong_is_told_under_the_users_own_header() {
    let folder = own_usage(OWN_USAGE);
    folder.add("Streubuch.csv", "03.04.2024;der Blaue;potash;1;1;1;rear\n2.13.2024;M1;potash;1;1;1;rear\n03.04.2024;M1;potash;1.000,5;1;1;rear");
    let reading = folder.read();
    let told: Vec<(Option<u32>, Option<&str>, ProblemKind)> = reading
        .problems
        .iter()
        .map(|p| (p.place.row, p.place.column.as_deref(), p.kind))
        .collect();
    assert_eq!(
        told,
        [
            (Some(4), Some("Streuer"), ProblemKind::Unknown),
            (Some(5), Some("Datum"), ProblemKind::NotADate),
            (Some(6), Some("Pfund"), ProblemKind::NotANumber),
        ]
    );
    assert!(reading.problems[2].expected.contains("decimal comma"));
    assert!(reading.problems[1].expected.contains("%d.%m.%Y"));
}

#[test]
fn loads_are_tons_by_what_one_load_holds() {
    let folder = Folder::good();
    folder
        .write(
            "usage.csv",
            "date,machine,product,loads\n2024-04-01,M1,lime,4\n2024-04-02,M1,lime,\n",
        )
        .write(
            "columns.toml",
            "[usage.columns]\nloads = { column = \"tons\", load = 6.5 }\n",
        );
    let reading = folder.read();
    assert_eq!(
        reading
            .problems
            .iter()
            .filter(|p| p.severity == Severity::Problem)
            .count(),
        0
    );
    let tons: Vec<_> = reading
        .records
        .usage
        .iter()
        .map(|r| r.amounts.tons)
        .collect();
    // 4 loads of 6.5 short tons; what was not recorded stays unknown.
    assert_eq!(tons, [Some(26.0), None]);
}

#[test]
fn a_constant_stands_in_every_row_and_one_header_may_be_two_columns() {
    let folder = Folder::good();
    folder
        .write("replacements.csv", "invoice date,unit,item\n04/02/2024,M1,F-1\n")
        .write(
            "columns.toml",
            "[replacements]\ndate_format = \"%m/%d/%Y\"\n[replacements.columns]\n\"Invoice Date\" = \"date\"\nunit = \"machine\"\n\
             item = [\"part\", \"position\"]\n[replacements.constant]\nreason = \"worn\"\n[replacements.values.position]\n\"F-1\" = \"fins\"\n",
        );
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    let row = &reading.records.replacements[0];
    assert_eq!(
        (row.part.as_deref(), row.position.as_str(), row.reason),
        (Some("F-1"), "fins", Reason::Worn)
    );
    let rule = reading
        .mapping
        .iter()
        .find(|r| r.rule.contains("constant"))
        .expect("told");
    assert_eq!(
        (rule.rule.as_str(), rule.rows),
        ("[replacements.constant] reason = \"worn\"", 1)
    );
}

#[test]
fn a_credit_takes_back_the_row_of_the_same_thing_and_is_listed() {
    let folder = Folder::good();
    folder
        .write(
            "replacements.csv",
            "date,machine,position,part,quantity,reason,parts_cost\n2024-04-01,M1,fins,F-1,4,worn,154\n\
             2024-04-02,M1,fins,F-1,2,worn,77\n2024-04-03,M1,fins,F-1,-2,worn,-77\n2024-04-04,M1,fins,F-1,-3,worn,-1\n",
        )
        .write("columns.toml", "[replacements]\ncredits = true\n");
    let reading = folder.read();
    let rows: Vec<u32> = reading.records.replacements.iter().map(|r| r.row).collect();
    // Row 4 takes back row 3; row 5 takes back three pieces that nobody fitted.
    assert_eq!(rows, [2]);
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("replacements.csv".to_owned(), Some(4), ProblemKind::Mapping)]
    );
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("replacements.csv".to_owned(), Some(5), ProblemKind::Mapping)]
    );
    assert!(
        reading
            .problems
            .iter()
            .any(|p| p.found.contains("takes back row 3"))
    );
    let account = &reading.accounts[5];
    assert_eq!((account.read, account.used, account.set_aside), (4, 3, 1));
}

#[test]
fn a_credit_takes_back_a_row_of_the_month_it_is_in() {
    let folder = Folder::good();
    folder
        .write(
            "replacements.csv",
            "date,machine,position,part,quantity,reason\n2024-05,M1,fins,F-1,4,worn\n\
             2024-05-20,M1,fins,F-1,-4,worn\n2024-04-20,M1,fins,F-1,-2,worn\n2024-05,M1,fins,F-1,2,worn\n",
        )
        .write(
            "columns.toml",
            "[replacements]\ncredits = true\n[replacements.columns]\ndate = { column = \"date\", season = true }\n",
        );
    let reading = folder.read();
    let rows: Vec<u32> = reading.records.replacements.iter().map(|r| r.row).collect();
    // The credit of April cannot take back what was fitted in May.
    assert_eq!(rows, [5]);
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("replacements.csv".to_owned(), Some(4), ProblemKind::Mapping)]
    );
}

/// Text, then words that the one problem has.
const WRONG: &[(&str, &[&str])] = &[
    ("[usage", &["line 1"]),
    ("[loads]\nfile = \"a.csv\"", &["line 1", "`loads`", "usage"]),
    (
        "[stock]\nseparator = \"x\"",
        &["line 2", "`separator`", "\";\""],
    ),
    (
        "[stock]\nsplit = \"x\"",
        &["line 2", "`split`", "date_format"],
    ),
    (
        "[stock]\ndate_format = \"%m/%d\"",
        &["line 2", "`date_format`", "%d.%m.%Y"],
    ),
    ("[stock]\ncredits = true", &["line 2", "[replacements]"]),
    (
        "[stock]\nfile = \"other.csv\"",
        &["line 2", "`other.csv`", "not in the folder"],
    ),
    (
        "[stock.columns]\n\npart = \"parts\"",
        &["line 3", "`part`", "perhaps `part`", "`on_hand`"],
    ),
    ("[stock.columns]\npart = 7", &["line 2", "the number 7"]),
    (
        "[stock.columns]\npart = { unit = \"lb\" }",
        &["line 2", "no `column`"],
    ),
    (
        "[stock.columns]\nonhand = { column = \"on_hand\", unit = \"lb\" }",
        &["line 2", "`lb`", "amount of use"],
    ),
    (
        "[usage.columns]\ntons = { column = \"tons\", unit = \"hectares\" }",
        &["line 2", "hectares"],
    ),
    (
        "[usage.columns]\ntons = { column = \"tons\", load = -1 }",
        &["line 2", "`load` = the number -1"],
    ),
    (
        "[usage.columns]\nacres = { column = \"acres\", load = 2 }",
        &["line 2", "column of mass"],
    ),
    (
        "[usage.columns]\ndate = { column = \"date\", season = true }",
        &["line 2", "`season`", "replacements"],
    ),
    (
        "[stock.constant]\npartt = \"a\"",
        &["line 2", "`partt`", "`on_hand`"],
    ),
    (
        "[stock.columns]\npart = \"part\"\ndue = \"part\"",
        &["line 3", "second rule"],
    ),
    ("[stock.values.part]\na = []", &["line 2", "`a`", "a list"]),
    (
        "[values.colour]\na = \"b\"",
        &["line 1", "`colour`", "no column of any table"],
    ),
    (
        "[stock.columns]\npiece = \"part\"",
        &["`piece`", "line 2", "`on_hand`"],
    ),
];

#[test]
fn a_bad_mapping_names_line_and_key_and_what_to_do() {
    for (text, words) in WRONG {
        let reading = Folder::good().write("columns.toml", text).read();
        let shown: Vec<String> = reading.problems.iter().map(ToString::to_string).collect();
        assert!(reading.has_whole_problems(), "{text}");
        let fits = |line: &String| words.iter().all(|word| line.contains(word));
        assert!(shown.iter().any(fits), "{text}\n{shown:#?}");
    }
}

#[test]
fn a_proposal_maps_likely_headers_and_words_and_leaves_the_rest_to_the_user() {
    let folder = Folder::good();
    folder
        .remove("replacements.csv")
        .write(
            "Repairs 2024.csv",
            "Datum;Unit;Positon;Qty;Why\n13.04.2024;m1;fins;1;worn out\n14.04.2024;Big Bertha;fins;1;Brokn\n",
        );
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert_eq!(
        text,
        "[replacements]\nfile = \"Repairs 2024.csv\"\nseparator = \";\"\ndate_format = \"%d.%m.%Y\"\n\n\
         [replacements.columns]\n\"Datum\" = \"date\"\n\"Unit\" = \"machine\"\n\"Positon\" = \"position\"\n\"Qty\" = \"quantity\"\n\"Why\" = \"reason\"\n\n\
         [replacements.values.machine]\n\"m1\" = \"M1\"\n\n[replacements.values.reason]\n\"Brokn\" = \"broken\"\n\"worn out\" = \"worn\"\n\
         # \"Big Bertha\" = ?  # of `machine`, nothing in the records is spelled like it; goes into [replacements.values.machine]\n"
    );
    // Nothing is applied until it is saved; then all but the one unknown name is read.
    assert_eq!(folder.read().records.replacements, []);
    folder.write("columns.toml", text);
    let found = folder.read();
    assert_eq!(
        problems(&found, Severity::Problem),
        [("Repairs 2024.csv".to_owned(), Some(3), ProblemKind::Unknown)]
    );
    assert_eq!(found.records.replacements[0].reason, Reason::Worn);
}

#[test]
fn a_date_that_can_be_read_two_ways_is_left_to_the_user() {
    let folder = Folder::good();
    folder.write(
        "usage.csv",
        "date,machine,product,loads\n04/05/2024,M1,lime,3\n",
    );
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert!(
        text.contains("# dates such as \"04/05/2024\" can be read in several ways"),
        "{text}"
    );
    assert!(
        text.contains("# \"loads\" = { column = \"tons\", load = ? }"),
        "{text}"
    );
    assert!(!text.lines().any(|line| line.starts_with("date_format")));
}

#[test]
fn a_good_folder_needs_no_proposal() {
    for thorough in [false, true] {
        let text = read::proposal(Folder::good().path(), thorough);
        assert_eq!(text.expect("readable"), None);
    }
}

/// A table under other headers, units, marks, dates and a nickname, and the rules that undo them.
fn renamed(name: &str, text: &str, suffix: &str, mark: char) -> (String, String) {
    let table = name.trim_end_matches(".csv");
    let (head, body) = text.split_once('\n').expect("a header");
    let own = |h: &str| format!("{h} {suffix}");
    let known = |h: &&str| !matches!(*h, "owner code" | "dial");
    let headers: Vec<String> = head
        .split(',')
        .map(|h| if known(&h) { own(h) } else { h.to_owned() })
        .collect();
    let rules: Vec<String> = head
        .split(',')
        .filter(known)
        .map(|h| match h {
            "tons" => format!("{:?} = {{ column = \"tons\", unit = \"lb\" }}", own(h)),
            _ => format!("{:?} = {h:?}", own(h)),
        })
        .collect();
    let tons = head.split(',').position(|h| h == "tons");
    let cell = |(i, cell): (usize, &str)| -> String {
        match (cell.parse::<f64>(), cell.parse::<chrono::NaiveDate>()) {
            (Ok(value), _) if Some(i) == tons => (value * 2000.0).to_string(),
            (Ok(_), _) if mark != ',' => cell.replace('.', ","),
            (_, Ok(date)) => date.format("%d.%m.%Y").to_string(),
            _ if cell == "M1" => "Old Red".to_owned(),
            _ => cell.to_owned(),
        }
    };
    let line = |line: &str| -> String {
        let cells = line.split(',').enumerate().map(cell);
        cells.collect::<Vec<_>>().join(&mark.to_string())
    };
    let body: Vec<String> = body.lines().map(line).collect();
    let text = format!("{}\n{}\n", headers.join(&mark.to_string()), body.join("\n"));
    let decimal = if mark == ',' { "." } else { "," };
    let rules = format!(
        "[{table}]\nseparator = {:?}\ndecimal = {decimal:?}\ndate_format = \"%d.%m.%Y\"\n[{table}.columns]\n{}\n",
        mark.to_string(),
        rules.join("\n")
    );
    (text, rules)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is renamed, the records are those of the plain folder.
    #[test]
    fn a_folder_under_other_headers_units_and_marks_holds_the_same_records(
        chosen in prop::collection::vec(any::<bool>(), GOOD.len()),
        suffix in "[a-zäß]{1,6}",
        mark in prop::sample::select(vec![',', ';', '|']),
    ) {
        let folder = Folder::good();
        let mut rules = String::new();
        for ((name, text), chosen) in GOOD.iter().zip(chosen) {
            if chosen {
                let (text, more) = renamed(name, text, &suffix, mark);
                folder.write(name, text);
                rules.push_str(&more);
            }
        }
        rules.push_str("[values.machine]\n\"old  red\" = \"M1\"\n");
        folder.write("columns.toml", &rules);
        let (plain, own) = (Folder::good().read(), folder.read());
        prop_assert_eq!(&own.problems, &[]);
        prop_assert_eq!(&own.records, &plain.records);
        let unmapped: BTreeMap<_, _> = own.mapping.iter().map(|r| (r.rule.clone(), r.rows)).collect();
        prop_assert_eq!(unmapped.len(), own.mapping.len());
    }

    /// Any text is read or complained about, and never stops the program.
    #[test]
    fn any_columns_toml_is_read_or_complained_about(
        lines in prop::collection::vec(
            prop_oneof![
                Just("[usage]".to_owned()), Just("[usage.columns]".to_owned()), Just("[values.machine]".to_owned()),
                Just("[replacements.constant]".to_owned()), Just("credits = true".to_owned()),
                "[a-z\"=\\[\\]{},. ]{0,30}", "\\PC{0,20}",
                "\"[a-zé]{1,6}\" = \"(date|tons|machine|reason)\"",
                "\"[a-z]{1,6}\" = \\{ column = \"tons\", (load|unit|season) = [0-9\"a-z.]{1,6} \\}",
            ],
            0..12,
        ),
    ) {
        let folder = Folder::good();
        folder.write("columns.toml", lines.join("\n"));
        folder.read();
        read::proposal(folder.path(), true).expect("readable");
    }

    /// Any cell of a mapped table is read, or its row is set aside and told.
    #[test]
    fn any_cell_under_rules_is_read_or_told(cells in prop::collection::vec("[0-9.,;/ a-z+-]{0,12}|\\PC{0,8}", 1..20)) {
        let folder = own_usage(OWN_USAGE);
        for cell in cells.chunks(3) {
            folder.add("Streubuch.csv", &cell.join(";"));
        }
        folder.read();
    }
}

#[test]
fn check_tells_the_rules_the_rows_they_touched_and_what_it_would_propose() {
    let folder = own_usage(OWN_USAGE);
    let dir = folder.path().to_str().expect("a path");
    let (status, out, _) = crate::cli::wearcast(&["check", dir]);
    assert_eq!(status, wearcast::cli::ExitStatus::Done);
    assert!(
        out.contains("Rules of columns.toml, and the rows each touched\n"),
        "{out}"
    );
    assert!(
        out.contains("\n        2  [usage] file = \"Streubuch.csv\"\n"),
        "{out}"
    );
    assert!(!out.contains("would map them"), "{out}");
    folder.add("Streubuch.csv", "03.04.2024;M1;Potasch;1;1;1;rear");
    let (status, out, _) = crate::cli::wearcast(&["check", dir, "--format", "json"]);
    assert_eq!(status, wearcast::cli::ExitStatus::Problems);
    let json: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let rules = json["mapping"].as_array().expect("a list");
    let lime = rules
        .iter()
        .find(|r| r["rule"] == "[usage.values.product] \"lime fine\" = \"lime\"");
    assert_eq!(lime.expect("told")["rows"], 1);
    assert_eq!(lime.expect("told")["table"], "usage");
    let text = json["proposed_mapping"].as_str().expect("a proposal");
    // The rules that are there stay, with the new one among them.
    assert!(
        text.contains("\"Potasch\" = \"potash\"") && text.contains("unit = \"lb\""),
        "{text}"
    );
    folder.write("columns.toml", text);
    assert_eq!(folder.read().problems, []);
}

/// Three rows of `Potash`, fewer of each other spelling; `lime A` and `lime B` are two things.
#[test]
fn products_in_several_spellings_are_remarked_on_and_never_made_one_without_a_word() {
    let folder = Folder::good();
    folder.remove("products.csv").write(
        "usage.csv",
        "date,machine,product,tons,hours,bin\n2024-04-01,M1,potash,9,9,rear\n2024-04-02,M1,Potash,9,9,rear\n\
         2024-04-03,M1,Potash,9,9,rear\n2024-04-04,M1,Pot ash,9,9,rear\n2024-04-05,M1,lime A,9,9,rear\n\
         2024-04-05,M1,lime B,9,9,rear\n2024-04-06,M1,POTASH,9,9,rear\n\
         2024-04-07,M1,Potash,9,9,rear\n",
    );
    folder.write(
        "plan.csv",
        "month,machine,product,tons\n2025-04,M2,POTASH,9\n",
    );
    let reading = folder.read();
    let told: Vec<(Severity, ProblemKind, &str)> = (reading.problems.iter())
        .map(|p| (p.severity, p.kind, p.found.as_str()))
        .collect();
    assert_eq!(
        told,
        [(
            Severity::Remark,
            ProblemKind::Spelling,
            "the products `POTASH`, `Pot ash`, `Potash` and `potash`, which are spelled alike"
        )]
    );
    assert_eq!(reading.records.products.len(), 6);
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert_eq!(
        text,
        "[usage]\n\n[usage.values.product]\n\"POTASH\" = \"Potash\"\n\"Pot ash\" = \"Potash\"\n\"potash\" = \"Potash\"\n\n\
         [plan]\n\n[plan.values.product]\n\"POTASH\" = \"Potash\"\n"
    );
    let reading = folder.write("columns.toml", text).read();
    assert_eq!(reading.problems, []);
    assert_eq!(reading.records.products.len(), 3);
    let quiet = read::proposal(folder.path(), true).expect("readable");
    assert_eq!(quiet, None);
}

#[test]
fn products_that_a_table_lists_are_as_they_are() {
    let folder = Folder::good();
    folder
        .add("products.csv", "Lime,other")
        .add("usage.csv", "2024-06-01,M1,Lime,1,1,1,rear");
    assert_eq!(folder.read().problems, []);
    let text = read::proposal(folder.path(), true);
    assert_eq!(text.expect("readable"), None);
}

#[test]
fn a_family_spelled_almost_like_one_with_a_model_is_remarked_on() {
    let folder = Folder::good();
    folder.add("parts.csv", "F-2,spinner fin,9,,,");
    let reading = folder.read();
    let told: Vec<(ProblemKind, &str)> = (reading.problems.iter())
        .map(|p| (p.kind, p.found.as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (
                ProblemKind::Spelling,
                "the family `spinner fin`, spelled almost like `spinner-fin`"
            ),
            (
                ProblemKind::NoModel,
                "the family `spinner fin`, which has no model file"
            ),
        ]
    );
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert!(
        text.contains("[parts.values.family]\n\"spinner fin\" = \"spinner-fin\"\n"),
        "{text}"
    );
    assert_eq!(folder.write("columns.toml", text).read().problems, []);
}

/// What `check` prints of a folder.
fn checked(folder: &Folder) -> String {
    let dir = folder.path().to_str().expect("a path");
    let (_, out, err) = crate::cli::wearcast(&["check", dir]);
    out + &err
}

#[test]
fn a_word_counts_the_rows_it_changes_and_not_those_that_are_right_already() {
    let folder = Folder::good();
    folder.remove("products.csv").write(
        "usage.csv",
        "date,machine,product,tons,hours,bin\n2024-04-01,M1,Potash,9,9,rear\n2024-04-02,m1,Potash,9,9,rear\n\
         2024-04-03,M1,potash,9,9,rear\n2024-04-04,M1,POTASH,9,9,rear\n2024-04-05,M1,POTASH,9,9,rear\n\
         2024-04-06,M1,pOtash,9,9,rear\n",
    );
    folder.write(
        "plan.csv",
        "month,machine,product,tons\n2025-04,M2,Potash,9\n",
    );
    folder.write(
        "columns.toml",
        "[usage.values.product]\n\"potash\" = \"Potash\"\n\"POTASH\" = \"Potash\"\n\"MOP\" = \"Potash\"\n\
         [values.machine]\n\"m1\" = \"M1\"\n\"m9\" = \"M2\"\n",
    );
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    assert_eq!(reading.records.products.len(), 1);
    let out = checked(&folder);
    // The first line for a word stands in for spellings that have none of their own.
    let (_, rules) = out.split_once("rows each touched\n").expect("the rules");
    let rules: Vec<&str> = rules.lines().take_while(|line| !line.is_empty()).collect();
    assert_eq!(
        rules,
        [
            "        0  [machines.values.machine] \"m9\" = \"M2\"",
            "        2  [usage.values.product] \"potash\" = \"Potash\"",
            "        2  [usage.values.product] \"POTASH\" = \"Potash\"",
            "        0  [usage.values.product] \"MOP\" = \"Potash\"",
            "        1  [usage.values.machine] \"m1\" = \"M1\"",
        ]
    );
}

#[test]
fn what_is_in_use_is_told_apart_from_what_is_proposed() {
    let folder = own_usage(OWN_USAGE);
    folder.add("Streubuch.csv", "03.04.2024;M1;Potasch;1;1;1;rear");
    let out = checked(&folder);
    assert!(!out.contains("nothing of"), "{out}");
    assert!(
        out.contains("those marked `# new` are not in use, the others are"),
        "{out}"
    );
    let new: Vec<&str> = out
        .lines()
        .filter(|line| line.ends_with("  # new"))
        .collect();
    assert_eq!(new, ["\"Potasch\" = \"potash\"  # new"]);
    // Of a name that is like no other nothing can be proposed, and the file is not told again.
    let folder = own_usage(OWN_USAGE);
    folder.add("Streubuch.csv", "03.04.2024;M1;gravel;1;1;1;rear");
    let out = checked(&folder);
    let (_, told) = out
        .split_once("columns.toml is in use as it is")
        .expect("the sentence");
    assert!(told.contains("[usage]\n# \"gravel\" = ?"), "{told}");
    assert!(!told.contains("Datum"), "{told}");
}

#[test]
fn headers_of_amounts_that_are_not_used_are_named() {
    let folder = Folder::good();
    folder.write(
        "usage.csv",
        "date,machine,product,bin,tons,Acres done,Each,Hours to do,Net,rate lb/ac,field\n\
         2024-04-01,M1,lime,rear,9,120,$4.50,3,8,60,7\n",
    );
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert_eq!(
        text,
        "[usage]\n# not used, though they look like amounts or prices: \"Acres done\", \"Each\", \"Hours to do\", \"Net\"; \
         where one is a column of the table, name it under [usage.columns]\n"
    );
    // Where all use is told of, a price beside it is nobody's business.
    folder.write(
        "usage.csv",
        "date,machine,product,bin,tons,acres,hours,Each,Net\n2024-04-01,M1,lime,rear,9,120,5,4.50,8\n",
    );
    assert_eq!(read::proposal(folder.path(), true).expect("readable"), None);
}

#[test]
fn remarks_do_not_claim_rows_and_files_that_say_which_rows() {
    let folder = Folder::good();
    for name in ["a.csv", "b.csv", "c.csv", "d.csv", "e.csv"] {
        folder.write(name, "x,y\n1,2\n");
    }
    let out = checked(&folder);
    assert!(out.contains("5 remarks, which stop nothing\n"), "{out}");
    let sheets: Vec<(String, &str)> = (1..=5)
        .map(|n| (format!("odd {n}"), "x,y\n1,2\n"))
        .collect();
    let sheets: Vec<(&str, &str)> = sheets.iter().map(|(n, t)| (n.as_str(), *t)).collect();
    let folder = Folder::good();
    crate::read_files::workbook(&folder, "office.xlsx", &sheets);
    let out = checked(&folder);
    assert!(
        out.contains("And 2 more like these: office.xlsx, sheet odd 4; office.xlsx, sheet odd 5."),
        "{out}"
    );
}

#[test]
fn what_cannot_be_set_aside_is_not_said_to_be() {
    let folder = Folder::good();
    folder.add("stock.csv", "F-9,1,,");
    assert!(checked(&folder).contains("`--set-aside` goes on without them"));
    folder.remove("machines.csv");
    let out = checked(&folder);
    assert!(
        out.contains("Next: mend what is named above and run this again\n"),
        "{out}"
    );
    assert!(!out.contains("--set-aside"), "{out}");
}

#[test]
fn the_mapping_that_the_readme_shows_is_sound() {
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md"))
        .expect("README.md");
    let (_, after) = readme
        .split_once("<!-- columns.toml -->\n```toml\n")
        .expect("the passage");
    let (text, _) = after.split_once("```").expect("its end");
    let folder = Folder::empty();
    folder
        .write("columns.toml", text)
        .write(
            "machines.csv",
            "machine,in_service\nred spreader,2023-11-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part\nred spreader,chain,CHN-1\n",
        )
        .write("parts.csv", "part,family\nCHN-1,conveyor-chain\n")
        .write(
            "Spread log 2026.csv",
            "Datum;Unit;product;Net;Hours\n01.04.2026;Old Red;Lime (fine);5000,5;3\n",
        )
        .write(
            "replacements.csv",
            "When,machine,Item\nautumn 2024,old red,CHN-1\n",
        );
    let reading = folder.read();
    assert_eq!(problems(&reading, Severity::Problem), []);
    let row = reading.records.usage.iter().next().expect("a row");
    assert_eq!(
        (
            row.machine,
            row.product,
            row.amounts.tons,
            row.amounts.hours
        ),
        ("red spreader", "ag lime", Some(2.50025), None)
    );
    assert_eq!(reading.records.replacements[0].position, "chain");
}

#[test]
fn a_sheet_of_a_workbook_may_have_a_name_of_its_own() {
    let folder = Folder::good();
    folder.remove("stock.csv");
    let sheet = [("On the shelf", "item,qty on hand\nF-1,8\nF 1,2\n")];
    crate::read_files::workbook(&folder, "all.xlsx", &sheet);
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert!(
        text.contains("[stock]\nsheet = \"On the shelf\"\n"),
        "{text}"
    );
    assert!(text.contains("\"F 1\" = \"F-1\""), "{text}");
    let reading = folder.write("columns.toml", text).read();
    assert_eq!(reading.problems, []);
    let held: Vec<(&str, f64)> = reading
        .records
        .stock
        .iter()
        .map(|s| (s.part.as_str(), s.on_hand))
        .collect();
    assert_eq!(held, [("F-1", 2.0), ("F-1", 8.0)]);
    folder.write("columns.toml", "[stock]\nsheet = \"On the Shelf\"\n");
    assert!(
        folder
            .read()
            .problems
            .iter()
            .any(|p| p.found.contains("`On the Shelf`: not in the folder"))
    );
}

/// Where other tables have decimal commas, 1.200 on the shelf is twelve hundred or a slip, and never a little more
/// than one.
#[test]
fn decimal_commas_hold_for_the_whole_folder() {
    let folder = Folder::good();
    folder
        .write(
            "usage.csv",
            "date;machine;product;acres;tons;bin\n2024-04-01;M1;potash;120,5;24,25;rear\n",
        )
        .write("stock.csv", "part;on_hand\nC-1;1.200\n");
    let text = read::proposal(folder.path(), true)
        .expect("readable")
        .expect("something to propose");
    let stock = text.split("[stock]").nth(1).expect("a table");
    assert!(stock.contains("decimal = \",\""), "{text}");
    folder.write("columns.toml", text);
    let reading = folder.read();
    let told = reading.problems.iter().find(|p| p.found.contains("1.200"));
    assert!(
        told.is_some_and(|p| p.severity == Severity::Problem),
        "{:?}",
        reading.problems
    );
}
