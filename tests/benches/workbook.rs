//! A workbook of 20,000 lines of 14 cells, three of them formulas, and 120 conditional sums over them:
//! made by the crate that writes our workbooks, and saved as `report::xlsx` saves them. Beside it our own
//! budget workbook of a fleet of 20,000 machines.
//!
//! `cargo bench --bench workbook`
//!
//! `cargo bench --bench workbook -- once FILE` writes the first of them once and prints the seconds, to be
//! run beside other programs; `workbook.py` does so.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench writes its file and prints what it found"
)]

use std::fs;
use std::path::Path;
use std::time::Instant;

use chrono::{Days, NaiveDate};
use rust_xlsxwriter::{Format, Workbook, XlsxError};
use wearcast::read;
use wearcast::report::{BudgetReport, xlsx};
use wearcast::study::{Options, Study};

const LINES: u32 = 20_000;
const HEADINGS: [&str; 14] = [
    "Machine",
    "Position",
    "Part",
    "Description",
    "Installed",
    "Acres on part",
    "Tons on part",
    "Acres planned",
    "Expected pieces",
    "Unit price",
    "Labor h",
    "Parts cost",
    "Labor cost",
    "Total",
];
/// From and to, in the decimals that a column has, and what one of them is: the figures of a line.
const FIGURES: [(u64, u64, f64); 6] = [
    (0, 90_000, 10.0),
    (0, 400_000, 100.0),
    (2_000, 40_000, 10.0),
    (0, 3_000, 1_000.0),
    (500, 90_000, 100.0),
    (2, 90, 10.0),
];

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    if args.next().as_deref() == Some("once") {
        let file = args.next().expect("a file to write");
        let begun = Instant::now();
        fs::write(file, lines().expect("a workbook")).expect("a new file");
        let seconds = begun.elapsed().as_secs_f64();
        println!(r#"{{"tool": "wearcast", "inner_s": {seconds:.4}}}"#);
        return;
    }
    divan::main();
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn lines_with_formulas() -> Vec<u8> {
    lines().expect("a workbook")
}

/// The owner's budget, its machines repeated.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn budget_of_many_machines(bencher: divan::Bencher<'_, '_>) {
    let report = large();
    bencher.bench_local(|| xlsx::budget(&report).expect("a workbook"));
}

fn large() -> BudgetReport {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/owner");
    let (families, _) = read::families(Some(&folder), None).expect("families");
    let reading = read::folder(&folder, None, &families).expect("records");
    let mut study = Study::new(reading.records, families, Options::default()).expect("a study");
    study.accounts = reading.accounts;
    let mut report = study.budget_to_change().expect("a budget");
    let machines = report.machines.clone();
    report.machines = machines.into_iter().cycle().take(LINES as usize).collect();
    report
}

/// Numbers that look random and are the same every time; nothing rests on how random they are.
struct Mixed(u64);

impl Mixed {
    fn between(&mut self, from: u64, to: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let x = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        from + (x ^ (x >> 31)) % (to - from + 1)
    }
}

fn lines() -> Result<Vec<u8>, XlsxError> {
    let mut random = Mixed(20_260_101);
    let mut workbook = Workbook::new();
    let (day, money) = (
        Format::new().set_num_format("yyyy-mm-dd"),
        Format::new().set_num_format("#,##0.00"),
    );
    let first = NaiveDate::from_ymd_opt(2024, 1, 1).expect("a date");
    let sheet = workbook.add_worksheet().set_name("Lines")?;
    sheet.write_row(0, 0, HEADINGS)?;
    for row in 1..=LINES {
        let mut number = |from, to| random.between(from, to);
        sheet.write(row, 0, format!("M{:05}", number(1, 10_000)))?;
        sheet.write(row, 1, number(1, 12) as f64)?;
        sheet.write(row, 2, format!("PN-{:04}", number(1, 400)))?;
        sheet.write(row, 3, format!("Part number {}", number(1, 400)))?;
        sheet.write_with_format(row, 4, &(first + Days::new(number(0, 700))), &day)?;
        for (column, (from, to, one)) in (5..).zip(FIGURES) {
            sheet.write_with_format(row, column, number(from, to) as f64 / one, &money)?;
        }
        let i = row + 1;
        let formulas = [
            format!("=I{i}*J{i}"),
            format!("=I{i}*K{i}*Summary!$B$1"),
            format!("=L{i}+M{i}"),
        ];
        for (column, formula) in (11..).zip(formulas) {
            sheet.write_formula_with_format(row, column, formula.as_str(), &money)?;
        }
    }
    let last = LINES + 1;
    let sheet = workbook.add_worksheet().set_name("Summary")?;
    sheet.write(0, 0, "Labor rate")?.write(0, 1, 95.0)?;
    for j in 0..120 {
        let (position, part) = (j % 12 + 1, j + 1);
        let sum = format!(
            "=SUMIFS(Lines!N$2:N${last},Lines!B$2:B${last},{position},Lines!C$2:C${last},\"PN-{part:04}\")"
        );
        sheet
            .write(j + 1, 0, format!("Part {j}"))?
            .write_formula(j + 1, 1, sum.as_str())?;
    }
    workbook.set_zip_compression_level(xlsx::COMPRESSION);
    workbook.save_to_buffer()
}
