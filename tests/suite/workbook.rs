//! The budget's workbook, read back by its cells, formulas and stored results.

pub(crate) mod fixture;
mod follows;
mod recalculate;

use std::io::Cursor;

use calamine::{Data, Range, Reader, Xlsx};
use wearcast::report::BudgetReport;
use wearcast::report::xlsx::{XlsxError, budget};
use wearcast::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

const SHEETS: [&str; 9] = [
    "Summary",
    "Parts",
    "Causes",
    "Machines",
    "Products",
    "Months",
    "Plan",
    "Assumptions",
    "Rows",
];

/// Values and formulas of one sheet, found by what stands in the first column and in the header.
struct Sheet {
    values: Range<Data>,
    formulas: Range<String>,
}

impl Sheet {
    fn value(&self, row: u32, column: u32) -> Data {
        self.values
            .get_value((row, column))
            .cloned()
            .unwrap_or(Data::Empty)
    }

    fn formula(&self, row: u32, column: u32) -> String {
        self.formulas
            .get_value((row, column))
            .cloned()
            .unwrap_or_default()
    }

    fn number(&self, row: u32, column: u32) -> f64 {
        match self.value(row, column) {
            Data::Float(number) => number,
            other => panic!("row {row}, column {column}: {other:?} is not a number"),
        }
    }

    fn text(&self, row: u32, column: u32) -> String {
        match self.value(row, column) {
            Data::String(text) => text,
            other => panic!("row {row}, column {column}: {other:?} is not a text"),
        }
    }

    fn is_empty(&self, row: u32, column: u32) -> bool {
        match self.value(row, column) {
            Data::Empty => true,
            Data::String(text) => text.is_empty(),
            _ => false,
        }
    }

    /// Row whose first cell has that text.
    fn row(&self, first: &str) -> u32 {
        let (end, _) = self.values.end().expect("a sheet with cells");
        (0..=end)
            .find(|&row| self.value(row, 0) == Data::String(first.to_owned()))
            .unwrap_or_else(|| panic!("no row begins with {first:?}"))
    }

    /// Column of that header, whose row begins with `first`.
    fn column(&self, first: &str, heading: &str) -> u32 {
        let (_, end) = self.values.end().expect("a sheet with cells");
        let row = self.row(first);
        (0..=end)
            .find(|&column| self.value(row, column) == Data::String(heading.to_owned()))
            .unwrap_or_else(|| panic!("no column {heading:?}"))
    }
}

fn sheet(report: &BudgetReport, name: &str) -> Sheet {
    let mut book = open(report);
    let values = book.worksheet_range(name).expect("the sheet's values");
    let formulas = book.worksheet_formula(name).expect("the sheet's formulas");
    Sheet { values, formulas }
}

fn open(report: &BudgetReport) -> Xlsx<Cursor<Vec<u8>>> {
    let bytes = budget(report).expect("a workbook");
    Xlsx::new(Cursor::new(bytes)).expect("a workbook that can be read")
}

#[track_caller]
fn assert_close(left: f64, right: f64) {
    assert!(
        (left - right).abs() <= 1e-9 * right.abs().max(1.0),
        "{left} is not {right}"
    );
}

#[test]
fn every_report_has_every_sheet() {
    for report in [
        fixture::usual(),
        fixture::thin(),
        fixture::bare(),
        fixture::large(),
    ] {
        assert_eq!(open(&report).sheet_names(), SHEETS);
    }
}

#[test]
fn the_same_report_gives_the_same_bytes() {
    let report = fixture::thin();
    assert_eq!(budget(&report), budget(&report));
}

#[test]
fn the_summary_says_what_to_set_aside() {
    let report = fixture::usual();
    let total = report.total.expect("a known total");
    let summary = sheet(&report, "Summary");
    assert_eq!(
        summary.text(0, 0),
        "Wear parts budget, season 2027 (1 Nov 2026 to 31 Oct 2027)"
    );
    assert!(summary.text(1, 0).contains("31 Oct 2026"));
    let labels = [
        ("Expected", total.expected),
        ("Set aside to be covered in 8 seasons of 10", total.p80),
        ("Set aside to be covered in 9 of 10", total.p90),
        ("Low: only 10 seasons of 100 cost less", total.p10),
    ];
    for (label, money) in labels {
        let row = summary.row(label);
        assert_close(summary.number(row, 2), money);
        assert_close(summary.number(row, 3), money / 37_430.0);
        assert!(
            summary.is_empty(row, 5),
            "what is known needs no second column"
        );
    }
    assert_close(summary.number(summary.row("Expected"), 4), 2_914.6);
    assert_close(summary.number(summary.row("All machines"), 2), 37_430.0);
    let biggest = summary.row("Part number") + 1;
    assert_eq!(summary.text(biggest, 0), "CH-88-216");
}

#[test]
fn an_unknown_total_is_empty_with_a_word_beside_it() {
    let report = fixture::thin();
    let summary = sheet(&report, "Summary");
    let row = summary.row("Expected");
    assert!((2..5).all(|column| summary.is_empty(row, column)));
    assert_close(summary.number(row, 5), report.known_total.expected);
    assert_eq!(
        summary.text(row, 6),
        "unknown: total, per hectare, down cost"
    );
    let planned = summary.row("All machines");
    assert!(summary.is_empty(planned, 4));
    assert_eq!(summary.text(planned, 6), "unknown: hours");
}

#[test]
fn parts_are_pieces_times_price_in_formulas_with_their_results() {
    let parts = sheet(&fixture::usual(), "Parts");
    let row = parts.row("FN-4102-L");
    let at = |heading| parts.column("Part number", heading);
    assert_eq!(
        parts.formula(row, at("Parts, expected")),
        "IF(OR(G4=\"\",E4=\"\"),\"\",E4*G4)"
    );
    assert_close(parts.number(row, at("Parts, expected")), 18.62 * 21.85);
    assert_eq!(
        parts.formula(row, at("Parts at 80\u{a0}%")),
        "IF(OR(G4=\"\",F4=\"\"),\"\",F4*G4)"
    );
    assert_close(parts.number(row, at("Parts at 80\u{a0}%")), 24.0 * 21.85);
    assert_eq!(
        parts.formula(row, at("To buy, pieces")),
        "IF(F4=\"\",\"\",ROUNDUP(ROUND(F4/J4,6),0)*J4)"
    );
    assert_eq!(parts.text(row, at("Changed by")), "wear");
    assert_eq!(
        parts.text(parts.row("FL-10M"), at("Changed by")),
        "schedule"
    );
    let bushing = parts.row("BU-1250");
    assert_close(parts.number(bushing, at("To buy, pieces")), 20.0);
    assert_close(parts.number(bushing, at("To buy, money")), 138.0);
}

#[test]
fn the_lines_stand_beside_the_season_they_do_not_add_up_to() {
    let report = fixture::usual();
    let total = report.total.expect("a known total");
    let parts = sheet(&report, "Parts");
    let (expected, at_80) = (7, 8);
    let row = parts.row("The lines added up");
    assert!(parts.formula(row, expected).contains("SUM("));
    assert_close(parts.number(row, expected), total.expected);
    assert!(parts.number(row, at_80) > total.p80);
    assert_close(parts.number(row + 1, at_80), total.p80);
    assert_close(
        parts.number(row + 2, at_80),
        (100.0 * (parts.number(row, at_80) - total.p80)).round() / 100.0,
    );
}

#[test]
fn a_part_without_a_price_has_no_money_and_says_so() {
    let parts = sheet(&fixture::thin(), "Parts");
    let at = |heading| parts.column("Part number", heading);
    let row = parts.row("@SUM(A1)");
    for heading in [
        "Price of one",
        "Parts, expected",
        "Parts at 80\u{a0}%",
        "To buy, money",
        "Lead time",
        "Labor, expected",
    ] {
        assert!(
            parts.is_empty(row, at(heading)),
            "{heading} of a part without a price"
        );
    }
    assert_eq!(
        parts.formula(row, at("Parts, expected")),
        "IF(OR(G7=\"\",E7=\"\"),\"\",E7*G7)"
    );
    assert_eq!(
        parts.text(row, at("Remark")),
        "unknown: price, lead time, labor, down cost"
    );
    assert_eq!(
        parts.text(row + 1, at("Remark")),
        "price as last paid, not from the parts list"
    );
    assert_eq!(
        parts.text(parts.row("Sum of the lines"), at("Remark")),
        "known lines only"
    );
}

#[test]
fn text_from_records_is_never_a_formula_or_a_link() {
    let report = fixture::thin();
    let parts = sheet(&report, "Parts");
    for name in ["=1+1", "+A1", "-7", "@SUM(A1)", "Streuscheibe Ø 65"] {
        let row = parts.row(name);
        assert_eq!(parts.formula(row, 0), "");
        assert_eq!(parts.text(row, 1), format!("{name} für Kalk, 石灰"));
    }
    let notes = sheet(&report, "Assumptions");
    let row = notes.row("=HYPERLINK(\"https://example.org\")");
    assert_eq!(notes.formula(row, 0), "");
    let mut book = open(&report);
    for name in SHEETS {
        let links = book
            .hyperlinks_by_sheet_name(name)
            .expect("the sheet's links");
        assert!(links.is_empty(), "{name} has links");
    }
}

#[test]
fn a_text_too_long_for_a_cell_is_cut_with_a_mark() {
    let notes = sheet(&fixture::thin(), "Assumptions");
    let (end, _) = notes.values.end().expect("cells");
    let longest = (0..=end).filter_map(|row| match notes.value(row, 0) {
        Data::String(text) if text.starts_with("xxx") => Some(text),
        _ => None,
    });
    let longest: Vec<String> = longest.collect();
    assert_eq!(longest.len(), 1);
    assert!(longest[0].encode_utf16().count() <= 32_767 && longest[0].ends_with("(cut)"));
}

#[test]
fn metric_owners_read_hectares_tonnes_and_money_for_them() {
    let (us, metric) = (fixture::usual(), fixture::thin());
    let products = sheet(&metric, "Products");
    let row = products.row("lime");
    let at = |heading| products.column("Product group", heading);
    assert_close(
        products.number(row, at("Hectares")),
        4_950.0 * HECTARES_PER_ACRE,
    );
    assert_close(
        products.number(row, at("Tonnes")),
        6_700.0 * KILOGRAMS_PER_TON / 1000.0,
    );
    let per_acre = metric.products[0].cost_per_acre.expect("a known cost");
    assert_close(
        products.number(row, at("Per hectare")),
        per_acre / HECTARES_PER_ACRE,
    );
    assert_close(
        products.number(row, at("Per hectare")) * products.number(row, at("Hectares")),
        products.number(row, at("Expected")),
    );
    let summary = sheet(
        &BudgetReport {
            units: metric.units,
            ..us
        },
        "Summary",
    );
    let per_hectare = summary.number(summary.row("Expected"), 3);
    assert_close(
        per_hectare * summary.number(summary.row("All machines"), 2),
        summary.number(summary.row("Expected"), 2),
    );
}

#[test]
fn shares_of_the_products_add_up_to_the_season() {
    let report = fixture::usual();
    let products = sheet(&report, "Products");
    let row = products.row("Sum of the shares");
    assert_eq!(
        products.formula(row, 3),
        "IF(COUNT(D4:D7)=0,\"\",SUM(D4:D7))"
    );
    assert_close(
        products.number(row, 3),
        report.total.expect("a known total").expected,
    );
    assert_close(products.number(row, 4), 1.0);
    assert_eq!(products.text(row + 1, 7), "shares add up");
}

#[test]
fn months_add_up_and_have_a_chart() {
    let report = fixture::usual();
    let months = sheet(&report, "Months");
    let row = months.row("Sum");
    assert_close(months.number(row, 1), months.number(row + 1, 1));
    let xml = part(&report, "xl/charts/chart1.xml");
    assert!(
        xml.contains("Covered in 8 seasons of 10") && xml.contains("Parts and labor a month, $")
    );
    assert!(
        xml.contains("<a:pattFill prst=\"wdUpDiag\">"),
        "told apart by colour alone"
    );
}

#[test]
fn a_month_whose_money_is_unknown_is_empty() {
    let months = sheet(&fixture::thin(), "Months");
    let row = months.row("Month") + 5;
    assert!((1..5).all(|column| months.is_empty(row, column)));
    assert_eq!(months.text(months.row("Month"), 5), "What is known of it");
    assert_eq!(
        months.text(row, 6),
        "unknown: money, until a budget is made with all prices"
    );
}

#[test]
fn every_row_read_is_used_or_set_aside() {
    let rows = sheet(&fixture::usual(), "Rows");
    let usage = rows.row("usage");
    assert_eq!(
        rows.formula(usage, 6),
        "IF(C8=D8+E8,\"adds up\",\"does not add up\")"
    );
    assert_eq!(rows.text(usage, 6), "adds up");
    assert_eq!(rows.text(rows.row("stock"), 1), "no such table");
    assert!(rows.is_empty(rows.row("stock"), 2));
    assert_close(rows.number(rows.row("Sum"), 2), 18_412.0 + 8.0 * 40.0);
}

#[test]
fn rows_that_went_missing_are_shown() {
    let mut report = fixture::usual();
    report.account[4].used -= 1;
    let rows = sheet(&report, "Rows");
    assert_eq!(rows.text(rows.row("usage"), 6), "does not add up");
    assert_eq!(rows.text(rows.row("Sum"), 6), "does not add up");
}

#[test]
fn a_number_that_is_none_is_refused_with_its_cell() {
    let mut report = fixture::usual();
    report.lines[0].pieces.as_mut().expect("known").expected = f64::NAN;
    let error = budget(&report).expect_err("a number that no cell can hold");
    assert!(
        matches!(
            error,
            XlsxError::NotFinite {
                sheet: "Summary" | "Parts",
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn each_sheet_is_set_up_for_paper() {
    let report = fixture::usual();
    for number in 1..=SHEETS.len() {
        let xml = part(&report, &format!("xl/worksheets/sheet{number}.xml"));
        assert!(xml.contains("fitToPage=\"1\""), "sheet {number}");
        // The Summary is as long as one page, the others as long as they need.
        assert_eq!(
            xml.contains("fitToHeight=\"0\""),
            number > 1,
            "sheet {number}"
        );
        assert!(
            xml.contains("&amp;A") && xml.contains("Page &amp;P of &amp;N"),
            "sheet {number}"
        );
        assert_eq!(
            xml.contains("state=\"frozen\""),
            number > 1,
            "sheet {number}"
        );
    }
    let names = part(&report, "xl/workbook.xml");
    assert_eq!(names.matches("_xlnm.Print_Area").count(), 9);
    assert_eq!(names.matches("_xlnm.Print_Titles").count(), 7);
    let properties = part(&report, "docProps/core.xml");
    assert!(properties.contains("2026-10-31T00:00:00Z"));
    assert!(properties.contains("Wear parts budget, season 2027"));
}

#[test]
fn money_is_shown_with_the_currency_of_the_settings() {
    let styles = part(&fixture::usual(), "xl/styles.xml");
    assert!(styles.contains("&quot;$&quot;#,##0.00;-&quot;$&quot;#,##0.00"));
    let styles = part(&fixture::thin(), "xl/styles.xml");
    assert!(styles.contains("&quot;EUR &quot;#,##0;-&quot;EUR &quot;#,##0"));
}

/// A file inside the workbook, as text.
fn part(report: &BudgetReport, name: &str) -> String {
    let bytes = budget(report).expect("a workbook");
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip archive");
    let file = archive.by_name(name).expect("the part of the workbook");
    std::io::read_to_string(file).expect("text")
}

/// A season that has not begun while parts are changed before it, as planned in summer: the workbook is written, and
/// its numbers are those of the budget.
#[test]
fn changes_before_a_later_season_have_their_place_in_the_workbook() {
    let folder = crate::read::Folder::empty();
    let path = folder.path().join("later.xlsx");
    let path = path.to_str().expect("a path");
    let later = [
        "budget",
        "sample-data/owner",
        "--as-of",
        "2026-06-30",
        "--season",
        "2027",
    ];
    let more = ["--policy", "advised", "--out", path];
    let (status, _, err) = crate::cli::wearcast(&[&later[..], &more[..]].concat());
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    // What is decided on stands in one place each: of a position whose pieces fare differently, in its own.
    let json =
        crate::cli::wearcast(&[&later[..], &["--policy", "advised", "--format", "json"]].concat())
            .1;
    let budget: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let families = budget["families"].as_array().expect("families").iter();
    let planned: f64 = families
        .filter_map(|f| f["planned"]["expected"].as_f64())
        .sum();
    let mut book: Xlsx<_> = calamine::open_workbook(path).expect("a workbook");
    let places = book.worksheet_range("Places").expect("the sheet is there");
    let rows: Vec<&[Data]> = places.rows().collect();
    let heading = |row: &&&[Data]| row.iter().any(|cell| *cell == "By schedule or decided");
    let heading = rows.iter().find(heading).expect("a heading");
    let column = heading
        .iter()
        .position(|cell| *cell == "By schedule or decided");
    let sum = |row: &&&[Data]| row[0] == "Sum of the known";
    let sum = &rows.iter().find(sum).expect("a sum")[column.expect("the column is there")];
    let Data::Float(sum) = sum else {
        panic!("a number: {sum}")
    };
    assert!(
        0.0 < planned && (sum - planned).abs() < 1e-6,
        "{sum} for {planned}"
    );
}
