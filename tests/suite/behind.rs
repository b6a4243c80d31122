//! What parts have behind them, and machines before them, where the records do not say all of it.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

/// Machine A logs sixty days of ten tons of lime a year, April to September, and changes its part each May; machine
/// B is as a test writes it. All is planned alike for 2027. Parts last `life50` tons, as good as known.
struct Yard {
    machines: &'static str,
    positions: &'static str,
    life50: u32,
    /// Rows of the log of B on the working day so and so of its month.
    log: fn(year: i32, month: u32, day: u32) -> String,
    plan: &'static str,
    changes: &'static str,
}

impl Default for Yard {
    fn default() -> Self {
        Self {
            machines: "A,2020-11-01,,\nB,2020-11-01,,\n",
            positions: "A,p,P,,\nB,p,P,,\n",
            life50: 2_400,
            log: |_, _, _| String::new(),
            plan: "",
            changes: "",
        }
    }
}

impl Yard {
    fn folder(&self) -> Folder {
        let folder = Folder::empty();
        let mut usage = "date,machine,product,acres,tons,hours\n".to_owned();
        for year in 2021..2027 {
            for month in 4..10 {
                for day in 1..11 {
                    writeln!(usage, "{year}-{month:02}-{day:02},A,lime,10,10,1").expect("a string");
                    usage += &(self.log)(year, month, day);
                }
            }
        }
        let mut plan = "month,machine,product,acres,tons,hours\n".to_owned();
        for month in 4..10 {
            for machine in ["A", "B"] {
                writeln!(plan, "2027-{month:02},{machine},lime,100,100,10").expect("a string");
            }
        }
        let mut changes = "date,machine,position,reason\n".to_owned();
        for year in 2022..2027 {
            writeln!(changes, "{year}-05-05,A,p,planned").expect("a string");
        }
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        folder
            .write(
                "models/thing.toml",
                format!(
                    "family = \"thing\"\nmeasure = \"tons\"\ncounted = \"set\"\ndistribution = \"weibull\"\n[prior]\n\
                     shape = {{ median = 8, spread = 1.02 }}\nlife50 = {{ median = {}, spread = 1.02 }}\n\
                     wear_factor = {{ spread = 1.05 }}\n",
                    self.life50
                ),
            )
            .write(
                "machines.csv",
                format!("machine,in_service,records_from,retired\n{}", self.machines),
            )
            .write(
                "positions.csv",
                format!("machine,position,part,installed,tons_before\n{}", self.positions),
            )
            .write("parts.csv", "part,family,price,labor_hours\nP,thing,100,1\n")
            .write("usage.csv", usage)
            .write("plan.csv", plan + self.plan)
            .write("replacements.csv", changes + self.changes)
            .write(
                "settings.toml",
                "labor_rate = 50.0\nseason_starts = \"11-01\"\ndown_cost_per_hour = 300\n",
            );
        folder
    }

    /// What is left of the part of a machine, and the whole answer.
    fn part(&self, machine: &str, as_of: &str) -> (Value, Value) {
        let all = remaining(&self.folder(), as_of);
        let parts = all["parts"].as_array().expect("parts");
        let part = parts.iter().find(|p| p["machine"] == machine);
        (part.expect("the part").clone(), all)
    }

    fn left(&self, machine: &str, as_of: &str) -> f64 {
        let (part, _) = self.part(machine, as_of);
        part["remaining"]["expected"].as_f64().expect("known")
    }
}

const END: &str = "2026-10-31";

fn remaining(folder: &Folder, as_of: &str) -> Value {
    let path = folder.path().to_str().expect("a path");
    let args = ["remaining", path, "--as-of", as_of, "--format", "json"];
    let (status, out, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

/// B spread potash for all the years that its part, of unknown age, was in it. By hand: 3,600 tons on record and some
/// 1,200 before, of lives of 4,500.
#[test]
fn a_product_that_only_parts_of_unknown_age_saw_is_behind_them() {
    let yard = |plan, positions| Yard {
        machines: "A,2020-11-01,,\nB,2018-11-01,2020-11-01,\n",
        positions,
        life50: 4_500,
        log: |year, month, day| {
            let product = if year == 2026 { "lime" } else { "potash" };
            format!("{year}-{month:02}-{day:02},B,{product},10,10,1\n")
        },
        plan,
        ..Yard::default()
    };
    // With a prior of its own wherever it is planned, a few pounds of it change nothing.
    let pounds = "2027-09,A,potash,0.001,0.001,0.0001\n";
    for positions in ["A,p,P,,\nB,p,P,unknown,\n", "A,p,P,,\nB,p,P,2019-05-01,\n"] {
        let chance = |plan| {
            let (part, _) = yard(plan, positions).part("B", END);
            part["chance_this_season"].as_f64().expect("known")
        };
        let (without, with) = (chance(""), chance(pounds));
        assert!(
            (without - with).abs() < 0.01,
            "{positions}: {without} for {with}"
        );
        assert!(0.4 < without, "{positions}: {without}");
    }
}

/// B came into service with the season under way and has spread ten tons of its 600. The year after is no year of ten
/// tons; written out, it is planned as this one.
#[test]
fn a_season_under_way_stands_for_others_with_all_that_it_has_left() {
    let yard = |plan| Yard {
        machines: "A,2020-11-01,,\nB,2020-11-01,2026-11-01,\n",
        positions: "A,p,P,,\nB,p,P,2024-11-01,690\n",
        life50: 1_400,
        log: |year, month, day| {
            if (year, month, day) == (2026, 9, 10) {
                "2026-11-10,B,lime,10,10,1\n".to_owned()
            } else {
                String::new()
            }
        },
        plan,
        ..Yard::default()
    };
    let next = "2028-04,B,lime,100,100,10\n2028-05,B,lime,100,100,10\n2028-06,B,lime,100,100,10\n\
                2028-07,B,lime,100,100,10\n2028-08,B,lime,100,100,10\n2028-09,B,lime,100,100,10\n";
    let (told, all) = yard("").part("B", "2026-11-20");
    let (written, _) = yard(next).part("B", "2026-11-20");
    let month = |part: &Value| {
        let date = part["half_worn_date"].as_str().expect("a date");
        date[..7].to_owned()
    };
    assert_eq!(month(&told), month(&written));
    let notes = all["notes"].to_string();
    assert!(
        notes.contains("taken to be like the one under way"),
        "{notes}"
    );
}

/// Nobody logs the use of B, whose part was changed the day before: it has the longest part of its life to come, on
/// whatever day of the season that is asked.
#[test]
fn a_part_fitted_yesterday_is_young_without_a_log() {
    let yard = Yard {
        changes: "2026-09-28,B,p,worn\n",
        life50: 600,
        ..Yard::default()
    };
    let (yesterday, later) = (yard.left("B", "2026-09-29"), yard.left("B", END));
    assert!((520.0..650.0).contains(&yesterday), "{yesterday}");
    assert!(later <= 1.02 * yesterday, "{later} after {yesterday}");
}

/// The log is complete since May and has no day of B, which stood still: its part has its year before behind it and
/// no more.
#[test]
fn a_machine_that_stood_still_adds_nothing() {
    let yard = |positions| Yard {
        machines: "A,2020-11-01,,\nB,2025-05-01,2026-05-01,\n",
        positions,
        ..Yard::default()
    };
    let guessed = yard("A,p,P,,\nB,p,P,,\n").left("B", END);
    let written = yard("A,p,P,,\nB,p,P,,600\n").left("B", END);
    assert!(
        (guessed / written - 1.0).abs() < 0.02,
        "{guessed} for {written}"
    );
}

/// On half of its days B spread what nobody weighed: they count as the others, not as none.
#[test]
fn days_without_amounts_are_no_days_of_rest() {
    let half = |weighed: &'static str| {
        let log: fn(i32, u32, u32) -> String = match weighed {
            "half" => |year, month, day| {
                let amounts = if day < 6 { "lime,10,10,1" } else { "slag,,,1" };
                format!("{year}-{month:02}-{day:02},B,{amounts}\n")
            },
            _ => |year, month, day| format!("{year}-{month:02}-{day:02},B,lime,10,10,1\n"),
        };
        Yard {
            life50: 5_000,
            log,
            ..Yard::default()
        }
        .left("B", END)
    };
    let (in_part, whole) = (half("half"), half("all"));
    assert!(
        (in_part / whole - 1.0).abs() < 0.05,
        "{in_part} for {whole}"
    );
}

/// Thirteen machines worked from 2016, logged 2019 and left: 2,400 tons each without a wear-out, however long ago that
/// was.
#[test]
fn a_machine_that_left_does_not_work_less_for_having_left() {
    let yard = |retired: bool| {
        let mut machines = "A,2020-11-01,,\n".to_owned();
        let mut positions = "A,p,P,,\n".to_owned();
        let mut rows = String::new();
        for k in 0..13 {
            let left = if retired { "2021-10-31" } else { "" };
            writeln!(machines, "R{k},2018-11-01,2020-11-01,{left}").expect("a string");
            writeln!(positions, "R{k},p,P,unknown,").expect("a string");
            for month in 4..10 {
                for day in 1..11 {
                    writeln!(rows, "2021-{month:02}-{day:02},R{k},lime,10,10,1").expect("a string");
                }
            }
        }
        let folder = Yard::default().folder();
        let usage = std::fs::read_to_string(folder.path().join("usage.csv")).expect("a log");
        folder
            .write(
                "machines.csv",
                format!("machine,in_service,records_from,retired\n{machines}"),
            )
            .write(
                "positions.csv",
                format!("machine,position,part,installed,tons_before\n{positions}"),
            )
            .write("plan.csv", "month,machine,product,acres,tons,hours\n2027-04,A,lime,100,100,10\n")
            .write(
                "models/thing.toml",
                "family = \"thing\"\nmeasure = \"tons\"\ncounted = \"set\"\ndistribution = \"weibull\"\n[prior]\n\
                 shape = { median = 4, spread = 1.5 }\nlife50 = { median = 2500, spread = 4 }\n",
            )
            .write("usage.csv", usage + &rows);
        folder
    };
    let life = |as_of: &str, retired: bool| {
        let folder = yard(retired);
        let all = remaining(&folder, as_of);
        let left = &all["parts"][0]["remaining"]["expected"];
        left.as_f64().expect("known") + all["parts"][0]["age"].as_f64().expect("known")
    };
    // On the day they left, and five years on, they tell the same of how long parts last.
    let (then, now) = (life("2021-10-31", false), life(END, true));
    assert!(
        0.9 * then < now,
        "{now} tons now, {then} on the day they left"
    );
}
