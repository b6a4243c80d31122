//! The usage log in typed files and in folders of them: read by whole columns, and to the letter
//! what text says.

use std::fmt::Write;
use std::sync::Arc;

use polars_core::prelude::{Column, DataFrame, DataType};
use polars_io::parquet::write::ParquetWriter;
use proptest::prelude::*;
use wearcast::read::Reading;
use wearcast::record::{ProblemKind, Severity};

use crate::read::{Folder, assert_accounted};

/// One row as it may be found: nothing, something sound, something wrong.
#[derive(Clone, Debug)]
struct Found {
    date: Option<&'static str>,
    machine: Option<&'static str>,
    product: Option<&'static str>,
    bin: Option<&'static str>,
    amounts: [Option<f64>; 2],
    ticket: Option<&'static str>,
}

fn found() -> impl Strategy<Value = Found> {
    let date = prop::sample::select(vec![
        Some("2024-04-01"),
        Some("2024-04-01"),
        Some("2024-05-02"),
        Some("2025-11-30"),
        Some("1850-01-01"),
        None,
    ]);
    let machine = prop::sample::select(vec![
        Some("M1"),
        Some("M1"),
        Some("M2"),
        Some(" M2 "),
        Some("a machine of a long name"),
        Some("  "),
        None,
    ]);
    let product = prop::sample::select(vec![Some("lime"), Some("potash"), Some("gold"), None]);
    let bin = prop::sample::select(vec![Some("rear"), Some("front bin, the left one"), None]);
    let amount = || {
        prop::sample::select(vec![
            Some(12.5),
            Some(12.5),
            Some(1.0 / 3.0),
            Some(0.0),
            Some(-0.0),
            Some(-1.0),
            Some(f64::NAN),
            Some(2e15),
            Some(5_000_000.125),
            None,
        ])
    };
    let ticket = prop::sample::select(vec![Some("T1"), Some("T2"), None]);
    (date, machine, product, bin, [amount(), amount()], ticket).prop_map(
        |(date, machine, product, bin, amounts, ticket)| Found {
            date,
            machine,
            product,
            bin,
            amounts,
            ticket,
        },
    )
}

/// Rows that are sound, all of them.
fn sound() -> impl Strategy<Value = Found> {
    let date = prop::sample::select(vec!["2024-04-01", "2024-05-02", "2025-11-30"]);
    let machine = prop::sample::select(vec!["M1", "M2"]);
    let product = prop::sample::select(vec!["lime", "potash"]);
    let bin = prop::sample::select(vec![Some("rear"), Some("front bin, the left one"), None]);
    let amount = || prop::sample::select(vec![Some(12.5), Some(0.0), Some(700.125), None]);
    (date, machine, product, bin, [amount(), amount()]).prop_map(
        |(date, machine, product, bin, [area, mass])| Found {
            date: Some(date),
            machine: Some(machine),
            product: Some(product),
            bin,
            // One of the two at least.
            amounts: [area.or(Some(1.5)), mass],
            ticket: None,
        },
    )
}

/// Rows of every kind, or sound ones with now and then one of any kind among them.
fn log() -> impl Strategy<Value = Vec<Found>> {
    let mostly = prop_oneof![60 => sound(), 1 => found()];
    prop_oneof![
        prop::collection::vec(found(), 1..40),
        prop::collection::vec(sound(), 1..40),
        prop::collection::vec(mostly, 1..80),
    ]
}

const HEADER: &str = "date,machine,product,bin,hectares,lb";

fn csv(rows: &[Found], tickets: bool) -> String {
    let mut text = HEADER.to_owned();
    text += if tickets { ",ticket\n" } else { "\n" };
    for row in rows {
        let word = |w: Option<&str>| w.map_or(String::new(), |w| format!("\"{w}\""));
        let number = |a: Option<f64>| a.map_or(String::new(), |a| a.to_string());
        let [a, b] = row.amounts.map(number);
        let words = [row.date, row.machine, row.product, row.bin].map(word);
        let [date, machine, product, bin] = words;
        write!(text, "{date},{machine},{product},{bin},{a},{b}").expect("text");
        if tickets {
            write!(text, ",{}", word(row.ticket)).expect("text");
        }
        text.push('\n');
    }
    text
}

fn days(rows: &[Found]) -> Vec<Option<i32>> {
    let epoch = chrono::NaiveDate::from_ymd_opt(1970, 1, 1).expect("a date");
    let day = |text: &str| {
        let date: chrono::NaiveDate = text.parse().expect("a date");
        (date - epoch).num_days() as i32
    };
    rows.iter().map(|r| r.date.map(day)).collect()
}

fn frame(rows: &[Found], tickets: bool) -> Vec<Column> {
    let words = |name: &str, of: fn(&Found) -> Option<&'static str>| {
        Column::new(name.into(), rows.iter().map(of).collect::<Vec<_>>())
    };
    let numbers = |name: &str, i: usize| {
        let values: Vec<Option<f64>> = rows.iter().map(|r| r.amounts[i]).collect();
        Column::new(name.into(), values)
    };
    let date = Column::new("date".into(), days(rows)).cast(&DataType::Date);
    let mut columns = vec![
        date.expect("days"),
        words("machine", |r| r.machine),
        words("product", |r| r.product),
        words("bin", |r| r.bin),
        numbers("hectares", 0),
        numbers("lb", 1),
    ];
    if tickets {
        columns.push(words("ticket", |r| r.ticket));
    }
    columns
}

fn write_parquet(folder: &Folder, name: &str, columns: Vec<Column>, group: usize) {
    let path = folder.path().join(name);
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("a new folder");
    let height = columns[0].len();
    let mut frame = DataFrame::new(height, columns).expect("columns of one length");
    let file = std::fs::File::create(path).expect("a file");
    ParquetWriter::new(file)
        .with_row_group_size(Some(group))
        .finish(&mut frame)
        .expect("a Parquet file");
}

/// Severity, row, column, kind and what was found.
type Told = (Severity, Option<u32>, Option<Arc<str>>, ProblemKind, String);

/// The problems of the usage log.
fn told(reading: &Reading) -> Vec<Told> {
    let of_usage = reading
        .problems
        .iter()
        .filter(|p| p.place.source.starts_with("usage"));
    let mut told: Vec<_> = of_usage
        .map(|p| {
            let place = p.place.clone();
            (p.severity, place.row, place.column, p.kind, p.found.clone())
        })
        .collect();
    told.sort();
    told
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Rows of every kind, or sound ones, in row groups of four or in one: what is used, what is set aside and
    /// why, and what was entered twice are the same as in text.
    #[test]
    fn a_typed_log_says_what_the_same_log_in_text_says(
        rows in log(), tickets in any::<bool>(), group in prop_oneof![Just(4), Just(1_000)],
    ) {
        let text = Folder::good();
        text.write("usage.csv", csv(&rows, tickets));
        let typed = Folder::good();
        typed.remove("usage.csv");
        write_parquet(&typed, "usage.parquet", frame(&rows, tickets), group);
        let (text, typed) = (text.read(), typed.read());
        prop_assert_eq!(&text.records.usage, &typed.records.usage);
        prop_assert_eq!(text.records.usage.rows(), typed.records.usage.rows());
        // Dates before 1900 and numbers are shown in another form; everything else is the same.
        let plain = |reading: &Reading| -> Vec<_> {
            told(reading).into_iter().map(|(a, b, c, d, _)| (a, b, c, d)).collect()
        };
        prop_assert_eq!(plain(&text), plain(&typed));
    }
}

fn rows(list: &[(&'static str, &'static str, f64)]) -> Vec<Found> {
    list.iter()
        .map(|(date, machine, hectares)| Found {
            date: Some(date),
            machine: Some(machine),
            product: Some("lime"),
            bin: Some("rear"),
            amounts: [Some(*hectares), None],
            ticket: None,
        })
        .collect()
}

#[test]
fn a_log_divided_into_folders_is_read_as_it_lies() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    let first = rows(&[("2024-04-01", "M1", 12.5), ("2024-04-02", "M1", 3.5)]);
    let second = rows(&[("2024-04-01", "M1", 12.5), ("2024-05-01", "nobody", 4.0)]);
    write_parquet(
        &folder,
        "usage/season=2024/a.parquet",
        frame(&first, false),
        9,
    );
    write_parquet(
        &folder,
        "usage/season=2025/b.parquet",
        frame(&second, false),
        9,
    );
    folder.write("usage/_SUCCESS", "");
    let reading = folder.read();
    assert_accounted(&reading);
    let usage = reading.accounts.iter().find(|a| a.table.name() == "usage");
    let usage = usage.expect("an account");
    assert_eq!(
        (usage.source.as_deref(), usage.read, usage.used),
        (Some("usage/"), 4, 3)
    );
    assert_eq!(reading.records.usage.iter().count(), 2);
    let places: Vec<_> = reading
        .problems
        .iter()
        .filter(|p| p.place.source.starts_with("usage/"))
        // That it holds acres alone is another matter.
        .filter(|p| p.kind != ProblemKind::MissingColumn)
        .map(|p| (p.severity, &*p.place.source, p.place.row, p.found.as_str()))
        .collect();
    let file = "usage/season=2025/b.parquet";
    assert_eq!(
        places,
        [
            (
                Severity::Problem,
                file,
                Some(3),
                "the unknown machine `nobody`"
            ),
            (
                Severity::Remark,
                file,
                Some(2),
                "the same as row 2 of usage/season=2024/a.parquet"
            ),
        ]
    );
}

/// Programs leave out of the files what the folders say.
#[test]
fn a_folder_may_stand_for_the_product() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    for (name, product) in [("product=lime", "lime"), ("product=potash", "potash")] {
        let mut columns = frame(&rows(&[("2024-04-01", "M1", 12.5)]), false);
        columns.remove(2);
        write_parquet(&folder, &format!("usage/{name}/part-0.parquet"), columns, 9);
        let reading = folder.read();
        let products: Vec<_> = reading.records.usage.iter().map(|r| r.product).collect();
        assert!(products.contains(&product), "{products:?}");
    }
    let mut both = folder.read();
    assert_eq!(both.records.usage.iter().count(), 2);
    folder.write("usage.csv", "date,machine,product,tons\n");
    both = folder.read();
    let twice = both
        .problems
        .iter()
        .any(|p| p.kind == ProblemKind::TwoPlaces);
    assert!(twice, "{:?}", both.problems);
}

/// Two batches of each file, so that names are known from one to the next.
#[test]
fn a_long_log_is_read_in_batches() {
    const ROWS: usize = 40_000;
    let folder = Folder::good();
    folder.remove("usage.csv");
    let list: Vec<_> = (0..ROWS)
        .map(|i| {
            (
                "2024-04-01",
                if i % 2 == 0 { "M1" } else { "M2" },
                i as f64 / 8.0,
            )
        })
        .collect();
    write_parquet(
        &folder,
        "usage.parquet",
        frame(&rows(&list), false),
        ROWS / 2,
    );
    let reading = folder.read();
    assert_accounted(&reading);
    let usage = reading.records.usage;
    assert_eq!((usage.rows(), usage.iter().count()), (ROWS as u64, 2));
    // 0 + 2 + … + 39,998 is 19,999 * 20,000, an eighth of that in hectares of 2.471054 acres.
    let acres = usage
        .iter()
        .next()
        .and_then(|r| r.amounts.acres)
        .expect("known");
    let wanted = 19_999.0 * 20_000.0 / 8.0 / 0.404_685_642_24;
    assert!((acres / wanted - 1.0).abs() < 1e-12, "{acres}");
}

#[test]
fn what_a_folder_of_the_log_holds_besides_is_told() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    let some = || frame(&rows(&[("2024-04-01", "M1", 12.5)]), false);
    write_parquet(&folder, "usage.parquet/a.parquet", some(), 9);
    folder.write("usage.parquet/_SUCCESS", "");
    folder.write("usage.parquet/b.csv", "date,machine,product,tons\n");
    let reading = folder.read();
    assert_eq!(reading.records.usage.rows(), 1);
    let told = |reading: &Reading, severity| {
        let of_usage = |p: &&wearcast::record::Problem| {
            let is_acres_alone =
                p.kind == ProblemKind::MissingColumn && p.severity == Severity::Remark;
            p.severity == severity && &*p.place.source == "usage.parquet/" && !is_acres_alone
        };
        let found = reading.problems.iter().filter(of_usage);
        found.map(|p| p.found.clone()).collect::<Vec<_>>()
    };
    assert_eq!(told(&reading, Severity::Remark), ["`usage.parquet/b.csv`"]);
    assert_eq!(told(&reading, Severity::Problem), [""; 0]);
    // A folder that leads back to one it is in would be read again and again.
    let deep = "usage.parquet/1/2/3/4/5/6/7/8/9/c.parquet";
    write_parquet(&folder, deep, some(), 9);
    let problems = told(&folder.read(), Severity::Problem);
    assert_eq!(problems.len(), 1);
    assert!(problems[0].contains("1/2/3/4/5/6/7/8/9"), "{problems:?}");
}
