//! Sheet `Plan` of a workbook that follows it: the use, to be changed.

use rust_xlsxwriter::Workbook;

use super::{Layout, PLAN_ACRES, PLAN_CHANGE, rules};
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::report::xlsx::{XlsxError, plan, words};
use crate::report::{BudgetReport, PlanLine};
use crate::units::Measure;

/// Row of the change of the whole plan: title, two paragraphs and a header stand above.
pub(in crate::report::xlsx) const CHANGE_ROW: u32 = 4;
/// Header of the plan, below an empty row.
pub(in crate::report::xlsx) const HEADER: u32 = 6;
/// Most that the whole plan may be changed by.
const MOST: f64 = 4.0;

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let report = layout.report;
    let mut page = Page::new(workbook, styles, "Plan", Paper::Portrait, report)?;
    let (change, table) = (change(report), table(report));
    page.fit(&[&change, &table])?;
    page.title(&format!("Plan, {}", words::season(report)))?;
    page.aside(&format!(
        "{} {}",
        plan::source(report.plan_source),
        words::ton_words(report.units)
    ))?;
    page.aside(
        "Framed cells under a heading with the word input are yours to change; every figure of this workbook follows, \
         without the tool. An amount taken out is unknown, and so is the total then; put 0 for none. Change all amounts of a row together: parts are worn by different ones of them. Other cells \
         are locked against slips; unprotect the sheet to change them, there is no password.",
    )?;
    page.table(&change)?;
    page.gap();
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    rules::change(&mut page, CHANGE_ROW, PLAN_ACRES, MOST)?;
    rules::amounts(
        &mut page,
        HEADER + 1,
        report.plan.len(),
        [PLAN_ACRES, PLAN_ACRES + 2],
    )?;
    page.lock();
    page.finish(0)
}

fn columns(amounts: [String; 3]) -> Vec<Column> {
    let mut columns = vec![
        Column::new("Month", Kind::Month),
        Column::words("Machine", 24.0),
        Column::words("Product", 24.0),
        Column::words("Group", 20.0),
        Column::words("Bin", 12.0),
    ];
    columns.extend(amounts.map(|heading| Column::new(heading, Kind::Tenths)));
    columns.push(Column::remark(20.0));
    columns
}

fn change(report: &BudgetReport) -> Table {
    let mut columns = columns(["Input".to_owned(), String::new(), String::new()]);
    for column in &mut columns[..5] {
        column.heading = String::new();
    }
    columns[0].heading = String::from("All at once");
    columns[8].heading = String::new();
    let mut table = Table::at(CHANGE_ROW - 1, columns);
    let season = words::one(Measure::Acres, report.units);
    let mut cells = vec![Cell::Wide(format!(
        "All planned use below, every {season}, ton and hour, changed by"
    ))];
    cells.resize(5, Cell::Empty);
    cells.push(Cell::Input(Kind::Share, Some(0.0)));
    table.push(cells);
    table
}

fn table(report: &BudgetReport) -> Table {
    let headings = Measure::OF_USE.map(|m| format!("{}, input", words::heading(m, report.units)));
    let mut table = Table::at(HEADER, columns(headings));
    for line in &report.plan {
        let mut cells = cells(line, report);
        let unknown = words::unknown_use(&line.amounts, report.units);
        let gaps = unknown
            .into_iter()
            .zip(PLAN_ACRES..)
            .map(|((name, is_unknown), column)| {
                let cell = table.here(column);
                (name, is_unknown, Some(format!("NOT(ISNUMBER({cell}))")))
            });
        cells.push(words::gaps(report, &gaps.collect::<Vec<_>>()));
        table.push(cells);
    }
    table.say_none();
    let mut sum = vec![Cell::Wide("Sum of the known".to_owned())];
    sum.resize(5, Cell::Empty);
    sum.extend((5..8).map(|column| table.sum(column)));
    let mut changed = vec![Cell::Wide(
        "The same with the change of all at once".to_owned(),
    )];
    changed.resize(5, Cell::Empty);
    for column in 5..8 {
        let above = table.here(column);
        let sum = sum[usize::from(column)].number();
        changed.push(Cell::formula(
            format!("IF({above}=\"\",\"\",{above}*(1+{PLAN_CHANGE}))"),
            sum,
        ));
    }
    table.total(sum);
    table.total(changed);
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
    cells.extend(Measure::OF_USE.map(|m| {
        let amount = words::amount(&line.amounts, m, report.units);
        Cell::Input(Kind::Tenths, amount.number())
    }));
    cells
}
