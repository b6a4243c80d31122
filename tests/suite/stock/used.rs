//! What last season took stands beside what the next will need.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

/// Three machines: a chute and a pair of bolts counted by the piece, fins in sets of four.
fn records() -> Folder {
    let folder = Folder::empty();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    for (name, counted, life) in [("fin", "set", 4_000), ("bolt", "each", 3_000)] {
        let text = format!(
            "family = \"{name}\"\nmeasure = \"tons\"\ncounted = \"{counted}\"\n[prior]\n\
             shape = {{ median = 3.0, spread = 1.5 }}\nlife50 = {{ median = {life}, spread = 1.5 }}\n"
        );
        folder.write(&format!("models/{name}.toml"), text);
    }
    let mut usage = "date,machine,product,tons\n".to_owned();
    for year in 2023..2026 {
        for (machine, from) in [("M1", 2023), ("M2", 2023), ("M3", 2025)] {
            if from <= year {
                let _ = writeln!(usage, "{year}-04-20,{machine},potash,1000");
            }
        }
    }
    folder
        .write("usage.csv", usage)
        .write("settings.toml", "season_starts = \"11-01\"\n")
        .write("parts.csv", "part,family,price,replaces\nF-1,fin,20,\nF-2,fin,22,F-1\nB-1,bolt,9,\n")
        .write(
            "machines.csv",
            "machine,in_service,retired\nM1,2023-03-01,\nM2,2023-03-01,2025-09-01\nM3,2025-04-01,\n",
        )
        .write(
            "positions.csv",
            "machine,position,part,quantity\nM1,fins,F-1,4\nM1,bolts,B-1,2\nM2,bolts,B-1,2\nM3,fins,F-2,4\n",
        )
        .write(
            "replacements.csv",
            "date,machine,position,part,quantity,slot,reason\n\
             2024-05-01,M1,fins,,,,worn\n\
             2025-04-21,M1,fins,F-2,,,worn\n\
             2025-06-01,M1,fins,,2,,worn\n\
             2025-05-01,M1,bolts,,1,,planned\n\
             2025-05-02,M2,bolts,,,,damage\n\
             2025-06-10,M3,fins,,,,worn\n\
             2025-12-01,M1,bolts,,1,,worn\n",
        );
    folder
}

fn order(folder: &Folder, more: &[&str]) -> Value {
    order_on("2026-01-15", folder, more)
}

fn order_on(day: &str, folder: &Folder, more: &[&str]) -> Value {
    let path = folder.path().to_str().expect("a path");
    let mut args = vec!["stock", path, "--as-of", day, "--format", "json"];
    args.extend(more);
    let (status, out, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

fn used(order: &Value, part: &str) -> Value {
    let parts = order["parts"].as_array().expect("a list");
    let line = parts.iter().find(|line| line["part"] == part);
    line.expect("the part is in service")["used_last_season"].clone()
}

/// Counted by hand, season 2025 (1 November 2024 to 31 October 2025): two whole sets and half of one,
/// under the newest number; three bolts, two of them in a machine that was sold afterwards. What a new
/// machine came with is nobody's order, nor what was fitted before or after the season.
#[test]
fn what_the_last_season_took_is_counted_whatever_the_reason() {
    let folder = records();
    let all = order(&folder, &[]);
    assert_eq!(all["used_season"], 2025);
    assert_eq!(
        (used(&all, "F-2"), used(&all, "B-1")),
        (10.0.into(), 3.0.into())
    );
    let one = order(&folder, &["--machine", "M1"]);
    assert_eq!(
        (used(&one, "F-2"), used(&one, "B-1")),
        (6.0.into(), 1.0.into())
    );
}

#[test]
fn records_that_do_not_cover_a_season_tell_nothing_of_it() {
    let young = order(&records(), &["--machine", "M3"]);
    assert_eq!(young["used_season"], Value::Null);
    assert_eq!(used(&young, "F-2"), Value::Null);
}

/// Forty sets that last 1,000 tons, sold three at a time: a plan of four times the use of last season needs
/// far more than it took, and the order says so; a plan of the same use does not.
#[test]
fn a_need_far_from_what_last_season_took_is_told() {
    let folder = Folder::empty();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    folder
        .write(
            "models/fin.toml",
            "family = \"fin\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
             shape = { median = 4.0, spread = 1.3 }\nlife50 = { median = 1000, spread = 1.3 }\n",
        )
        .write("settings.toml", "season_starts = \"11-01\"\n")
        .write("parts.csv", "part,family,price\nF,fin,20\n");
    let mut machines = "machine,in_service\n".to_owned();
    let mut positions = "machine,position,part,quantity\n".to_owned();
    let (mut usage, mut changes) = (
        "date,machine,product,tons\n".to_owned(),
        "date,machine,position,reason\n".to_owned(),
    );
    let plan = |tons: u32| {
        let rows = (0..40).map(|i| format!("2026-04,M{i},lime,{tons}\n"));
        format!("month,machine,product,tons\n{}", rows.collect::<String>())
    };
    for i in 0..40 {
        let _ = writeln!(machines, "M{i},2022-11-01");
        let _ = writeln!(positions, "M{i},fins,F,4");
        for (year, days) in [(2023, 10), (2024, 10), (2025, 10)] {
            for day in 1..=days {
                let _ = writeln!(usage, "{year}-04-{:02},M{i},lime,100", day + i % 15);
            }
            let _ = writeln!(changes, "{year}-04-{:02},M{i},fins,worn", days - 1 + i % 15);
        }
    }
    folder
        .write("machines.csv", machines)
        .write("positions.csv", positions)
        .write("usage.csv", usage)
        .write("replacements.csv", changes);
    let told_on = |day: &str, tons: u32| {
        folder.write("plan.csv", plan(tons));
        let order = order_on(day, &folder, &[]);
        assert_eq!(used(&order, "F"), 160.0);
        let notes = order["notes"].as_array().expect("a list").clone();
        let words = |note: &Value| note.as_str().map(str::to_owned);
        let mut notes = notes.iter().filter_map(words);
        notes.find(|note| note.starts_with("far from what season 2025"))
    };
    let told = |tons| told_on("2025-10-31", tons);
    assert_eq!(told(1_000), None);
    // A season that has begun by some days is whole for all that, one that is well on is not.
    assert!(told_on("2025-11-20", 4_000).is_some());
    assert_eq!(told_on("2026-01-15", 4_000), None);
    let note = told(4_000).expect("told");
    assert!(
        note.contains("what is planned is 4.00 times its tons"),
        "{note}"
    );
    assert!(note.contains("F (160 used, "), "{note}");
}
