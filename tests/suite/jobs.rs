//! Hours of a job as written down: whoever shares them, and in however many rows.

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

/// One machine at 1,000 tons each April, four years on record, and parts of one family.
fn folder(counted: &str, quantity: u32, changes: &str) -> Folder {
    let folder = Folder::empty();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let model = format!(
        "family = \"bush\"\nmeasure = \"tons\"\ncounted = \"{counted}\"\n[prior]\n\
         shape = {{ median = 8.0, spread = 1.01 }}\nlife50 = {{ median = 800, spread = 1.01 }}\n"
    );
    let usage = [2022, 2023, 2024, 2025]
        .map(|year| format!("{year}-04-10,M,lime,500\n{year}-04-11,M,lime,500\n"))
        .concat();
    folder
        .write("models/bush.toml", model)
        .write("machines.csv", "machine,in_service\nM,2022-01-01\n")
        .write("parts.csv", "part,family,price\nB,bush,10\n")
        .write(
            "positions.csv",
            format!("machine,position,part,quantity\nM,guide,B,{quantity}\n"),
        )
        .write("usage.csv", format!("date,machine,product,tons\n{usage}"))
        .write(
            "replacements.csv",
            format!("date,machine,position,slot,quantity,reason,down_hours,labor_hours\n{changes}"),
        )
        .write(
            "settings.toml",
            "season_starts = \"11-01\"\nlabor_rate = 100\ndown_cost_per_hour = 100\n",
        );
    folder
}

/// Expected replacements, labor and lost time of the family.
fn asked(folder: &Folder) -> [f64; 3] {
    let path = folder.path().to_str().expect("a path");
    let (status, out, err) =
        wearcast(&["budget", path, "--as-of", "2025-10-31", "--format", "json"]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let budget: Value = serde_json::from_str(&out).expect("JSON");
    let family = &budget["families"][0];
    ["replacements", "labor_cost", "down_cost"].map(|key| {
        let expected = &family[key]["expected"];
        expected
            .as_f64()
            .unwrap_or_else(|| panic!("{key}: {expected}"))
    })
}

/// Four bushings that were changed together each year in 2 hours of field time and 4 of work: each has a quarter of
/// both, whether they stand in one row or in four.
#[test]
fn pieces_with_lives_of_their_own_share_the_hours_of_their_day() {
    let one = [2022, 2023, 2024, 2025]
        .map(|year| format!("{year}-04-11,M,guide,,4,worn,2,4\n"))
        .concat();
    let four: String = (2022..2026)
        .flat_map(|year| {
            (1..=4).map(move |slot| format!("{year}-04-11,M,guide,{slot},1,worn,0.5,1\n"))
        })
        .collect();
    for changes in [one, four] {
        let [pieces, labor, down] = asked(&folder("each", 4, &changes));
        assert!((3.5..4.5).contains(&pieces), "{pieces}");
        assert!(
            (labor / pieces - 100.0).abs() < 1e-6,
            "{labor} for {pieces}"
        );
        assert!((down / pieces - 50.0).abs() < 0.5, "{down} for {pieces}");
    }
}

/// A pair of 8 hours is one job, also as left and right of 4 hours each; half a pair beside it is none.
#[test]
fn the_rows_of_a_set_make_up_its_job() {
    let one = [2022, 2023, 2024, 2025]
        .map(|year| format!("{year}-04-11,M,guide,,2,worn,2,8\n"))
        .concat();
    let two: String = (2022..2026)
        .flat_map(|year| {
            ["left", "right"].map(|side| format!("{year}-04-11,M,guide,{side},1,worn,1,4\n"))
        })
        .collect();
    let beside = format!("{two}2025-06-01,M,guide,left,1,damage,,1\n");
    for changes in [one, two, beside] {
        let [sets, labor, down] = asked(&folder("set", 2, &changes));
        assert!((0.9..1.2).contains(&sets), "{sets}");
        assert!((down / sets - 200.0).abs() < 2.0, "{down} for {sets}");
        // Single pieces are in the labor of the family beside its sets.
        assert!(
            (780.0..1_000.0).contains(&(labor / sets)),
            "{labor} for {sets}"
        );
    }
}
