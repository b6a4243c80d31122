//! Sheet `Order`: the order by part number, ready to send.

use rust_xlsxwriter::Workbook;

use super::super::XlsxError;
use super::super::page::{Page, Paper};
use super::super::styles::{Kind, Styles};
use super::super::table::{Cell, Column, Table};
use crate::report::nearly_over;
use crate::report::stock::{StockLine, StockReport};
use crate::report::terminal::words::money;

// Columns that formulas name.
const PIECES: u16 = 2;
const PRICE: u16 = 5;
const MONEY: u16 = 6;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Order", Paper::Portrait, report)?;
    let warning = nearly_over(report.season, report.from, report.until);
    let table = table(report, 2 + u32::from(warning.is_some()));
    page.fit(&[&table])?;
    page.title(&format!("Order, {}", super::season(report)))?;
    if let Some(words) = warning {
        page.paragraph(&words)?;
    }
    let prices = report.price_words().map_or_else(String::new, |words| {
        format!(" {}.", crate::report::terminal::words::capital(&words))
    });
    page.aside(&format!(
        "Only what is to be ordered now, in whole packs, and what the limit of money holds back. Change a number of \
         pieces and the money follows. The sheet Bins has every part.{prices}"
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 1)?;
    if let Some(limit) = report.budget_limit {
        page.gap();
        page.paragraph(&format!(
            "The money is limited to {}; without that limit the order would come to {}.",
            money(limit, &report.currency),
            money(report.wanted_total, &report.currency)
        ))?;
    }
    page.finish(0)
}

fn table(report: &StockReport, header_row: u32) -> Table {
    let columns = vec![
        Column::words("Part number", 20.0),
        Column::words("Description", 34.0),
        Column::new("Pieces", Kind::Whole),
        Column::new("Pack of", Kind::Whole),
        Column::new("Lead time", Kind::Days),
        Column::new("Price of one", Kind::Cents),
        Column::new("Money", Kind::Cents),
        Column::remark(18.0),
    ];
    let mut table = Table::at(header_row, columns);
    for line in &report.lines {
        if line.order_now.is_some_and(|n| 0.0 < n) || line.held_back().is_some() {
            let cells = cells(line, &table);
            table.push(cells);
        }
    }
    table.say_none();
    let mut total = vec![Cell::Empty; table.columns.len()];
    total[0] = Cell::Wide("Sum".to_owned());
    total[usize::from(MONEY)] = table.sum(MONEY);
    if report.order_total.is_none() {
        total[usize::from(MONEY) + 1] = Cell::from("known prices only");
    }
    table.total(total);
    table
}

fn cells(line: &StockLine, table: &Table) -> Vec<Cell> {
    let (pieces, price) = (table.here(PIECES), table.here(PRICE));
    let formula = format!("IF(OR({price}=\"\",{pieces}=\"\"),\"\",{pieces}*{price})");
    let unpriced = line.price.is_none().then(|| "price unknown".to_owned());
    let first = line.needed_first();
    let first = first.map(|n| format!("{n:.1} needed before it can come"));
    let older =
        (!line.supersedes.is_empty()).then(|| format!("was {}", line.supersedes.join(", ")));
    let remarks = [unpriced, line.held_back().map(held_back), first, older];
    let remarks: Vec<String> = remarks.into_iter().flatten().collect();
    let remark = (!remarks.is_empty()).then(|| remarks.join("; "));
    vec![
        line.part.as_str().into(),
        line.description.as_deref().unwrap_or(&line.family).into(),
        line.order_now.into(),
        f64::from(line.pack).into(),
        line.lead_days.into(),
        line.price.into(),
        Cell::formula(formula, line.order_cost),
        remark.as_deref().into(),
    ]
}

/// Words on pieces that the limit of money holds back.
pub(super) fn held_back(pieces: f64) -> String {
    format!("held back by the limit: {pieces:.0} more")
}
