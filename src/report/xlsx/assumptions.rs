//! Sheet `Assumptions`: what the figures rest on, in words.

use rust_xlsxwriter::Workbook;

use super::page::{About, Page, Paper};
use super::styles::Styles;
use super::table::{Column, Table};
use super::{XlsxError, words};
use crate::report::{BudgetReport, Header};

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let title = format!("Assumptions, {}", words::season(report));
    let about = report.into();
    sheet(
        workbook,
        styles,
        about,
        &title,
        &report.assumptions,
        &report.header,
        if report.live.is_some() {
            AS_WRITTEN
        } else {
            ""
        },
    )
}

/// Beside inputs that everything else follows.
const AS_WRITTEN: &str = " They stand as they were when this was written; what is typed on the sheets Plan and Prices is not repeated here.";

pub(super) fn sheet(
    workbook: &mut Workbook,
    styles: &Styles,
    about: About,
    title: &str,
    assumptions: &[(String, String)],
    header: &Header,
    more: &str,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Assumptions", Paper::Portrait, about)?;
    let table = table(assumptions, header, 2);
    page.fit(&[&table])?;
    page.title(title)?;
    page.aside(&format!(
        "What the figures rest on. Another assumption gives other figures.{more}"
    ))?;
    page.table(&table)?;
    page.freeze(&table, 0)?;
    for (heading, sentences) in [("Notes", &header.notes), ("Cautions", &header.cautions)] {
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

fn table(assumptions: &[(String, String)], header: &Header, header_row: u32) -> Table {
    let columns = vec![Column::words("What", 38.0), Column::words("Assumed", 62.0)];
    let mut table = Table::at(header_row, columns);
    for (thing, value) in assumptions {
        table.push(vec![thing.as_str().into(), value.as_str().into()]);
    }
    let interval = format!("{} of 100", header.in_hundred());
    table.push(vec!["Intervals hold the truth in".into(), interval.into()]);
    table.push(vec![
        "Seed of the random numbers".into(),
        header.seed.to_string().into(),
    ]);
    table
}
