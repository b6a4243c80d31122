//! Sheet `Causes`: why the parts are expected to be changed.

use rust_xlsxwriter::Workbook;

use super::live::tables::Block;
use super::live::{self, places};
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
    if report.live.is_some() {
        page.lock();
    }
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
    for (index, line) in report.lines.iter().enumerate() {
        let mut cells: Vec<Cell> = vec![
            line.part.as_str().into(),
            line.family.as_str().into(),
            line.worn.map(|f| f.expected).into(),
            line.damage.map(|f| f.expected).into(),
            line.planned.map(|f| f.expected).into(),
            line.replacements.map(|f| f.expected).into(),
            line.replacements.map(|f| f.p80).into(),
        ];
        if let Some(layout) = live::layout(report) {
            let all = format!("SUM({}:{})", table.here(2), table.here(4));
            let at_80 = if line.scheduled {
                table.here(5)
            } else {
                layout.table_now(Block::Changes, index)
            };
            let by =
                [places::WORN, places::DAMAGE, places::FIXED].map(|c| layout.of_line(index, c));
            for (cell, formula) in cells[2..]
                .iter_mut()
                .zip(by.into_iter().chain([all, at_80]))
            {
                *cell = std::mem::replace(cell, Cell::Empty).by(formula);
            }
        }
        table.push(cells);
    }
    table.say_none();
    let mut total = vec![Cell::from("Sum"), Cell::Empty];
    total.extend((2..6).map(|column| table.sum(column)));
    table.total(total);
    table
}
