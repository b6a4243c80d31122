//! Sheet `Assumptions`: what the figures rest on, in words.

use rust_xlsxwriter::Workbook;

use super::page::{Page, Paper};
use super::styles::Styles;
use super::table::{Column, Table};
use super::{XlsxError, words};
use crate::report::BudgetReport;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Assumptions", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Assumptions, {}", words::season(report)))?;
    page.aside("What the figures rest on. Another assumption gives other figures.")?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    for (heading, sentences) in [
        ("Notes", &report.header.notes),
        ("Cautions", &report.header.cautions),
    ] {
        page.gap();
        page.section(heading)?;
        for sentence in sentences {
            page.paragraph(sentence)?;
        }
        if sentences.is_empty() {
            page.aside("None.")?;
        }
    }
    page.finish(0)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let columns = vec![Column::words("What", 38.0), Column::words("Assumed", 62.0)];
    let mut table = Table::at(header_row, columns);
    for (thing, value) in &report.assumptions {
        table.push(vec![thing.as_str().into(), value.as_str().into()]);
    }
    let interval = format!("{:.0} of 100", report.header.level * 100.0);
    table.push(vec!["Intervals hold the truth in".into(), interval.into()]);
    table.push(vec![
        "Seed of the random numbers".into(),
        report.header.seed.to_string().into(),
    ]);
    table
}
