//! Inspections from file to forecast: whose reading, in which unit, and what becomes of each row.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

const HEAD: &str = "date,machine,position,measure,value,unit,slot\n";

/// One machine, 100 tons on the first of every month of two years, no part ever changed.
fn folder(inspections: &str) -> Folder {
    let folder = Folder::empty();
    let family = |name: &str, counted: &str, wear: &str| {
        format!(
            "family = \"{name}\"\nmeasure = \"tons\"\ncounted = \"{counted}\"\n[prior]\n\
             shape = {{ median = 3.0, spread = 1.5 }}\nlife50 = {{ median = 5000, spread = 2.0 }}\n{wear}"
        )
    };
    let thickness = "[wear]\nmeasure = \"thickness\"\nunit = \"mm\"\nnew = 8.0\nlimit = 4.0\n";
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    folder
        .write("models/shoe.toml", family("shoe", "each", thickness))
        .write("models/rail.toml", family("rail", "set", thickness))
        .write("models/flap.toml", family("flap", "each", ""))
        .write("machines.csv", "machine,in_service\nnorth,2024-01-01\n")
        .write(
            "positions.csv",
            "machine,position,part,quantity\nnorth,shoe,S-1,1\nnorth,pair,S-1,2\n\
             north,rails,R-1,3\nnorth,flap,F-1,1\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nS-1,shoe,200,1\nR-1,rail,90,2\nF-1,flap,20,1\n",
        )
        .write("settings.toml", "labor_rate = 100\n");
    let mut usage = "date,machine,product,tons,acres,hours\n".to_owned();
    for month in 0..24 {
        let (year, month) = (2024 + month / 12, month % 12 + 1);
        writeln!(usage, "{year}-{month:02}-01,north,potash,100,700,9").expect("text");
    }
    folder.write("usage.csv", usage);
    if !inspections.is_empty() {
        folder.write("inspections.csv", format!("{HEAD}{inspections}"));
    }
    folder
}

fn run(folder: &Folder, command: &str, more: &[&str]) -> String {
    let path = folder.path().to_str().expect("a path");
    let args = [&[command, path, "--as-of", "2025-12-31"], more].concat();
    let (status, out, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Done, "{err}");
    out
}

fn remaining(folder: &Folder) -> Value {
    serde_json::from_str(&run(folder, "remaining", &["--format", "json"])).expect("JSON")
}

fn part<'a>(report: &'a Value, position: &str, slot: Option<&str>) -> &'a Value {
    let mut parts = report["parts"].as_array().expect("a list").iter();
    parts
        .find(|p| p["position"] == position && p["slot"].as_str() == slot)
        .expect("the part")
}

fn left(part: &Value, key: &str) -> f64 {
    part["remaining"][key].as_f64().expect("a number")
}

fn notes(report: &Value) -> String {
    let notes = report["notes"].as_array().expect("a list").iter();
    notes
        .map(|n| n.as_str().expect("text"))
        .collect::<Vec<_>>()
        .join("\n")
}

/// A quarter of the way after 1,200 tons, 0.55 of it after 2,400.
const TWO: &str =
    "2024-12-31,north,shoe,thickness,7.0,mm,\n2025-12-31,north,shoe,thickness,5.8,mm,\n";

#[test]
fn readings_say_what_is_left_and_narrow_it() {
    let (with, without) = (remaining(&folder(TWO)), remaining(&folder("")));
    let (seen, blind) = (part(&with, "shoe", None), part(&without, "shoe", None));
    let width = |p: &Value| left(p, "p90") - left(p, "p10");
    assert!(
        width(seen) < 0.5 * width(blind),
        "{} of {}",
        width(seen),
        width(blind)
    );
    // The readings' own line reaches the limit at some 4,500 tons, 2,100 from now.
    assert!(
        (1_700.0..2_700.0).contains(&left(seen, "p50")),
        "{}",
        left(seen, "p50")
    );
    let measured = &seen["measured"];
    assert_eq!(measured["last_reading"], 5.8);
    assert_eq!(measured["date"], "2025-12-31");
    assert_eq!(measured["limit"], 4.0);
    assert_eq!(measured["readings"], 2);
    assert_eq!(measured["past_limit"], Value::Null);
    // Falling wear has a rate below 0: some 2.2 mm over 2,400 tons.
    let rate = measured["rate_per_1000"]["estimate"]
        .as_f64()
        .expect("a number");
    assert!((-1.05..-0.75).contains(&rate), "{rate}");
    // Parts nobody measured are as they were, to the last digit.
    assert_eq!(
        part(&with, "flap", None)["remaining"],
        part(&without, "flap", None)["remaining"]
    );
    assert_eq!(part(&with, "flap", None)["measured"], Value::Null);
    assert!(part(&without, "flap", None).get("measured").is_none());
}

#[test]
fn an_inch_is_read_as_millimetres() {
    let inches = TWO
        .replace("7.0,mm", "0.27559055,in")
        .replace("5.8,mm", "0.22834646,Inch");
    let (mm, inch) = (remaining(&folder(TWO)), remaining(&folder(&inches)));
    let (a, b) = (part(&mm, "shoe", None), part(&inch, "shoe", None));
    assert!((left(a, "p50") / left(b, "p50") - 1.0).abs() < 1e-3);
}

/// A spreadsheet's cell that shows 1.4 % holds 0.014.
#[test]
fn a_percentage_written_as_a_fraction_is_told() {
    let of = |value: &str| {
        let folder = folder(&format!("2025-06-02,north,shoe,elongation,{value},%,\n"));
        let limit = "[wear]\nmeasure = \"elongation\"\nunit = \"percent\"\nnew = 0\nlimit = 3\n";
        let family = format!("family = \"shoe\"\nmeasure = \"tons\"\n{limit}");
        let folder = folder.write("models/shoe.toml", family);
        notes(&remaining(folder)).contains("look like fractions: inspections.csv row 2;")
    };
    assert!(of("0.014") && of("0.045"));
    assert!(!of("0.05") && !of("1.4") && !of("0"));
}

#[test]
fn a_reading_past_the_limit_is_replaced_whatever_the_forecast_says() {
    let folder = folder("2025-12-31,north,shoe,thickness,3.9,mm,\n");
    // Without a price there is no programme to ask, and the limit speaks all the same.
    folder.write("parts.csv", "part,family\nS-1,shoe\nR-1,rail\nF-1,flap\n");
    let report = remaining(&folder);
    let shoe = part(&report, "shoe", None);
    assert_eq!(shoe["advice"], "replace_now");
    assert_eq!(shoe["measured"]["past_limit"], "2025-12-31");
    assert_eq!(part(&report, "flap", None)["advice"], Value::Null);
    let said =
        "replace now: north: shoe is past its limit, thickness 3.9 mm on 2025-12-31 against 4 mm";
    assert!(notes(&report).contains(said), "{}", notes(&report));
    let table = run(&folder, "remaining", &[]);
    let (limit, forecast) = (table.find("past limit"), table.find("Left, even"));
    assert!(limit.expect("the limit") < forecast.or(table.find("Left,")).expect("the forecast"));
}

#[test]
fn a_part_that_may_reach_its_limit_this_season_is_looked_at() {
    let folder = folder("2025-12-31,north,shoe,thickness,5.0,mm,\n");
    folder.write("parts.csv", "part,family\nS-1,shoe\nR-1,rail\nF-1,flap\n");
    let report = remaining(&folder);
    let shoe = part(&report, "shoe", None);
    let chance = shoe["chance_this_season"].as_f64().expect("a number");
    assert!((0.34..0.9).contains(&chance), "{chance}");
    assert_eq!(shoe["advice"], "inspect");
}

#[test]
fn a_worn_reading_raises_the_budget_and_a_good_one_lowers_it() {
    let worn = |inspections: &str| {
        let out = run(
            &folder(inspections),
            "budget",
            &["--format", "json", "--family", "shoe"],
        );
        let budget: Value = serde_json::from_str(&out).expect("JSON");
        budget["families"][0]["replacements"]["expected"]
            .as_f64()
            .expect("a number")
    };
    let (none, near, far) = (
        worn(""),
        worn("2025-12-31,north,shoe,thickness,4.5,mm,\n"),
        worn("2025-12-31,north,shoe,thickness,7.5,mm,\n"),
    );
    assert!(none + 0.4 < near, "{none} without, {near} at 4.5 mm");
    assert!(far < none, "{none} without, {far} at 7.5 mm");
}

/// Parts wear out each by itself: of many with the same reading about the same number is worn in every
/// season played, however little is known of any one of them.
#[test]
fn parts_with_the_same_reading_do_not_all_wear_out_in_the_same_plays() {
    let mut positions = "machine,position,part,quantity\n".to_owned();
    let mut readings = String::new();
    for place in 1..=40 {
        writeln!(positions, "north,shoe {place},S-1,1").expect("text");
        writeln!(readings, "2025-12-31,north,shoe {place},thickness,5.2,mm,").expect("text");
    }
    let folder = folder(&readings);
    folder.write("positions.csv", positions);
    let json = |command| -> Value {
        serde_json::from_str(&run(&folder, command, &["--format", "json"])).expect("JSON")
    };
    let (budget, remaining) = (json("budget"), json("remaining"));
    let chances = remaining["parts"].as_array().expect("a list").iter();
    let chances = chances.map(|p| p["chance_this_season"].as_f64().expect("a number"));
    let alone: f64 = chances.map(|p| p * (1.0 - p)).sum::<f64>().sqrt();
    let worn = &budget["families"][0]["worn"];
    let at = |key: &str| worn[key].as_f64().expect("a number");
    // What all have in common, such as how far past the limit this owner goes, is not known either.
    let together = (at("p90") - at("p10")) / 2.56;
    assert!(
        (alone..2.5 * alone).contains(&together),
        "{together} of {alone}"
    );
}

#[test]
fn a_row_that_no_forecast_uses_is_listed_with_its_reason() {
    let rows = "2025-12-31,north,shoe,play,1.0,mm,\n\
                2025-12-31,north,shoe,thickness,5,links,\n\
                2025-12-31,north,pair,thickness,5,mm,\n\
                2025-12-31,north,flap,thickness,5,mm,\n\
                2023-12-31,north,shoe,thickness,8,mm,\n";
    let (with, without) = (remaining(&folder(rows)), remaining(&folder("")));
    assert_eq!(with["parts"], without["parts"]);
    let notes = notes(&with);
    for said in [
        "it measures play, the limit is on thickness: inspections.csv row 2",
        "its unit links cannot be turned into mm for certain: inspections.csv row 3",
        "it does not say which of several parts was measured: inspections.csv row 4",
        "family flap has no limit on measured wear (`[wear]` in a model file): inspections.csv row 5",
        "no part was in that place on that day: inspections.csv row 6",
    ] {
        assert!(notes.contains(said), "{said}\n--\n{notes}");
    }
}

#[test]
fn a_reading_on_the_day_of_a_replacement_is_of_the_part_taken_out() {
    let folder = folder("2025-06-01,north,shoe,thickness,4.1,mm,\n");
    folder.write(
        "replacements.csv",
        "date,machine,position,reason\n2025-06-01,north,shoe,worn\n",
    );
    let report = remaining(&folder);
    assert!(part(&report, "shoe", None).get("measured").is_none());
    folder.write(
        "inspections.csv",
        format!("{HEAD}2025-06-02,north,shoe,thickness,7.9,mm,\n"),
    );
    let report = remaining(&folder);
    assert_eq!(part(&report, "shoe", None)["measured"]["last_reading"], 7.9);
}

/// Worn from 8 mm to 4: 6 mm is half of the way, so 7.1 is nearer to new and 6.9 is not.
#[test]
fn a_reading_near_new_on_the_day_of_a_replacement_is_of_the_part_put_in() {
    let at = |last: &str, that_day: &str| {
        let folder = folder(&format!(
            "2025-01-01,north,shoe,thickness,{last},mm,\n2025-06-01,north,shoe,thickness,{that_day},mm,\n"
        ));
        folder.write(
            "replacements.csv",
            "date,machine,position,reason\n2025-06-01,north,shoe,worn\n",
        );
        let report = remaining(&folder);
        assert!(!notes(&report).contains("swapped"), "{}", notes(&report));
        part(&report, "shoe", None)
            .get("measured")
            .and_then(|m| m["last_reading"].as_f64())
    };
    assert_eq!(at("6.0", "8.0"), Some(8.0));
    assert_eq!(at("6.0", "8.1"), Some(8.1));
    assert_eq!(at("6.0", "7.1"), Some(7.1));
    assert_eq!(at("6.0", "6.9"), None);
    assert_eq!(at("6.0", "5.9"), None);
}

#[test]
fn without_an_earlier_reading_only_one_near_new_is_of_the_part_put_in() {
    let at = |that_day: &str| {
        let folder = folder(&format!("2025-06-01,north,shoe,thickness,{that_day},mm,\n"));
        folder.write(
            "replacements.csv",
            "date,machine,position,reason\n2025-06-01,north,shoe,planned\n",
        );
        let report = remaining(&folder);
        part(&report, "shoe", None)
            .get("measured")
            .and_then(|m| m["last_reading"].as_f64())
    };
    assert_eq!(at("7.9"), Some(7.9));
    assert_eq!(at("7.0"), None);
}

#[test]
fn a_part_swapped_unrecorded_is_named_with_its_row_and_counts_from_there() {
    let swapped =
        "2024-12-31,north,shoe,thickness,5.0,mm,\n2025-12-31,north,shoe,thickness,7.2,mm,\n";
    let report = remaining(&folder(swapped));
    let shoe = part(&report, "shoe", None);
    assert_eq!(shoe["measured"]["readings"], 1);
    let notes = notes(&report);
    assert!(notes.contains("inspections.csv row 3: thickness of north: shoe went from 5 mm on 2024-12-31 back to 7.2 mm on 2025-12-31"), "{notes}");
    assert!(
        notes.contains("taken before the part was swapped: inspections.csv row 2"),
        "{notes}"
    );
    // 0.2 of the way in the 1,200 tons since: 0.67 mm a thousand, not 0.33.
    let rate = shoe["measured"]["rate_per_1000"]["estimate"]
        .as_f64()
        .expect("a number");
    assert!((-0.9..-0.5).contains(&rate), "{rate}");
}

#[test]
fn a_small_fall_is_measuring_error_and_every_reading_counts() {
    let rows = "2024-12-31,north,shoe,thickness,7.0,mm,\n2025-06-30,north,shoe,thickness,7.1,mm,\n";
    let report = remaining(&folder(rows));
    assert_eq!(part(&report, "shoe", None)["measured"]["readings"], 2);
    assert!(!notes(&report).contains("swapped"));
}

/// Pieces of a set wear each for itself: a sound one measured beside the worst changes nothing, in whatever order
/// the rows are.
#[test]
fn a_set_goes_by_its_worst_piece() {
    let left = "2025-06-30,north,rails,thickness,5.2,mm,left\n2025-12-31,north,rails,thickness,4.3,mm,left\n";
    let sound = "2025-06-30,north,rails,thickness,7.8,mm,right\n2025-12-31,north,rails,thickness,7.6,mm,right\n";
    let alone = remaining(&folder(left));
    for rows in [format!("{left}{sound}"), format!("{sound}{left}")] {
        let both = remaining(&folder(&rows));
        let [told, alone] = [&both, &alone].map(|report| part(report, "rails", None));
        assert_eq!(told["measured"]["last_reading"], 4.3);
        for key in ["remaining", "chance_this_season", "advice", "measured"] {
            assert_eq!(told[key], alone[key], "{key}");
        }
        assert!(notes(&both).contains("of another piece than the worst of its set"));
    }
}

/// A single piece has no other: a slot written down once, or not, is all the same.
#[test]
fn a_single_piece_keeps_every_reading_whatever_its_slot_is_called() {
    let rows =
        "2024-12-31,north,shoe,thickness,7.0,mm,\n2025-06-30,north,shoe,thickness,6.4,mm,left\n";
    let report = remaining(&folder(rows));
    assert_eq!(part(&report, "shoe", None)["measured"]["readings"], 2);
}

/// Without slots all readings of a day are of the set, and the last is the worst of its day.
#[test]
fn unnamed_readings_of_a_day_are_told_by_the_worst() {
    for values in [["6.0", "6.2"], ["6.2", "6.0"]] {
        let rows = values.map(|v| format!("2025-12-31,north,rails,thickness,{v},mm,\n"));
        let report = remaining(&folder(&rows.concat()));
        let measured = &part(&report, "rails", None)["measured"];
        assert_eq!(measured["readings"], 2);
        assert_eq!(measured["last_reading"], 6.0);
    }
}

#[test]
fn slots_that_only_inspections_name_take_those_names() {
    let report = remaining(&folder("2025-12-31,north,pair,thickness,6.0,mm,left\n"));
    assert_eq!(
        part(&report, "pair", Some("left"))["measured"]["last_reading"],
        6.0
    );
    assert_eq!(part(&report, "pair", Some("2"))["measured"], Value::Null);
}

#[test]
fn inspections_after_the_as_of_date_are_not_known() {
    let rows = format!("{TWO}2026-02-01,north,shoe,thickness,3.0,mm,\n");
    assert_eq!(remaining(&folder(&rows)), remaining(&folder(TWO)));
}

/// Hoses have the calendar for a gauge: the one fitted two years ago is past 700 days, and short of 800.
#[test]
fn a_part_past_the_age_of_its_family_is_to_be_replaced() {
    let advice = |limit: u32| {
        let wear =
            format!("[wear]\nmeasure = \"age\"\nunit = \"days\"\nnew = 0\nlimit = {limit}\n");
        let prior = "[prior]\nshape = { median = 3.0, spread = 1.5 }\nlife50 = { median = 5000, spread = 2.0 }\n";
        let text =
            format!("family = \"flap\"\nmeasure = \"days\"\ncounted = \"each\"\n{prior}{wear}");
        let folder = folder("");
        let report = remaining(folder.write("models/flap.toml", text));
        part(&report, "flap", None)["advice"].clone()
    };
    assert_eq!(advice(700), "replace_now");
    assert_eq!(advice(800), "run");
}
