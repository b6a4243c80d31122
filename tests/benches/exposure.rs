//! From a usage log in Parquet to the tons of every product group that went over every part between
//! its fitting and its removal.
//!
//! `cargo bench --bench exposure` makes its own data, up to 10^6 rows. With
//! `WEARCAST_BENCH_DATA=FOLDER` it takes `usage_N.parquet` and `lives_R.parquet` from there instead,
//! and goes up to 10^7 rows, or to 10^8 where that file is there.
//!
//! `cargo bench --bench exposure -- once USAGE LIVES [all]` does it once in a process of its own and
//! prints the seconds and a check sum, to be run beside other programs; `all` works out acres and
//! hours as well as tons.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench reads its data and prints what it found"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::Instant;

use polars_core::prelude::{Column, DataFrame, DataType};
use polars_io::SerReader;
use polars_io::parquet::read::ParquetReader;
use polars_io::parquet::write::ParquetWriter;
use rayon::prelude::*;
use wearcast::family::Families;
use wearcast::life::exposure::UseSums;
use wearcast::read;
use wearcast::units::Measure;
use wearcast::wear::Groups;

const MACHINES: usize = 10_000;
const PRODUCTS: usize = 10;
/// 2014-01-01, as days since 1970-01-01, and the number of days of the log.
const FIRST: i32 = 16_071;
const DAYS: i32 = 3_652;
/// Days from the first of the common era to 1970-01-01, which is day 719,163.
const EPOCH: i32 = 719_163;

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    if args.next().as_deref() == Some("once") {
        let files: Vec<PathBuf> = args.by_ref().take(2).map(PathBuf::from).collect();
        let measures: &[Measure] = match args.next().as_deref() {
            Some("all") => &Measure::OF_USE,
            _ => &[Measure::Tons],
        };
        let folder = records(&files[0]);
        let begun = Instant::now();
        let check = exposures(folder.path(), &files[1], measures);
        let seconds = begun.elapsed().as_secs_f64();
        println!(r#"{{"tool": "wearcast", "inner_s": {seconds:.4}, "check": {check:.1}}}"#);
        return;
    }
    divan::main();
}

/// The whole way, reading included.
#[divan::bench(args = sizes(), sample_count = 5, sample_size = 1)]
fn tons_by_group_of_every_life(bencher: divan::Bencher<'_, '_>, rows: usize) {
    let lives = (rows / 10).clamp(1_000, 1_000_000);
    let data = Data::of(rows, lives);
    let folder = records(&data.usage);
    bencher.bench_local(|| exposures(folder.path(), &data.lives, &[Measure::Tons]));
}

fn sizes() -> Vec<usize> {
    let all = [10_000, 100_000, 1_000_000, 10_000_000, 100_000_000];
    match std::env::var_os("WEARCAST_BENCH_DATA") {
        None => all[..3].to_vec(),
        Some(dir) => {
            let there = |rows: &usize| usage_file(Path::new(&dir), *rows).exists();
            all.into_iter().filter(there).collect()
        }
    }
}

fn usage_file(dir: &Path, rows: usize) -> PathBuf {
    dir.join(format!("usage_{rows}.parquet"))
}

/// A usage log and lives, made here or by the folder's own recipe.
struct Data {
    usage: PathBuf,
    lives: PathBuf,
    /// Where they were made; removed with this.
    _made: Option<tempfile::TempDir>,
}

impl Data {
    fn of(rows: usize, lives: usize) -> Self {
        let (dir, made) = if let Some(dir) = std::env::var_os("WEARCAST_BENCH_DATA") {
            (PathBuf::from(dir), None)
        } else {
            let made = tempfile::tempdir().expect("a folder");
            make(made.path(), rows, lives);
            (made.path().to_path_buf(), Some(made))
        };
        Self {
            usage: usage_file(&dir, rows),
            lives: dir.join(format!("lives_{lives}.parquet")),
            _made: made,
        }
    }
}

/// Numbers that look random and are the same every time: the generator of Steele, Lea and Flood
/// (2014), written from memory; nothing rests on how random they are.
struct Mixed(u64);

impl Mixed {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let x = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((x ^ (x >> 31)) % end as u64) as usize
    }
}

/// Writes a usage log in the order of its days, and lives that follow each other in 120,000 places.
fn make(dir: &Path, rows: usize, lives: usize) {
    let mut random = Mixed(20_260_101);
    let machine = |m: usize| format!("M{:05}", m + 1);
    let dates: Vec<i32> = (0..rows)
        .map(|i| FIRST + day(i * DAYS as usize / rows))
        .collect();
    let machines: Vec<String> = (0..rows).map(|_| machine(random.below(MACHINES))).collect();
    let products: Vec<String> = (0..rows).map(|_| product(random.below(PRODUCTS))).collect();
    let mut tenths = |most: usize| -> Vec<f64> {
        (0..rows)
            .map(|_| (10 + random.below(most)) as f64 / 10.0)
            .collect()
    };
    let (acres, tons, hours) = (tenths(3_000), tenths(2_000), tenths(90));
    let usage = vec![
        date_column("date", &dates),
        Column::new("machine".into(), machines),
        Column::new("product".into(), products),
        Column::new("acres".into(), acres),
        Column::new("tons".into(), tons),
        Column::new("hours".into(), hours),
    ];
    write(&usage_file(dir, rows), usage);
    let mut ends: Vec<(usize, i32)> = (0..lives)
        .map(|_| {
            (
                random.below(12 * MACHINES),
                1 + day(random.below(DAYS as usize - 1)),
            )
        })
        .collect();
    ends.sort_unstable();
    let fitted: Vec<i32> = (0..lives)
        .map(|i| match i.checked_sub(1).map(|before| ends[before]) {
            Some((place, day)) if place == ends[i].0 => FIRST + day,
            _ => FIRST,
        })
        .collect();
    let removed: Vec<i32> = ends.iter().map(|(_, day)| FIRST + day).collect();
    let machines: Vec<String> = ends.iter().map(|(place, _)| machine(place / 12)).collect();
    let columns = vec![
        Column::new("machine".into(), machines),
        date_column("install", &fitted),
        date_column("removal", &removed),
    ];
    write(&dir.join(format!("lives_{lives}.parquet")), columns);
}

fn day(number: usize) -> i32 {
    i32::try_from(number).expect("a day of the log")
}

fn product(p: usize) -> String {
    format!("P{:02}", p + 1)
}

fn date_column(name: &str, days: &[i32]) -> Column {
    let column = Column::new(name.into(), days);
    column.cast(&DataType::Date).expect("days")
}

fn write(path: &Path, columns: Vec<Column>) {
    let height = columns[0].len();
    let mut frame = DataFrame::new(height, columns).expect("columns of one length");
    let file = File::create(path).expect("a new file");
    ParquetWriter::new(file)
        .finish(&mut frame)
        .expect("written");
}

/// A records folder of 10,000 machines around a usage log.
fn records(usage: &Path) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        fs::write(folder.path().join(name), text).expect("a new file");
    };
    let mut machines = "machine,in_service\n".to_owned();
    let mut positions = "machine,position,part\n".to_owned();
    for m in 1..=MACHINES {
        writeln!(machines, "M{m:05},2014-01-01").expect("text");
        writeln!(positions, "M{m:05},chain,C-1").expect("text");
    }
    write("machines.csv", &machines);
    write("positions.csv", &positions);
    write("parts.csv", "part,family\nC-1,conveyor-chain\n");
    let products: Vec<String> = (0..PRODUCTS).map(product).collect();
    write(
        "products.csv",
        &format!("product\n{}\n", products.join("\n")),
    );
    let usage = fs::canonicalize(usage).expect("the usage log");
    std::os::unix::fs::symlink(usage, folder.path().join("usage.parquet")).expect("a link");
    folder
}

/// Machine, and the days of fitting and removal, counted from the first of the common era.
type Lives = BTreeMap<String, Vec<(usize, i32, i32)>>;

fn lives(path: &Path) -> (Lives, usize) {
    let file = File::open(path).expect("the lives");
    let frame = ParquetReader::new(file).finish().expect("a table");
    let days = |name: &str| {
        let column = frame
            .column(name)
            .expect("a column")
            .as_materialized_series();
        let days = column.to_physical_repr().i32().expect("days").clone();
        days.iter()
            .map(|d| d.expect("a day") + EPOCH)
            .collect::<Vec<_>>()
    };
    let (fitted, removed) = (days("install"), days("removal"));
    let machines = frame
        .column("machine")
        .expect("a column")
        .str()
        .expect("text");
    let mut lives = Lives::new();
    let mut list: Vec<(usize, i32, i32)> = Vec::new();
    let mut current = "";
    for (i, machine) in machines.iter().enumerate() {
        let machine = machine.expect("a name");
        if machine != current {
            if !list.is_empty() {
                lives
                    .entry(current.to_owned())
                    .or_default()
                    .append(&mut list);
            }
            current = machine;
        }
        list.push((i, fitted[i], removed[i]));
    }
    lives
        .entry(current.to_owned())
        .or_default()
        .append(&mut list);
    (lives, frame.height())
}

/// Reads everything and works out the exposure of every life; the result is a check sum.
fn exposures(folder: &Path, of_lives: &Path, measures: &[Measure]) -> f64 {
    let steps = std::env::var_os("WEARCAST_BENCH_STEPS").is_some();
    let begun = Instant::now();
    let told = |what: &str| {
        if steps {
            eprintln!("{what} {:.3}", begun.elapsed().as_secs_f64());
        }
    };
    let reading = read::folder(folder, None, &Families::default()).expect("readable");
    assert!(!reading.has_problems(), "{:?}", reading.problems.first());
    told("read");
    let records = reading.records;
    let as_of = records.last_date().expect("some use");
    let groups = Groups::new(&records.products, &records.usage, Some("P01")).expect("a group");
    let sums = UseSums::new(&records.usage, &groups, as_of);
    let n_groups = groups.names().len();
    let (lives, count) = lives(of_lives);
    told("lives");
    let date = |day: i32| chrono::NaiveDate::from_num_days_from_ce_opt(day).expect("a date");
    let of_machines: Vec<_> = lives.par_iter().collect();
    let tables: Vec<Vec<f64>> = of_machines
        .into_par_iter()
        .map(|(machine, lives)| {
            let path = sums.path(machine, None);
            let mut table = Vec::with_capacity(lives.len() * n_groups * measures.len());
            for (_, fitted, removed) in lives {
                let (from, to) = (
                    path.days_until(date(*fitted)),
                    path.days_until(date(*removed)),
                );
                for measure in measures {
                    table.extend(path.recorded(*measure, from, to));
                }
            }
            table
        })
        .collect();
    told("exposure");
    let mut check = 0.0;
    let mut cells = 0;
    for table in &tables {
        cells += table.len();
        for row in table.chunks(n_groups * measures.len()) {
            let tons = match measures {
                [_] => row,
                _ => &row[n_groups..2 * n_groups],
            };
            check += tons
                .iter()
                .zip(1..)
                .map(|(t, g)| t * f64::from(g))
                .sum::<f64>();
        }
    }
    assert_eq!(cells, count * n_groups * measures.len());
    check
}
