//! Sheet `Numbers`: each figure in plain words, how it is reckoned here, and which records it rests on.

use rust_xlsxwriter::Workbook;

use super::Layout;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::report::xlsx::{XlsxError, words};

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let report = layout.report;
    let mut page = Page::new(workbook, styles, "Numbers", Paper::Landscape, report)?;
    let explained = explained(layout);
    let records = records(layout, explained.next_row() + 2);
    page.fit(&[&explained, &records])?;
    page.title(&format!("Numbers, {}", words::season(report)))?;
    page.aside("What each figure means, how this workbook reckons it, and where it comes from.")?;
    page.table(&explained)?;
    page.gap();
    page.section("Lives that the tables rest on")?;
    page.table(&records)?;
    page.lock();
    page.finish(0)
}

fn columns(headings: [&str; 4]) -> Vec<Column> {
    let widths = [22.0, 38.0, 44.0, 28.0];
    headings
        .into_iter()
        .zip(widths)
        .map(|(heading, width)| Column::words(heading, width))
        .collect()
}

fn explained(layout: Layout<'_>) -> Table {
    let mut table = Table::at(
        2,
        columns([
            "Figure",
            "In plain words",
            "How it is reckoned here",
            "From which records",
        ]),
    );
    for row in EXPLAINED {
        table.push(row.map(Cell::from).into());
    }
    let most = layout.live.scales.last().copied().unwrap_or(1.0);
    table.push(vec![
        "How far to trust it".into(),
        "With the records' own plan every figure is that of `wearcast budget` itself. The further the plan is changed, \
         the more is read between the columns of the tables."
            .into(),
        format!(
            "A plan changed as a whole, from half to twice as much, agrees with a new `wearcast budget` within 1 % in the \
             expected figure and 3 % in that of 8 in 10; the tables end at {most} times. Other mixes of products, machines or \
             measures are close, not exact: run `wearcast budget` again before money is borrowed on them."
        )
        .into(),
        "Sheet Rows: every row read, used or set aside.".into(),
    ]);
    table
}

const EXPLAINED: [[&str; 4]; 13] = [
    [
        "Planned use",
        "Acres, tons and hours that each machine is to do, by month and product.",
        "Inputs of sheet Plan, times one plus the change of all at once.",
        "Table plan; where it leaves a measure out, past rates of the usage log; without a plan last season's use.",
    ],
    [
        "Wear factor",
        "How fast a product wears a part against the reference product: 2 means twice as fast for each acre, ton or hour.",
        "On sheet Wear for each part family and product: the likeliest number, and the mean that the formulas use.",
        "Tables usage and replacements: lives of parts that saw different products. Model files where these say little.",
    ],
    [
        "Effective use",
        "Planned use as the part feels it.",
        "Sum over products of planned use times mean wear factor, sheet Wear; in what the family's life is counted in.",
        "Plan and wear factors.",
    ],
    [
        "Changes by wear",
        "How often the parts of a place will wear out and be changed, on average over many possible seasons.",
        "Looked up on sheet Tables at how many times the plan the effective use now is, straight between columns.",
        "Many plays of the season from each part's own age: replacements, positions, usage, inspections.",
    ],
    [
        "Struck, bent, burnt",
        "Changes that age has nothing to do with.",
        "The number at the records' plan times how many times its clock, mostly hours, now runs.",
        "Replacements with such a reason, and the use of all lives of the family.",
    ],
    [
        "Scheduled work",
        "Oil, grease and the like, due after so much use or so many days.",
        "Sheet Tables lists from how many times the plan it falls due once more; what goes by the calendar stays.",
        "Service intervals of the family, and when it was last done.",
    ],
    [
        "Parts, labor",
        "Money for parts, and for hours in the shop.",
        "Pieces times price of one in the season; jobs times hours times labor rate.",
        "Table parts and settings.toml; where these are silent, what past replacements cost.",
    ],
    [
        "Down cost",
        "What field time lost at a failure costs. It is not in the total.",
        "Failures times field hours lost times cost of an hour.",
        "Hours lost in replacements; cost of an hour in settings.toml.",
    ],
    [
        "Expected total",
        "The average of all seasons that may come.",
        "Sum of parts and labor over all places, sheet Places. Empty while a price is unknown.",
        "All of the above.",
    ],
    [
        "Covered in 8 of 10",
        "Set that much aside and it is enough in 8 seasons of 10. 9 of 10 and Low likewise.",
        "Expected total plus so many spreads; where it lies below the expected total, a share of that. The spread is the \
         root of the summed squares of what each place's money scatters by. How many spreads, or what share, was measured \
         in the plays at each multiple of the plan and at the prices of the records. With one price changed alone it is \
         close, not exact: 8 in 10 can be some 5 % off.",
        "The same plays of the season.",
    ],
    [
        "Machine, month",
        "Where and when the money falls due.",
        "A machine is the sum of its places, its 8 of 10 made like the season's. A month \
         keeps its share of the season, changed as its planned use is.",
        "The same plays; the plan's months.",
    ],
    [
        "Product",
        "Each product's share of the money, by the wear it causes.",
        "Money of each place shared out by effective use, then by one number for each product that makes the shares those \
         of the plays at the records' plan.",
        "Plan and wear factors.",
    ],
    [
        "Pieces at 80 %",
        "Pieces of a part number that are enough in 8 seasons of 10.",
        "Looked up on sheet Tables at how many times the plan the part's places see on average.",
        "The same plays.",
    ],
];

fn records(layout: Layout<'_>, header_row: u32) -> Table {
    let mut columns = columns([
        "Family",
        "Life counted in",
        "Lives in the fit",
        "Of these worn out",
    ]);
    columns[2].kind = Kind::Whole;
    columns[3].kind = Kind::Whole;
    let mut table = Table::at(header_row, columns);
    for family in &layout.live.families {
        table.push(vec![
            family.family.as_str().into(),
            family.measure.label(layout.report.units).into(),
            family.lives.into(),
            family.worn.into(),
        ]);
    }
    table.say_none();
    table
}
