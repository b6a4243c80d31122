//! Sheet `Plan`: the use that the forecast rests on.

use rust_xlsxwriter::Workbook;

use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Table};
use super::{XlsxError, words};
use crate::report::{BudgetReport, PlanLine, PlanSource};
use crate::units::Measure;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Plan", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Plan, {}", words::season(report)))?;
    page.aside(&format!(
        "{} {}",
        source(report.plan_source),
        words::ton_words(report.units)
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    page.finish(0)
}

/// Where the use comes from, as a sentence.
pub(super) fn source(source: PlanSource) -> &'static str {
    match source {
        PlanSource::Plan => {
            "Use as planned in the records; a month counts by its days that are to come in the season."
        }
        PlanSource::LastSeason => {
            "There is no plan: each machine's last full season is taken again."
        }
    }
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let mut columns = vec![
        Column::new("Month", Kind::Month),
        Column::words("Machine", 24.0),
        Column::words("Product", 24.0),
        Column::words("Group", 20.0),
        Column::words("Bin", 12.0),
    ];
    columns.extend(
        Measure::OF_USE.map(|m| Column::new(words::heading(m, report.units), Kind::Tenths)),
    );
    columns.push(Column::remark(20.0));
    let mut table = Table::at(header_row, columns);
    for line in &report.plan {
        table.push(cells(line, report));
    }
    table.say_none();
    let mut sum = vec![Cell::Wide("Sum of the known".to_owned())];
    sum.resize(5, Cell::Empty);
    sum.extend((5..8).map(|column| table.sum(column)));
    table.total(sum);
    table
}

fn cells(line: &PlanLine, report: &BudgetReport) -> Vec<Cell> {
    let mut cells = vec![
        Cell::Date(line.month),
        line.machine.as_str().into(),
        line.product.as_str().into(),
        line.group.as_str().into(),
        line.bin.as_deref().into(),
    ];
    cells.extend(Measure::OF_USE.map(|m| words::amount(&line.amounts, m, report.units)));
    cells.push(
        words::unknown(&words::unknown_use(&line.amounts, report.units))
            .as_deref()
            .into(),
    );
    cells
}
