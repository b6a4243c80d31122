//! Sheet `Causes`: why the parts are expected to be changed.

use rust_xlsxwriter::Workbook;

use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Table};
use super::{XlsxError, words};
use crate::report::BudgetReport;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Causes", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Causes, {}", words::season(report)))?;
    page.aside(
        "Expected replacements by cause. One replacement is a piece, or a whole set where the part is changed in sets; \
         pieces stand on sheet Parts.",
    )?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    page.finish(0)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let columns = vec![
        Column::words("Part number", 20.0),
        Column::words("Family", 20.0),
        Column::new("Worn or broken", Kind::Hundredths),
        Column::new("Struck, bent, burnt", Kind::Hundredths),
        Column::new("By schedule or planned", Kind::Hundredths),
        Column::new("All, expected", Kind::Hundredths),
        Column::new("All at 80\u{a0}%", Kind::Tenths),
    ];
    let mut table = Table::at(header_row, columns);
    for line in &report.lines {
        table.push(vec![
            line.part.as_str().into(),
            line.family.as_str().into(),
            line.worn.map(|f| f.expected).into(),
            line.damage.map(|f| f.expected).into(),
            line.planned.map(|f| f.expected).into(),
            line.replacements.map(|f| f.expected).into(),
            line.replacements.map(|f| f.p80).into(),
        ]);
    }
    table.say_none();
    let mut total = vec![Cell::from("Sum"), Cell::Empty];
    total.extend((2..6).map(|column| table.sum(column)));
    table.total(total);
    table
}
