//! Sheet `Idle stock`: pieces that hardly anything will ask for, and the money in them.

use rust_xlsxwriter::Workbook;

use super::super::XlsxError;
use super::super::page::{Page, Paper};
use super::super::styles::{Kind, Styles};
use super::super::table::{Cell, Column, Table};
use crate::report::stock::StockReport;

const MONEY: u16 = 5;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &StockReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Idle stock", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title("Dead and slow stock")?;
    page.aside(
        "Idle are pieces on the shelf beyond what nine seasons of ten ask for. No demand: nothing in service takes \
         the part, so it may go back while it can be returned.",
    )?;
    page.table(&table)?;
    page.keep_header(&table, 1)?;
    page.finish(0)
}

fn table(report: &StockReport, header_row: u32) -> Table {
    let columns = vec![
        Column::words("Part number", 20.0),
        Column::words("Description", 34.0),
        Column::new("Shelf", Kind::Whole),
        Column::new("Idle", Kind::Whole),
        Column::new("Need, expected", Kind::Tenths),
        Column::new("Money", Kind::Cents),
        Column::remark(20.0),
    ];
    let mut table = Table::at(header_row, columns);
    for line in &report.idle {
        let what = line.description.as_deref().or(line.family.as_deref());
        let remark = match (line.expected, line.money) {
            (None, _) => Some("no demand"),
            (_, None) => Some("price unknown"),
            _ => None,
        };
        table.push(vec![
            line.part.as_str().into(),
            what.into(),
            line.on_hand.into(),
            line.idle.into(),
            line.expected.into(),
            line.money.into(),
            remark.into(),
        ]);
    }
    table.say_none();
    let mut total = vec![Cell::Empty; table.columns.len()];
    total[0] = Cell::Wide("Sum".to_owned());
    total[usize::from(MONEY)] = table.sum(MONEY);
    table.total(total);
    table
}
