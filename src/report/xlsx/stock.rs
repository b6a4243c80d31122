//! The parts desk's workbook: the order to send, a sheet to walk the bins with, who to call.

mod bins;
mod customers;
mod idle;
mod money;
mod order;

use rust_xlsxwriter::{DocProperties, Workbook};

use super::page::kept;
use super::styles::Styles;
use super::{XlsxError, assumptions, rows, saved, text};
use crate::report::stock::StockReport;

/// The bytes of the desk's workbook; to write them to a file is the caller's.
///
/// Sheets, in order: Order, Bins, Customers, Idle stock, Money, Months, Assumptions, Rows.
/// # Errors
/// [`XlsxError`] when the report holds a number that is not finite, or more lines than a sheet has rows.
pub fn stock(report: &StockReport) -> Result<Vec<u8>, XlsxError> {
    let styles = Styles::new(&report.currency);
    let mut workbook = Workbook::new();
    kept(workbook.set_default_format(&Styles::base(), 22, 64))?;
    workbook.set_properties(
        &DocProperties::new()
            .set_title(format!("{}, season {}", report.title(), report.season))
            .set_subject("Spreader wear parts to hold and to order")
            .set_creation_datetime(&report.header.as_of.unwrap_or(report.from)),
    );
    for sheet in [
        order::write,
        bins::write,
        customers::write,
        idle::write,
        money::write,
        money::write_months,
    ] {
        sheet(&mut workbook, &styles, report)?;
    }
    let title = format!("Assumptions, {}", season(report));
    assumptions::sheet(
        &mut workbook,
        &styles,
        report.into(),
        &title,
        &report.assumptions,
        &report.header,
        "",
    )?;
    rows::sheet(&mut workbook, &styles, report.into(), &report.account)?;
    saved(&mut workbook)
}

/// `season 2027 (1 Nov 2026 to 31 Oct 2027)`.
fn season(report: &StockReport) -> String {
    text::season(report.season, (report.from, report.until))
}
