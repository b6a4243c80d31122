//! Files of a records folder: workbooks, Parquet, names, places, and files that cannot be read.

use std::io::Write;

use polars_core::prelude::{Column, DataFrame, DataType, IntoColumn, NamedFrom, Series, TimeUnit};
use polars_io::parquet::write::ParquetWriter;
use wearcast::family::Families;
use wearcast::read::{self, ReadError};
use wearcast::record::{ProblemKind, Severity, Table};

use crate::fuzz::targets::seeds;
use crate::read::{Folder, GOOD, assert_accounted};

/// The good tables as sheets of one workbook; numbers and dates typed where they look like it.
pub(crate) fn workbook(folder: &Folder, name: &str, tables: &[(&str, &str)]) {
    std::fs::write(folder.path().join(name), seeds::book(tables)).expect("a workbook");
}

fn parquet(folder: &Folder, name: &str, columns: Vec<Column>) {
    let height = columns[0].len();
    let mut frame = DataFrame::new(height, columns).expect("columns of one length");
    let file = std::fs::File::create(folder.path().join(name)).expect("a file");
    ParquetWriter::new(file)
        .finish(&mut frame)
        .expect("a Parquet file");
}

fn sources(reading: &read::Reading, severity: Severity) -> Vec<(String, Option<u32>, ProblemKind)> {
    let of = reading.problems.iter().filter(|p| p.severity == severity);
    of.map(|p| (p.place.source.to_string(), p.place.row, p.kind))
        .collect()
}

#[test]
fn the_settings_are_read_in_whatever_case_they_are_named() {
    for name in ["settings.toml", "Settings.toml", "SETTINGS.TOML"] {
        let folder = Folder::good();
        let own = folder.path().join("settings.toml");
        if own.exists() {
            std::fs::remove_file(own).expect("removed");
        }
        folder.write(name, "labor_rate = 71.5\n");
        assert_eq!(
            folder.read().records.settings.labor_rate,
            Some(71.5),
            "{name}"
        );
    }
}

#[test]
fn a_workbook_says_the_same_as_its_tables_in_text() {
    let folder = Folder::empty();
    workbook(&folder, "records.xlsx", &GOOD);
    let reading = folder.read();
    assert_eq!(reading.problems, []);
    let text = Folder::good().read().records;
    let mut records = reading.records;
    assert_eq!(records.sources[&Table::Parts], "records.xlsx, sheet parts");
    records.sources = text.sources.clone();
    assert_eq!(records, text);
}

#[test]
fn a_bad_cell_of_a_sheet_is_told_with_sheet_row_and_column() {
    let folder = Folder::good();
    folder.remove("stock.csv").remove("usage.csv");
    let usage = "date,machine,product,tons\n45383,M1,lime,2\n,,,\n2024-04-02,M1,lime,2024-04-02\n2024-04-02,M1,lime,#N/A\n";
    workbook(
        &folder,
        "book.xlsx",
        &[
            ("Stock.csv", "part,on_hand\nF-1,3\nF-9,1,,stray\n"),
            ("usage.csv", usage),
            ("odd", "a"),
        ],
    );
    let reading = folder.read();
    assert_eq!(
        sources(&reading, Severity::Problem),
        [
            (
                "book.xlsx, sheet Stock".to_owned(),
                Some(3),
                ProblemKind::RaggedRow
            ),
            (
                "book.xlsx, sheet usage".to_owned(),
                Some(2),
                ProblemKind::NotADate
            ),
            (
                "book.xlsx, sheet usage".to_owned(),
                Some(4),
                ProblemKind::NotANumber
            ),
            (
                "book.xlsx, sheet usage".to_owned(),
                Some(5),
                ProblemKind::NotANumber
            ),
        ]
    );
    assert!(
        sources(&reading, Severity::Remark)
            .iter()
            .any(|p| p.0 == "book.xlsx, sheet odd")
    );
}

#[test]
fn parquet_columns_are_read_by_their_types() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    let days = Series::new("date".into(), [19_814_i32, 19_815, 19_815])
        .cast(&DataType::Date)
        .expect("days");
    let columns = vec![
        days.into_column(),
        Series::new("machine".into(), ["M1", "M1", "M9"]).into_column(),
        Series::new("product".into(), [Some("lime"), None, Some("lime")]).into_column(),
        Series::new("tons".into(), [Some(1.5), Some(f64::NAN), None]).into_column(),
        Series::new("hours".into(), [3_i64, 4, -1]).into_column(),
    ];
    parquet(&folder, "usage.parquet", columns);
    let reading = folder.read();
    let first = reading.records.usage.iter().next().expect("a row");
    assert_eq!(first.date.to_string(), "2024-04-01");
    assert_eq!(first.amounts.tons, Some(1.5));
    assert_eq!(
        sources(&reading, Severity::Problem),
        [
            ("usage.parquet".to_owned(), Some(3), ProblemKind::Missing),
            ("usage.parquet".to_owned(), Some(3), ProblemKind::NotANumber),
            ("usage.parquet".to_owned(), Some(4), ProblemKind::OutOfRange),
        ]
    );
}

#[test]
fn a_parquet_moment_is_a_date_at_midnight_only() {
    let folder = Folder::good();
    folder.remove("machines.csv");
    let midnight = 1_709_251_200_000_i64;
    let moments = Series::new("in_service".into(), [midnight, midnight + 1])
        .cast(&DataType::Datetime(TimeUnit::Milliseconds, None))
        .expect("moments");
    parquet(
        &folder,
        "machines.parquet",
        vec![
            Series::new("machine".into(), ["M1", "M3"]).into_column(),
            moments.into_column(),
        ],
    );
    let reading = folder.read();
    assert_eq!(
        reading.records.machines[0].in_service.to_string(),
        "2024-03-01"
    );
    assert!(sources(&reading, Severity::Problem).contains(&(
        "machines.parquet".to_owned(),
        Some(3),
        ProblemKind::NotADate
    )));
}

#[test]
fn an_empty_folder_lacks_the_tables_that_are_needed_and_says_what_they_are_called() {
    let reading = Folder::empty().read();
    let missing: Vec<String> = sources(&reading, Severity::Problem)
        .into_iter()
        .map(|p| p.0)
        .collect();
    assert_eq!(missing, ["machines", "parts", "positions"]);
    assert!(reading.problems[0].expected.contains("`machines.csv`"));
    let remarks: Vec<String> = sources(&reading, Severity::Remark)
        .into_iter()
        .map(|p| p.0)
        .collect();
    assert_eq!(remarks, ["replacements", "usage"]);
}

#[test]
fn a_table_in_two_places_is_used_from_neither() {
    let folder = Folder::good();
    workbook(
        &folder,
        "book.xlsx",
        &[("Parts", "part,family\nF-1,frame-bushing\n")],
    );
    let reading = folder.read();
    let whole = |p: &&(String, Option<u32>, ProblemKind)| p.1.is_none();
    let all = sources(&reading, Severity::Problem);
    assert_eq!(
        all.iter().find(whole).map(|p| p.2),
        Some(ProblemKind::TwoPlaces)
    );
    assert_eq!(reading.records.parts.len(), 0);
}

#[test]
fn two_workbooks_are_a_problem_and_lock_files_are_none() {
    let folder = Folder::good();
    workbook(&folder, "a.xlsx", &[("notes", "x\n")]);
    folder
        .write("~$a.xlsx", "lock")
        .write(".hidden.csv", "x")
        .write("readme.txt", "x");
    assert_eq!(folder.read().problems, []);
    workbook(&folder, "b.xlsx", &[("notes", "x\n")]);
    assert_eq!(
        sources(&folder.read(), Severity::Problem),
        [("a.xlsx".to_owned(), None, ProblemKind::TwoPlaces)]
    );
}

#[test]
fn files_that_are_no_tables_are_remarked_on() {
    let folder = Folder::good();
    folder
        .write("fuel.csv", "a\n1\n")
        .write("old.xls", "x")
        .write("usage.tsv", "x");
    let remarks: Vec<String> = sources(&folder.read(), Severity::Remark)
        .into_iter()
        .map(|p| p.0)
        .collect();
    assert_eq!(remarks, ["fuel.csv", "old.xls", "usage.tsv"]);
}

fn error(folder: &Folder) -> ReadError {
    read::folder(folder.path(), None, &Families::built_in())
        .expect_err("a file that cannot be read")
}

#[test]
fn a_folder_that_is_not_there_or_a_file_is_an_error_that_names_it() {
    let folder = Folder::good();
    let gone =
        read::folder(&folder.path().join("gone"), None, &Families::built_in()).expect_err("gone");
    assert!(matches!(gone, ReadError::NotFound { .. }) && gone.to_string().contains("gone"));
    let file = read::folder(
        &folder.path().join("parts.csv"),
        None,
        &Families::built_in(),
    )
    .expect_err("a file");
    assert!(matches!(file, ReadError::NotAFolder { .. }));
}

/// Written by pyarrow; `make_listed_texts.py` beside the file says what is in it.
#[test]
fn texts_kept_as_numbers_into_a_list_are_read_as_texts() {
    let bytes = include_bytes!("../reference/listed_texts.parquet");
    let folder = Folder::good();
    folder.remove("stock.csv").write("stock.parquet", bytes);
    let typed = folder.read();
    assert_eq!(typed.problems, []);
    let text = "part,on_hand,due,shelf\nF-1,8,2025-02-01,left\nC-1,3,,left\nC-2,1,2025-03-01,\nO-1,2.5,,right\n";
    folder.remove("stock.parquet").write("stock.csv", text);
    assert_eq!(typed.records.stock, folder.read().records.stock);
}

#[test]
fn damaged_workbooks_and_parquet_files_are_errors() {
    for (name, bytes) in [
        ("book.xlsx", &b"no zip at all"[..]),
        ("book.xlsx", b""),
        ("plan.parquet", b""),
        ("plan.parquet", b"PAR1 nothing else PAR1"),
    ] {
        let folder = Folder::good();
        folder.remove("plan.csv").write(name, bytes);
        let error = error(&folder);
        assert!(
            matches!(error, ReadError::Corrupt { .. }) && error.to_string().contains(name),
            "{error}"
        );
    }
}

#[test]
fn a_workbook_with_a_damaged_byte_is_read_or_refused_and_never_a_crash() {
    let folder = Folder::empty();
    workbook(&folder, "book.xlsx", &GOOD);
    let bytes = std::fs::read(folder.path().join("book.xlsx")).expect("written");
    for at in (0..bytes.len()).step_by(bytes.len() / 60) {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x55;
        folder.write("book.xlsx", &damaged);
        if let Ok(reading) = read::folder(folder.path(), None, &Families::built_in()) {
            assert_accounted(&reading);
        }
    }
}

#[test]
fn a_workbook_that_unpacks_to_far_more_than_its_size_is_refused() {
    let folder = Folder::good();
    let file = std::fs::File::create(folder.path().join("bomb.xlsx")).expect("a file");
    let mut archive = zip::ZipWriter::new(file);
    archive
        .start_file(
            "xl/sharedStrings.xml",
            zip::write::SimpleFileOptions::default(),
        )
        .expect("an entry");
    let zeros = vec![b' '; 1 << 20];
    for _ in 0..257 {
        archive.write_all(&zeros).expect("written");
    }
    archive.finish().expect("an archive");
    assert!(matches!(error(&folder), ReadError::TooLarge { .. }));
}

#[test]
fn a_line_without_end_is_refused() {
    let folder = Folder::good();
    folder.write("stock.csv", "x".repeat(1 << 21));
    assert!(matches!(error(&folder), ReadError::TooLarge { .. }));
}

#[test]
fn families_of_the_records_and_of_a_folder_replace_the_built_in_ones() {
    let folder = Folder::good();
    let models = folder.path().join("models");
    std::fs::create_dir(&models).expect("a folder");
    folder.write(
        "models/fin.toml",
        "family = \"frame-bushing\"\nmeasure = \"acres\"\ncounted = \"each\"\n",
    );
    folder.write("models/bad.toml", "family = \"deflector\"\nmeasure = \"tons\"\n[prior]\nshape = { median = -1, spread = 2 }\n");
    folder.write("models/typo.toml", "family = \"gate\"\nmesure = \"tons\"\n");
    folder.write("models/second.toml", "family = \"frame-bushing\"\n");
    let (families, problems) = read::families(Some(folder.path()), None).expect("readable");
    assert_eq!(families.get("frame-bushing").counted.name(), "each");
    assert!(!families.has("deflector"));
    let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 3);
    assert!(
        told[0].starts_with("models/bad.toml: found line 4, `shape`"),
        "{}",
        told[0]
    );
    assert!(told[1].contains("frame-bushing"), "{}", told[1]);
    assert!(
        told[2].contains("line 2") && told[2].contains("mesure"),
        "{}",
        told[2]
    );
    let gone = read::families(None, Some(&folder.path().join("gone"))).expect_err("gone");
    assert!(matches!(gone, ReadError::NotFound { .. }));
}

#[test]
fn a_parquet_file_cut_short_or_with_a_damaged_footer_is_read_or_refused_and_never_a_crash() {
    let folder = Folder::good();
    folder.remove("stock.csv");
    let columns = vec![
        Series::new("part".into(), ["F-1", "C-1", "F-1"]).into_column(),
        Series::new("on_hand".into(), [1.5, 2.0, 3.0]).into_column(),
    ];
    parquet(&folder, "stock.parquet", columns);
    let bytes = std::fs::read(folder.path().join("stock.parquet")).expect("written");
    for length in (0..bytes.len()).step_by(13) {
        folder.write("stock.parquet", &bytes[..length]);
        assert!(matches!(error(&folder), ReadError::Corrupt { .. }));
    }
    let (footer, _) = bytes[bytes.len() - 8..].split_at(4);
    let footer = u32::from_le_bytes(footer.try_into().expect("four bytes")) as usize;
    for at in bytes.len() - 8 - footer..bytes.len() {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x55;
        folder.write("stock.parquet", &damaged);
        if let Ok(reading) = read::folder(folder.path(), None, &Families::built_in()) {
            assert_accounted(&reading);
        }
    }
}

/// The log of `make_listed_log.py` with a byte changed here and there.
#[test]
fn a_damaged_list_of_values_is_read_or_refused_and_never_a_crash() {
    for bytes in [
        &include_bytes!("../reference/listed_log_1.parquet")[..],
        include_bytes!("../reference/listed_log_2.parquet"),
    ] {
        let folder = Folder::good();
        folder.remove("usage.csv");
        folder.write("usage.parquet", bytes);
        let sound = folder.read();
        let rows = sound.accounts.iter().find(|a| a.table == Table::Usage);
        assert_eq!(rows.map(|account| account.read), Some(3_000));
        for at in (0..bytes.len()).step_by(211) {
            let mut damaged = bytes.to_vec();
            damaged[at] ^= 0x55;
            folder.write("usage.parquet", &damaged);
            if let Ok(reading) = read::folder(folder.path(), None, &Families::built_in()) {
                assert_accounted(&reading);
            }
        }
    }
}

/// The third log of `make_listed_log.py`: as in text, numbers are names too.
#[test]
fn names_that_are_a_list_of_numbers_are_read_as_names() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    folder.write(
        "usage.parquet",
        include_bytes!("../reference/listed_numbers.parquet"),
    );
    let reading = folder.read();
    let usage = reading.accounts.iter().find(|a| a.table == Table::Usage);
    let usage = usage.expect("an account");
    assert_eq!((usage.read, usage.used, usage.set_aside), (60, 0, 60));
    let found = |what: &str| {
        let problems = reading.problems.iter();
        problems.filter(|p| p.found.contains(what)).count()
    };
    assert_eq!(
        found("the unknown machine `101`"),
        17,
        "{:?}",
        reading.problems
    );
}

/// An owner keeps a sheet, or a file, for each year.
#[test]
fn a_usage_log_in_years_is_one_log_and_each_row_is_told_where_it_stands() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    let header = "date,machine,product,tons\n";
    let of = |rows: &str| format!("{header}{rows}");
    workbook(
        &folder,
        "records.xlsx",
        &[
            ("usage 2024.csv", &of("2024-04-01,M1,lime,2\n")),
            (
                "Usage_2025.csv",
                &of("2025-04-01,M1,lime,3\n2025-04-02,M1,lime,x\n"),
            ),
        ],
    );
    let reading = folder.read();
    let place = "records.xlsx, sheet Usage_2025".to_owned();
    assert_eq!(
        sources(&reading, Severity::Problem),
        [(place, Some(3), ProblemKind::NotANumber)]
    );
    assert_accounted(&reading);
    assert_eq!(reading.records.usage.rows(), 2);
    // Beside a log without a year nobody knows whether it holds the same.
    folder.write("usage.csv", of("2024-04-01,M1,lime,2\n"));
    let reading = folder.read();
    let two = ("usage.csv".to_owned(), None, ProblemKind::TwoPlaces);
    assert!(sources(&reading, Severity::Problem).contains(&two));
}

#[test]
fn a_year_of_any_other_table_is_told_and_stops_the_work() {
    let folder = Folder::good();
    folder.write("replacements-2024.csv", "date,machine,position,reason\n");
    let year = (
        "replacements-2024.csv".to_owned(),
        None,
        ProblemKind::TwoPlaces,
    );
    assert_eq!(sources(&folder.read(), Severity::Problem), [year]);
}

#[test]
fn the_same_year_twice_is_a_table_in_two_places_and_a_lone_year_is_the_table() {
    let folder = Folder::good();
    let log = std::fs::read(folder.path().join("usage.csv")).expect("a log");
    let replacements = std::fs::read(folder.path().join("replacements.csv")).expect("a table");
    folder.remove("usage.csv").remove("replacements.csv");
    folder
        .write("usage 2024.csv", &log)
        .write("replacements 2024.csv", &replacements);
    let reading = folder.read();
    assert_eq!(sources(&reading, Severity::Problem), []);
    assert_eq!(
        reading.records.replacements.len(),
        Folder::good().read().records.replacements.len()
    );
    folder.write("usage_2024.csv", &log);
    let kinds = sources(&folder.read(), Severity::Problem);
    assert!(
        kinds.iter().any(|p| p.2 == ProblemKind::TwoPlaces),
        "{kinds:?}"
    );
    assert!(
        read::is_among_records(folder.path(), &folder.path().join("usage 2031.csv"))
            .expect("readable")
    );
}

#[test]
fn rows_above_the_header_are_told_once_with_the_row_of_the_header() {
    let folder = Folder::good();
    folder.write(
        "usage.csv",
        "My spreading,,\n\nDate,Machine,Product,Tons\n2024-04-01,M1,lime,2\n",
    );
    let reading = folder.read();
    let of_usage: Vec<_> = reading
        .problems
        .iter()
        .filter(|p| &*p.place.source == "usage.csv")
        .collect();
    assert_eq!(of_usage.len(), 1);
    assert!(of_usage[0].found.contains("`My spreading`"));
    assert!(of_usage[0].expected.contains("delete the rows above row 3"));
}

/// Written by pyarrow; `make_small_types.py` beside the file says what is in it.
#[test]
fn small_numbers_decimals_and_columns_of_any_type_are_read() {
    let folder = Folder::good();
    folder.remove("parts.csv").write(
        "parts.parquet",
        include_bytes!("../reference/small_types.parquet"),
    );
    folder.write(
        "positions.csv",
        "machine,position,part\nM1,chain,C-1\nM1,fins,F-1\n",
    );
    folder.remove("replacements.csv").remove("stock.csv");
    let reading = folder.read();
    let of_parts: Vec<_> = (reading.problems.iter())
        .filter(|p| p.place.source.contains("parts") && p.severity == Severity::Problem)
        .collect();
    assert!(of_parts.is_empty(), "{of_parts:?}");
    let part = |number: &str| reading.records.part(number).expect("a part").clone();
    let (fin, chain) = (part("F-1"), part("C-1"));
    assert_eq!((fin.price, chain.price), (Some(19.95), Some(640.0)));
    assert_eq!((fin.pack, chain.lead_days), (4, Some(300.0)));
    assert_eq!(fin.labor_hours, Some(0.5));
    assert_eq!(fin.extra.get("weight").map(String::as_str), Some("1.125"));
    assert!(fin.extra.contains_key("opened"), "{:?}", fin.extra);
}
