//! Sheet `Machines`: planned use and money of each machine.

use rust_xlsxwriter::Workbook;

use super::live::tables::Block;
use super::live::{self, Layout, PLAN_MACHINE, places};
use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Outcome, Table};
use super::{XlsxError, words};
use crate::report::{BudgetReport, Forecast, MachineLine};
use crate::units::Measure;

/// Column of what is known of a machine's money.
const KNOWN: usize = 9;

/// Row of a machine, which formulas name.
pub(super) fn row(machine: usize) -> u32 {
    3 + machine as u32
}

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Machines", Paper::Landscape, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Machines, {}", words::season(report)))?;
    page.aside(&format!(
        "Parts and labor of each machine, without down cost. Set aside by the season's own figures: those of the \
         machines do not add up to them, since not every machine has a dear season at once. {}",
        words::ton_words(report.units)
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 1)?;
    if report.live.is_some() {
        page.lock();
    }
    page.finish(0)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let mut columns = vec![Column::words("Machine", 26.0), Column::words("Site", 24.0)];
    columns
        .extend(Measure::OF_USE.map(|m| Column::new(words::heading(m, report.units), Kind::Whole)));
    columns.extend(money_columns());
    columns.extend(known_column(report));
    columns.push(Column::remark(30.0));
    let mut table = Table::at(header_row, columns);
    for (index, machine) in report.machines.iter().enumerate() {
        let mut cells = cells(machine, report);
        if let Some(layout) = live::layout(report) {
            follow(&mut cells, layout, index, &table);
        }
        table.push(cells);
    }
    table.say_none();
    let mut sum = vec![Cell::Wide("Sum of the machines".to_owned()), Cell::Empty];
    sum.extend((2..6).map(|column| table.sum(column)));
    sum.resize(KNOWN, Cell::Empty);
    if words::tells_known(report) {
        sum.push(table.sum(KNOWN as u16));
    }
    if report
        .machines
        .iter()
        .any(|machine| machine.total.is_none())
    {
        let known = "known machines only";
        let expected = live::down("Machines", row(0), report.machines.len(), 5);
        sum.push(match live::layout(report) {
            Some(_) => Cell::Formula {
                formula: format!(
                    "IF(COUNT({expected})={},\"\",\"{known}\")",
                    report.machines.len()
                ),
                result: Outcome::Text(known.to_owned()),
            },
            None => known.into(),
        });
    }
    table.total(sum);
    let mut whole = vec![Cell::Wide(words::total_words(report).to_owned())];
    whole.resize(5, Cell::Empty);
    let total = money(words::known_total(report).as_ref());
    whole.extend(
        (total.into_iter().zip(words::totals(report)))
            .map(|(c, name)| words::followed(report, c, name)),
    );
    table.total(whole);
    table
}

/// Figures of a machine by formulas on the plan and the prices, as far as they are known.
fn follow(cells: &mut [Cell], layout: Layout<'_>, machine: usize, table: &Table) {
    let terms = [layout.named(PLAN_MACHINE, &table.here(0))];
    let mut put = |column: usize, formula: String| {
        cells[column] = std::mem::replace(&mut cells[column], Cell::Empty).by(formula);
    };
    for (column, measure) in (2..).zip(Measure::OF_USE) {
        if layout.report.machines[machine]
            .planned
            .get(measure)
            .is_some()
        {
            put(column, layout.use_now(&terms, measure));
        }
    }
    let sum = |column| layout.of_machine(machine, column);
    let known = layout.machine_known(machine);
    let money = format!("{}+{}", sum(places::PARTS), sum(places::LABOR));
    put(5, format!("IF({known},{money},\"\")"));
    let (numbers, spreads) = (
        layout.wear_column(live::wear::MACHINE),
        layout.place_column(places::SPREAD),
    );
    let spread = format!(
        "SQRT(SUMPRODUCT(--({numbers}={}),{spreads},{spreads}))",
        machine + 1
    );
    if words::tells_known(layout.report) {
        put(KNOWN, money);
    }
    let expected = table.here(5);
    for k in 0..3_u16 {
        let spreads = layout.table_now(Block::Machines, 3 * machine + usize::from(k));
        put(
            6 + usize::from(k),
            format!(
                "IF({expected}=\"\",\"\",{})",
                live::beside(&expected, &spreads, &spread)
            ),
        );
    }
    let line = &layout.report.machines[machine];
    let unknown = words::unknown_use(&line.planned, layout.report.units);
    let mut gaps: Vec<words::Gap<'_>> = unknown.iter().map(|(n, is)| (*n, *is, None)).collect();
    let no_money = Some(format!("{expected}=\"\""));
    gaps.push((words::MONEY, line.total.is_none(), no_money));
    if let Some(remark) = cells.last_mut() {
        *remark = words::gaps(layout.report, &gaps);
    }
}

fn cells(machine: &MachineLine, report: &BudgetReport) -> Vec<Cell> {
    let mut cells = vec![
        machine.machine.as_str().into(),
        machine.site.as_deref().into(),
    ];
    cells.extend(Measure::OF_USE.map(|m| words::amount(&machine.planned, m, report.units)));
    cells.extend(money(machine.total.as_ref()));
    if words::tells_known(report) {
        cells.push(machine.known_total.expected.into());
    }
    let mut unknown = words::unknown_use(&machine.planned, report.units);
    unknown.push((words::MONEY, machine.total.is_none()));
    cells.push(words::unknown(&unknown).as_deref().into());
    cells
}

/// Headings of [`money`].
pub(super) fn money_columns() -> [Column; 4] {
    [
        "Expected",
        "Covered in 8\u{a0}of\u{a0}10",
        "Covered in 9\u{a0}of\u{a0}10",
        "Low, 1\u{a0}of\u{a0}10",
    ]
    .map(|heading| Column::new(heading, Kind::Money))
}

/// The column after [`money_columns`], where there is anything to tell in it.
pub(super) fn known_column(report: &BudgetReport) -> Option<Column> {
    words::tells_known(report).then(|| Column::new(words::KNOWN_ONLY, Kind::Money))
}

/// A forecast of money as four cells.
pub(super) fn money(forecast: Option<&Forecast>) -> [Cell; 4] {
    words::FIGURES.map(|figure| forecast.map(figure).into())
}
