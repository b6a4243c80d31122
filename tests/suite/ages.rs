//! Ages that nobody knows, and what is made of them.

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

fn asked(folder: &Folder, command: &str) -> Value {
    asked_on(folder, command, "2026-10-31")
}

fn asked_on(folder: &Folder, command: &str, date: &str) -> Value {
    let path = folder.path().to_str().expect("a path");
    let args = [command, path, "--as-of", date, "--format", "json"];
    let (status, out, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

/// A family of hoses with a life known to a hair, and the settings.
fn hoses(folder: &Folder, measure: &str, life50: u32) {
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let text = format!(
        "family = \"hose\"\nmeasure = \"{measure}\"\ncounted = \"each\"\n[prior]\n\
         shape = {{ median = 6.0, spread = 1.001 }}\n\
         life50 = {{ median = {life50}, spread = 1.001 }}\n"
    );
    folder
        .write("models/hose.toml", text)
        .write("parts.csv", "part,family,price\nH,hose,100\nO,oil,10\n")
        .write("settings.toml", "season_starts = \"11-01\"\n");
}

const PLAN: &str =
    "month,machine,product,tons,hours\n2027-04,M,lime,500,50\n2027-09,M,lime,500,50\n";

/// Nobody logged any use: seven years of it are not nothing, and oil due every 120 hours is due as soon as
/// the machine is at work.
#[test]
fn use_that_nobody_logged_is_not_0() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 9_000);
    folder
        .write(
            "models/oil.toml",
            "family = \"oil\"\n[service]\nevery = { hours = 120 }\n",
        )
        .write("machines.csv", "machine,in_service\nM,2019-11-01\n")
        .write(
            "positions.csv",
            "machine,position,part\nM,boom,H\nM,tank,O\n",
        )
        .write("plan.csv", PLAN);
    let report = asked(&folder, "remaining");
    let part = &report["parts"][0];
    assert_eq!(part["age"], Value::Null);
    // A plan of 1,000 tons a season, seven seasons long, leaves some 2,000 of 9,000.
    let left = number(&part["remaining"]["p50"]);
    assert!((1_700.0..2_900.0).contains(&left), "{left}");
    let lives = asked(&folder, "lives");
    assert_eq!(lives["lives"][0]["tons"], Value::Null);
    let due = &asked(&folder, "budget")["families"];
    let oil = due
        .as_array()
        .expect("a list")
        .iter()
        .find(|f| f["family"] == "oil");
    let oil = oil.expect("the oil");
    assert_eq!(oil["replacements"]["expected"], 1.0);
}

/// A hose of unknown age in a machine that is three years old is no older than three years.
#[test]
fn a_part_is_no_older_than_its_machine() {
    let chance = |in_service: &str| {
        let folder = Folder::empty();
        hoses(&folder, "days", 2_000);
        folder
            .write(
                "machines.csv",
                format!("machine,in_service,records_from\nM,{in_service},2025-11-01\n"),
            )
            .write(
                "positions.csv",
                "machine,position,part,installed\nM,boom,H,unknown\n",
            )
            .write(
                "usage.csv",
                "date,machine,product,tons,hours\n2026-04-07,M,lime,40,4\n",
            )
            .write("plan.csv", PLAN);
        number(&asked(&folder, "remaining")["parts"][0]["chance_this_season"])
    };
    // New in 2023, it is 1,461 days old when the season is over: (1461 / 2000)^6 ln 2 = 0.105 to be worn by then, less
    // (1096 / 2000)^6 ln 2 = 0.019 by the as-of date.
    let young = chance("2023-11-01");
    assert!((0.07..0.10).contains(&young), "{young}");
    // In the machine of 2000 it may be of any age: 365 days in a mean life of some 1,970.
    let old = chance("2000-01-01");
    assert!((0.15..0.25).contains(&old), "{old}");
}

/// A machine of which nobody says what it will do, and from which nobody else's can be told: unknown, not 0.
#[test]
fn use_to_come_that_nobody_knows_is_not_0() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 2_000);
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM,2025-11-01\nN,2026-10-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part\nM,boom,H\nN,boom,H\n",
        )
        .write("plan.csv", PLAN);
    let report = asked(&folder, "budget");
    let machines = report["machines"].as_array().expect("a list");
    assert_ne!(machines[0]["total"], Value::Null);
    assert_eq!(machines[1]["total"], Value::Null, "{}", machines[1]);
    assert_eq!(report["total"], Value::Null);
    assert_ne!(report["known_total"], Value::Null);
    let parts = asked(&folder, "remaining");
    assert_eq!(parts["parts"][1]["chance_this_season"], Value::Null);
    // What others did stands for it, where anything of them is on record.
    folder.write(
        "usage.csv",
        "date,machine,product,tons,hours\n2026-04-07,M,lime,800,80\n",
    );
    let report = asked(&folder, "budget");
    assert_ne!(report["total"], Value::Null);
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("what the other machines did on average last season"),
        "{notes}"
    );
}

/// What a stop costs is not known where an hour has a price and nobody wrote down how many are lost.
#[test]
fn a_dearer_part_alone_is_not_what_a_stop_costs() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 2_000);
    folder
        .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
        .write("positions.csv", "machine,position,part\nM,boom,H\n")
        .write(
            "usage.csv",
            "date,machine,product,tons,hours\n2026-04-07,M,lime,800,80\n",
        )
        .write("plan.csv", PLAN)
        .write(
            "settings.toml",
            "season_starts = \"11-01\"\nrush_cost = 0.15\n",
        );
    let stop = |folder: &Folder| asked(folder, "remaining")["parts"][0]["stop_cost"].clone();
    assert_eq!(stop(&folder), 15.0);
    folder.write(
        "settings.toml",
        "season_starts = \"11-01\"\nrush_cost = 0.15\ndown_cost_per_hour = 90\n",
    );
    assert_eq!(stop(&folder), Value::Null);
    let notes = asked(&folder, "remaining")["notes"].to_string();
    assert!(
        notes.contains("what a stop in season costs is not known for hose"),
        "{notes}"
    );
}

/// Slips that are used are told beside the figures that rest on them, not by `check` alone.
#[test]
fn rows_that_look_like_slips_are_told_with_every_result() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 2_000);
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM,2025-11-01\nN,1905-07-11\n",
        )
        .write(
            "positions.csv",
            "machine,position,part\nM,boom,H\nN,boom,H\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons,hours\n2026-04-07,M,lime,800,80\n2026-04-07,M,lime,800,80\n",
        )
        .write("plan.csv", PLAN);
    let notes = asked(&folder, "budget")["notes"].to_string();
    for words in [
        "rows that look like slips, or rest on a guess, count in every figure",
        "usage.csv",
        "`1905-07-11`",
    ] {
        assert!(notes.contains(words), "{words}: {notes}");
    }
}

#[test]
fn a_successor_of_another_family_is_told() {
    let folder = Folder::good();
    let parts = std::fs::read_to_string(folder.path().join("parts.csv")).expect("a table");
    let columns = parts.lines().next().expect("a header").split(',').count();
    let mut row = vec![""; columns];
    let place = |name: &str| {
        let mut heads = parts.lines().next().expect("a header").split(',');
        heads.position(|head| head == name).expect("a column")
    };
    let old = parts
        .lines()
        .nth(1)
        .and_then(|l| l.split(',').next())
        .expect("a part");
    row[place("part")] = "NEW-9";
    row[place("family")] = "sprocket";
    row[place("replaces")] = old;
    folder.write("parts.csv", format!("{}{}\n", parts, row.join(",")));
    let reading = folder.read();
    let told = reading
        .problems
        .iter()
        .find(|p| p.found.contains("`NEW-9` of the family `sprocket`"));
    assert!(told.is_some(), "{:?}", reading.problems);
}

/// Hour meters alone do not say what was spread, and what is taken for it is told with every result.
#[test]
fn products_of_the_fleet_that_stand_for_a_machines_own_are_told() {
    let folder = Folder::empty();
    hoses(&folder, "hours", 2_000);
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM,2025-11-01\nN,2025-11-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part\nM,boom,H\nN,boom,H\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons,hours\n2026-04-07,M,lime,800,80\n2026-05-07,M,urea,90,30\n",
        )
        .write(
            "meters.csv",
            "date,machine,meter,reading\n2026-03-01,N,hours,0\n2026-06-01,N,hours,70\n",
        );
    let report = asked(&folder, "budget");
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("the fleet's products are taken, of: N"),
        "{notes}"
    );
    folder.write(
        "meters.csv",
        "date,machine,meter,reading,product\n2026-03-01,N,hours,0,\n2026-06-01,N,hours,70,urea\n",
    );
    let notes = asked(&folder, "budget")["notes"].to_string();
    assert!(!notes.contains("the fleet's products"), "{notes}");
}

/// What the changes advised come to is said where they are advised.
#[test]
fn the_changes_advised_have_their_price() {
    let sample = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/owner");
    let (status, out, err) = wearcast(&["remaining", sample, "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let report: Value = serde_json::from_str(&out).expect("JSON");
    let parts = report["parts"].as_array().expect("a list");
    let advised: Vec<f64> = (parts.iter())
        .filter(|part| part["advice"] == "replace_now")
        .map(|part| number(&part["change_cost"]))
        .collect();
    assert!(!advised.is_empty());
    let (_, out, _) = wearcast(&["remaining", sample]);
    let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("now comes to $"), "{words}");
}

/// Records of half a year tell half of it, and the plan the rest: what came before them was whole years. By hand:
/// 549 days at 2,767 tons a year are 4,160 tons, and 100 since; of a life of 6,378 tons at shape 6 the middle part then
/// has 1,900 left. Divided out by the winter alone it would be as good as new.
#[test]
fn a_year_on_record_in_part_goes_on_as_planned() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 6_000);
    let plan = [4, 5, 6, 7, 8, 9, 10].map(|month| format!("2026-{month:02},M,lime,400,40\n"));
    let plan = plan.concat();
    folder
        .write(
            "machines.csv",
            "machine,in_service,records_from\nM,2020-11-01,2025-11-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part,installed\nM,boom,H,2024-05-01\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons,hours\n2026-04-07,M,lime,100,10\n",
        )
        .write(
            "plan.csv",
            format!("month,machine,product,tons,hours\n{plan}"),
        );
    let report = asked_on(&folder, "remaining", "2026-04-10");
    let left = number(&report["parts"][0]["remaining"]["p50"]);
    assert!((1_750.0..2_050.0).contains(&left), "{left}");
}

/// What the others did goes through the bins that a machine has.
#[test]
fn the_use_of_others_goes_through_a_machines_own_bins() {
    let folder = Folder::empty();
    hoses(&folder, "tons", 500);
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM,2025-11-01\nN,2025-11-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part,bin\nM,boom,H,\nN,a,H,front\nN,b,H,rear\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons,hours\n2026-04-07,M,lime,800,80\n",
        );
    let report = asked(&folder, "remaining");
    let parts = report["parts"].as_array().expect("a list");
    for part in parts.iter().filter(|part| part["machine"] == "N") {
        assert!(0.0 < number(&part["chance_this_season"]), "{part}");
    }
    let planned = asked(&folder, "budget")["machines"][1]["planned"]["tons"].clone();
    assert_eq!(planned, 800.0);
}

/// A family is counted in hours and nobody logs any: said with what would mend it, and each way does.
#[test]
fn a_measure_that_the_log_leaves_out_is_told_with_what_mends_it() {
    let folder = Folder::empty();
    hoses(&folder, "hours", 200);
    folder
        .write("machines.csv", "machine,in_service\nM,2023-11-01\n")
        .write("positions.csv", "machine,position,part\nM,boom,H\n");
    let told = |hours: &str, unit: &str| {
        let head = |first: &str| format!("{first},machine,product,tons{hours}\n");
        let usage = ["2024-04-07", "2025-04-07", "2026-04-07"]
            .map(|day| format!("{day},M,lime,400{unit}\n"))
            .concat();
        folder.write("usage.csv", head("date") + &usage).write(
            "plan.csv",
            head("month") + &format!("2027-04,M,lime,400{unit}\n"),
        );
        let budget = asked(&folder, "budget");
        let notes = budget["notes"].as_array().expect("a list").clone();
        let is_told = |note: &Value| {
            note.as_str()
                .is_some_and(|n| n.starts_with("no hours are on record"))
        };
        let note = notes.into_iter().find(is_told);
        (budget["total"]["expected"].as_f64(), note)
    };
    let (total, note) = told("", "");
    assert_eq!(total, None);
    let note = note.expect("told").to_string();
    for words in [
        "lives of hose are counted in hours",
        "`meters`",
        "count them in tons",
    ] {
        assert!(note.contains(words), "{note}");
    }
    let (total, note) = told(",hours", ",40");
    assert!(total.is_some() && note.is_none());
    let model = std::fs::read_to_string(folder.path().join("models/hose.toml")).expect("text");
    let model = model.replace("hours", "tons").replace("200", "2000");
    folder.write("models/hose.toml", model);
    let (total, note) = told("", "");
    assert!(total.is_some() && note.is_none());
}

/// A machine in its first season has none to repeat, and does what the others did; what is on record of it makes
/// nothing unknown.
#[test]
fn a_machine_in_its_first_season_does_what_the_others_did() {
    let folder = Folder::empty();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let usage = "2024-04-10,old,lime,800\n2025-04-10,old,lime,800\n";
    folder
        .write(
            "models/fin.toml",
            "family = \"fin\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
             shape = { median = 3.0, spread = 1.2 }\nlife50 = { median = 900, spread = 1.2 }\n",
        )
        .write(
            "machines.csv",
            "machine,in_service\nold,2023-11-01\nnew,2026-02-01\n",
        )
        .write("parts.csv", "part,family,price\nF,fin,10\n")
        .write(
            "positions.csv",
            "machine,position,part\nold,fins,F\nnew,fins,F\n",
        )
        .write("settings.toml", "season_starts = \"11-01\"\n");
    let asked = |more: &str| {
        folder.write(
            "usage.csv",
            format!("date,machine,product,tons\n{usage}{more}"),
        );
        let path = folder.path().to_str().expect("a path");
        let (status, out, err) =
            wearcast(&["budget", path, "--as-of", "2026-03-01", "--format", "json"]);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let budget: Value = serde_json::from_str(&out).expect("JSON");
        let machines = budget["machines"].as_array().expect("a list").clone();
        let new = machines.iter().find(|m| m["machine"] == "new").expect("it");
        assert!(
            out.contains("what the other machines did on average"),
            "{out}"
        );
        new["total"]["expected"].as_f64().expect("known")
    };
    let (without, with) = (asked(""), asked("2026-02-20,new,lime,40\n"));
    // Forty tons of nine hundred more.
    assert!(without < with && with < 2.0 * without, "{without} {with}");
}
