//! Sheet `Prices`: what one of each costs, to be changed.

use rust_xlsxwriter::Workbook;

use super::{Layout, PRICE_CHANGE, rules};
use crate::cost::in_cents;
use crate::report::xlsx::XlsxError;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::report::xlsx::words;

/// First of the three rows of rates: price change, labor, down cost.
pub(in crate::report::xlsx) const RATES: u32 = 3;
/// Header of the part numbers.
pub(in crate::report::xlsx) const HEADER: u32 = 7;
/// Price of one at the parts list's level; the rates stand in the same column.
pub(in crate::report::xlsx) const PRICE: u16 = 3;
/// Hours of a job.
pub(in crate::report::xlsx) const HOURS: u16 = 4;
/// Field hours that a wear-out costs.
pub(in crate::report::xlsx) const FIELD: u16 = 5;
/// Price of one in the season.
pub(in crate::report::xlsx) const IN_SEASON: u16 = 6;
/// Most that prices may rise.
const MOST: f64 = 4.0;

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let report = layout.report;
    let mut page = Page::new(workbook, styles, "Prices", Paper::Portrait, report)?;
    let (rates, lines) = (rates(layout), lines(layout));
    page.fit(&[&rates, &lines])?;
    page.title(&format!("Prices, {}", words::season(report)))?;
    page.aside(
        "Framed cells under a heading with the word input are yours to change; every figure of this workbook follows. \
         An empty price is an unknown one: the season's total stays unknown until it is filled in. An empty labor rate \
         leaves labor out of every total; filled in here, what is expected follows, but what covers 8 or 9 seasons of 10 was \
         measured without it: put it into settings.toml and write this workbook anew.",
    )?;
    page.table(&rates)?;
    page.gap();
    page.table(&lines)?;
    page.keep_header(&lines, 1)?;
    rules::change(&mut page, RATES, PRICE, MOST)?;
    rules::amounts(&mut page, RATES + 1, 2, [PRICE, PRICE])?;
    rules::amounts(&mut page, HEADER + 1, report.lines.len(), [PRICE, FIELD])?;
    page.lock();
    page.finish(0)
}

fn columns(headings: [&str; 7]) -> Vec<Column> {
    let [part, description, family, price, hours, field, season] = headings;
    vec![
        Column::words(part, 18.0),
        Column::words(description, 30.0),
        Column::words(family, 18.0),
        Column::new(price, Kind::Cents),
        Column::new(hours, Kind::Hundredths),
        Column::new(field, Kind::Hundredths),
        Column::new(season, Kind::Cents),
        Column::remark(20.0),
    ]
}

fn rates(layout: Layout<'_>) -> Table {
    let mut columns = columns(["Rate", "", "", "Input", "", "", ""]);
    columns[7].heading = String::new();
    let mut table = Table::at(RATES - 1, columns);
    let live = layout.live;
    for (label, kind, value) in [
        (
            "The season's prices against those below",
            Kind::Share,
            Some(live.price_change),
        ),
        ("Labor in the shop, an hour", Kind::Cents, live.labor_rate),
        ("Field time lost, an hour", Kind::Cents, live.down_rate),
    ] {
        let label = Cell::Wide(label.to_owned());
        table.push(vec![
            label,
            Cell::Empty,
            Cell::Empty,
            Cell::Input(kind, value),
        ]);
    }
    table
}

/// The list's price of one whose price in the season is in whole cents: in whole cents as well where
/// that leads back to it.
fn listed(in_season: f64, level: f64) -> f64 {
    let listed = in_season / level;
    let cents = in_cents(listed);
    if (in_cents(cents * level) - in_season).abs() < 1e-9 {
        cents
    } else {
        listed
    }
}

fn lines(layout: Layout<'_>) -> Table {
    let headings = [
        "Part number",
        "Description",
        "Family",
        "Price of one, input",
        "Labor hours a job, input",
        "Field hours lost, input",
        "Price of one in the season",
    ];
    let mut table = Table::at(HEADER, columns(headings));
    for (line, live) in layout.report.lines.iter().zip(&layout.live.lines) {
        let price = table.here(PRICE);
        let listed = line
            .price
            .map(|p| listed(p, 1.0 + layout.live.price_change));
        let paid = line.price_from_records.then_some("price as last paid");
        table.push(vec![
            line.part.as_str().into(),
            line.description.as_deref().into(),
            line.family.as_str().into(),
            Cell::Input(Kind::Cents, listed),
            Cell::Input(Kind::Hundredths, live.labor_hours),
            Cell::Input(Kind::Hundredths, live.down_hours),
            Cell::formula(
                format!("IF({price}=\"\",\"\",ROUND({price}*(1+{PRICE_CHANGE}),2))"),
                line.price,
            ),
            paid.into(),
        ]);
    }
    table.say_none();
    table
}
