//! What parts have in common in a forecast: the days on which they are found, and the machine they are on.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

fn budget(folder: &Folder) -> Value {
    let path = folder.path().to_str().expect("a path");
    let (status, out, err) =
        wearcast(&["budget", path, "--as-of", "2026-10-31", "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

/// A family whose life is known to a hair.
fn family(folder: &Folder, measure: &str, shape: f64, life50: f64) {
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let text = format!(
        "family = \"hose\"\nmeasure = \"{measure}\"\ncounted = \"each\"\n[prior]\n\
         shape = {{ median = {shape:?}, spread = 1.0003 }}\n\
         life50 = {{ median = {life50:?}, spread = 1.0003 }}\n"
    );
    folder
        .write("models/hose.toml", text)
        .write("parts.csv", "part,family,price\nH,hose,100\n");
}

/// A hose lasts 100 days, the machine works in April and September. One fitted on 30 September is worn in
/// January and found on the first day of work in April; the next is worn in July and found in September.
/// Looked at every day of the year there would be three or four of them.
#[test]
fn what_wears_in_the_shed_is_found_on_the_next_day_of_work() {
    let folder = Folder::empty();
    family(&folder, "days", 60.0, 100.0);
    let mut usage = "date,machine,product,tons\n".to_owned();
    for month in ["04", "09"] {
        for day in 1..=30 {
            writeln!(usage, "2026-{month}-{day:02},M1,lime,20").expect("text");
        }
    }
    folder
        .write("machines.csv", "machine,in_service\nM1,2026-04-01\n")
        .write("positions.csv", "machine,position,part\nM1,boom,H\n")
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2026-09-30,M1,boom,planned\n",
        )
        .write(
            "plan.csv",
            "month,machine,product,tons\n2027-04,M1,lime,600\n2027-09,M1,lime,600\n",
        )
        .write("settings.toml", "season_starts = \"11-01\"\n")
        .write("usage.csv", usage);
    let budget = budget(&folder);
    let months = budget["months"].as_array().expect("a list");
    let changed: Vec<&str> = months
        .iter()
        .filter(|m| 50.0 < m["total"]["expected"].as_f64().expect("a number"))
        .map(|m| m["month"].as_str().expect("a month"))
        .collect();
    assert!(
        matches!(changed[..], [a, b] if a.starts_with("2027-04") && b.starts_with("2027-09")),
        "{changed:?}"
    );
    let worn = &budget["families"][0]["worn"]["expected"];
    assert!(
        (worn.as_f64().expect("a number") - 2.0).abs() < 0.02,
        "{worn}"
    );
}

/// Machines with one change on record each, and `new` with 24 hoses of which nobody knows when they were
/// fitted: the range of what `new` costs.
fn range_of_new(known: usize, bins: [&str; 2]) -> f64 {
    let folder = Folder::empty();
    family(&folder, "tons", 3.0, 450.0);
    let mut machines = "machine,in_service\nnew,2025-11-01\n".to_owned();
    let mut positions = "machine,position,part,bin,installed\n".to_owned();
    let mut usage = "date,machine,product,tons,bin\n".to_owned();
    let mut changes = "date,machine,position,reason\n".to_owned();
    let mut plan = "month,machine,product,tons,bin\n".to_owned();
    for hose in 0..24 {
        writeln!(positions, "new,h{hose},H,{},unknown", bins[hose % 2]).expect("text");
    }
    // The same use whether the machine has one bin or two of which each sees as much.
    let mut seen: Vec<&str> = bins.to_vec();
    seen.dedup();
    for bin in seen {
        for day in 1..=20 {
            writeln!(usage, "2026-04-{day:02},new,lime,20,{bin}").expect("text");
        }
        writeln!(plan, "2027-04,new,lime,400,{bin}").expect("text");
    }
    for k in 0..known {
        writeln!(machines, "old{k},2025-11-01").expect("text");
        writeln!(positions, "old{k},h,H,,").expect("text");
        for day in 1..=20 {
            writeln!(usage, "2026-05-{day:02},old{k},lime,25,").expect("text");
        }
        writeln!(changes, "2026-05-18,old{k},h,worn").expect("text");
        writeln!(plan, "2027-05,old{k},lime,500,").expect("text");
    }
    folder
        .write("machines.csv", machines)
        .write("positions.csv", positions)
        .write("usage.csv", usage)
        .write("replacements.csv", changes)
        .write("plan.csv", plan)
        .write("settings.toml", "season_starts = \"11-01\"\n");
    let budget = budget(&folder);
    let mut machines = budget["machines"].as_array().expect("a list").iter();
    let new = machines.find(|m| m["machine"] == "new").expect("it");
    let at = |key: &str| new["total"][key].as_f64().expect("a number");
    at("p95") - at("p10")
}

/// A machine wears all parts of a family faster or slower, whichever bin they see.
#[test]
fn a_machines_effect_is_one_for_the_parts_of_all_its_bins() {
    let (one, two) = (
        range_of_new(6, ["", ""]),
        range_of_new(6, ["front", "rear"]),
    );
    assert!((0.85..1.15).contains(&(two / one)), "{two} of {one}");
}

/// Where all lives are those of one machine, another may still differ from it.
#[test]
fn a_machine_without_lives_may_differ_from_the_only_one_that_has_some() {
    let (one, two) = (range_of_new(1, ["", ""]), range_of_new(2, ["", ""]));
    assert!((0.8..1.3).contains(&(one / two)), "{one} of {two}");
}

/// Two machines, and nobody knows how old the part of either is: no life to learn from, and the prior alone tells.
#[test]
fn a_family_without_a_life_on_several_machines_has_its_prior() {
    let folder = Folder::empty();
    family(&folder, "tons", 3.0, 450.0);
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM1,2024-11-01\nM2,2024-11-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part,installed\nM1,h,H,unknown\nM2,h,H,unknown\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons\n2026-04-01,M1,lime,300\n2026-04-02,M2,lime,300\n",
        )
        .write("settings.toml", "season_starts = \"11-01\"\n");
    let budget = budget(&folder);
    let expected = &budget["families"][0]["replacements"]["expected"];
    let expected = expected.as_f64().expect("a number");
    assert!((0.5..2.0).contains(&expected), "{expected}");
    assert!(!budget["families"][0]["worn"]["p95"].is_null());
}
