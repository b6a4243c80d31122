//! Past seasons forecast from the records before them: by hand, without a look ahead, and as files.

mod leaks;
mod real_use;
mod scores;

use std::fmt::Write as _;
use std::path::Path;

use wearcast::cli::{self, ExitStatus};
use wearcast::family::{Families, Family};
use wearcast::read;
use wearcast::record::Records;
use wearcast::report::backtest::BacktestReport;
use wearcast::study::{Options, Study, StudyError};

use crate::read::Folder;

const SAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/owner");

fn sample() -> Records {
    read::folder(Path::new(SAMPLE), None, &Families::built_in())
        .expect("readable")
        .records
}

/// A filter changed every 100 hours, on a machine that works days of 50 hours.
///
/// On record: changes in May and July 2022, in August 2023, in June 2024.
fn filter() -> Folder {
    let folder = Folder::empty();
    let months = [
        "2022-04", "2022-05", "2022-06", "2022-07", "2022-08", "2023-04", "2023-05", "2023-06",
        "2023-07", "2023-08", "2024-04", "2024-05", "2024-06",
    ];
    let rows: Vec<String> = months
        .iter()
        .map(|m| format!("{m}-10,M,potash,50\n"))
        .collect();
    folder
        .write("machines.csv", "machine,in_service\nM,2021-11-01\n")
        .write("positions.csv", "machine,position,part,quantity\nM,filter,F,2\n")
        .write("parts.csv", "part,family,price,labor_hours\nF,filter,10,1.5\n")
        .write("usage.csv", format!("date,machine,product,hours\n{}", rows.concat()))
        .write(
            "replacements.csv",
            "date,machine,position,reason,parts_cost\n2022-05-15,M,filter,planned,999\n2022-07-15,M,filter,planned,\n\
             2023-08-15,M,filter,planned,\n2024-06-01,M,filter,planned,\n",
        )
        .write("settings.toml", "labor_rate = 100\nprice_change = 0.1\n");
    folder
}

fn study_of(folder: &Folder, as_of: &str) -> Study {
    counted("set", folder, as_of)
}

fn counted(by: &str, folder: &Folder, as_of: &str) -> Study {
    let mut families = Families::built_in();
    let text = format!(
        "family = \"filter\"\nmeasure = \"hours\"\ncounted = \"{by}\"\n[service]\nevery = {{ hours = 100 }}\n"
    );
    families.insert(Family::from_toml(&text).expect("valid"));
    let oil = text.replace("filter", "oil");
    families.insert(Family::from_toml(&oil).expect("valid"));
    let options = Options {
        as_of: as_of.parse().ok(),
        ..Options::default()
    };
    let reading = read::folder(folder.path(), options.as_of, &families).expect("readable");
    assert!(!reading.has_problems(), "{:?}", reading.problems);
    Study::new(reading.records, families, options).expect("enough")
}

/// Season, name, expected, happened, last season, average.
fn figures(report: &BacktestReport) -> Vec<(i32, &str, [f64; 4])> {
    let rows = report.rows.iter().map(|row| {
        let s = row.scored.as_ref().expect("priced");
        let figures = [s.forecast.expected, s.actual, s.last_season, s.average];
        (
            row.season,
            row.name(),
            figures.map(|v| (v * 1e6).round() / 1e6),
        )
    });
    rows.collect()
}

#[test]
fn a_filter_that_was_changed_late_is_scored_as_by_hand() {
    let report = study_of(&filter(), "2024-10-31")
        .backtest()
        .expect("two seasons");
    // 50 hours are on the filter when season 2023 begins, none when 2024 does: three changes fall
    // due in 250 hours, one in 150. A change is 2 pieces of 11.00 and 1.5 hours of 100.00.
    assert_eq!(
        figures(&report),
        [
            (2023, "filter", [3.0, 1.0, 2.0, 2.0]),
            (2023, "TOTAL", [516.0, 172.0, 344.0, 344.0]),
            (2024, "filter", [1.0, 1.0, 1.0, 1.5]),
            (2024, "TOTAL", [172.0, 172.0, 172.0, 258.0]),
        ]
    );
    for score in [report.replacements, report.money] {
        assert_eq!(score.inside_80, Some(0.5));
        // By counts: 2 + 0 against 1 + 0 and 1 + 0.5.
        assert_eq!(score.skill_over_last_season, Some(-1.0));
        let over_average = score.skill_over_average.expect("an average that erred");
        assert!((over_average + 1.0 / 3.0).abs() < 1e-12);
    }
}

/// An oil change at every change of the filter, one job with it: what happened shares the labor as the forecast does. In
/// 2024 a filter is 22.00, oil 33.00, and the longer job 150.00.
#[test]
fn work_of_one_kit_on_one_day_is_one_job_in_what_happened_too() {
    let folder = filter();
    let dates = ["2022-05-15", "2022-07-15", "2023-08-15", "2024-06-01"];
    let changes = dates.map(|d| format!("{d},M,filter,planned\n{d},M,gearcase,planned\n"));
    folder
        .write(
            "positions.csv",
            "machine,position,part,quantity\nM,filter,F,2\nM,gearcase,O,1\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours,kit\nF,filter,10,1.5,service\nO,oil,30,1,service\n",
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,reason\n{}", changes.concat()),
        );
    let report = study_of(&folder, "2024-10-31")
        .backtest()
        .expect("two seasons");
    let total = figures(&report)
        .into_iter()
        .find(|(season, name, _)| (*season, *name) == (2024, "TOTAL"));
    let [forecast, happened, ..] = total.expect("money").2;
    assert_eq!(
        [forecast, happened].map(|money| (100.0 * money).round() as i64),
        [20_500; 2]
    );
}

/// Filters that are counted each, two in a position: their hours add up to one job, as in the forecast.
#[test]
fn pieces_of_one_position_are_one_job_of_the_kit() {
    let folder = filter();
    let dates = ["2022-05-15", "2022-07-15", "2023-08-15", "2024-06-01"];
    let changes = dates.map(|d| format!("{d},M,filter,left,planned\n{d},M,filter,right,planned\n"));
    folder
        .write(
            "parts.csv",
            "part,family,price,labor_hours,kit\nF,filter,10,1.5,service\n",
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,slot,reason\n{}", changes.concat()),
        );
    let report = counted("each", &folder, "2024-10-31")
        .backtest()
        .expect("two seasons");
    let total = figures(&report)
        .into_iter()
        .find(|(season, name, _)| (*season, *name) == (2024, "TOTAL"));
    let [forecast, happened, ..] = total.expect("money").2;
    // Two of 11.00 and two times 1.5 hours of 100.00.
    let cents = [forecast, happened].map(|money| (100.0 * money).round() as i64);
    assert_eq!(cents, [32_200; 2]);
}

/// The same machine with an oil change every 100 hours that nobody ever wrote down: it was done or not,
/// which is no forecast's error. What is logged is scored as before.
#[test]
fn scheduled_work_that_nobody_ever_logged_is_in_no_score() {
    let folder = filter();
    folder
        .write(
            "positions.csv",
            "machine,position,part,quantity\nM,filter,F,2\nM,gearcase,O,1\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nF,filter,10,1.5\nO,oil,30,1\n",
        );
    let report = study_of(&folder, "2024-10-31")
        .backtest()
        .expect("two seasons");
    let oil: Vec<bool> = (report.rows.iter())
        .filter(|row| row.name() == "oil")
        .map(|row| row.scored.is_some())
        .collect();
    assert_eq!(oil, [false, false]);
    let alone = study_of(&filter(), "2024-10-31")
        .backtest()
        .expect("two seasons");
    assert_eq!(report.replacements, alone.replacements);
    assert_eq!(report.money, alone.money);
    assert_eq!(report.families, alone.families);
    let said = "no change of oil is on record";
    assert!(report.header.notes.iter().any(|n| n.contains(said)));
}

#[test]
fn a_season_that_is_not_over_is_not_scored() {
    let seasons = |as_of: &str| {
        let report = study_of(&filter(), as_of).backtest();
        report.map(|r| figures(&r).iter().map(|f| f.0).collect::<Vec<_>>())
    };
    assert_eq!(seasons("2024-10-30"), Ok(vec![2023, 2023]));
    let Err(StudyError::TooThin(why)) = seasons("2023-10-30") else {
        panic!("no season is over that has one before it");
    };
    assert!(
        why.contains("2021-11-01") && why.contains("2023-10-31"),
        "{why}"
    );
}

#[test]
fn records_that_begin_within_a_season_score_a_year_later() {
    let folder = filter();
    folder.write("machines.csv", "machine,in_service\nM,2021-11-02\n");
    let report = study_of(&folder, "2024-10-31")
        .backtest()
        .expect("a season");
    assert!(report.rows.iter().all(|row| row.season == 2024));
}

#[test]
fn money_nobody_priced_is_unknown() {
    let folder = filter();
    folder
        .write("parts.csv", "part,family,labor_hours\nF,filter,1.5\n")
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2022-05-15,M,filter,planned\n2023-08-15,M,filter,planned\n",
        );
    let report = study_of(&folder, "2023-10-31")
        .backtest()
        .expect("a season");
    let total = report.rows.last().expect("rows");
    assert_eq!((total.name(), &total.scored), ("TOTAL", &None));
    assert_eq!(report.money.forecasts, 0);
    assert!(
        report
            .header
            .notes
            .iter()
            .any(|n| n.contains("no price is known for F"))
    );
}

/// Counted by hand from sample-data/owner/replacements.csv: changes by decision, such as the
/// bearings of May and October 2025 whose shaft was out anyway and the stainless chain of August,
/// are not among them.
#[test]
fn what_happened_is_counted_by_its_endings() {
    let options = Options {
        season: Some(2025),
        ..Options::default()
    };
    let study = Study::new(sample(), Families::built_in(), options).expect("enough");
    let report = study.backtest().expect("a season");
    let actual: Vec<(&str, f64)> = report
        .rows
        .iter()
        .filter(|row| row.family.is_some())
        .map(|row| (row.name(), row.scored.as_ref().expect("a count").actual))
        .collect();
    assert_eq!(
        actual,
        [
            ("conveyor-chain", 3.0),
            ("deflector-flap", 3.0),
            ("frame-bushing", 3.0),
            ("gearcase-oil", 3.0),
            ("hydraulic-fluid", 3.0),
            ("shaft-bearing", 3.0),
            ("spinner-fin", 4.0),
        ]
    );
}

fn run(args: &[&str]) -> (ExitStatus, String, String) {
    let args = ["wearcast", "backtest"].iter().chain(args);
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = cli::main(args.map(Into::into), &mut out, &mut err);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

#[test]
fn the_json_has_its_keys_and_skill_follows_its_formula() {
    let args = [SAMPLE, "--format", "json", "--season", "2026"];
    let (status, out, _) = run(&args);
    assert_eq!(status, ExitStatus::Done);
    let json: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    for key in ["tool", "version", "as_of", "seed", "notes"] {
        assert!(!json[key].is_null(), "{key}");
    }
    let rows = json["seasons"].as_array().expect("rows");
    for row in rows {
        assert_eq!(row["season"], 2026);
        for key in ["expected", "p10", "p50", "p80", "p90", "p95"] {
            assert!(row["replacements"][key].is_number(), "{key}");
        }
        let number = |key: &str| row[key].as_f64().expect("a number");
        let error = |key: &str| (number(key) - number("actual")).abs();
        assert!(0.0 <= number("crps"));
        assert!((number("crps_last_season") - error("last_season")).abs() < 1e-9);
        assert!((number("crps_average") - error("average")).abs() < 1e-9);
        assert!(row["inside_80"].is_boolean());
    }
    assert_eq!(rows.iter().filter(|r| r["family"] == "TOTAL").count(), 1);
    let sum = |key: &str| -> f64 {
        let counts = rows.iter().filter(|r| r["family"] != "TOTAL");
        counts.map(|r| r[key].as_f64().expect("a number")).sum()
    };
    for (skill, other) in [
        ("skill_over_last_season", "crps_last_season"),
        ("skill_over_average", "crps_average"),
    ] {
        let told = json["summary"][skill].as_f64().expect("a number");
        assert!(
            (told - (1.0 - sum("crps") / sum(other))).abs() < 1e-9,
            "{skill}"
        );
        assert!(json["summary"]["total"][skill].is_number());
    }
    assert!(json["summary"]["inside_80"].is_number());
    assert_eq!(run(&args).1, out, "same seed and records, same output");
}

#[test]
fn the_table_fits_the_screen_and_the_csv_has_a_row_each() {
    let (_, table, _) = run(&[SAMPLE, "--season", "2024"]);
    assert!(
        table.lines().all(|line| line.chars().count() <= 80),
        "{table}"
    );
    let (_, csv, _) = run(&[SAMPLE, "--season", "2024", "--format", "csv"]);
    assert!(csv.starts_with("season,family,replacements_expected,"));
    assert_eq!(csv.lines().count(), 1 + 7 + 1);
}

#[test]
fn too_few_seasons_are_told_with_status_four() {
    let (status, out, err) = run(&[SAMPLE, "--as-of", "2023-06-30"]);
    assert_eq!((status, out.as_str()), (ExitStatus::TooThin, ""));
    assert!(err.contains("a full season of records before it"), "{err}");
    let (status, _, err) = run(&[SAMPLE, "--season", "2022"]);
    assert_eq!(status, ExitStatus::TooThin);
    assert!(err.contains("season 2022 cannot be scored"), "{err}");
}

/// What happened is scored against what was forecast to happen, not against changes that nobody made.
#[test]
fn advice_changes_no_score() {
    let of = |policy: &str| {
        let args = ["backtest", SAMPLE, "--policy", policy, "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let mut report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        report["seasons"].take()
    };
    assert_eq!(of("advised"), of("run"));
}

/// Lives in bin `front` see what went through it and nothing else; so does their forecast, whatever the other
/// rows call their bin.
#[test]
fn use_through_no_bin_is_not_shared_out_after_the_event() {
    let expected = |other: &str| {
        let folder = Folder::empty();
        let mut usage = "date,machine,product,tons,bin\n".to_owned();
        for year in 2021..=2023 {
            for month in 4..=9 {
                for (day, bin) in [(3, "front"), (12, other), (21, "front")] {
                    writeln!(usage, "{year}-{month:02}-{day:02},M,potash,40,{bin}").expect("text");
                }
            }
        }
        folder
            .write("machines.csv", "machine,in_service\nM,2020-11-01\n")
            .write(
                "positions.csv",
                "machine,position,part,bin\nM,fin,F,front\n",
            )
            .write("parts.csv", "part,family,price\nF,spinner-fin,10\n")
            .write(
                "replacements.csv",
                "date,machine,position,reason\n2021-09-12,M,fin,worn\n2023-04-21,M,fin,worn\n",
            )
            .write("settings.toml", "season_starts = \"11-01\"\n")
            .write("usage.csv", usage);
        let report = study_of(&folder, "2023-10-31").backtest().expect("scored");
        figures(&report)
            .into_iter()
            .map(|(season, _, figures)| (season, figures[0].to_bits()))
            .collect::<Vec<_>>()
    };
    let of_none = expected("");
    assert!(!of_none.is_empty());
    assert_eq!(of_none, expected("rear"));
}

/// Hours that nobody wrote down wear nothing that could be scored.
#[test]
fn what_could_not_be_forecast_is_not_scored_as_nothing() {
    let folder = Folder::empty();
    let mut usage = "date,machine,product,tons\n".to_owned();
    for year in 2021..=2023 {
        for month in 4..=9 {
            writeln!(usage, "{year}-{month:02}-03,M,potash,40").expect("text");
        }
    }
    folder
        .write("machines.csv", "machine,in_service\nM,2020-11-01\n")
        .write("positions.csv", "machine,position,part\nM,fin,F\nM,seal,S\n")
        .write("parts.csv", "part,family,price\nF,spinner-fin,10\nS,gearcase-seal,20\n")
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2021-09-03,M,fin,worn\n2023-04-03,M,fin,worn\n2023-05-03,M,seal,worn\n",
        )
        .write("settings.toml", "season_starts = \"11-01\"\n")
        .write("usage.csv", usage);
    let report = study_of(&folder, "2023-10-31").backtest().expect("scored");
    let of = |name: &str| {
        let mut rows = report.rows.iter().filter(|row| row.season == 2023);
        rows.find(|row| row.name() == name).expect("a row")
    };
    assert!(of("spinner-fin").scored.is_some());
    assert!(of("gearcase-seal").scored.is_none());
    assert!(of("TOTAL").scored.is_none());
    let notes = report.header.notes.join("\n");
    assert!(notes.contains("not forecast and not scored"), "{notes}");
}
