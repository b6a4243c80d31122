//! Sheet `Bins`: every part, to walk the shelves with.

use rust_xlsxwriter::Workbook;

use super::super::XlsxError;
use super::super::page::{Page, Paper};
use super::super::styles::{Kind, Styles};
use super::super::table::{Cell, Column, Table};
use crate::record::Critical;
use crate::report::stock::{StockLine, StockReport};

/// Column of what is needed before the season, where anything is.
const BEFORE: usize = 8;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Bins", Paper::Landscape, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Bins, {}", super::season(report)))?;
    let used = report.used_words();
    let used = used.map_or_else(String::new, |words| format!(" Used last season: {words}."));
    page.aside(&format!(
        "Write what you count into the empty column and set it against the shelf figure. Due: on order, comes in the \
         season; due later counts for nothing in it. Have: what to begin the season with, shelf and due included, and what machines need before it. Again at: in season, order more when the shelf falls to this. \
         Needed before it can come: expected before an order of today is there, beyond shelf and earlier deliveries. \
         Served: share of the season's pieces that the shelf covers with the order, were it there from the first day.{used}",
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 1)?;
    page.finish(0)
}

fn table(report: &StockReport, header_row: u32) -> Table {
    let mut columns = vec![
        Column::words("Part number", 18.0),
        Column::words("Description", 26.0),
        Column::words("If it fails", 14.0),
        Column::new("Shelf", Kind::Whole),
        Column::words("Counted", 9.0),
        Column::new("Due in season", Kind::Whole),
        Column::new("Due later", Kind::Whole),
        Column::new("Used last season", Kind::Whole),
        Column::new("Need, expected", Kind::Tenths),
        Column::new("Need, 9 in 10", Kind::Whole),
        Column::new("Have", Kind::Whole),
        Column::new("Again at", Kind::Whole),
        Column::new("Order", Kind::Whole),
        Column::new("Needed before it can come", Kind::Tenths),
        Column::new("Served", Kind::Share),
        Column::new("No stock-out", Kind::Share),
        Column::new("Left over, expected", Kind::Tenths),
        Column::remark(18.0),
    ];
    let before = report.any_before();
    if before {
        columns.insert(
            BEFORE,
            Column::new("Needed before the season", Kind::Tenths),
        );
    }
    let mut table = Table::at(header_row, columns);
    for line in &report.lines {
        let mut cells = cells(line);
        if before {
            cells.insert(BEFORE, line.before().into());
        }
        table.push(cells);
    }
    table.say_none();
    table
}

fn cells(line: &StockLine) -> Vec<Cell> {
    let fails = line.critical.map(|c| match c {
        Critical::Stops => "stops",
        Critical::Degrades => "works on, worse",
        Critical::Cosmetic => "looks only",
    });
    let known = match (line.demand, line.on_hand) {
        (None, _) => Some("demand unknown".to_owned()),
        (_, None) => Some("not in stock table".to_owned()),
        _ => None,
    };
    let held = line.held_back().map(super::order::held_back);
    let remarks: Vec<String> = known.into_iter().chain(held).collect();
    let remark = (!remarks.is_empty()).then(|| remarks.join("; "));
    let first = line.needed_first();
    vec![
        line.part.as_str().into(),
        line.description.as_deref().unwrap_or(&line.family).into(),
        fails.into(),
        line.on_hand.into(),
        Cell::Empty,
        line.due_in_season().into(),
        line.late.filter(|n| 0.0 < *n).into(),
        line.used.into(),
        line.demand.map(|d| d.expected).into(),
        line.demand.map(|d| d.p90).into(),
        line.order_up_to.into(),
        line.reorder_point.into(),
        line.order_now.into(),
        first.into(),
        line.fill_rate.into(),
        line.no_stock_out.into(),
        line.left_over.into(),
        remark.as_deref().into(),
    ]
}
