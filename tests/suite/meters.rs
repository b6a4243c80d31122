//! Meter readings instead of daily use.

use std::fmt::Write as _;

use chrono::Days;
use proptest::prelude::*;
use wearcast::family::Families;
use wearcast::life::Life;
use wearcast::read;
use wearcast::record::{ProblemKind, Records, Severity};
use wearcast::study::{Options, Study};

use crate::read::{Folder, day, problems};

/// Two machines of one place; M2 has no usage log.
fn fleet(usage: &str, meters: &str, replacements: &str) -> Folder {
    let folder = Folder::empty();
    folder
        .write(
            "machines.csv",
            "machine,in_service\nM1,2024-01-01\nM2,2024-01-01\n",
        )
        .write(
            "positions.csv",
            "machine,position,part\nM1,chain,C-1\nM2,chain,C-1\n",
        )
        .write("parts.csv", "part,family\nC-1,conveyor-chain\n")
        .write(
            "usage.csv",
            format!("date,machine,product,tons,hours\n{usage}"),
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,reason,last_good\n{replacements}"),
        )
        .write(
            "meters.csv",
            format!("date,machine,meter,reading,note,product\n{meters}"),
        );
    folder
}

/// Date, product, tons, hours of a machine's rows.
fn rows(records: &Records, machine: &str) -> Vec<(String, String, Option<f64>, Option<f64>)> {
    let mut rows: Vec<_> = records
        .usage
        .iter()
        .filter(|r| r.machine == machine)
        .map(|r| {
            (
                r.date.to_string(),
                r.product.to_owned(),
                r.amounts.tons,
                r.amounts.hours,
            )
        })
        .collect();
    rows.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
    rows
}

const M1_LOG: &str =
    "2024-04-02,M1,lime,30,3\n2024-04-05,M1,lime,30,3\n2024-04-09,M1,potash,60,4\n";

fn study(folder: &Folder, as_of: Option<&str>) -> Study {
    let options = Options {
        as_of: as_of.map(day),
        ..Options::default()
    };
    Study::new(folder.read().records, Families::built_in(), options).expect("a study")
}

fn lives(folder: &Folder) -> Vec<Life> {
    let study = study(folder, None);
    study
        .built
        .lives
        .iter()
        .filter(|l| l.machine == "M2")
        .cloned()
        .collect()
}

/// Lines of a table, one after the other.
fn joined(lines: impl Iterator<Item = String>) -> String {
    lines.collect::<Vec<_>>().concat()
}

#[test]
fn use_between_readings_is_laid_on_the_days_the_fleet_worked_in_its_mix_of_products() {
    let folder = fleet(
        M1_LOG,
        "2024-01-01,M2,tons,500,,\n2024-04-06,M2,tons,700,,\n",
        "",
    );
    let reading = folder.read();
    // 200 tons over 2 and 5 April, 100 a day; by 6 April the fleet had spread lime only.
    assert_eq!(
        rows(&reading.records, "M2"),
        [
            (
                "2024-04-02".to_owned(),
                "lime".to_owned(),
                Some(100.0),
                None
            ),
            (
                "2024-04-05".to_owned(),
                "lime".to_owned(),
                Some(100.0),
                None
            ),
        ]
    );
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("meters.csv".to_owned(), None, ProblemKind::Meters)]
    );
    let told = &reading.problems[0].found;
    assert!(
        told.starts_with("1 stretch") && told.contains("on which the fleet worked"),
        "{told}"
    );
    // M1's own rows are as they were.
    assert_eq!(rows(&reading.records, "M1").len(), 3);
}

#[test]
fn without_a_day_of_the_fleet_use_is_laid_on_the_months_of_field_work() {
    // From 26 February to 3 March only 1 to 3 March are in the field: 30 tons, 10 a day.
    let folder = fleet("", "2024-02-25,M2,tons,0,,\n2024-03-03,M2,tons,30,,\n", "");
    folder.write(
        "machines.csv",
        "machine,in_service,records_from\nM1,2024-01-01,\nM2,2024-01-01,2024-02-25\n",
    );
    let reading = folder.read();
    let of_m2 = rows(&reading.records, "M2");
    let days: Vec<&str> = of_m2.iter().map(|r| r.0.as_str()).collect();
    assert_eq!(days, ["2024-03-01", "2024-03-02", "2024-03-03"]);
    assert!(
        of_m2
            .iter()
            .all(|r| r.2 == Some(10.0) && r.1 == "unknown product")
    );
    let told: Vec<&str> = reading.problems.iter().map(|p| p.found.as_str()).collect();
    assert!(told.iter().any(|t| t.contains("March to June")), "{told:?}");
    assert!(
        told.iter()
            .any(|t| t.contains("nothing says what was spread")),
        "{told:?}"
    );
    assert!(
        reading
            .records
            .products
            .iter()
            .any(|p| p.name == "unknown product")
    );
}

#[test]
fn a_product_beside_a_reading_is_what_was_spread_since_the_one_before() {
    let folder = fleet(
        M1_LOG,
        "2024-04-01,M2,hours,10,,\n2024-04-05,M2,hours,18,,gypsum\n",
        "",
    );
    let of_m2 = rows(&folder.read().records, "M2");
    assert_eq!(
        of_m2[1],
        (
            "2024-04-02".to_owned(),
            "gypsum".to_owned(),
            None,
            Some(4.0)
        )
    );
}

#[test]
fn where_the_log_has_rows_of_the_machine_its_readings_are_only_kept() {
    let usage = format!("{M1_LOG}2024-04-03,M2,lime,5,1\n");
    let folder = fleet(
        &usage,
        "2024-01-01,M2,tons,0,,\n2024-04-06,M2,tons,700,,\n",
        "",
    );
    let reading = folder.read();
    assert_eq!(rows(&reading.records, "M2").len(), 1);
    assert!(
        reading.problems[0]
            .found
            .contains("that the usage log has rows of")
    );
}

#[test]
fn a_counter_that_falls_is_a_new_one_only_where_the_row_says_so() {
    let meters = "2024-01-01,M2,hours,400,,\n2024-04-06,M2,hours,12,,\n2024-04-10,M2,hours,404,,\n";
    let reading = fleet(M1_LOG, meters, "").read();
    assert_eq!(
        problems(&reading, Severity::Problem),
        [("meters.csv".to_owned(), Some(3), ProblemKind::Order)]
    );
    let told = reading.problems[0].to_string();
    assert!(
        told.contains("below the 400 of 2024-01-01 in row 2"),
        "{told}"
    );
    // Set aside, the other two readings are 4 hours apart, over three days of the fleet.
    let of_m2 = rows(&reading.records, "M2");
    assert!((of_m2.iter().filter_map(|r| r.3).sum::<f64>() - 4.0).abs() < 1e-12);

    // The old counter read once more and the new one begun on the day of the change: all is known.
    let meters = "2024-01-01,M2,hours,400,,\n2024-04-06,M2,hours,402,,\n2024-04-06,M2,hours,0,new meter,\n2024-04-10,M2,hours,7,,\n";
    let reading = fleet(M1_LOG, meters, "").read();
    assert_eq!(problems(&reading, Severity::Problem), []);
    let hours: f64 = rows(&reading.records, "M2")
        .iter()
        .filter_map(|r| r.3)
        .sum();
    assert!((hours - 9.0).abs() < 1e-12, "{hours}");
}

#[test]
fn what_was_lost_with_an_old_counter_makes_lives_across_it_unknown() {
    let meters = "2024-01-01,M2,hours,400,,\n2024-04-06,M2,hours,12,meter changed,\n2024-04-10,M2,hours,20,,\n";
    let folder = fleet(M1_LOG, meters, "");
    assert!(
        folder
            .read()
            .problems
            .iter()
            .any(|p| p.found.contains("old counter"))
    );
    let running = &lives(&folder)[0];
    assert_eq!(running.spans[2].end, None);
    assert_eq!(running.filled[2].end, None);
}

/// A machine without a log of its own spread what it is planned to, not what the others did.
#[test]
fn use_read_off_a_meter_is_of_what_is_planned() {
    let meters = "2024-01-01,M2,tons,0,,\n2024-04-10,M2,tons,90,,\n";
    let folder = fleet(M1_LOG, meters, "");
    let products = |folder: &Folder| {
        let rows = rows(&folder.read().records, "M2").into_iter();
        let mut tons: std::collections::BTreeMap<String, f64> = std::collections::BTreeMap::new();
        for (_, product, amount, _) in rows {
            *tons.entry(product).or_default() += amount.unwrap_or(0.0);
        }
        tons
    };
    assert!(!products(&folder).contains_key("ash"));
    folder.write(
        "plan.csv",
        "month,machine,product,tons\n2024-05,M2,ash,200\n2024-06,M2,lime,100\n2024-05,M1,lime,500\n",
    );
    let planned = products(&folder);
    assert!((planned["ash"] - 60.0).abs() < 1e-9, "{planned:?}");
    assert!((planned["lime"] - 30.0).abs() < 1e-9, "{planned:?}");
}

#[test]
fn a_wear_out_between_two_readings_may_have_been_as_early_as_the_first_of_them() {
    // 40 tons by 3 April, all on the 2nd; 60 more by 10 April, on 5 and 9 April.
    let meters = "2024-01-01,M2,tons,0,,\n2024-04-03,M2,tons,40,,\n2024-04-10,M2,tons,100,,\n";
    let folder = fleet(M1_LOG, meters, "2024-04-09,M2,chain,worn,\n");
    let tons = lives(&folder)[0].filled[1];
    assert_eq!((tons.low, tons.end), (Some(40.0), Some(100.0)));
    // Looked at on the 6th and good: how much of the stretch was behind it then, nobody knows.
    let folder = fleet(M1_LOG, meters, "2024-04-09,M2,chain,worn,2024-04-06\n");
    let tons = lives(&folder)[0].filled[1];
    assert_eq!((tons.low, tons.end), (Some(40.0), Some(100.0)));
    // Nor does anybody know how much was behind it when it came out on the 6th; on the day of a reading it is known.
    for (date, end) in [
        ("2024-04-06", 100.0),
        ("2024-04-03", 40.0),
        ("2024-04-10", 100.0),
    ] {
        let folder = fleet(M1_LOG, meters, &format!("{date},M2,chain,worn,\n"));
        assert_eq!(lives(&folder)[0].filled[1].end, Some(end), "{date}");
    }
    // Looked at before the earlier reading: that is older news.
    let folder = fleet(M1_LOG, meters, "2024-04-09,M2,chain,worn,2024-03-01\n");
    assert_eq!(lives(&folder)[0].filled[1].low, Some(0.0));
}

#[test]
fn a_later_reading_tells_nothing_on_an_earlier_day() {
    let meters = "2024-01-01,M2,tons,0,,\n2024-04-03,M2,tons,40,,\n2024-04-10,M2,tons,100,,\n";
    let folder = fleet(M1_LOG, meters, "");
    let tons = |as_of: Option<&str>| {
        let study = study(&folder, as_of);
        let of_m2 = study
            .built
            .lives
            .iter()
            .find(|l| l.machine == "M2")
            .expect("a chain");
        (study.as_of, of_m2.filled[1].end)
    };
    assert_eq!(tons(Some("2024-04-09")), (day("2024-04-09"), Some(40.0)));
    // The last reading is the last thing known, and so the as-of date.
    assert_eq!(tons(None), (day("2024-04-10"), Some(100.0)));
}

#[test]
fn two_counters_of_a_machine_never_count_a_day_twice() {
    // Tons over April's days of the fleet; hours from 6 April, when the fleet worked on the 9th.
    let meters = "2024-01-01,M2,tons,0,,\n2024-04-06,M2,hours,0,,\n2024-04-10,M2,hours,8,,gypsum\n2024-04-10,M2,tons,90,,\n";
    let folder = fleet(M1_LOG, meters, "");
    let life = &lives(&folder)[0];
    assert!(
        (life.filled[1].end.expect("known") - 90.0).abs() < 1e-9,
        "{life:?}"
    );
    // Hours of 2 and 5 April are filled in from rates; those of the 9th are 8, on gypsum alone.
    let study = study(&folder, None);
    let ninth: f64 = study
        .sums
        .of_machine("M2")
        .filter(|d| d.date == day("2024-04-09"))
        .filter_map(|d| d.amounts.hours)
        .sum();
    assert!((ninth - 8.0).abs() < 1e-12, "{ninth}");
}

#[test]
fn hours_of_the_engine_wear_nothing_unless_the_mapping_says_so() {
    let meters = "2024-01-01,M2,engine_hours,0,,\n2024-04-06,M2,engine_hours,10,,\n2024-04-06,M2,miles,10,,\n";
    let folder = fleet(M1_LOG, meters, "");
    assert_eq!(rows(&folder.read().records, "M2"), []);
    folder.write("columns.toml", "[meters]\nengine_hours = \"hours\"\n");
    let reading = folder.read();
    let hours: f64 = rows(&reading.records, "M2")
        .iter()
        .filter_map(|r| r.3)
        .sum();
    assert!((hours - 10.0).abs() < 1e-12);
    assert_eq!(reading.mapping[0].rows, 2);
}

#[test]
fn bins_that_readings_cannot_tell_apart_leave_them_unused() {
    let folder = fleet(
        M1_LOG,
        "2024-01-01,M2,tons,0,,\n2024-04-06,M2,tons,40,,\n",
        "",
    );
    folder.write(
        "positions.csv",
        "machine,position,part,bin\nM1,chain,C-1,\nM2,chain,C-1,front\nM2,rear chain,C-1,rear\n",
    );
    let reading = folder.read();
    assert_eq!(rows(&reading.records, "M2"), []);
    assert!(
        reading
            .problems
            .iter()
            .any(|p| p.found.contains("several bins, not used: M2"))
    );
    let _ = read::proposal(folder.path(), true).expect("readable");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the readings, what a counter went up by is what is spread, and every row is told of.
    #[test]
    fn what_counters_went_up_by_is_spread_whole(
        steps in prop::collection::vec((1_u64..200, 0_u32..500, any::<bool>()), 1..8),
        log in prop::collection::vec(0_u64..900, 0..12),
    ) {
        let from = day("2024-01-01");
        let usage = joined(log.iter().map(|d| format!("{},M1,lime,3,1\n", from + Days::new(*d))));
        let (mut date, mut shown, mut total) = (from, 100, 0);
        let mut moved = None;
        let mut meters = format!("{from},M2,tons,100,,\n");
        for (days, more, with_product) in steps {
            date = date + Days::new(days);
            shown += more;
            total += more;
            moved = if 0 < more { Some(date) } else { moved };
            let product = if with_product { "gypsum" } else { "" };
            meters.extend([format!("{date},M2,tons,{shown},,{product}\n")]);
        }
        let reading = fleet(&usage, &meters, "").read();
        let rows = rows(&reading.records, "M2");
        let tons: f64 = rows.iter().filter_map(|r| r.2).sum();
        prop_assert!((tons - f64::from(total)).abs() < 1e-6, "{} of {}", tons, total);
        let last = date.to_string();
        prop_assert!(rows.iter().all(|r| "2024-01-01" < r.0.as_str() && r.0 <= last));
        // A counter that stood still while nobody knows of work may tell of no use.
        let told = reading.records.usage.last_reading();
        prop_assert!(moved <= told && told <= Some(date), "{:?} of {:?}", told, moved);
    }

    /// Any rows of a meters table are used, or set aside and told.
    #[test]
    fn any_meters_table_is_read_or_told(
        lines in prop::collection::vec(
            ("20(23|24|25)-0[1-9]-[0-2][0-9]", "M[12]", "hours|tons|acres|miles", "-?[0-9]{0,4}(\\.5)?", "|new meter|reset"),
            0..10,
        ),
    ) {
        let line = |(a, b, c, d, e): (String, String, String, String, String)| format!("{a},{b},{c},{d},{e},\n");
        let meters: String = lines.into_iter().map(line).collect();
        let folder = fleet(M1_LOG, &meters, "");
        prop_assert_eq!(folder.read(), folder.read());
    }
}

/// By hand: the fleet had 6 of its 10 hours on lime by 10 April, whatever it spread in them.
#[test]
fn hours_of_a_meter_are_shared_out_as_the_fleets_hours_were() {
    let folder = fleet(
        "2024-04-02,M1,lime,900,6\n2024-04-02,M1,potash,100,4\n",
        "2024-01-01,M2,hours,0,,\n2024-04-10,M2,hours,20,,\n",
        "",
    );
    let reading = folder.read();
    let hours: Vec<Option<f64>> = rows(&reading.records, "M2").iter().map(|r| r.3).collect();
    assert_eq!(hours, [Some(12.0), Some(8.0)]);
    // As many tons an hour of each as the fleet had: 12 h of 150 and 8 h of 25.
    let life = &lives(&folder)[0];
    let tons = life.filled[wearcast::units::Measure::Tons.index()].end;
    assert!(
        (tons.expect("filled in") - 2_000.0).abs() < 1e-6,
        "{tons:?}"
    );
}

/// The international acre is 4,046.8564224 square meters; a hectare 10,000.
#[test]
fn a_reading_is_in_the_unit_beside_it() {
    let of = |meter: &str, unit: &str| {
        let folder = fleet(M1_LOG, "", "");
        folder.write(
            "meters.csv",
            format!("date,machine,meter,reading,unit\n2024-01-01,M2,{meter},0,{unit}\n2024-04-06,M2,{meter},100,{unit}\n"),
        );
        folder.read()
    };
    let acres = |reading: &read::Reading| -> f64 {
        let days = reading.records.usage.of_machine("M2");
        days.filter_map(|d| d.amounts.acres).sum()
    };
    let hectares = of("acres", "ha");
    assert!((acres(&hectares) - 1e6 / 4_046.856_422_4).abs() < 1e-6);
    assert!((acres(&of("acres", "")) - 100.0).abs() < 1e-9);
    let wrong = of("acres", "t");
    let told = problems(&wrong, Severity::Problem);
    let kind = |row| ("meters.csv".to_owned(), Some(row), ProblemKind::UnknownWord);
    assert_eq!(told, [kind(2), kind(3)]);
}

/// What is new need not be the counter: a part that was changed that day says nothing of it.
#[test]
fn a_note_about_a_part_makes_no_new_counter() {
    let folder = |second: &str, note: &str| {
        let readings = format!("2024-01-01,M2,tons,100,,\n2024-04-06,M2,tons,{second},{note},\n");
        fleet(M1_LOG, &readings, "")
    };
    let tons = |folder: &Folder| -> f64 {
        let days = folder.read().records;
        days.usage
            .of_machine("M2")
            .filter_map(|d| d.amounts.tons)
            .sum()
    };
    assert!((tons(&folder("180", "left bearing replaced")) - 80.0).abs() < 1e-9);
    // A fall is a slip unless the note speaks of the counter.
    let kinds = |note: &str| problems(&folder("18", note).read(), Severity::Problem).len();
    assert_eq!(
        ["oil change", "new chain", "no change"].map(kinds),
        [1, 1, 1]
    );
    assert_eq!(
        [
            "new meter",
            "meter replaced",
            "counter was changed",
            "reset"
        ]
        .map(kinds),
        [0; 4]
    );
}

/// What the fleet had spread by each of many days, looked up once for each of many stretches: three
/// products, one after the other, and readings of machines that log nothing.
#[test]
fn many_stretches_between_readings_take_no_time_to_speak_of() {
    let days: Vec<_> = day("2020-03-01").iter_days().take(2000).collect();
    let product = |i: usize| ["lime", "potash", "urea"][i * 3 / days.len()];
    let logged = joined(days.iter().enumerate().flat_map(|(i, date)| {
        (0..20).map(move |k| (i, *date, k)).map(|(i, date, k)| {
            let name = if k == 0 {
                "M1".to_owned()
            } else {
                format!("L{k}")
            };
            format!("{date},{name},{},5,1\n", product(i))
        })
    }));
    let read = joined((0..60).flat_map(|k| {
        let readings = days.iter().step_by(10).enumerate();
        readings.map(move |(i, date)| format!("{date},K{k},hours,{},,\n", 10 * i))
    }));
    let folder = fleet(&logged, &read, "");
    let names = (1..20)
        .map(|k| format!("L{k}"))
        .chain((0..60).map(|k| format!("K{k}")));
    let machines = joined(names.map(|name| format!("{name},2020-01-01\n")));
    folder.write(
        "machines.csv",
        format!("machine,in_service\nM1,2020-01-01\nM2,2020-01-01\n{machines}"),
    );
    let begin = std::time::Instant::now();
    let reading = folder.read();
    // Far from what it takes, and from the minutes that a look at every row for every stretch took.
    assert!(begin.elapsed().as_secs() < 20, "{:?}", begin.elapsed());
    let hours = |name: &str, wanted: &str| -> f64 {
        let of = rows(&reading.records, "K7");
        let of = of
            .into_iter()
            .filter(|row| row.0 == wanted && row.1 == name);
        of.filter_map(|row| row.3).sum()
    };
    // By the 1000th day two thirds of the hours are of lime and one third is of potash.
    let date = days[1000].to_string();
    assert!(
        (hours("lime", &date) - 667.0 / 1001.0).abs() < 1e-9,
        "{}",
        hours("lime", &date)
    );
    assert!((hours("potash", &date) - 334.0 / 1001.0).abs() < 1e-9);
    assert!(hours("urea", &date).abs() < 1e-9);
}

/// 3 hours a day in the log on three days, and a meter that went up by 40 over them.
#[test]
fn a_meter_far_ahead_of_the_log_beside_it_is_remarked_on() {
    let told = |meters: &str| {
        let reading = fleet(M1_LOG, meters, "").read();
        let found = reading.problems.iter().map(|p| p.found.clone());
        found
            .filter(|f| f.contains("more than twice"))
            .collect::<Vec<_>>()
    };
    let far = told("2024-04-01,M1,hours,100,,\n2024-04-10,M1,hours,140,,\n");
    assert_eq!(
        far,
        [
            "more than twice what the log has: M1 from 2024-04-01 to 2024-04-10: 40 hours by the meter, 10 by the log"
        ]
    );
    assert_eq!(
        told("2024-04-01,M1,hours,100,,\n2024-04-10,M1,hours,120,,\n").len(),
        0
    );
    // The days of both readings count in full.
    assert_eq!(
        told("2024-04-02,M1,hours,100,,\n2024-04-05,M1,hours,112,,\n").len(),
        0
    );
    // A counter that was changed tells nothing of the stretch before.
    let changed = "2024-04-01,M1,hours,100,,\n2024-04-10,M1,hours,140,new meter,\n";
    assert_eq!(told(changed).len(), 0);
    // An engine runs on the road too.
    let engine = "2024-04-01,M1,engine_hours,100,,\n2024-04-10,M1,engine_hours,190,,\n";
    assert_eq!(told(engine).len(), 0);
}

/// It passed the check, and ended every command after it.
#[test]
fn a_product_of_a_meter_that_no_list_has_is_a_problem() {
    let meters = "2024-04-01,M2,hours,100,,\n2024-04-10,M2,hours,140,,dolomite\n";
    let folder = fleet(M1_LOG, meters, "");
    assert_eq!(problems(&folder.read(), Severity::Problem), []);
    let log = folder.read().records.usage;
    let mut listed = log.products().to_vec();
    listed.retain(|product| product != "dolomite");
    folder.write("products.csv", format!("product\n{}\n", listed.join("\n")));
    assert_eq!(
        problems(&folder.read(), Severity::Problem),
        [("meters.csv".to_owned(), Some(3), ProblemKind::Unknown)]
    );
}

/// Nobody knows what M2 did before its first reading, in the season that is repeated: what is known of it is planned,
/// which is said, and the order of the others stands. A row that somebody wrote without amounts is no such stretch:
/// what it asks for stays unknown.
#[test]
fn days_before_a_first_reading_void_no_order() {
    let demand = |written: &str| {
        let readings = "2025-05-14,M2,hours,233,,\n2025-10-30,M2,hours,337,,\n";
        let folder = fleet("", readings, "");
        let mut usage = "date,machine,product,tons,hours\n".to_owned();
        for date in ["2024-04-10", "2024-09-10", "2025-04-10", "2025-09-10"] {
            writeln!(usage, "{date},M1,potash,4000,80").expect("text");
        }
        folder
            .write("usage.csv", usage + written)
            .write("parts.csv", "part,family,price\nC-1,conveyor-chain,1600\n");
        let path = folder.path().to_str().expect("a path");
        let args = ["stock", path, "--season", "2026", "--as-of", "2025-10-31"];
        let (status, out, err) = crate::cli::wearcast(&[&args[..], &["--format", "json"]].concat());
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        let notes = report["notes"].to_string();
        assert!(notes.contains("is too low: M2"), "{notes}");
        report["parts"][0]["demand"]["expected"].as_f64()
    };
    assert!(demand("").is_some());
    assert_eq!(demand("2025-06-10,M1,lime,,\n"), None);
}

/// The mirror image of use before the first reading: a machine that was last read in June of a log up to November
/// is not known to have stood still since.
#[test]
fn a_machine_whose_readings_end_early_is_told() {
    let odd = |meters: &str| {
        let folder = fleet(
            "2024-04-02,M1,lime,10,1\n2024-11-15,M1,lime,10,1\n",
            meters,
            "",
        );
        let problems = folder.read().problems;
        let odd = problems.into_iter().filter(|p| p.kind == ProblemKind::Odd);
        odd.map(|p| p.found).collect::<Vec<_>>()
    };
    let readings = "2024-01-01,M2,hours,0,,lime\n2024-06-01,M2,hours,9,,lime\n";
    assert_eq!(
        odd(readings),
        ["no use is counted after the last reading of: M2 (2024-06-01)"]
    );
    assert_eq!(
        odd(&format!("{readings}2024-10-02,M2,hours,9,,lime\n")),
        [""; 0]
    );
}
