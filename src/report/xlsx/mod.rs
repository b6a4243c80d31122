//! The budget as a workbook: what an owner prints and takes to the bank or the parts counter.
//!
//! Numbers are numbers, sums are formulas with their results stored, unknown is an empty cell and
//! a word beside it. The same report gives the same bytes.

mod assumptions;
pub mod blank;
mod causes;
mod live;
mod machines;
mod months;
mod page;
mod parts;
mod plan;
mod products;
mod rows;
mod stock;
mod styles;
mod summary;
mod table;
mod text;
mod words;

use rust_xlsxwriter::{DocProperties, Workbook};

use super::BudgetReport;
use crate::record::results;
use page::kept;
pub use stock::stock;
use styles::Styles;

/// Why a workbook could not be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum XlsxError {
    /// The report holds an infinite number or none at all where one must be.
    #[error("sheet `{sheet}`, cell {cell}: {number} is not a number that a workbook can hold")]
    NotFinite {
        /// Name of the sheet.
        sheet: &'static str,
        /// The cell, such as `C7`.
        cell: String,
        /// The number.
        number: f64,
    },
    /// More rows or columns than a sheet has, or the like.
    #[error("the workbook could not be made: {0}")]
    Workbook(String),
}

/// The bytes of the budget's workbook; to write them to a file is the caller's.
///
/// Sheets, in order: Summary (one page), Parts, Causes, Machines, Products, Months, Plan,
/// Assumptions, Rows. Paper is Letter for US units and A4 for metric ones.
///
/// A report with [`BudgetReport::live`] gives a workbook that follows changes of its plan and prices:
/// Plan and Prices, to be changed, come after the Summary; Numbers explains the figures; Places, Wear
/// and Tables at the end reckon them. A report with policies has a sheet Ways.
/// # Errors
/// [`XlsxError`] when the report holds a number that is not finite, or more lines than a sheet has rows.
pub fn budget(report: &BudgetReport) -> Result<Vec<u8>, XlsxError> {
    let styles = Styles::new(&report.currency);
    let mut workbook = Workbook::new();
    // Pixels of a row and of a column; the digits of the font are 7 pixels wide.
    kept(workbook.set_default_format(&Styles::base(), 22, 64))?;
    workbook.set_properties(&properties(report));
    summary::write(&mut workbook, &styles, report)?;
    let live = live::layout(report);
    if let Some(layout) = live {
        live::plan::write(&mut workbook, &styles, layout)?;
        live::prices::write(&mut workbook, &styles, layout)?;
    }
    if !report.policies.is_empty() {
        live::ways::write(&mut workbook, &styles, report)?;
    }
    for sheet in [
        parts::write,
        causes::write,
        machines::write,
        products::write,
        months::write,
    ] {
        sheet(&mut workbook, &styles, report)?;
    }
    match live {
        Some(layout) => live::numbers::write(&mut workbook, &styles, layout)?,
        None => plan::write(&mut workbook, &styles, report)?,
    }
    assumptions::write(&mut workbook, &styles, report)?;
    rows::write(&mut workbook, &styles, report)?;
    if let Some(layout) = live {
        live::places::write(&mut workbook, &styles, layout)?;
        live::wear::write(&mut workbook, &styles, layout)?;
        live::tables::write(&mut workbook, &styles, layout)?;
        live::names(&mut workbook, layout)?;
    }
    saved(&mut workbook)
}

/// How hard workbooks are compressed, of 1 to 9: two thirds of the time that the usual 6 takes, for
/// files a tenth larger.
pub const COMPRESSION: u8 = 3;

/// The bytes of a workbook of results, marked as one.
fn saved(workbook: &mut Workbook) -> Result<Vec<u8>, XlsxError> {
    kept(workbook.define_name(results::NAME, "=TRUE"))?;
    workbook.set_zip_compression_level(COMPRESSION);
    kept(workbook.save_to_buffer())
}

/// The creation date is the as-of date: a clock would make no two files equal.
fn properties(report: &BudgetReport) -> DocProperties {
    let created = report.header.as_of.unwrap_or(report.from);
    DocProperties::new()
        .set_title(format!("Wear parts budget, season {}", report.season))
        .set_subject("Expected replacements, money and cost per acre of spreader wear parts")
        .set_creation_datetime(&created)
}
