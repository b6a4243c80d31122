//! Sheet `Customers`: what each will likely need, to call them before the order date.

use rust_xlsxwriter::Workbook;

use super::super::XlsxError;
use super::super::page::{Page, Paper};
use super::super::styles::{Kind, Styles};
use super::super::table::{Cell, Column, Table};
use crate::report::stock::StockReport;

/// A part with a smaller chance of any need is not worth a call.
const LEAST_CHANCE: f64 = 0.1;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Customers", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    let (title, words) = if report.has_customers() {
        (
            "Customers",
            "What each customer's machines will likely need",
        )
    } else {
        ("Needs", "What the machines will likely need")
    };
    page.title(&format!("{title}, {}", super::season(report)))?;
    page.aside(&format!(
        "{words}, the most money first. Parts with less than one chance in ten of any need are left out."
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 1)?;
    page.finish(0)
}

fn table(report: &StockReport, header_row: u32) -> Table {
    let named = report.has_customers();
    let mut columns = vec![
        Column::words("Part number", 20.0),
        Column::words("Family", 22.0),
        Column::new("Pieces, expected", Kind::Tenths),
        Column::new("Money, expected", Kind::Money),
        Column::new("Any at all", Kind::Share),
    ];
    if named {
        columns.insert(0, Column::words("Customer", 26.0));
    }
    let mut table = Table::at(header_row, columns);
    let needs = report.needs_by_money().into_iter();
    for (need, money) in needs.filter(|(n, _)| LEAST_CHANCE <= n.chance) {
        let mut cells: Vec<Cell> = vec![
            need.part.as_str().into(),
            need.family.as_str().into(),
            Cell::from(need.expected),
            money.into(),
            need.chance.into(),
        ];
        if named {
            let customer = need.customer.as_deref().unwrap_or("no customer named");
            cells.insert(0, customer.into());
        }
        table.push(cells);
    }
    table.say_none();
    table
}
