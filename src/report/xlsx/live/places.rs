//! Sheet `Places`: what every place comes to under the plan as it now is, and the season in all.

use rust_xlsxwriter::Workbook;

use super::tables::Block;
use super::{DOWN_COST, LABOR_RATE, Layout, beside, cell, down, price_cell, prices};
use crate::report::live::Place;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Outcome, Table};
use crate::report::xlsx::{XlsxError, words};

/// Header of the places.
pub(super) const HEADER: u32 = 2;
/// Changes by wear.
pub(in crate::report::xlsx) const WORN: u16 = 4;
/// By damage.
pub(in crate::report::xlsx) const DAMAGE: u16 = 5;
const SINGLES: u16 = 6;
/// Scheduled or decided.
pub(in crate::report::xlsx) const FIXED: u16 = 7;
/// Pieces.
pub(in crate::report::xlsx) const PIECES: u16 = 10;
/// Jobs.
pub(in crate::report::xlsx) const JOBS: u16 = 11;
/// Money of parts; in the season's table what is known of the money.
pub(in crate::report::xlsx) const PARTS: u16 = 12;
/// Money of labor; in the season's table the total, where all of it is known.
pub(in crate::report::xlsx) const LABOR: u16 = 13;
/// Money of field time.
pub(in crate::report::xlsx) const DOWN: u16 = 14;
/// How far the money scatters.
pub(in crate::report::xlsx) const SPREAD: u16 = 15;
const SPREAD_HOURS: u16 = 16;

impl Layout<'_> {
    fn season_header(&self) -> u32 {
        // The places and their sum, an empty row, a heading.
        HEADER + self.places().max(1) as u32 + 1 + 3
    }

    /// First row of the season's figures.
    pub(super) fn season_row(&self) -> u32 {
        self.season_header() + 1
    }
}

/// Expected numbers of a place at the plan: worn, damage, singles, fixed, pieces, jobs.
struct AtPlan {
    worn: f64,
    damage: f64,
    singles: f64,
    fixed: f64,
    pieces: f64,
    jobs: f64,
}

fn at_plan(layout: Layout<'_>, place: &Place) -> AtPlan {
    let worn = place.worn[layout.live.at_plan()];
    let fixed = place.decided + place.due(1.0);
    let failures = worn + place.damage;
    AtPlan {
        worn,
        damage: place.damage,
        singles: place.singles,
        fixed,
        pieces: (failures + fixed) * place.pieces + place.single_pieces,
        jobs: failures + place.singles + fixed * place.jobs_each,
    }
}

/// Known money of a place at the plan.
pub(super) fn money(layout: Layout<'_>, place: usize) -> f64 {
    money_of(layout, &layout.live.places[place])
}

pub(super) fn money_of(layout: Layout<'_>, place: &Place) -> f64 {
    let at = at_plan(layout, place);
    parts_money(layout, place, &at).unwrap_or(0.0) + labor_money(layout, place, &at).unwrap_or(0.0)
}

fn parts_money(layout: Layout<'_>, place: &Place, at: &AtPlan) -> Option<f64> {
    layout.report.lines[place.line].price.map(|p| p * at.pieces)
}

fn labor_money(layout: Layout<'_>, place: &Place, at: &AtPlan) -> Option<f64> {
    let hours = layout.live.lines[place.line].labor_hours;
    layout
        .live
        .labor_rate
        .zip(hours)
        .map(|(r, h)| at.jobs * h * r)
}

fn down_money(layout: Layout<'_>, place: &Place, at: &AtPlan) -> Option<f64> {
    let hours = layout.live.lines[place.line].down_hours;
    layout
        .live
        .down_rate
        .zip(hours)
        .map(|(r, h)| (at.worn + at.damage) * h * r)
}

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Places", Paper::Wide, layout.report)?;
    let (places, season) = (places(layout), season(layout));
    page.fit(&[&places, &season])?;
    page.title(&format!("Places, {}", words::season(layout.report)))?;
    page.aside(
        "A place is all parts of one number on one machine that see the same use. Changes are looked up in sheet Tables \
         at the use that sheet Wear makes of the plan.",
    )?;
    page.table(&places)?;
    page.keep_header(&places, 4)?;
    page.gap();
    page.section("The season: all places together")?;
    page.table(&season)?;
    page.lock();
    page.finish(0)
}

fn columns() -> Vec<Column> {
    let numbers = [
        ("By wear", Kind::Thousandths),
        ("Struck, bent, burnt", Kind::Thousandths),
        ("Single pieces, times", Kind::Thousandths),
        ("By schedule or decided", Kind::Hundredths),
        ("All changes, expected", Kind::Thousandths),
        ("Enough in 8\u{a0}of\u{a0}10", Kind::Tenths),
        ("Pieces, expected", Kind::Hundredths),
        ("Jobs, expected", Kind::Hundredths),
        ("Parts, expected", Kind::Cents),
        ("Labor, expected", Kind::Cents),
        ("Down cost, expected", Kind::Cents),
        ("Spread of the money", Kind::Cents),
        ("Spread of field hours", Kind::Hundredths),
    ];
    let mut columns = vec![
        Column::words("Machine", 18.0),
        Column::words("Bin", 9.0),
        Column::words("Positions", 26.0),
        Column::words("Part number", 14.0),
    ];
    columns.extend(numbers.map(|(heading, kind)| Column::new(heading, kind)));
    columns.push(Column::remark(18.0));
    columns
}

fn places(layout: Layout<'_>) -> Table {
    let mut table = Table::at(HEADER, columns());
    for (index, place) in layout.live.places.iter().enumerate() {
        let cells = cells(layout, index, place, &table);
        table.push(cells);
    }
    table.say_none();
    let mut sum = vec![Cell::Wide("Sum of the known".to_owned())];
    sum.resize(4, Cell::Empty);
    for column in WORN..=SPREAD_HOURS {
        let adds_up = !matches!(column, 9 | SPREAD | SPREAD_HOURS);
        sum.push(if adds_up {
            table.sum(column)
        } else {
            Cell::Empty
        });
    }
    table.total(sum);
    table
}

fn cells(layout: Layout<'_>, index: usize, place: &Place, table: &Table) -> Vec<Cell> {
    let (report, live) = (layout.report, layout.live);
    let at = at_plan(layout, place);
    let here = |column: u16| table.here(column);
    let (worn, damage, singles, fixed) = (here(WORN), here(DAMAGE), here(SINGLES), here(FIXED));
    let clock = layout.place_clock(index);
    let made = |more: u16| layout.beyond(Block::Worn, index, more);
    let each = |more: u16| layout.beyond(Block::Due, index, more);
    let (price, hours) = (
        price_cell(place.line, prices::IN_SEASON),
        price_cell(place.line, prices::HOURS),
    );
    let field = price_cell(place.line, prices::FIELD);
    let spread = layout.table_now(Block::Spread, index);
    let sd = place.sd[live.at_plan()];
    let down_hours = live.lines[place.line].down_hours.unwrap_or(0.0);
    vec![
        report.machines[place.machine].machine.as_str().into(),
        place.bin.as_deref().into(),
        place.positions.join(", ").into(),
        report.lines[place.line].part.as_str().into(),
        Cell::formula(layout.table_now(Block::Worn, index), Some(at.worn)),
        Cell::formula(format!("{}*{clock}", made(1)), Some(at.damage)),
        Cell::formula(format!("{}*{clock}", made(2)), Some(at.singles)),
        Cell::formula(
            format!("{}+{}", layout.table_now(Block::Due, index), each(1)),
            Some(at.fixed),
        ),
        Cell::formula(
            format!("{worn}+{damage}+{singles}+{fixed}"),
            Some(at.worn + at.damage + at.singles + at.fixed),
        ),
        Cell::formula(
            format!("{}+{fixed}", layout.table_now(Block::At80, index)),
            Some(place.p80[live.at_plan()] + at.fixed),
        ),
        Cell::formula(
            format!("({worn}+{damage}+{fixed})*{}+{}*{clock}", each(3), made(3)),
            Some(at.pieces),
        ),
        Cell::formula(
            format!("{worn}+{damage}+{singles}+{fixed}*{}", each(2)),
            Some(at.jobs),
        ),
        Cell::formula(
            format!("IF({price}=\"\",\"\",{}*{price})", here(PIECES)),
            parts_money(layout, place, &at),
        ),
        Cell::formula(
            format!(
                "IF(OR({LABOR_RATE}=\"\",{hours}=\"\"),\"\",{}*{hours}*{LABOR_RATE})",
                here(JOBS)
            ),
            labor_money(layout, place, &at),
        ),
        Cell::formula(
            format!(
                "IF(OR({DOWN_COST}=\"\",{field}=\"\"),\"\",({worn}+{damage})*{field}*{DOWN_COST})"
            ),
            down_money(layout, place, &at),
        ),
        Cell::formula(
            format!(
                "{spread}*({}*N({price})+N({LABOR_RATE})*N({hours}))",
                each(3)
            ),
            Some(sd * layout.each(place)),
        ),
        Cell::formula(format!("{spread}*N({field})"), Some(sd * down_hours)),
        beyond(layout, index),
    ]
}

/// Says where a plan is larger than what was played.
fn beyond(layout: Layout<'_>, index: usize) -> Cell {
    let most = layout.live.scales.last().copied().unwrap_or(1.0);
    Cell::Formula {
        formula: format!(
            "IF({}>{most},\"beyond the tables\",\"\")",
            layout.place_times(index)
        ),
        result: Outcome::Empty,
    }
}

/// The season's figures; each has a name.
fn season(layout: Layout<'_>) -> Table {
    let report = layout.report;
    let mut columns = columns();
    for (index, column) in (0_u16..).zip(&mut columns) {
        column.heading = String::from(match index {
            0 => "Figure",
            PARTS => "Known parts and labor",
            LABOR => "Total, where all is known",
            DOWN => "Down cost",
            SPREAD => "Spread of the money",
            SPREAD_HOURS => "Spread of field hours",
            _ => "",
        });
    }
    let mut table = Table::at(layout.season_header(), columns);
    let row = layout.season_row();
    let all = |column: u16| down("Places", HEADER + 1, layout.places(), column);
    let (money, field) = (
        cell("Places", row, SPREAD),
        cell("Places", row, SPREAD_HOURS),
    );
    let labels = [
        "Expected",
        "Covered in 8 of 10",
        "Covered in 9 of 10",
        "Low, 1 of 10",
    ];
    for (i, (label, figure)) in labels.into_iter().zip(words::FIGURES).enumerate() {
        let mut cells = vec![Cell::Wide(label.to_owned())];
        cells.resize(usize::from(SPREAD_HOURS) + 1, Cell::Empty);
        let mut set = |column: u16, formula: String, value: Option<f64>| {
            cells[usize::from(column)] = Cell::formula(formula, value);
        };
        let (known, lost) = if i == 0 {
            (
                format!("SUM({},{})", all(PARTS), all(LABOR)),
                format!("SUM({})", all(DOWN)),
            )
        } else {
            let (k, k_down) = (
                layout.table_now(Block::Season, i - 1),
                layout.table_now(Block::Season, i + 2),
            );
            let (e, e_down) = (cell("Places", row, PARTS), cell("Places", row, DOWN));
            (
                beside(&e, &k, &money),
                beside(&e_down, &k_down, &format!("{field}*{DOWN_COST}")),
            )
        };
        set(PARTS, known, Some(figure(&report.known_total)));
        let here = cell("Places", row + i as u32, PARTS);
        set(
            LABOR,
            format!("IF({},{here},\"\")", layout.all_known()),
            report.total.as_ref().map(figure),
        );
        let fields = layout.price_column(prices::FIELD);
        set(
            DOWN,
            format!(
                "IF(OR(NOT({}),{DOWN_COST}=\"\",COUNT({fields})=0),\"\",{lost})",
                layout.plan_is_there()
            ),
            report.known_down.as_ref().map(figure),
        );
        if i == 0 {
            let places = layout.live.places.iter();
            let at = layout.live.at_plan();
            let (mut squares, mut hours) = (0.0, 0.0);
            for place in places {
                squares += (place.sd[at] * layout.each(place)).powi(2);
                let field = layout.live.lines[place.line].down_hours.unwrap_or(0.0);
                hours += (place.sd[at] * field).powi(2);
            }
            set(
                SPREAD,
                format!("SQRT(SUMSQ({}))", all(SPREAD)),
                Some(squares.sqrt()),
            );
            set(
                SPREAD_HOURS,
                format!("SQRT(SUMSQ({}))", all(SPREAD_HOURS)),
                Some(hours.sqrt()),
            );
        }
        table.push(cells);
    }
    table
}
