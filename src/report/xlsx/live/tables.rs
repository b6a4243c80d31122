//! Sheet `Tables`: what the season's plays came to at multiples of the plan, to be looked up.

use rust_xlsxwriter::Workbook;

use super::{Layout, PLAN_MONTH, along, cell, down, wear};
use crate::report::live::Place;
use crate::report::xlsx::XlsxError;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::units::Measure;

/// First column of the scales.
pub(super) const FIRST: u16 = 3;

/// The tables of the sheet, from the top down.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(in crate::report::xlsx) enum Block {
    Worn,
    At80,
    Spread,
    Due,
    Pieces,
    Jobs,
    Changes,
    Season,
    Machines,
    Products,
    Months,
}

const BLOCKS: [(Block, &str); 11] = [
    (Block::Worn, "Changes by wear, expected"),
    (Block::At80, "Changes by wear and damage: enough in 8 of 10"),
    (
        Block::Spread,
        "Changes by wear and damage: how far they scatter (standard deviation)",
    ),
    (
        Block::Due,
        "Scheduled and decided work: times the plan from which it falls due once, twice, and so on",
    ),
    (
        Block::Pieces,
        "Pieces of each part number: enough in 8 of 10",
    ),
    (Block::Jobs, "Jobs of each part number: enough in 8 of 10"),
    (
        Block::Changes,
        "Changes of each part number: enough in 8 of 10",
    ),
    (
        Block::Season,
        "The season: how many spreads the others lie above the expected figure, or what share of it they lack (negative)",
    ),
    (Block::Machines, "Machines: the same of their money"),
    (Block::Products, "Products: shares of the money"),
    (Block::Months, "Months: shares of the money"),
];

impl Layout<'_> {
    fn len(&self, block: Block) -> u32 {
        let len = match block {
            Block::Worn => self.places() + 1,
            Block::At80 | Block::Spread | Block::Due => self.places(),
            Block::Pieces | Block::Jobs | Block::Changes => self.report.lines.len(),
            Block::Season => 6,
            Block::Machines => 3 * self.report.machines.len(),
            Block::Products => self.report.products.len(),
            Block::Months => self.report.months.len(),
        };
        len.max(1) as u32
    }

    fn header(&self, block: Block) -> u32 {
        let before = BLOCKS.iter().take_while(|(b, _)| *b != block);
        // Title, paragraph and section heading; a table is followed by an empty row and the next heading.
        before.map(|(b, _)| self.len(*b) + 3).sum::<u32>() + 3
    }

    /// First row of a table; that of the scales stands above the first of them.
    fn first(&self, block: Block) -> u32 {
        self.header(block) + 1 + u32::from(block == Block::Worn)
    }

    fn scales(&self) -> usize {
        self.live.scales.len()
    }

    /// The scales.
    pub(super) fn grid(&self) -> String {
        along("Tables", self.header(Block::Worn) + 1, FIRST, self.scales())
    }

    fn entries(&self, block: Block, index: usize) -> String {
        along(
            "Tables",
            self.first(block) + index as u32,
            FIRST,
            self.scales(),
        )
    }

    /// What a row comes to now.
    pub(in crate::report::xlsx) fn table_now(&self, block: Block, index: usize) -> String {
        self.beyond(block, index, 0)
    }

    /// The cell so many columns after that of now.
    pub(super) fn beyond(&self, block: Block, index: usize, more: u16) -> String {
        let column = FIRST + self.scales() as u16 + more;
        cell("Tables", self.first(block) + index as u32, column)
    }

    /// A cell among the first columns of a table.
    pub(in crate::report::xlsx) fn table_cell(
        &self,
        block: Block,
        index: usize,
        column: u16,
    ) -> String {
        cell("Tables", self.first(block) + index as u32, FIRST + column)
    }

    pub(in crate::report::xlsx) fn table_column(&self, block: Block, column: u16) -> String {
        down(
            "Tables",
            self.first(block),
            self.len(block) as usize,
            FIRST + column,
        )
    }
}

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Tables", Paper::Wide, layout.report)?;
    let tables: Vec<(&str, Table)> = BLOCKS
        .iter()
        .map(|(b, words)| (*words, table(layout, *b)))
        .collect();
    page.fit(&tables.iter().map(|(_, t)| t).collect::<Vec<_>>())?;
    page.title("Tables: the season played at multiples of the plan")?;
    page.aside(
        "Each column is the whole season played many times with the plan so many times as large. Between two columns \
         the figure in between is taken, beyond the last the last step goes on. The column Now is what the present plan gives.",
    )?;
    for (index, (words, table)) in tables.iter().enumerate() {
        if 0 < index {
            page.gap();
        }
        page.section(words)?;
        page.table(table)?;
    }
    page.lock();
    page.finish(0)
}

fn table(layout: Layout<'_>, block: Block) -> Table {
    let mut table = Table::at(layout.header(block), columns(layout, block));
    match block {
        Block::Worn => {
            let mut grid = vec![Cell::from("Times the plan"), Cell::Empty, Cell::Empty];
            grid.extend(layout.live.scales.iter().map(|s| Cell::from(*s)));
            table.push(grid);
            places(layout, block, &mut table);
        }
        Block::At80 | Block::Spread | Block::Due => places(layout, block, &mut table),
        Block::Pieces | Block::Jobs | Block::Changes => lines(layout, block, &mut table),
        Block::Season => season(layout, &mut table),
        Block::Machines => machines(layout, &mut table),
        Block::Products => products(layout, &mut table),
        Block::Months => months(layout, &mut table),
    }
    table.say_none();
    table
}

/// Headings of the numbers of a table, in their order.
fn headings(layout: Layout<'_>, block: Block) -> Vec<String> {
    let words = |words: &[&str]| words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
    let scales = layout.live.scales.iter();
    let mut scales: Vec<String> = scales.map(|s| format!("{s}\u{a0}times")).collect();
    match block {
        Block::Products => {
            return words(&["By factors, now", "To agree when made", "Share of all, now"]);
        }
        Block::Months => {
            return words(&[
                "Money when made",
                "Use planned",
                "Use now",
                "Share of all, now",
            ]);
        }
        Block::Due => {
            let times = (1..=layout.scales()).map(|k| format!("No.\u{a0}{k}"));
            scales = times.collect();
        }
        _ => {}
    }
    scales.push("Now".to_owned());
    match block {
        Block::Worn => scales.extend(words(&[
            "Damage when made",
            "Single pieces: times",
            "Their pieces",
        ])),
        Block::Due => scales.extend(words(&["Decided", "Jobs for each", "Pieces for each"])),
        _ => {}
    }
    scales
}

fn columns(layout: Layout<'_>, block: Block) -> Vec<Column> {
    let first = match block {
        Block::Products => ["Product group", "", ""],
        Block::Months => ["Month", "", ""],
        Block::Season => ["Figure", "", ""],
        Block::Machines => ["Machine", "Figure", ""],
        Block::Pieces | Block::Jobs | Block::Changes => ["Part number", "", ""],
        _ => ["Machine", "Bin", "Part number"],
    };
    let mut columns: Vec<Column> = first.map(|h| Column::words(h, 18.0)).into();
    if block == Block::Months {
        columns[0].kind = Kind::Month;
    }
    let kind = match block {
        Block::Due => Kind::Hundredths,
        Block::Pieces | Block::Jobs | Block::Changes => Kind::Tenths,
        Block::Products | Block::Months => Kind::Cents,
        _ => Kind::Thousandths,
    };
    let mut headings = headings(layout, block);
    headings.resize(layout.scales() + 4, String::new());
    columns.extend(headings.into_iter().map(|h| Column::new(h, kind)));
    match block {
        Block::Products => columns[usize::from(FIRST) + 1].kind = Kind::Thousandths,
        Block::Months => {
            columns[usize::from(FIRST) + 1].kind = Kind::Tenths;
            columns[usize::from(FIRST) + 2].kind = Kind::Tenths;
        }
        _ => {}
    }
    columns
}

fn places(layout: Layout<'_>, block: Block, table: &mut Table) {
    let at = layout.live.at_plan();
    for (index, place) in layout.live.places.iter().enumerate() {
        let report = layout.report;
        let mut cells: Vec<Cell> = vec![
            report.machines[place.machine].machine.as_str().into(),
            place.bin.as_deref().into(),
            report.lines[place.line].part.as_str().into(),
        ];
        let entries = match block {
            Block::Worn => &place.worn,
            Block::At80 => &place.p80,
            Block::Spread => &place.sd,
            _ => {
                cells.extend(due(layout, index, place));
                table.push(cells);
                continue;
            }
        };
        cells.extend(entries.iter().map(|n| Cell::from(*n)));
        let formula = wear::look_up(&layout.entries(block, index), &layout.place_step(index));
        cells.push(Cell::formula(formula, Some(entries[at])));
        if block == Block::Worn {
            cells.extend([place.damage, place.singles, place.single_pieces].map(Cell::from));
        }
        table.push(cells);
    }
}

/// Scheduled work falls due in whole steps; where it falls due too often to list them, its number
/// is looked up like the others.
fn due(layout: Layout<'_>, index: usize, place: &Place) -> Vec<Cell> {
    let live = layout.live;
    let now = place.due(1.0);
    let steps = place.due_from.len();
    let (mut cells, formula): (Vec<Cell>, String) = if steps <= layout.scales() {
        let range = along(
            "Tables",
            layout.first(Block::Due) + index as u32,
            FIRST,
            steps,
        );
        let formula = format!(
            "SUMPRODUCT(--({range}<={}+0.000000001))",
            layout.place_times(index)
        );
        (
            place.due_from.iter().map(|s| Cell::from(*s)).collect(),
            formula,
        )
    } else {
        let counts = live.scales.iter().map(|s| Cell::from(place.due(*s)));
        (
            counts.collect(),
            wear::look_up(
                &layout.entries(Block::Due, index),
                &layout.place_step(index),
            ),
        )
    };
    cells.resize(layout.scales(), Cell::Empty);
    cells.push(if steps == 0 {
        0.0.into()
    } else {
        Cell::formula(formula, Some(now))
    });
    cells.extend([place.decided, place.jobs_each, place.pieces].map(Cell::from));
    cells
}

fn lines(layout: Layout<'_>, block: Block, table: &mut Table) {
    let at = layout.live.at_plan();
    let lines = layout.report.lines.iter().zip(&layout.live.lines);
    for (index, (line, live)) in lines.enumerate() {
        let entries = match block {
            Block::Pieces => &live.pieces80,
            Block::Jobs => &live.jobs80,
            _ => &live.changes80,
        };
        let mut cells = vec![Cell::from(line.part.as_str()), Cell::Empty, Cell::Empty];
        cells.extend(entries.iter().map(|n| Cell::from(*n)));
        let formula = wear::look_up(&layout.entries(block, index), &layout.line_step(index));
        cells.push(Cell::formula(formula, Some(entries[at])));
        table.push(cells);
    }
}

fn season(layout: Layout<'_>, table: &mut Table) {
    let live = layout.live;
    let at = live.at_plan();
    let labels = [
        "Money, 8 of 10",
        "Money, 9 of 10",
        "Money, low",
        "Down cost, 8 of 10",
        "Down cost, 9 of 10",
        "Down cost, low",
    ];
    for (index, (label, entries)) in labels
        .iter()
        .zip(live.money.iter().chain(&live.down))
        .enumerate()
    {
        let mut cells = vec![Cell::from(*label), Cell::Empty, Cell::Empty];
        cells.extend(entries.iter().map(|n| Cell::from(*n)));
        let all = layout.line_step(layout.report.lines.len());
        let formula = wear::look_up(&layout.entries(Block::Season, index), &all);
        cells.push(Cell::formula(formula, Some(entries[at])));
        table.push(cells);
    }
}

fn machines(layout: Layout<'_>, table: &mut Table) {
    let at = layout.live.at_plan();
    let machines = layout.report.machines.iter().zip(&layout.live.machines);
    for (m, (machine, spreads)) in machines.enumerate() {
        for (k, (figure, entries)) in ["8 of 10", "9 of 10", "Low"]
            .into_iter()
            .zip(spreads)
            .enumerate()
        {
            let index = 3 * m + k;
            let mut cells = vec![
                Cell::from(machine.machine.as_str()),
                figure.into(),
                Cell::Empty,
            ];
            cells.extend(entries.iter().map(|n| Cell::from(*n)));
            let formula = wear::look_up(
                &layout.entries(Block::Machines, index),
                &layout.machine_step(m),
            );
            cells.push(Cell::formula(formula, Some(entries[at])));
            table.push(cells);
        }
    }
}

fn products(layout: Layout<'_>, table: &mut Table) {
    let (report, live) = (layout.report, layout.live);
    let shares = live.shares(report, |p| super::places::money_of(layout, p));
    let acres = |i: usize| cell("Products", 3 + i as u32, 1);
    let all = down("Products", 3, report.products.len(), 1);
    let rest = format!("SUM({})", layout.wear_column(layout.money_without()));
    let per_use = layout.wear_column(layout.money_per_use());
    for (i, product) in report.products.iter().enumerate() {
        let here = |column: u16| table.here(FIRST + column);
        let group = live.groups.iter().position(|g| *g == product.group);
        let by_use = group.map_or("0".to_owned(), |g| {
            format!(
                "SUMPRODUCT({per_use},{})",
                layout.wear_column(wear::USE + g as u16)
            )
        });
        let formula = format!(
            "{by_use}+IF(SUM({all})=0,0,{rest}*N({})/SUM({all}))",
            acres(i)
        );
        let together = format!("{}*{}", here(0), here(1));
        let cells = vec![
            product.group.as_str().into(),
            Cell::Empty,
            Cell::Empty,
            Cell::formula(formula, Some(shares[i])),
            live.products[i].into(),
            Cell::formula(together, Some(shares[i] * live.products[i])),
        ];
        table.push(cells);
    }
}

fn months(layout: Layout<'_>, table: &mut Table) {
    let report = layout.report;
    let sum = |m: Measure| {
        report
            .plan
            .iter()
            .filter_map(|l| l.amounts.get(m))
            .sum::<f64>()
    };
    let main = [Measure::Acres, Measure::Tons, Measure::Hours];
    let main = main
        .into_iter()
        .find(|m| 0.0 < sum(*m))
        .unwrap_or(Measure::Acres);
    for month in &report.months {
        let rows = report.plan.iter().filter(|l| l.month == month.month);
        let planned: f64 = rows.filter_map(|l| l.amounts.get(main)).sum();
        let planned = main.shown(planned, report.units);
        let here = |column: u16| table.here(FIRST + column);
        let date = table.here(0);
        let use_now = layout.use_now(&[format!("{}={date}", layout.plan(PLAN_MONTH))], main);
        let money = Some(month.total.unwrap_or(month.known_total).expected);
        let share = format!(
            "IF({m}=\"\",\"\",IF({p}=0,{m},{m}*{n}/{p}))",
            m = here(0),
            p = here(1),
            n = here(2)
        );
        let cells = vec![
            Cell::Date(month.month),
            Cell::Empty,
            Cell::Empty,
            money.into(),
            planned.into(),
            Cell::formula(use_now, Some(planned)),
            Cell::formula(share, money),
        ];
        table.push(cells);
    }
}
