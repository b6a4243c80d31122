//! Recorded use as a plan.

use chrono::NaiveDate;
use wearcast::forecast::{Season, real_use};
use wearcast::record::{PlanRow, Records};

use crate::read::Folder;

fn records(usage: &str) -> Records {
    let folder = Folder::empty();
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM,2021-11-01\nN,2021-11-01\n",
        )
        .write("positions.csv", "machine,position,part\nM,p,P\nN,p,P\n")
        .write("parts.csv", "part,family\nP,flap\n")
        .write(
            "usage.csv",
            format!("date,machine,product,acres,tons,hours,bin\n{usage}"),
        )
        .write("replacements.csv", "date,machine,position,reason\n");
    folder.read().records
}

fn told(rows: &[PlanRow]) -> Vec<(String, &str, Option<f64>, Option<f64>)> {
    rows.iter()
        .map(|r| {
            (
                r.month.to_string(),
                r.machine.as_str(),
                r.amounts.acres,
                r.amounts.tons,
            )
        })
        .collect()
}

#[test]
fn use_of_a_month_adds_up_and_an_idle_machine_is_planned_to_stand_still() {
    let records = records(
        "2023-04-02,M,lime,10,20,1,\n2023-04-20,M,lime,5,10,1,\n2023-10-31,M,lime,1,2,1,\n2023-11-01,M,lime,7,7,1,\n",
    );
    let rows = real_use::plan_of(&records, Season::ending_in(2023, (11, 1)));
    assert_eq!(
        told(&rows),
        [
            ("2022-11-01".to_owned(), "N", Some(0.0), Some(0.0)),
            ("2023-04-01".to_owned(), "M", Some(15.0), Some(30.0)),
            ("2023-10-01".to_owned(), "M", Some(1.0), Some(2.0)),
        ]
    );
}

#[test]
fn what_a_day_leaves_out_is_not_counted_as_nothing() {
    let records = records("2023-04-02,M,lime,10,20,1,\n2023-04-20,M,lime,,10,1,\n");
    let rows = real_use::plan_of(&records, Season::ending_in(2023, (11, 1)));
    let of_m: Vec<_> = rows.iter().filter(|r| r.machine == "M").cloned().collect();
    let mut told = told(&of_m);
    told.sort_by(|a, b| a.3.partial_cmp(&b.3).expect("numbers"));
    let april = "2023-04-01".to_owned();
    assert_eq!(
        told,
        [
            (april.clone(), "M", None, Some(10.0)),
            (april, "M", Some(10.0), Some(20.0))
        ]
    );
}

#[test]
fn a_season_that_begins_within_a_month_keeps_all_its_use() {
    let records = records(
        "2022-11-14,M,lime,1,1,1,\n2022-11-15,M,lime,2,2,1,\n2023-11-14,M,lime,4,4,1,\n2023-11-15,M,lime,8,8,1,\n",
    );
    let season = Season::ending_in(2023, (11, 15));
    let rows = real_use::plan_of(&records, season);
    assert!(rows.iter().all(|r| season.holds(r.month)));
    let acres: f64 = rows.iter().filter_map(|r| r.amounts.acres).sum();
    assert!((acres - 6.0).abs() < 1e-12);
    let start = NaiveDate::from_ymd_opt(2022, 11, 15);
    assert!(
        rows.iter()
            .any(|r| Some(r.month) == start && r.machine == "M")
    );
}
