//! Sheets `Money` and `Months`: what each further amount of money buys, and when pieces are asked for.

use rust_xlsxwriter::Workbook;

use super::super::XlsxError;
use super::super::page::{Page, Paper};
use super::super::styles::{Kind, Styles};
use super::super::table::{Cell, Column, Table};
use crate::report::stock::StockReport;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Money", Paper::Portrait, report)?;
    let curve = curve(report, 2);
    page.fit(&[&curve])?;
    page.title("What the money buys")?;
    page.aside(
        "Bought pack by pack where it prevents most shortage for its price, parts that stop a machine weighing most.",
    )?;
    page.table(&curve)?;
    page.keep_header(&curve, 0)?;
    page.finish(0)
}

/// A sheet of its own: below the curve its heading could stand alone at the foot of a page.
pub(super) fn write_months(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Months", Paper::Landscape, report)?;
    let months = months(report, 1);
    page.fit(&[&months])?;
    page.title(&format!(
        "Expected pieces by month, {}",
        super::season(report)
    ))?;
    page.table(&months)?;
    page.keep_header(&months, 1)?;
    page.finish(0)
}

fn curve(report: &StockReport, header_row: u32) -> Table {
    let columns = vec![
        Column::new("Money spent", Kind::Money),
        Column::new("Served from the shelf", Kind::Share),
    ];
    let mut table = Table::at(header_row, columns);
    for point in &report.curve {
        table.push(vec![point.money.into(), point.fill_rate.into()]);
    }
    table.say_none();
    table
}

fn months(report: &StockReport, header_row: u32) -> Table {
    let mut columns = vec![Column::words("Part number", 18.0)];
    let first = report.lines.iter().find(|l| !l.months.is_empty());
    let names = first.map_or(&[] as &[_], |l| &l.months);
    columns.extend(
        names
            .iter()
            .map(|(m, _)| Column::new(m.format("%b %Y").to_string(), Kind::Tenths)),
    );
    let mut table = Table::at(header_row, columns);
    for line in report.lines.iter().filter(|l| !l.months.is_empty()) {
        let mut cells: Vec<Cell> = vec![line.part.as_str().into()];
        cells.extend(line.months.iter().map(|(_, f)| Cell::from(f.expected)));
        table.push(cells);
    }
    table.say_none();
    table
}
