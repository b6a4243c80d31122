//! Sheet `Products`: the expected money shared out among product groups.

use rust_xlsxwriter::{Workbook, utility::row_col_to_cell};

use super::live::tables::Block;
use super::live::{self, Layout, PLAN_GROUP};
use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Table};
use super::{XlsxError, machines, words};
use crate::report::{BudgetReport, ProductLine};
use crate::units::Measure;

const COST: u16 = 3;
/// Column of what is known of a product's money.
const KNOWN: usize = 7;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Products", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Products, {}", words::season(report)))?;
    page.aside(&format!(
        "Each product's share of the expected parts and labor, by the wear it causes. The shares add up to the \
         season's expected total. {}",
        words::ton_words(report.units)
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    if report.live.is_some() {
        page.lock();
    }
    page.finish(0)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let units = report.units;
    let per = |measure| format!("Per {}", words::one(measure, units));
    let mut columns = vec![
        Column::words("Product group", 24.0),
        Column::new(words::heading(Measure::Acres, units), Kind::Whole),
        Column::new(words::heading(Measure::Tons, units), Kind::Whole),
        Column::new("Expected", Kind::Cents),
        Column::new("Share", Kind::Share),
        Column::new(per(Measure::Acres), Kind::Cents),
        Column::new(per(Measure::Tons), Kind::Cents),
    ];
    columns.extend(machines::known_column(report));
    columns.push(Column::remark(30.0));
    let mut table = Table::at(header_row, columns);
    let whole: Option<f64> = report
        .products
        .iter()
        .filter_map(|p| p.cost)
        .reduce(|sum, cost| sum + cost);
    let sum_row = header_row + 1 + report.products.len().max(1) as u32;
    for (index, product) in report.products.iter().enumerate() {
        let share = share(product.cost, whole, &table, sum_row);
        let mut cells = cells(product, share, report);
        if let Some(layout) = live::layout(report) {
            follow(&mut cells, layout, index, &table);
        }
        table.push(cells);
    }
    table.say_none();
    totals(&mut table, report, whole, sum_row);
    table
}

fn cells(product: &ProductLine, share: Cell, report: &BudgetReport) -> Vec<Cell> {
    let units = report.units;
    let shown =
        |amount: Option<f64>, measure: Measure| Cell::from(amount.map(|a| measure.shown(a, units)));
    let unknown = words::unknown(&[
        (Measure::Acres.label(units), product.acres.is_none()),
        (Measure::Tons.label(units), product.tons.is_none()),
        (words::MONEY, product.cost.is_none()),
    ]);
    let mut cells = vec![
        product.group.as_str().into(),
        shown(product.acres, Measure::Acres),
        shown(product.tons, Measure::Tons),
        product.cost.into(),
        share,
        words::per_unit(product.cost_per_acre, Measure::Acres, units),
        words::per_unit(product.cost_per_ton, Measure::Tons, units),
    ];
    if words::tells_known(report) {
        cells.push(product.known_cost.into());
    }
    cells.push(unknown.as_deref().into());
    cells
}

/// Figures of a product by formulas on the plan and the prices, as far as they are known.
fn follow(cells: &mut [Cell], layout: Layout<'_>, product: usize, table: &Table) {
    let terms = [layout.named(PLAN_GROUP, &table.here(0))];
    let mut put = |column: usize, formula: String| {
        cells[column] = std::mem::replace(&mut cells[column], Cell::Empty).by(formula);
    };
    let of = &layout.report.products[product];
    for (column, measure, amount) in [(1, Measure::Acres, of.acres), (2, Measure::Tons, of.tons)] {
        if amount.is_some() {
            put(column, layout.use_now(&terms, measure));
        }
    }
    let (share, all) = (
        layout.table_cell(Block::Products, product, 2),
        layout.table_column(Block::Products, 2),
    );
    let share_of = |total: &str| {
        format!("IF({total}=\"\",\"\",IF(SUM({all})=0,0,{total}*{share}/SUM({all})))")
    };
    put(usize::from(COST), share_of(live::TOTAL[0]));
    if words::tells_known(layout.report) {
        put(KNOWN, share_of(live::KNOWN[0]));
    }
    for (column, amount) in [(5, 1), (6, 2)] {
        let (cost, amount) = (table.here(COST), table.here(amount));
        put(
            column,
            format!("IF(OR({cost}=\"\",N({amount})=0),\"\",{cost}/{amount})"),
        );
    }
    if let Some(remark) = cells.last_mut()
        && of.acres.is_some()
        && of.tons.is_some()
    {
        let said = std::mem::replace(remark, Cell::Empty);
        *remark = words::until(layout.report, said, &table.here(COST));
    }
}

fn share(cost: Option<f64>, whole: Option<f64>, table: &Table, sum_row: u32) -> Cell {
    let (part, whole_cell) = (table.here(COST), row_col_to_cell(sum_row, COST));
    let formula = format!(
        "IF(COUNT({part},{whole_cell})<2,\"\",IF({whole_cell}=0,\"\",{part}/{whole_cell}))"
    );
    let share = cost.zip(whole).filter(|&(_, whole)| whole != 0.0);
    Cell::formula(formula, share.map(|(cost, whole)| cost / whole))
}

fn totals(table: &mut Table, report: &BudgetReport, whole: Option<f64>, sum_row: u32) {
    let mut sum = vec![Cell::from("Sum of the shares")];
    sum.extend((1..=4).map(|column| table.sum(column)));
    if words::tells_known(report) {
        sum.resize(KNOWN, Cell::Empty);
        sum.push(table.sum(KNOWN as u16));
    }
    table.total(sum);
    let total = words::known_total(report).map(|total| total.expected);
    let (shares, forecast) = (row_col_to_cell(sum_row, COST), table.here(COST));
    let agreement = Cell::agreement(
        (&shares, whole),
        (&forecast, total),
        ("shares add up", "shares do not add up"),
    );
    let label = Cell::Wide(words::total_words(report).to_owned());
    let known = words::followed(report, total.into(), words::totals(report)[0]);
    let mut row = vec![label, Cell::Empty, Cell::Empty, known];
    row.resize(table.columns.len() - 1, Cell::Empty);
    row.push(agreement);
    table.total(row);
}
