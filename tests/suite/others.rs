//! What other machines, other rows and other ways of writing the same thing must not change.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

const TABLES: [(&str, &str); 4] = [
    (
        "machines.csv",
        "machine,in_service\nM1,2016-11-01\nM2,2016-11-01\n",
    ),
    (
        "parts.csv",
        "part,family,price,labor_hours\nF,spinner-fin,80,1\nO,sensor,200,1\nL,hydraulic-filter,30,1\n",
    ),
    (
        "positions.csv",
        "machine,position,part\nM1,fin,F\nM2,fin,F\nM1,eye,O\nM2,eye,O\n",
    ),
    (
        "settings.toml",
        "season_starts = \"11-01\"\nlabor_rate = 60\n",
    ),
];

/// Two machines of 1,000 tons of lime each spring since 2017, whose fins wore out now and then.
fn folder() -> Folder {
    let folder = Folder::empty();
    for (name, text) in TABLES {
        folder.write(name, text);
    }
    let mut usage = "date,machine,product,acres,tons,hours\n".to_owned();
    for year in 2017..2026 {
        for day in 10..30 {
            for machine in ["M1", "M2"] {
                writeln!(usage, "{year}-04-{day},{machine},lime,35,50,5").expect("a string");
            }
        }
    }
    let changes: String = [2019, 2021, 2024]
        .into_iter()
        .flat_map(|year| {
            ["M1", "M2"].map(|machine| {
                format!("{year}-04-15,{machine},fin,worn\n{year}-04-20,{machine},eye,damage\n")
            })
        })
        .collect();
    folder.write("usage.csv", usage).write(
        "replacements.csv",
        format!("date,machine,position,reason\n{changes}"),
    );
    folder
}

fn asked(folder: &Folder, command: &str, more: &[&str]) -> Value {
    let path = folder.path().to_str().expect("a path");
    let mut words = vec![command, path, "--format", "json"];
    if !more.contains(&"--as-of") {
        words.extend(["--as-of", "2025-10-31"]);
    }
    words.extend(more);
    let (status, out, err) = wearcast(&words);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("a number: {value}"))
}

fn expected(budget: &Value, machine: &str) -> f64 {
    let machines = budget["machines"].as_array().expect("machines");
    let line = machines.iter().find(|line| line["machine"] == machine);
    number(&line.expect("the machine is there")["total"]["expected"])
}

fn notes(answer: &Value) -> String {
    answer["notes"].to_string()
}

/// Invoices tell what was changed and no log what was done: that is not nothing.
#[test]
fn a_machine_of_which_changes_alone_are_on_record_did_not_stand_still() {
    let folder = folder();
    let before = asked(&folder, "budget", &[]);
    folder
        .add("machines.csv", "M3,2016-11-01")
        .add("positions.csv", "M3,fin,F\nM3,eye,O")
        .add(
            "replacements.csv",
            "2020-05-02,M3,fin,planned\n2022-05-02,M3,eye,damage\n2023-05-02,M3,eye,damage",
        );
    let parts = asked(&folder, "remaining", &[]);
    let parts = parts["parts"].as_array().expect("parts");
    let fin = parts
        .iter()
        .find(|p| p["machine"] == "M3" && p["position"] == "fin");
    let fin = fin.expect("the fin is there");
    assert_eq!(fin["age"], Value::Null);
    assert!(0.2 < number(&fin["chance_this_season"]), "{fin}");
    let after = asked(&folder, "budget", &[]);
    assert!(notes(&after).contains("no use is on record of M3, though replacements are"));
    // What struck it, over a use that nobody knows, says nothing of the others.
    for machine in ["M1", "M2"] {
        let (before, after) = (expected(&before, machine), expected(&after, machine));
        assert!((after / before - 1.0).abs() < 0.05, "{before}, {after}");
    }
}

/// Its name stands first, or last, in every list; it has no parts, and its plan is over.
#[test]
fn a_machine_without_parts_changes_no_advice() {
    let plain = folder();
    plain.add("settings.toml", "down_cost_per_hour = 300");
    let day = ["--as-of", "2025-04-20"];
    let advice = |folder: &Folder| asked(folder, "remaining", &day)["parts"].clone();
    let before = advice(&plain);
    for name in ["A0", "Z0"] {
        let folder = folder();
        folder
            .add("settings.toml", "down_cost_per_hour = 300")
            .add("machines.csv", &format!("{name},2016-11-01"))
            .add("usage.csv", &format!("2025-04-10,{name},lime,35,50,5"))
            .write(
                "plan.csv",
                format!("month,machine,product,acres,tons,hours\n2025-04,{name},lime,35,50,5\n"),
            );
        assert_eq!(advice(&folder), before, "{name}");
    }
}

/// Its hours are not planned, and it has no eye that could be struck.
#[test]
fn what_is_planned_of_others_is_no_clock_of_what_strikes() {
    let planned = |row: &str| {
        let folder = folder();
        folder
            .add("machines.csv", "Z9,2016-11-01")
            .write(
                "plan.csv",
                format!("month,machine,product,acres,tons,hours\n2026-04,M1,lime,700,1000,100\n2026-04,M2,lime,700,1000,100\n{row}\n"),
            );
        expected(&asked(&folder, "budget", &[]), "M1")
    };
    let (known, unknown) = (
        planned("2026-05,Z9,seed,100,10,10"),
        planned("2026-05,Z9,seed,100,,"),
    );
    assert!((known - unknown).abs() < 1e-9, "{known}, {unknown}");
}

/// The filter goes by hours, which nobody wrote down, and is on one of two machines.
#[test]
fn what_is_not_asked_for_leaves_nothing_unknown() {
    let folder = folder();
    let usage = std::fs::read_to_string(folder.path().join("usage.csv")).expect("a log");
    let without: String = usage
        .lines()
        .map(|row| row.rsplit_once(',').expect("hours").0.to_owned() + "\n")
        .collect();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    folder
        .write("usage.csv", without)
        .write(
            "models/hydraulic-filter.toml",
            "family = \"hydraulic-filter\"\nmeasure = \"hours\"\ncounted = \"each\"\n[service]\nevery = { hours = 500 }\n",
        )
        .add("positions.csv", "M2,filter,L");
    let budget = asked(&folder, "budget", &[]);
    assert_eq!(budget["total"], Value::Null);
    assert!(0.0 < expected(&budget, "M1"));
    for filter in [["--family", "spinner-fin"], ["--machine", "M1"]] {
        let budget = asked(&folder, "budget", &filter);
        assert!(0.0 < number(&budget["total"]["expected"]), "{filter:?}");
        assert!(
            !notes(&budget).contains("taken as due at once"),
            "{filter:?}"
        );
    }
    assert_eq!(
        asked(&folder, "budget", &["--machine", "M1"])["asked"],
        serde_json::json!({"machines": ["M1"], "families": []})
    );
}

const PAD: &str = "family = \"pad\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
    shape = { median = 3.0, spread = 1.5 }\nlife50 = { median = 3000, spread = 2.0 }\n\
    [wear]\nmeasure = \"thickness\"\nunit = \"mm\"\nnew = 10\nlimit = 4\n";

/// Four pads on a machine of two seasons, read as `inspections` say.
fn pads(inspections: &str, changes: &str) -> Folder {
    let folder = folder();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    folder
        .write("models/pad.toml", PAD)
        .write("machines.csv", "machine,in_service\nM1,2023-11-01\n")
        .write("parts.csv", "part,family,price,labor_hours\nP,pad,80,1\n")
        .write(
            "positions.csv",
            "machine,position,part,quantity\nM1,pads,P,4\n",
        )
        .write(
            "inspections.csv",
            format!("date,machine,position,measure,value,unit,slot\n{inspections}"),
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,quantity,slot,reason\n{changes}"),
        )
        .add("settings.toml", "down_cost_per_hour = 300\nrush_cost = 0.2");
    let usage = std::fs::read_to_string(folder.path().join("usage.csv")).expect("a log");
    let own = |row: &&str| {
        ["date", "2024", "2025"].iter().any(|y| row.starts_with(y)) && !row.contains("M2")
    };
    let usage: Vec<&str> = usage.lines().filter(own).collect();
    folder.write("usage.csv", usage.join("\n") + "\n");
    folder
}

fn pad(folder: &Folder, day: &str) -> Value {
    asked(folder, "remaining", &["--as-of", day])["parts"][0].clone()
}

/// Worn near its limit by the last use of a season, and asked for while the season has days left and no
/// use: the next one is what matters.
#[test]
fn a_season_with_nothing_left_of_it_makes_no_worn_part_new() {
    let read = "2025-06-12,M1,pads,thickness,4.6,mm,1\n";
    let (within, after) = (
        pad(&pads(read, ""), "2025-10-12"),
        pad(&pads(read, ""), "2025-10-31"),
    );
    assert_eq!(within["advice"], after["advice"], "{within}, {after}");
    let (within, after) = (number(&within["saving"]), number(&after["saving"]));
    // Taken for new it was worth its own price and labor, 380, less.
    assert!((within / after - 1.0).abs() < 0.1, "{within}, {after}");
}

/// One of four pads past its limit, and replaced two days later: of the others none is near it.
#[test]
fn what_a_replaced_piece_of_a_set_read_is_gone_with_it() {
    let read = "2025-05-20,M1,pads,thickness,7.9,mm,1\n2025-05-20,M1,pads,thickness,3.8,mm,2\n";
    let there = pad(&pads(read, ""), "2025-10-31");
    assert_eq!(there["advice"], "replace_now");
    for slot in ["2", ""] {
        let changed = format!("2025-05-22,M1,pads,1,{slot},worn\n");
        let gone = pad(&pads(read, &changed), "2025-10-31");
        assert_ne!(gone["advice"], "replace_now", "{slot}");
        let (there, gone) = (&there["chance_this_season"], &gone["chance_this_season"]);
        assert!(number(gone) < 0.5 * number(there), "{gone} for {there}");
    }
    // A piece of the set that came after it takes nothing from what the first one read.
    let later = "2025-05-22,M1,pads,4,,planned\n2025-06-02,M1,pads,1,2,worn\n";
    let answer = asked(&pads(read, later), "remaining", &[]);
    assert!(
        !notes(&answer).contains("replaced since"),
        "{}",
        notes(&answer)
    );
}

/// What it costs to change steel is the price of steel, also where stainless is its successor.
#[test]
fn a_material_costs_what_it_cost_before_it_was_superseded() {
    let compared = |replaces: &str| {
        let folder = folder();
        folder
            .write(
                "parts.csv",
                format!("part,family,material,price,labor_hours,replaces\nF,spinner-fin,steel,80,1,\nS,spinner-fin,stainless,250,1,{replaces}\nO,sensor,,200,1,\n"),
            )
            .write(
                "replacements.csv",
                "date,machine,position,part,reason\n2018-04-15,M1,fin,,worn\n2019-04-15,M1,fin,,worn\n2021-04-15,M1,fin,S,worn\n2025-04-15,M1,fin,S,worn\n2018-04-15,M2,fin,,worn\n2019-04-15,M2,fin,,worn\n2021-04-15,M2,fin,S,worn\n2025-04-15,M2,fin,S,worn\n",
            );
        let answer = asked(
            &folder,
            "compare",
            &["--by", "material", "--family", "spinner-fin"],
        );
        let rows = answer["rows"].as_array().expect("rows").clone();
        let costs = rows.iter().map(|row| row["change_cost"].clone());
        costs.collect::<Vec<Value>>()
    };
    let apart = compared("");
    assert_eq!(apart.len(), 2);
    assert_ne!(apart[0], apart[1]);
    assert_eq!(apart, compared("F"));
}
