//! Replacements of which only the year, the season or the month is known.

use wearcast::family::Families;
use wearcast::life::Life;
use wearcast::record::{ProblemKind, Severity};
use wearcast::study::{Options, Study};

use crate::read::{Folder, day, problems};

const SEASON: &str = "[replacements.columns]\nwhen = { column = \"date\", season = true }\n";

/// One chain, ten tons on the first of each month of 2024 and 2025.
fn folder(replacements: &str) -> Folder {
    let folder = Folder::empty();
    let months = (2024..2026)
        .flat_map(|year| (1..=12).map(move |month| format!("{year}-{month:02}-01,M1,lime,10\n")));
    folder
        .write("machines.csv", "machine,in_service\nM1,2024-01-01\n")
        .write("positions.csv", "machine,position,part\nM1,chain,C-1\n")
        .write("parts.csv", "part,family\nC-1,conveyor-chain\n")
        .write(
            "usage.csv",
            format!("date,machine,product,tons\n{}", months.collect::<String>()),
        )
        .write(
            "replacements.csv",
            format!("when,machine,position,reason\n{replacements}"),
        )
        .write("columns.toml", SEASON);
    folder
}

fn lives(folder: &Folder) -> Vec<Life> {
    let records = folder.read().records;
    let study = Study::new(records, Families::built_in(), Options::default());
    study.expect("a study").built.lives
}

#[test]
fn a_wear_out_in_a_season_lies_between_the_day_before_it_and_its_last_day() {
    let folder = folder("spring 2024,M1,chain,worn\n");
    let reading = folder.read();
    let row = &reading.records.replacements[0];
    assert_eq!(
        (row.date_from, row.date, row.last_good),
        (
            Some(day("2024-03-01")),
            day("2024-06-30"),
            Some(day("2024-02-29"))
        )
    );
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("replacements.csv".to_owned(), None, ProblemKind::Vague)]
    );
    assert!(
        reading.problems[0]
            .found
            .starts_with("1 replacement of which")
    );
    // Ten tons on 1 January and 1 February before the season, and on the first of 3, 4, 5 and 6 in it.
    let lives = lives(&folder);
    assert_eq!(
        (lives[0].filled[1].low, lives[0].filled[1].end),
        (Some(20.0), Some(60.0))
    );
    // 59 days to 29 February 2024, 181 to 30 June, from 1 January on.
    assert_eq!(
        (lives[0].filled[3].low, lives[0].filled[3].end),
        (Some(59.0), Some(181.0))
    );
    // The chain fitted then has run from July 2024 to December 2025 at least: 18 months.
    assert_eq!(
        (lives[1].filled[1].low, lives[1].filled[1].end),
        (Some(180.0), Some(180.0))
    );
}

#[test]
fn the_part_fitted_in_a_season_has_a_life_between_bounds_too() {
    let folder = folder("spring 2024,M1,chain,worn\n2025-02-01,M1,chain,worn\n");
    let second = lives(&folder)[1].clone();
    // Fitted on 30 June at the latest: July to January, 7 months, to the day of use before the last.
    // Fitted on 1 March at the earliest: April to February, 11 months.
    assert_eq!(
        (second.filled[1].low, second.filled[1].end),
        (Some(70.0), Some(110.0))
    );
    assert_eq!(second.fitted, Some(day("2024-06-30")));
    // 1 January 2025 is 185 days after 30 June; 1 February 2025 is 337 after 1 March.
    assert_eq!(
        (second.filled[3].low, second.filled[3].end),
        (Some(185.0), Some(337.0))
    );
}

#[test]
fn a_part_changed_while_serviceable_in_a_season_lasted_up_to_it_at_least() {
    let lives = lives(&folder("2024-04,M1,chain,planned\n"));
    // January to March are sure; whether the use of 1 April went over it, nobody knows.
    assert_eq!(
        (lives[0].filled[1].low, lives[0].filled[1].end),
        (Some(30.0), Some(30.0))
    );
    assert_eq!(lives[0].removed, Some(day("2024-04-30")));
}

#[test]
fn a_season_that_is_not_over_ends_with_the_records() {
    let reading = folder("2025,M1,chain,worn\n").read();
    // The last day anything is known of is 1 December 2025, and so is the as-of date.
    assert_eq!(reading.records.replacements[0].date, day("2025-12-01"));
    assert_eq!(reading.records.last_date(), Some(day("2025-12-01")));
}

#[test]
fn days_seasons_and_nonsense_stand_in_one_column() {
    let reading =
        folder("2024-05-05,M1,chain,worn\nautumn 2024,M1,chain,worn\nwinter 2024,M1,chain,worn\n")
            .read();
    let rows: Vec<_> = reading
        .records
        .replacements
        .iter()
        .map(|r| (r.date, r.date_from))
        .collect();
    assert_eq!(
        rows,
        [
            (day("2024-05-05"), None),
            (day("2024-11-30"), Some(day("2024-08-01")))
        ]
    );
    assert_eq!(
        problems(&reading, Severity::Problem),
        [(
            "replacements.csv".to_owned(),
            Some(4),
            ProblemKind::NotADate
        )]
    );
    let told = reading.problems[0].to_string();
    assert!(
        told.contains("column `when`") && told.contains("spring 2024"),
        "{told}"
    );
}

#[test]
fn without_the_mapping_a_season_is_no_date() {
    let folder = folder("x,y,z,worn\n");
    folder.write("columns.toml", "").write(
        "replacements.csv",
        "date,machine,position,reason\nspring 2024,M1,chain,worn\n",
    );
    assert_eq!(
        problems(&folder.read(), Severity::Problem),
        [(
            "replacements.csv".to_owned(),
            Some(2),
            ProblemKind::NotADate
        )]
    );
    let text = wearcast::read::proposal(folder.path(), true)
        .expect("readable")
        .expect("a proposal");
    assert!(
        text.contains("\"date\" = { column = \"date\", season = true }"),
        "{text}"
    );
}

#[test]
fn a_first_possible_day_may_stand_in_a_column_of_its_own() {
    let folder = folder("");
    folder.write("columns.toml", "").write(
        "replacements.csv",
        "date,date_from,machine,position,reason,last_good\n2024-06-30,2024-03-01,M1,chain,worn,2024-04-15\n2024-07-30,2024-08-01,M1,chain,worn,\n",
    );
    let reading = folder.read();
    // It was looked at in the stretch, which says more than its beginning.
    assert_eq!(
        reading.records.replacements[0].last_good,
        Some(day("2024-04-15"))
    );
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("replacements.csv".to_owned(), Some(3), ProblemKind::Order)]
    );
}

/// The workbook to begin with has both columns.
#[test]
fn a_column_for_the_first_day_may_stand_beside_seasons() {
    let folder = folder("");
    folder
        .write(
            "columns.toml",
            "[replacements.columns]\ndate = { column = \"date\", season = true }\n",
        )
        .write(
            "replacements.csv",
            "date,date_from,machine,position,reason\nspring 2024,,M1,chain,worn\n2025-03-30,2025-02-10,M1,chain,worn\n\
             2025-08-02,,M1,chain,worn\n",
        );
    let reading = folder.read();
    assert_eq!(problems(&reading, Severity::Problem), []);
    let rows = reading.records.replacements.iter();
    let stretches: Vec<_> = rows.map(|r| (r.date_from, r.date)).collect();
    assert_eq!(
        stretches,
        [
            (Some(day("2024-03-01")), day("2024-06-30")),
            (Some(day("2025-02-10")), day("2025-03-30")),
            (None, day("2025-08-02")),
        ]
    );
}
