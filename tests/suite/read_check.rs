//! Checks across tables: names, dates and pieces that cannot be.

use std::sync::Arc;

use chrono::NaiveDate;
use wearcast::family::Families;
use wearcast::read;
use wearcast::record::{Problem, ProblemKind, Severity};

use crate::read::{Folder, GOOD, assert_accounted, day, problems};

/// A bad row added to a good file: file, row text, column, kind.
type Case = (
    &'static str,
    &'static str,
    Option<&'static str>,
    ProblemKind,
);

#[rustfmt::skip]
const BAD_ROWS: &[Case] = &[
    ("machines.csv", "M3,2024-1-1,,,,", Some("in_service"), ProblemKind::NotADate),
    ("machines.csv", "M3,2024-02-30,,,,", Some("in_service"), ProblemKind::NotADate),
    ("machines.csv", "M3,45000,,,,", Some("in_service"), ProblemKind::NotADate),
    ("machines.csv", "M3,,,,,", Some("in_service"), ProblemKind::Missing),
    ("machines.csv", " ,2024-01-01,,,,", Some("machine"), ProblemKind::Missing),
    ("machines.csv", "M3,2024-01-01,,2023-01-01,,", Some("retired"), ProblemKind::Order),
    ("machines.csv", "M1,2024-03-01,,,North,7", Some("machine"), ProblemKind::NamedTwice),
    ("machines.csv", "M3,2024-01-01,,", None, ProblemKind::RaggedRow),
    ("machines.csv", "M3,2024-01-01,,,,,stray", None, ProblemKind::RaggedRow),
    ("machines.csv", "\"M3,2024-01-01,,,,", None, ProblemKind::RaggedRow),
    ("machines.csv", "\"M3\"x,2024-01-01,,,,", None, ProblemKind::RaggedRow),
    ("positions.csv", "M9,fins,F-1,4,,,", Some("machine"), ProblemKind::Unknown),
    ("positions.csv", "M1,deck,F-9,4,,,", Some("part"), ProblemKind::Unknown),
    ("positions.csv", "M1,fins,F-1,4,,,", Some("position"), ProblemKind::NamedTwice),
    ("positions.csv", "M1,deck,F-1,2.5,,,", Some("quantity"), ProblemKind::OutOfRange),
    ("positions.csv", "M1,deck,F-1,0,,,", Some("quantity"), ProblemKind::OutOfRange),
    ("positions.csv", "M1,deck,F-1,,,sometime,", Some("installed"), ProblemKind::NotADate),
    ("positions.csv", "M1,deck,F-1,,,,-3", Some("tons_before"), ProblemKind::OutOfRange),
    ("positions.csv", "M2,deck,F-1,,,2026-02-01,", Some("installed"), ProblemKind::Order),
    ("parts.csv", "F-1,frame-bushing,1,,,", Some("part"), ProblemKind::NamedTwice),
    ("parts.csv", "F-2,frame-bushing,$45,,,", Some("price"), ProblemKind::NotANumber),
    ("parts.csv", "F-2,frame-bushing,\"1,250\",,,", Some("price"), ProblemKind::NotANumber),
    ("parts.csv", "F-2,frame-bushing,NaN,,,", Some("price"), ProblemKind::NotANumber),
    ("parts.csv", "F-2,frame-bushing,1,0,,", Some("pack"), ProblemKind::OutOfRange),
    ("parts.csv", "F-2,frame-bushing,1,1.5,,", Some("pack"), ProblemKind::OutOfRange),
    ("parts.csv", "F-2,frame-bushing,1,,often,", Some("critical"), ProblemKind::UnknownWord),
    ("parts.csv", "C-3,conveyor-chain,1,,,C-1", Some("replaces"), ProblemKind::Supersession),
    ("parts.csv", "C-3,conveyor-chain,1,,,C-3", Some("replaces"), ProblemKind::Supersession),
    ("parts.csv", "C-3,,1,,,", Some("family"), ProblemKind::Missing),
    ("products.csv", "lime,other", Some("product"), ProblemKind::NamedTwice),
    ("usage.csv", "2024-06-01,M9,lime,1,1,1,", Some("machine"), ProblemKind::Unknown),
    ("usage.csv", "2024-06-01,M1,sand,1,1,1,rear", Some("product"), ProblemKind::Unknown),
    ("usage.csv", "2024-06-01,M1,lime,12k,1,1,rear", Some("acres"), ProblemKind::NotANumber),
    ("usage.csv", "2024-06-01,M1,lime,1,-1,1,rear", Some("tons"), ProblemKind::OutOfRange),
    ("usage.csv", "2023-12-31,M2,lime,1,1,1,", Some("date"), ProblemKind::Order),
    ("usage.csv", "2026-01-01,M2,lime,1,1,1,", Some("date"), ProblemKind::Order),
    ("usage.csv", "06/01/2024,M1,lime,1,1,1,rear", Some("date"), ProblemKind::NotADate),
    ("replacements.csv", "2024-06-01,M1,deck,,,,worn,", Some("position"), ProblemKind::Unknown),
    ("replacements.csv", "2024-06-01,M9,fins,,,,worn,", Some("machine"), ProblemKind::Unknown),
    ("replacements.csv", "2024-06-01,M1,fins,F-9,,,worn,", Some("part"), ProblemKind::Unknown),
    ("replacements.csv", "2024-06-01,M1,fins,,,,tired,", Some("reason"), ProblemKind::UnknownWord),
    ("replacements.csv", "2024-06-01,M1,fins,,,,,", Some("reason"), ProblemKind::Missing),
    ("replacements.csv", "2024-02-01,M1,fins,,,,worn,", Some("date"), ProblemKind::Order),
    ("replacements.csv", "2023-06-01,M2,chain,,,,worn,", Some("date"), ProblemKind::Order),
    ("replacements.csv", "2026-06-01,M2,fins,,,,worn,", Some("date"), ProblemKind::Order),
    ("replacements.csv", "2024-06-01,M1,fins,,,,worn,2024-06-02", Some("last_good"), ProblemKind::Order),
    ("replacements.csv", "2024-06-01,M1,fins,,5,,worn,", Some("quantity"), ProblemKind::TooMany),
    ("replacements.csv", "2024-06-01,M1,fins,,2,left,worn,", Some("quantity"), ProblemKind::TooMany),
    ("replacements.csv", "2024-06-01,M1,fins,,1.5,,worn,", Some("quantity"), ProblemKind::OutOfRange),
    ("replacements.csv", "2024-06-01,M1,fins,,0,,worn,", Some("quantity"), ProblemKind::OutOfRange),
    ("replacements.csv", "2024-04-02,M1,fins,,1,left,broken,", Some("date"), ProblemKind::Order),
    ("replacements.csv", "2024-04-02,M1,fins,,4,,worn,", Some("quantity"), ProblemKind::TooMany),
    ("replacements.csv", "2024-05-01,M2,chain,,,,worn,", Some("date"), ProblemKind::Order),
    ("replacements.csv", "2024-05-01,M2,chain,C-2,,,broken,", None, ProblemKind::Identical),
    ("inspections.csv", "2024-06-01,M1,deck,play,1,mm", Some("position"), ProblemKind::Unknown),
    ("inspections.csv", "2024-06-01,M1,fins,play,,mm", Some("value"), ProblemKind::Missing),
    ("inspections.csv", "2024-06-01,M1,chain,elongation,-0.4,%", Some("value"), ProblemKind::OutOfRange),
    ("inspections.csv", "2024-06-01,M1,chain,thickness,-0.09,mm", Some("value"), ProblemKind::OutOfRange),
    ("inspections.csv", "2024-06-01,M1,fins,thickness,-0.1,mm", Some("value"), ProblemKind::OutOfRange),
    ("inspections.csv", "2024-06-01,M1,chain,elongation,-1e16,%", Some("value"), ProblemKind::OutOfRange),
    ("plan.csv", "2025-4,M1,lime,1,1", Some("month"), ProblemKind::NotADate),
    ("plan.csv", "2025-05,M9,lime,1,1", Some("machine"), ProblemKind::Unknown),
    ("plan.csv", "2025-05,M1,sand,1,1", Some("product"), ProblemKind::Unknown),
    ("stock.csv", "F-9,1,,", Some("part"), ProblemKind::Unknown),
    ("stock.csv", "F-1,,,", Some("on_hand"), ProblemKind::Missing),
];

#[test]
fn every_bad_row_is_set_aside_and_told_with_its_place() {
    for (file, text, column, kind) in BAD_ROWS {
        let folder = Folder::good();
        folder.add(file, text);
        let reading = folder.read();
        let lines = std::fs::read_to_string(folder.path().join(file))
            .expect("written")
            .lines()
            .count();
        let found: Vec<&Problem> = reading
            .problems
            .iter()
            .filter(|p| p.severity == Severity::Problem)
            .collect();
        assert_eq!(found.len(), 1, "{file}: {text}: {found:#?}");
        let place = &found[0].place;
        assert_eq!(
            (&*place.source, place.row),
            (*file, Some(lines as u32)),
            "{text}"
        );
        assert_eq!(
            (place.column.as_deref(), found[0].kind),
            (*column, *kind),
            "{text}: {}",
            found[0]
        );
        assert!(
            !found[0].expected.ends_with('.') && !found[0].found.ends_with('.'),
            "{}",
            found[0]
        );
    }
}

/// A new chain reads 0 and is worn at 3 %: down to a tenth of that below new is measuring error.
#[test]
fn a_reading_a_little_below_that_of_a_new_chain_is_read_as_it_is() {
    let folder = Folder::good();
    folder.add("inspections.csv", "2024-06-01,M1,chain,elongation,-0.09,%");
    folder.add("inspections.csv", "2024-06-02,M1,chain,elongation,-0.3,");
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    let values: Vec<f64> = reading
        .records
        .inspections
        .iter()
        .map(|i| i.value)
        .collect();
    assert!(
        values.contains(&-0.09) && values.contains(&-0.3),
        "{values:?}"
    );
}

#[test]
fn rows_that_hang_on_a_row_set_aside_are_set_aside_with_it() {
    let folder = Folder::good();
    folder.write(
        "machines.csv",
        "machine,in_service,retired\nM1,2024-03-01,\nM2,2020-01-01,2019-01-01\n",
    );
    let reading = folder.read();
    let used: Vec<u64> = reading.accounts.iter().map(|a| a.used).collect();
    assert_eq!(used, [1, 2, 4, 2, 2, 1, 1, 0, 1, 2]);
}

#[test]
fn a_circle_of_superseded_parts_is_told_at_each_of_them_and_not_at_others() {
    let folder = Folder::good();
    folder.write(
        "parts.csv",
        "part,family,replaces\nF-1,frame-bushing,\nC-1,conveyor-chain,C-3\nC-2,conveyor-chain,C-1\nC-3,conveyor-chain,C-2\n\
         C-4,conveyor-chain,C-9\nO-1,gearcase-oil,\n",
    );
    let reading = folder.read();
    let rows =
        |p: &(String, Option<u32>, ProblemKind)| (p.2 == ProblemKind::Supersession).then_some(p.1);
    let rows: Vec<_> = problems(&reading, Severity::Problem)
        .iter()
        .filter_map(rows)
        .collect();
    assert_eq!(rows, [Some(3), Some(4), Some(5)]);
}

#[test]
fn a_number_that_a_part_supersedes_is_known_without_a_row_of_its_own() {
    let folder = Folder::good();
    folder
        .add("parts.csv", "F-3,frame-bushing,1,,,F-2")
        .add("positions.csv", "M1,deck,F-2,2,,,")
        .add("stock.csv", "F-2,1,,");
    assert_eq!(folder.read().problems, []);
}

#[test]
fn more_slots_than_pieces_over_the_years_are_too_many() {
    let folder = Folder::good();
    for slot in ["a", "b", "c"] {
        folder.add(
            "replacements.csv",
            &format!("2024-06-01,M1,fins,,,{slot},worn,"),
        );
    }
    assert_eq!(folder.read().problems, []);
    folder.add("replacements.csv", "2024-07-01,M1,fins,,,d,worn,");
    assert_eq!(
        problems(&folder.read(), Severity::Problem),
        [("replacements.csv".to_owned(), Some(7), ProblemKind::TooMany)]
    );
}

#[test]
fn a_family_changed_by_schedule_is_counted_in_fractions() {
    let folder = Folder::good();
    folder.add(
        "replacements.csv",
        "2024-06-01,M2,oil,,1.25,,planned,\n2024-06-01,M2,oil,,1.0,,planned,",
    );
    assert_eq!(folder.read().problems, []);
}

/// A thousand million gallons: `stock` bought them gallon by gallon.
#[test]
fn a_slip_in_the_quantity_of_a_fluid_is_told() {
    let folder = Folder::good();
    folder.add("positions.csv", "M1,oil,O-1,1000000000,,,");
    let found = problems(&folder.read(), Severity::Problem);
    assert!(
        found
            .iter()
            .any(|(_, _, kind)| *kind == ProblemKind::OutOfRange),
        "{found:?}"
    );
}

#[test]
fn equal_rows_of_use_are_remarked_on_and_both_used() {
    let folder = Folder::good();
    folder
        .add("usage.csv", "2024-04-01,M1,lime,120,240,8,rear")
        .add("plan.csv", "2025-04,M2,lime,100,200")
        .add("stock.csv", "F-1,8,4,2025-02-01")
        .add("inspections.csv", "2024-04-02,M1,chain,elongation,1.5,%");
    let reading = folder.read();
    let expected = [
        ("inspections.csv", 3),
        ("plan.csv", 3),
        ("stock.csv", 3),
        ("usage.csv", 5),
    ];
    let expected = expected.map(|(file, row)| (file.to_owned(), Some(row), ProblemKind::Identical));
    assert_eq!(problems(&reading, Severity::Remark), expected);
    assert!(!reading.has_problems());
    assert_eq!(reading.accounts[4].used, 4);
}

#[test]
fn two_loads_with_tickets_of_their_own_are_not_equal() {
    let row = "2024-04-01,M1,lime,1,1,rear";
    let text = format!("date,machine,product,tons,hours,bin,ticket\n{row},1\n{row},2\n{row},2\n");
    let reading = Folder::good().write("usage.csv", text).read();
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("usage.csv".to_owned(), Some(4), ProblemKind::Identical)]
    );
}

#[test]
fn rows_after_the_as_of_date_are_counted_and_kept() {
    let folder = Folder::good();
    let reading = read::folder(
        folder.path(),
        Some(day("2024-04-01")),
        &Families::built_in(),
    )
    .expect("readable");
    assert_accounted(&reading);
    assert_eq!(problems(&reading, Severity::Remark).len(), 4);
    let later: Vec<u64> = reading.accounts.iter().map(|a| a.later).collect();
    assert_eq!(later, [0, 0, 0, 0, 2, 2, 1, 0, 0, 1]);
    assert_eq!(reading.records.usage.rows(), 3);
}

#[test]
fn a_family_without_a_model_file_is_remarked_on_once() {
    let folder = Folder::good();
    folder.add("parts.csv", "X-1,deflector,1,,,\nX-2,deflector,1,,,");
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("parts.csv".to_owned(), Some(6), ProblemKind::NoModel)]
    );
}

#[test]
fn bins_without_use_and_use_without_a_bin_are_remarked_on() {
    let folder = Folder::good();
    folder
        .add("usage.csv", "2024-06-01,M1,lime,1,1,1,")
        .add("positions.csv", "M2,gate,F-1,1,front,2024-01-01,");
    let reading = folder.read();
    let kinds: Vec<_> = problems(&reading, Severity::Remark)
        .into_iter()
        .map(|p| (p.0, p.2))
        .collect();
    let usage = ("usage.csv".to_owned(), ProblemKind::Missing);
    assert_eq!(
        kinds,
        [
            ("plan.csv".to_owned(), ProblemKind::Missing),
            ("positions.csv".to_owned(), ProblemKind::Unknown),
            usage.clone(),
            usage
        ]
    );
}

/// Positions of `M1` know the bin `rear` alone.
#[test]
fn planned_use_without_a_bin_and_bins_that_no_position_names_are_remarked_on() {
    let folder = Folder::good();
    folder
        .add("usage.csv", "2024-06-01,M1,lime,1,1,1,Rear")
        .write(
            "plan.csv",
            "month,machine,product,tons,bin\n2025-04,M1,lime,9,\n2025-04,M1,lime,9,rear\n\
             2025-05,M1,lime,9,middle\n2025-04,M2,lime,9,any\n",
        );
    let reading = folder.read();
    let told: Vec<String> = reading.problems.iter().map(|p| p.found.clone()).collect();
    assert_eq!(
        told,
        [
            "1 plan row of `M1` without a bin",
            "1 plan row of `M1` through the bin `middle`, which none of its positions names",
            "use of `M1` through the bin `Rear`, which none of its positions names",
        ]
    );
}

#[test]
fn use_before_the_records_of_a_part_fitted_later_is_remarked_on() {
    let folder = Folder::good();
    folder.add("positions.csv", "M1,deck,F-1,2,,,50");
    assert_eq!(
        problems(&folder.read(), Severity::Remark),
        [("positions.csv".to_owned(), Some(7), ProblemKind::Order)]
    );
}

#[test]
fn without_a_products_table_every_product_is_its_own_group() {
    let folder = Folder::good();
    folder
        .remove("products.csv")
        .add("plan.csv", "2025-04,M2,sand,1,1");
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    let products: Vec<_> = reading
        .records
        .products
        .iter()
        .map(|p| (p.name.as_str(), p.group.as_str(), p.row))
        .collect();
    assert_eq!(
        products,
        [
            ("lime", "lime", 0),
            ("potash", "potash", 0),
            ("sand", "sand", 0)
        ]
    );
}

#[test]
fn a_reference_group_of_no_product_is_a_problem_of_the_settings() {
    let folder = Folder::good();
    folder.write(
        "settings.toml",
        "units = \"us\"\nreference_group = \"limes\"\n",
    );
    let reading = folder.read();
    let told: Vec<String> = reading.problems.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "settings.toml: found line 2, `reference_group` = `limes`; expected a product group of the \
             records: `abrasive`, `potash`"
        ]
    );
    folder.write("settings.toml", "reference_group = \"abrasive\"\n");
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    let group = reading.records.settings.reference_group;
    assert_eq!(group.as_deref(), Some("abrasive"));
}

#[test]
fn a_meter_that_shows_less_than_before_is_remarked_on_and_used() {
    let folder = Folder::good();
    folder.add(
        "meters.csv",
        "2024-06-01,M1,engine_hours,12,new meter,\n2024-06-01,M9,tons,1,,",
    );
    let reading = folder.read();
    let told: Vec<_> = reading
        .problems
        .iter()
        .map(|p| (p.severity, p.place.row, p.kind))
        .collect();
    assert_eq!(
        told,
        [
            (Severity::Problem, Some(5), ProblemKind::Unknown),
            (Severity::Remark, Some(4), ProblemKind::Order),
        ]
    );
    let account = &reading.accounts[9];
    assert_eq!((account.read, account.used, account.set_aside), (4, 3, 1));
    assert_eq!(reading.records.meters.len(), 3);
}

#[test]
fn the_order_of_rows_changes_nothing_but_row_numbers() {
    let forward = Folder::good().read().records;
    let folder = Folder::good();
    for (name, text) in GOOD {
        let mut lines: Vec<&str> = text.lines().collect();
        lines[1..].reverse();
        folder.write(name, lines.join("\n"));
    }
    let backward = folder.read().records;
    let names = |records: &wearcast::record::Records| {
        let dates: Vec<NaiveDate> = records.replacements.iter().map(|r| r.date).collect();
        let positions: Vec<String> = records
            .positions
            .iter()
            .map(|p| format!("{} {}", p.machine, p.name))
            .collect();
        let parts: Vec<String> = records.parts.iter().map(|p| p.number.clone()).collect();
        (dates, positions, parts)
    };
    assert_eq!(names(&forward), names(&backward));
}

/// Two chains changed on one day: one row names its side and part, the other neither. Whichever stands first, the
/// same parts were fitted.
#[test]
fn rows_of_one_day_fit_the_same_parts_in_either_order() {
    let fitted = |swapped: bool| {
        let mut rows = ["2024-05-05,M1,chain,left,1,C-2", "2024-05-05,M1,chain,,1,"];
        if swapped {
            rows.reverse();
        }
        let folder = worked("");
        folder
            .write(
                "positions.csv",
                "machine,position,part,quantity\nM1,chain,C-1,2\n",
            )
            .write(
                "parts.csv",
                "part,family\nC-1,conveyor-chain\nC-2,conveyor-chain\n",
            )
            .write(
                "replacements.csv",
                format!(
                    "date,machine,position,slot,quantity,part\n{}\n",
                    rows.join("\n")
                ),
            );
        let records = folder.read().records;
        let parts = records.replacements.iter();
        parts
            .map(|r| (r.slot.clone(), r.part.clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(fitted(false), fitted(true));
}

/// Remarks of the sort that tells of likely slips: place and what was found.
fn odd(folder: &Folder) -> Vec<(String, String)> {
    let reading = folder.read();
    assert_eq!(problems(&reading, Severity::Problem), []);
    let odd = reading
        .problems
        .into_iter()
        .filter(|p| matches!(p.kind, ProblemKind::Odd | ProblemKind::Example));
    odd.map(|p| (p.place.source.to_string(), p.found)).collect()
}

/// A machine that worked for the first twenty-five days of April in two years.
fn worked(more: &str) -> Folder {
    let folder = Folder::empty();
    let days = (2024..2026).flat_map(|year| {
        (1..=25).map(move |day| format!("{year}-04-{day:02},M1,lime,{}\n", 80 + day))
    });
    folder
        .write("machines.csv", "machine,in_service,site\nM1,2024-01-01,\n")
        .write("positions.csv", "machine,position,part\nM1,chain,C-1\n")
        .write("parts.csv", "part,family\nC-1,conveyor-chain\n")
        .write(
            "usage.csv",
            format!(
                "date,machine,product,tons\n{}{more}",
                days.collect::<String>()
            ),
        )
        .write("replacements.csv", "date,machine,position,reason\n");
    folder
}

#[test]
fn a_season_after_a_long_winter_is_nothing_odd() {
    assert_eq!(odd(&worked("2025-09-01,M1,lime,90\n")), []);
    assert_eq!(odd(&worked("2026-02-01,M1,lime,90\n")), []);
}

#[test]
fn a_mistyped_year_is_remarked_on() {
    let found = "2052-04-26, 9863 days after any other date".to_owned();
    let folder = worked("2052-04-26,M1,lime,90\n");
    assert_eq!(odd(&folder), [("usage.csv".to_owned(), found)]);
    // Of a replacement with its row.
    let folder = worked("");
    folder.add("replacements.csv", "2027-04-20,M1,chain,worn");
    let found = "2027-04-20, 725 days after any other date".to_owned();
    assert_eq!(odd(&folder), [("replacements.csv".to_owned(), found)]);
}

#[test]
fn a_total_among_days_is_remarked_on() {
    let folder = worked("2025-04-26,M1,lime,4650\n");
    let [(source, found)] = &odd(&folder)[..] else {
        panic!("one remark");
    };
    assert_eq!(source, "usage.csv");
    assert_eq!(found, "`M1` on 2025-04-26: 50 times the tons of other days");
}

#[test]
fn notes_that_begin_years_after_a_machine_did_are_remarked_on() {
    let folder = worked("");
    folder.write("machines.csv", "machine,in_service\nM1,2019-03-01\n");
    let found = "in service from 2019-03-01, and nothing on record before 2024-04-01".to_owned();
    assert_eq!(odd(&folder), [("machines.csv".to_owned(), found)]);
    folder.write(
        "machines.csv",
        "machine,in_service,records_from\nM1,2019-03-01,2024-01-01\n",
    );
    // Then its chain is taken for the one of 2019, unless somebody says when it was fitted.
    let found = "1 part of `M1`, taken to be there from the first though notes begin years after the machine was new";
    assert_eq!(
        odd(&folder),
        [("positions.csv".to_owned(), found.to_owned())]
    );
    for installed in ["unknown", "2019-03-01", "2021-05-04"] {
        let position = format!("machine,position,part,installed\nM1,chain,C-1,{installed}\n");
        folder.write("positions.csv", position);
        assert_eq!(odd(&folder), [], "{installed}");
    }
}

#[test]
fn a_part_of_another_family_than_its_position_is_remarked_on() {
    let folder = Folder::good();
    folder.add("replacements.csv", "2024-05-02,M2,fins,C-1,1,,planned,");
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("replacements.csv".to_owned(), Some(4), ProblemKind::Odd)]
    );
    let told = &reading.problems[0];
    assert_eq!(told.place.column.as_deref(), Some("part"));
    assert_eq!(told.found, "`C-1` of the family `conveyor-chain`");
    assert!(told.expected.contains("family `frame-bushing`"), "{told}");
    assert!(told.expected.contains("`fins` of `M2`"), "{told}");
    // A part that takes the place of another number is of its family.
    let folder = Folder::good();
    folder.add("replacements.csv", "2024-05-02,M1,chain,C-2,1,,planned,");
    assert_eq!(folder.read().problems, []);
}

#[test]
fn many_parts_of_another_family_are_told_as_a_number() {
    let folder = Folder::good();
    let rows: Vec<String> = (1..=28)
        .map(|day| format!("2024-05-{day:02},M1,fins,C-1,1,,planned,"))
        .collect();
    folder.add("replacements.csv", &rows.join("\n"));
    let reading = folder.read();
    assert_eq!(reading.problems.len(), 21);
    assert!(
        reading.problems[0].found.starts_with("8 more parts"),
        "{}",
        reading.problems[0]
    );
}

/// A cell that cannot be read, a machine that nobody knows, a reading that fell: after the as-of date
/// none of them stands in the way, and each is still told.
#[test]
fn problems_of_rows_after_the_as_of_date_do_not_stop_the_work() {
    let folder = Folder::good();
    folder
        .add(
            "usage.csv",
            "2024-06-01,M1,lime,much,1,1,rear\n2024-06-02,M9,lime,1,1,1,rear",
        )
        .add(
            "replacements.csv",
            "2024-06-03,M1,fins,,1,right,wron,\n2024-06-04,M1,gone,,1,,worn,",
        )
        .add("inspections.csv", "2024-06-05,M1,chain,elongation,long,%")
        .add(
            "meters.csv",
            "2024-06-06,M1,hours,50,,left\n2024-06-07,M1,hours,40,,left",
        );
    let known_on = |date: &str| {
        let families = Families::built_in();
        let reading = read::folder(folder.path(), Some(day(date)), &families).expect("readable");
        assert_accounted(&reading);
        reading
    };
    let reading = known_on("2024-05-31");
    assert_eq!(problems(&reading, Severity::Problem), []);
    let told = problems(&reading, Severity::Remark);
    for (file, row) in [
        ("usage.csv", 5),
        ("usage.csv", 6),
        ("replacements.csv", 4),
        ("replacements.csv", 5),
        ("inspections.csv", 3),
        ("meters.csv", 5),
    ] {
        assert!(
            told.iter().any(|p| p.0 == file && p.1 == Some(row)),
            "{file} {row}: {told:?}"
        );
    }
    let later: Vec<u64> = reading.accounts.iter().map(|a| a.later).collect();
    assert_eq!(later, [0, 0, 0, 0, 2, 2, 1, 0, 0, 2]);
    let found: Vec<&str> = reading.problems.iter().map(|p| p.found.as_str()).collect();
    assert_eq!(
        found
            .iter()
            .filter(|f| f.ends_with("2 rows dated after 2024-05-31"))
            .count(),
        3
    );
    // Known by then, each of them is a problem; so is a row whose date cannot be read.
    assert_eq!(
        problems(&known_on("2024-06-30"), Severity::Problem).len(),
        6
    );
    folder.add("usage.csv", "someday,M1,lime,1,1,1,rear");
    assert_eq!(
        problems(&known_on("2024-05-31"), Severity::Problem),
        [("usage.csv".to_owned(), Some(7), ProblemKind::NotADate)]
    );
}

#[test]
fn dates_far_ahead_of_everything_known_are_remarked_on() {
    let folder = Folder::good();
    folder
        .add("machines.csv", "M3,2099-03-01,,,North,7")
        .add(
            "positions.csv",
            "M1,deck,F-1,2,,2098-01-01,\nM3,deck,F-1,2,,,",
        )
        .add("plan.csv", "2097-04,M2,lime,1,1")
        .add("stock.csv", "C-1,1,1,2096-02-01");
    let reading = folder.read();
    let told: Vec<(&str, &str)> = reading
        .problems
        .iter()
        .filter(|p| p.kind == ProblemKind::Odd)
        .map(|p| (p.place.source.as_ref(), p.found.as_ref()))
        .collect();
    assert_eq!(
        told,
        [
            ("machines.csv", "`2099-03-01`"),
            ("plan.csv", "`2097-04-01`"),
            ("positions.csv", "`2098-01-01`"),
            ("stock.csv", "`2096-02-01`"),
        ]
    );
    assert!(
        reading.problems[0].expected.contains("near 2024-05-01"),
        "{}",
        reading.problems[0]
    );
}

#[test]
fn records_from_a_day_before_the_machine_was_in_service_are_remarked_on() {
    let folder = Folder::good();
    folder.add("machines.csv", "M3,2024-03-01,2023-03-01,,North,7");
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("machines.csv".to_owned(), Some(4), ProblemKind::Odd)]
    );
    assert_eq!(
        reading.problems[0].place.column.as_deref(),
        Some("records_from")
    );
}

#[test]
fn rows_of_use_without_any_amount_are_remarked_on() {
    let folder = Folder::good();
    folder.add(
        "usage.csv",
        "2024-04-03,M1,lime,,,,rear\n2024-04-04,M1,lime,0,,,rear",
    );
    let reading = folder.read();
    assert_eq!(
        problems(&reading, Severity::Remark),
        [("usage.csv".to_owned(), Some(5), ProblemKind::Missing)]
    );
    assert_eq!(
        reading.problems[0].found,
        "neither acres nor tons nor hours"
    );
    folder.add("usage.csv", "2024-04-05,M1,lime,,,,rear");
    let reading = folder.read();
    assert_eq!(reading.problems.len(), 1);
    assert!(
        reading.problems[0].found.contains("first of 2 rows"),
        "{}",
        reading.problems[0]
    );
}

#[test]
fn a_replacement_dated_to_a_season_is_told_how_to_write_it() {
    for text in ["winter 2024", "spring 2024", "2024", "2024-04", "04/2024"] {
        let folder = Folder::good();
        folder.add("replacements.csv", &format!("{text},M1,chain,,1,,worn,"));
        let reading = folder.read();
        let told = &reading.problems[0];
        assert_eq!(told.kind, ProblemKind::NotADate, "{text}");
        for form in ["`date_from`", "`2024-04`", "`spring 2024`", "season = true"] {
            assert!(told.expected.contains(form), "{text}: {told}");
        }
    }
    let folder = Folder::good();
    folder.add(
        "replacements.csv",
        "04/17/2024,M1,chain,,1,,worn,\nTotal 2024,M1,chain,,1,,worn,",
    );
    for problem in &folder.read().problems {
        assert!(!problem.expected.contains("season"), "{problem}");
    }
}

/// Every row of a long table may have a problem: what they have in common is held once.
#[test]
fn problems_of_many_rows_share_their_texts() {
    let folder = Folder::good();
    folder.add(
        "replacements.csv",
        "2024-05-02,M1,fins,,1,left,wron,\n2024-05-03,M1,fins,,1,left,wron,\n\
         2024-05-04,M9,fins,,1,left,worn,\n2024-05-05,M9,fins,,1,left,worn,",
    );
    let reading = folder.read();
    assert_eq!(reading.problems.len(), 4);
    for pair in reading.problems.chunks(2) {
        let column = |p: &Problem| p.place.column.clone().expect("a column");
        assert!(Arc::ptr_eq(&pair[0].place.source, &pair[1].place.source));
        assert!(Arc::ptr_eq(&column(&pair[0]), &column(&pair[1])));
        assert!(Arc::ptr_eq(&pair[0].expected, &pair[1].expected));
        assert_eq!(pair[0].found.capacity(), pair[0].found.len());
    }
}

/// What is compared by is told where it is written in two ways, and never taken for one.
#[test]
fn sites_customers_and_materials_in_several_spellings_are_remarked_on() {
    let folder = Folder::good();
    folder.write(
        "machines.csv",
        "machine,in_service,retired,site,customer\nM1,2024-03-01,,North yard,Oak Farm\n\
         M3,2024-03-01,,North yards,Oat Farm\nM2,2024-01-01,2025-12-31,north yard,OAK FARM\n",
    );
    let parts = "part,family,price,material,replaces\nF-1,spinner-fin,9,Carbon steel,\n\
                 C-1,conveyor-chain,900,carbon steel,\nB-1,conveyor-chain,800,stainless steel,\n";
    folder.write("parts.csv", parts);
    let reading = folder.read();
    let told: Vec<(&str, &str)> = (reading.problems.iter())
        .filter(|p| p.kind == ProblemKind::Spelling)
        .map(|p| {
            (
                p.place.column.as_deref().unwrap_or_default(),
                p.found.as_str(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (
                "customer",
                "`OAK FARM` and `Oak Farm`, which are spelled alike"
            ),
            (
                "site",
                "`North yard` and `north yard`, which are spelled alike"
            ),
            (
                "material",
                "`Carbon steel` and `carbon steel`, which are spelled alike"
            ),
        ]
    );
    let sites = reading.records.machines.iter().map(|m| m.site.as_deref());
    assert!(sites.eq([Some("North yard"), Some("north yard"), Some("North yards")]));
}
