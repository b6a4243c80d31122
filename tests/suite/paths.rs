//! Planned use laid out in days of work.

use chrono::NaiveDate;
use serde_json::Value;
use wearcast::cli::ExitStatus;
use wearcast::forecast::Season;
use wearcast::forecast::day_sizes::DaySizes;
use wearcast::forecast::path::{self, View};
use wearcast::forecast::plan::{self, Plan, Planning};
use wearcast::life::exposure::UseSums;
use wearcast::record::Records;
use wearcast::units::Measure;
use wearcast::wear::Groups;

use crate::cli::wearcast;
use crate::read::Folder;

fn day_before(season: Season) -> NaiveDate {
    season.start.pred_opt().expect("a day before")
}

/// Use expected in a season from what was known the day before it, and the daily use until then.
pub(crate) fn planned(records: &Records, season: Season) -> (Plan, UseSums) {
    let as_of = day_before(season);
    let groups = Groups::new(&records.products, &records.usage, None).expect("none asked for");
    let sums = UseSums::new(&records.usage.known_on(as_of), &groups, as_of);
    let planning = Planning {
        records,
        groups: &groups,
        sums: &sums,
        as_of,
        asked: &[],
        is_real: false,
    };
    (plan::build(planning, season), sums)
}

/// Days of work of a month of 200 acres each of lime and urea, after days on record.
fn days_to_come(usage: &str) -> Vec<Vec<f64>> {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service\nM,2021-11-01\n")
        .write("positions.csv", "machine,position,part\nM,p,P\n")
        .write("parts.csv", "part,family\nP,flap\n")
        .write(
            "usage.csv",
            format!("date,machine,product,acres,tons,hours\n{usage}"),
        )
        .write(
            "plan.csv",
            "month,machine,product,acres\n2023-04,M,lime,200\n2023-04,M,urea,200\n",
        );
    let records = folder.read().records;
    let season = Season::ending_in(2023, (11, 1));
    let (plan, sums) = planned(&records, season);
    let view = View {
        machine: "M",
        bin: None,
        measure: Measure::Acres,
        clock: Measure::Hours,
        n_groups: 2,
        as_of: day_before(season),
        season,
        until: season.end,
    };
    let path = path::lay_out(&plan, &DaySizes::new(&sums), view);
    (0..path.dates.len()).map(|k| path.at(k).to_vec()).collect()
}

/// By hand: four days of 50 acres of each, as on record, or four of one and four of the other.
#[test]
fn products_share_days_to_come_as_often_as_they_did_on_record() {
    let row = |day: u32, product: &str| format!("2022-04-{day:02},M,{product},50,5,2\n");
    let together: String = (1..=4)
        .flat_map(|day| [row(day, "lime"), row(day, "urea")])
        .collect();
    let apart: String = (1..=4)
        .flat_map(|day| [row(2 * day - 1, "lime"), row(2 * day, "urea")])
        .collect();
    let days = days_to_come(&together);
    let wanted: Vec<Vec<f64>> = (1..=4).map(|k| vec![50.0 * f64::from(k); 2]).collect();
    assert_eq!(days, wanted);
    let days = days_to_come(&apart);
    assert_eq!(days.len(), 8);
    assert_eq!(days.last(), Some(&vec![200.0, 200.0]));
}

/// A plan of a machine whose parts sit in bins, without one: by past use through each, or in equal parts.
#[test]
fn a_plan_without_bins_is_shared_out_as_past_use_was() {
    let by_bin = |usage: &str| {
        let folder = Folder::empty();
        folder
            .write("machines.csv", "machine,in_service\nM,2021-11-01\n")
            .write(
                "positions.csv",
                "machine,position,part,bin\nM,p,P,front\nM,q,P,rear\n",
            )
            .write("parts.csv", "part,family\nP,flap\n")
            .write(
                "usage.csv",
                format!("date,machine,product,acres,bin\n2022-04-01,M,urea,0,front\n{usage}"),
            )
            .write(
                "plan.csv",
                "month,machine,product,acres\n2023-04,M,lime,200\n",
            );
        let records = folder.read().records;
        let season = Season::ending_in(2023, (11, 1));
        let (plan, _) = planned(&records, season);
        assert!(plan.notes.iter().any(|n| n.contains("names no bin")));
        let of = |u: &plan::PlannedUse| (u.bin.clone().unwrap_or_default(), u.amounts.acres);
        plan.uses.iter().map(of).collect::<Vec<_>>()
    };
    let bins = |front, rear| {
        vec![
            ("front".to_owned(), Some(front)),
            ("rear".to_owned(), Some(rear)),
        ]
    };
    let used = "2022-04-02,M,lime,30,front\n2022-04-03,M,lime,10,rear\n";
    assert_eq!(by_bin(used), bins(150.0, 50.0));
    assert_eq!(by_bin(""), bins(100.0, 100.0));
}

/// Two bins that are open on the same acres and hours, with four tons in five through one of them: by
/// what the plan gives, tons before acres before hours.
#[test]
fn a_plan_without_bins_is_shared_out_by_a_measure_that_it_gives() {
    let shares = |plan: &str, tons: [&str; 2]| {
        let folder = Folder::empty();
        let used = |bin: &str, tons: &str, hours: u32| {
            let rows =
                (1..=9).map(|day| format!("2022-04-0{day},M,lime,10,{tons},{hours},{bin}\n"));
            rows.collect::<String>()
        };
        folder
            .write("machines.csv", "machine,in_service\nM,2021-11-01\n")
            .write(
                "positions.csv",
                "machine,position,part,bin\nM,p,P,front\nM,q,P,rear\n",
            )
            .write("parts.csv", "part,family\nP,flap\n")
            .write(
                "usage.csv",
                format!(
                    "date,machine,product,acres,tons,hours,bin\n{}{}",
                    used("front", tons[0], 3),
                    used("rear", tons[1], 1)
                ),
            )
            .write("plan.csv", format!("month,machine,product,{plan}\n"));
        let records = folder.read().records;
        let (plan, _) = planned(&records, Season::ending_in(2023, (11, 1)));
        let sum = |bin: &str| -> f64 {
            let uses = plan.uses.iter().filter(|u| u.bin.as_deref() == Some(bin));
            uses.filter_map(|u| u.amounts.acres.or(u.amounts.hours))
                .sum()
        };
        format!("{:.3}", sum("front") / (sum("front") + sum("rear")))
    };
    let recorded = ["8", "2"];
    let both = "acres,tons\n2023-04,M,lime,200,200";
    assert_eq!(shares(both, recorded), "0.800");
    assert_eq!(shares("acres\n2023-04,M,lime,200", recorded), "0.500");
    assert_eq!(shares("hours\n2023-04,M,lime,20", recorded), "0.750");
    // Tons of one bin alone say nothing of the other.
    assert_eq!(shares(both, ["8", ""]), "0.500");
}

/// By hand: a month of 310 acres in 31 days, and a machine that leaves after ten of them.
#[test]
fn nothing_is_planned_or_repeated_after_a_machine_is_retired() {
    let folder = Folder::empty();
    folder
        .write(
            "machines.csv",
            "machine,in_service,retired\nA,2021-11-01,2023-03-10\nB,2021-11-01,2023-03-10\n",
        )
        .write("positions.csv", "machine,position,part\nA,p,P\nB,p,P\n")
        .write("parts.csv", "part,family\nP,flap\n")
        .write(
            "usage.csv",
            "date,machine,product,acres\n2022-03-20,A,lime,310\n2022-04-20,A,lime,310\n\
             2022-03-20,B,lime,310\n",
        )
        .write(
            "plan.csv",
            "month,machine,product,acres\n2023-03,B,lime,310\n2023-04,B,lime,310\n",
        );
    let reading = folder.read();
    let told: Vec<&str> = reading.problems.iter().map(|p| p.found.as_str()).collect();
    assert!(
        told.contains(&"1 plan row of `B` after 2023-03-10"),
        "{told:?}"
    );
    let (plan, _) = planned(&reading.records, Season::ending_in(2023, (11, 1)));
    let of = |u: &plan::PlannedUse| (u.machine.clone(), u.until.to_string(), u.amounts.acres);
    let uses: Vec<_> = plan.uses.iter().map(of).collect();
    let march = |machine: &str| (machine.to_owned(), "2023-03-10".to_owned(), Some(100.0));
    assert_eq!(uses, [march("A"), march("B")]);
    for wanted in [
        "A on 2023-03-10, B on 2023-03-10",
        "1 row of the plan in months after",
    ] {
        assert!(
            plan.notes.iter().any(|n| n.contains(wanted)),
            "{:?}",
            plan.notes
        );
    }
}

/// Work by the calendar ends with the machine too.
#[test]
fn no_part_is_changed_and_no_service_is_due_after_a_machine_is_retired() {
    let total = |retired: &str| {
        let folder = crate::cli::fleet();
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        folder
            .write(
                "machines.csv",
                format!("machine,in_service,retired\nnorth,2023-11-01,{retired}\n"),
            )
            .write(
                "positions.csv",
                "machine,position,part,quantity\nnorth,chain,C-1,1\nnorth,oil,O-1,1\n",
            )
            .write(
                "parts.csv",
                "part,family,price,labor_hours\nC-1,conveyor-chain,900,6\nO-1,yearly,40,1\n",
            )
            .remove("replacements.csv")
            .write(
                "models/yearly.toml",
                "family = \"yearly\"\nmeasure = \"days\"\n[service]\nevery = { days = 100 }\n",
            );
        let args = [
            "budget",
            &folder.path().display().to_string(),
            "--season",
            "2027",
            "--format",
            "json",
        ];
        let (_, out, err) = wearcast(&args);
        let budget: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
        budget["total"]["expected"].as_f64().expect("a total")
    };
    let kept = total("");
    assert!(0.0 < kept);
    let gone = total("2026-03-01");
    assert!(gone.abs() < 1e-9, "{gone}");
    let half = total("2027-03-01");
    assert!(0.0 < half && half < 0.7 * kept, "{half} of {kept}");
}

/// Two products of one group through a bin on one day are one day of 50 acres, as they are without a
/// bin: 200 acres to come are four of them.
#[test]
fn products_of_one_group_through_a_bin_are_one_day_of_work() {
    let folder = Folder::empty();
    let days = (1..=4).flat_map(|day| {
        ["granules", "prills"].map(|product| format!("2022-04-{day:02},M,{product},25,rear\n"))
    });
    folder
        .write("machines.csv", "machine,in_service\nM,2021-11-01\n")
        .write("positions.csv", "machine,position,part,bin\nM,p,P,rear\n")
        .write("parts.csv", "part,family\nP,flap\n")
        .write("products.csv", "product,group\ngranules,dry\nprills,dry\n")
        .write(
            "usage.csv",
            format!(
                "date,machine,product,acres,bin\n{}",
                days.collect::<String>()
            ),
        )
        .write(
            "plan.csv",
            "month,machine,product,acres,bin\n2023-04,M,prills,200,rear\n",
        );
    let records = folder.read().records;
    let season = Season::ending_in(2023, (11, 1));
    let (plan, sums) = planned(&records, season);
    let view = View {
        machine: "M",
        bin: Some("rear"),
        measure: Measure::Acres,
        clock: Measure::Hours,
        n_groups: 1,
        as_of: day_before(season),
        season,
        until: season.end,
    };
    let path = path::lay_out(&plan, &DaySizes::new(&sums), view);
    assert_eq!(path.cumulative, [50.0, 100.0, 150.0, 200.0]);
}

/// Bearings go by hours, which the log never had and the plan has: 274 hours wear them by what their
/// model file says, whatever the products are called and although nothing is known of later seasons.
#[test]
fn planned_hours_wear_parts_also_where_no_hours_are_on_record() {
    let chances = ["ag lime", "zinc"].map(|other| {
        let folder = Folder::empty();
        folder
            .write("machines.csv", "machine,in_service\nred,2023-11-01\n")
            .write("positions.csv", "machine,position,part\nred,bearing,BRG\n")
            .write("parts.csv", "part,family,price\nBRG,shaft-bearing,72\n")
            .write(
                "usage.csv",
                format!(
                    "date,machine,product,acres,tons\n2024-04-02,red,potash,2400,260\n\
                     2024-10-21,red,{other},600,1200\n2025-04-07,red,potash,2600,280\n\
                     2026-10-13,red,{other},700,1400\n2026-11-03,red,potash,150,16\n"
                ),
            )
            .write(
                "plan.csv",
                format!(
                    "month,machine,product,hours\n2027-04,red,potash,49\n2027-10,red,{other},225\n"
                ),
            );
        let path = folder.path().to_str().expect("a path");
        let (status, out, err) = wearcast(&["remaining", path, "--format", "json"]);
        assert_eq!(status, ExitStatus::Done, "{err}");
        let report: Value = serde_json::from_str(&out).expect("JSON");
        let part = &report["parts"][0];
        assert_eq!(part["half_worn_date"], Value::Null);
        let (_, table, _) = wearcast(&["remaining", path]);
        assert!(
            table.contains("unknown") && !table.contains("far off"),
            "{table}"
        );
        part["chance_this_season"].as_f64().expect("a chance")
    });
    // A bearing of any age, of kinds of which half last 900 hours: some third of them in 274.
    assert!(
        chances.iter().all(|c| (0.1..0.6).contains(c)),
        "{chances:?}"
    );
    assert!((chances[0] / chances[1] - 1.0).abs() < 0.1, "{chances:?}");
}

#[test]
fn the_plan_of_a_machine_that_is_yet_to_come_is_told_to_be_left_out() {
    let notes = |in_service: &str| {
        let folder = crate::cli::fleet();
        let machines = format!("machine,in_service\nnorth,2023-11-01\nnew rig,{in_service}\n");
        folder
            .write("machines.csv", machines)
            .write(
                "positions.csv",
                "machine,position,part\nnorth,chain,C-1\nnew rig,chain,C-1\n",
            )
            .write("parts.csv", "part,family,price\nC-1,conveyor-chain,900\n")
            .remove("replacements.csv")
            .write(
                "plan.csv",
                "month,machine,product,tons\n2027-04,new rig,potash,900\n",
            );
        let path = folder.path().display().to_string();
        let (_, out, err) = wearcast(&["budget", &path, "--season", "2027", "--format", "json"]);
        let budget: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
        budget["notes"].to_string()
    };
    let left_out = "the plan of new rig is left out";
    assert!(
        notes("2027-02-01").contains(left_out),
        "{}",
        notes("2027-02-01")
    );
    assert!(!notes("2024-02-01").contains(left_out));
}

/// 200 tons are planned where 800 were spread: a row for one month, and the others forgotten.
#[test]
fn a_plan_far_below_the_last_season_is_told() {
    let notes = |tons: u32| {
        let folder = Folder::empty();
        let days = (1..=8).map(|day| format!("2026-04-{day:02},M,lime,100\n"));
        folder
            .write("machines.csv", "machine,in_service\nM,2024-11-01\n")
            .write("positions.csv", "machine,position,part\nM,p,P\n")
            .write("parts.csv", "part,family,price\nP,conveyor-chain,900\n")
            .write(
                "usage.csv",
                format!(
                    "date,machine,product,tons\n{}2026-10-31,M,lime,1\n",
                    days.collect::<String>()
                ),
            )
            .write(
                "plan.csv",
                format!("month,machine,product,tons\n2027-04,M,lime,{tons}\n"),
            )
            .write("settings.toml", "season_starts = \"11-01\"\n");
        let path = folder.path().display().to_string();
        let (_, out, err) = wearcast(&["budget", &path, "--format", "json"]);
        let budget: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
        budget["notes"].to_string()
    };
    assert!(
        notes(200).contains("M (25 % of the tons)"),
        "{}",
        notes(200)
    );
    assert!(!notes(500).contains("less than half of the last full season"));
}
