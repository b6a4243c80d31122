//! Sheet `Parts`: what to order, and what it comes to.

use rust_xlsxwriter::Workbook;

use super::live::tables::Block;
use super::live::{self, DOWN_COST, LABOR_RATE, Layout, places, price_cell, prices};
use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Outcome, Table};
use super::{XlsxError, words};
use crate::report::{BudgetReport, Forecast, PartLine};

// Columns that formulas name.
pub(super) const EXPECTED: u16 = 4;
pub(super) const AT_80: u16 = 5;
const PRICE: u16 = 6;
pub(super) const COST: u16 = 7;
const COST_80: u16 = 8;
const PACK: u16 = 9;
const BUY: u16 = 10;
const ORDER: u16 = 11;
pub(super) const LABOR: u16 = 13;
const LABOR_80: u16 = 14;
const DOWN: u16 = 15;

/// Row of a line, which formulas name.
pub(super) fn row(line: usize) -> u32 {
    3 + line as u32
}

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Parts", Paper::Landscape, report)?;
    let lines = lines(report, 2);
    // Below the lines: an empty row and the heading of the section.
    let check = check(report, &lines, lines.next_row() + 2);
    page.fit(&[&lines])?;
    page.title(&format!("Parts, {}", words::season(report)))?;
    page.aside(
        "Pieces at 80 %: enough in 8 seasons of 10. To buy is that number made up to whole packs. Whole sets are \
         counted in pieces here. Money of each line is pieces times price, before what is on the shelf.",
    )?;
    page.table(&lines)?;
    page.keep_header(&lines, 1)?;
    page.gap();
    page.section("Parts and labor: the lines and the season's total")?;
    page.table(&check)?;
    page.aside(
        "The lines' 80 % figures add up to something else than the total's 80 % figure, mostly to more: not every \
         line runs high in the same season. Set money aside by the season's total; order pieces by the line.",
    )?;
    if report.live.is_some() {
        page.lock();
    }
    page.finish(0)
}

fn columns(report: &BudgetReport) -> Vec<Column> {
    let pieces = report.lines.iter().filter_map(|line| line.pieces);
    let at_80 = Kind::whole_if(pieces.map(|p| p.p80));
    vec![
        Column::words("Part number", 18.0),
        Column::words("Description", 30.0),
        Column::words("Family", 18.0),
        Column::words("Changed by", 12.0),
        Column::new("Pieces, expected", Kind::Hundredths),
        Column::new("Pieces at 80\u{a0}%", at_80),
        Column::new("Price of one", Kind::Cents),
        Column::new("Parts, expected", Kind::Cents),
        Column::new("Parts at 80\u{a0}%", Kind::Cents),
        Column::new("Pack of", Kind::Whole),
        Column::new("To buy, pieces", Kind::Whole),
        Column::new("To buy, money", Kind::Cents),
        Column::new("Lead time", Kind::Days),
        Column::new("Labor, expected", Kind::Cents),
        Column::new("Labor at 80\u{a0}%", Kind::Cents),
        Column::new("Down cost, expected", Kind::Cents),
        Column::remark(22.0),
    ]
}

fn lines(report: &BudgetReport, header_row: u32) -> Table {
    let mut table = Table::at(header_row, columns(report));
    for (index, line) in report.lines.iter().enumerate() {
        let mut cells = cells(line, &table);
        if let Some(layout) = live::layout(report) {
            follow(&mut cells, layout, index, &table);
        }
        table.push(cells);
    }
    table.say_none();
    let mut total = vec![Cell::Empty; table.columns.len()];
    total[0] = Cell::Wide("Sum of the lines".to_owned());
    for column in [COST, COST_80, ORDER, LABOR, LABOR_80, DOWN] {
        total[usize::from(column)] = table.sum(column);
    }
    let unpriced = report.lines.iter().any(|line| line.parts_cost.is_none());
    let known_only = "known lines only";
    total[usize::from(DOWN) + 1] = match live::layout(report) {
        Some(layout) => Cell::Formula {
            formula: format!("IF({},\"{known_only}\",\"\")", layout.no_price()),
            result: if unpriced {
                Outcome::Text(known_only.to_owned())
            } else {
                Outcome::Empty
            },
        },
        None => Cell::from(unpriced.then_some(known_only)),
    };
    table.total(total);
    table
}

fn cells(line: &PartLine, table: &Table) -> Vec<Cell> {
    let pack = f64::from(line.pack.max(1));
    let pieces = |of: fn(&Forecast) -> f64| line.pieces.as_ref().map(of);
    let buy = pieces(|f| f.p80).map(|p80| packs(p80, pack) * pack);
    let changed = if line.scheduled { "schedule" } else { "wear" };
    let times = |pieces: u16, number: Option<f64>| {
        let (price, pieces) = (table.here(PRICE), table.here(pieces));
        let formula = format!("IF(OR({price}=\"\",{pieces}=\"\"),\"\",{pieces}*{price})");
        Cell::formula(
            formula,
            line.price.zip(number).map(|(price, number)| number * price),
        )
    };
    let at = |forecast: &Option<Forecast>, of: fn(&Forecast) -> f64| {
        Cell::from(forecast.as_ref().map(of))
    };
    vec![
        line.part.as_str().into(),
        line.description.as_deref().into(),
        line.family.as_str().into(),
        changed.into(),
        pieces(|f| f.expected).into(),
        pieces(|f| f.p80).into(),
        line.price.into(),
        times(EXPECTED, pieces(|f| f.expected)),
        times(AT_80, pieces(|f| f.p80)),
        pack.into(),
        Cell::formula(buy_formula(table), buy),
        times(BUY, buy),
        line.lead_days.into(),
        at(&line.labor_cost, |f| f.expected),
        at(&line.labor_cost, |f| f.p80),
        at(&line.down_cost, |f| f.expected),
        remark(line),
    ]
}

/// Figures of a line by formulas on the plan and the prices.
fn follow(cells: &mut [Cell], layout: Layout<'_>, index: usize, table: &Table) {
    let scheduled = layout.report.lines[index].scheduled;
    let mut put = |column: u16, formula: String| {
        let cell = &mut cells[usize::from(column)];
        *cell = std::mem::replace(cell, Cell::Empty).by(formula);
    };
    let price = |column| price_cell(index, column);
    let hours = price(prices::HOURS);
    let labor = |jobs: String| {
        format!("IF(OR({LABOR_RATE}=\"\",{hours}=\"\"),\"\",{jobs}*{hours}*{LABOR_RATE})")
    };
    let sum = |column| layout.of_line(index, column);
    let at_80 = |block, expected: u16| {
        if scheduled {
            sum(expected)
        } else {
            layout.table_now(block, index)
        }
    };
    put(EXPECTED, sum(places::PIECES));
    let at_80_pieces = at_80(Block::Pieces, places::PIECES);
    // Between two columns of a table a part of a piece would be a whole pack more.
    let is_whole = |p: Forecast| p.p80.fract().abs() < f64::EPSILON;
    let rounded = layout.report.lines[index].pieces.is_some_and(is_whole);
    put(
        AT_80,
        if rounded {
            format!("ROUNDUP(ROUND({at_80_pieces},6),0)")
        } else {
            at_80_pieces
        },
    );
    let season = price(prices::IN_SEASON);
    put(PRICE, format!("IF({season}=\"\",\"\",{season})"));
    put(LABOR, labor(sum(places::JOBS)));
    put(LABOR_80, labor(at_80(Block::Jobs, places::JOBS)));
    if !scheduled {
        let field = price(prices::FIELD);
        let failures = format!("({}+{})", sum(places::WORN), sum(places::DAMAGE));
        put(
            DOWN,
            format!("IF(OR({DOWN_COST}=\"\",{field}=\"\"),\"\",{failures}*{field}*{DOWN_COST})"),
        );
    }
    let line = &layout.report.lines[index];
    if let Some(remark) = cells.last_mut() {
        let empty = |column: u16| Some(format!("{}=\"\"", table.here(column)));
        let mut gaps = missing(line);
        gaps[1].2 = empty(PRICE);
        gaps[3].2 = empty(LABOR);
        gaps[4].2 = if scheduled { None } else { empty(DOWN) };
        *remark = words::gaps_and(layout.report, &gaps, paid(line));
    }
    debug_assert_eq!(table.columns.len(), cells.len());
}

/// A millionth of a piece is no piece: without the inner rounding a sum such as
/// 8.000000000000002 would buy one pack too many, in some programs and not in others.
fn buy_formula(table: &Table) -> String {
    let (pieces, pack) = (table.here(AT_80), table.here(PACK));
    format!("IF({pieces}=\"\",\"\",ROUNDUP(ROUND({pieces}/{pack},6),0)*{pack})")
}

/// Packs that hold so many pieces, by the same rule as [`buy_formula`].
fn packs(pieces: f64, pack: f64) -> f64 {
    ((pieces / pack * 1e6).round() / 1e6).ceil()
}

fn remark(line: &PartLine) -> Cell {
    let missing = missing(line);
    let missing: Vec<(&str, bool)> = missing.iter().map(|(name, is, _)| (*name, *is)).collect();
    let unknown = words::unknown(&missing);
    let remarks: Vec<String> = unknown
        .into_iter()
        .chain(paid(line).map(str::to_owned))
        .collect();
    Cell::from((!remarks.is_empty()).then(|| remarks.join("; ")).as_deref())
}

/// What may be unknown of a line.
fn missing(line: &PartLine) -> [words::Gap<'static>; 5] {
    [
        ("use to come", line.pieces.is_none(), None),
        ("price", line.price.is_none(), None),
        ("lead time", line.lead_days.is_none(), None),
        ("labor", line.labor_cost.is_none(), None),
        (
            "down cost",
            !line.scheduled && line.down_cost.is_none(),
            None,
        ),
    ]
}

fn paid(line: &PartLine) -> Option<&'static str> {
    line.price_from_records
        .then_some("price as last paid, not from the parts list")
}

/// The lines added up beside the season's own total, in the columns of the lines.
fn check(report: &BudgetReport, lines: &Table, header_row: u32) -> Table {
    let mut columns = columns(report);
    columns.truncate(usize::from(COST_80) + 1);
    for (index, column) in (0..).zip(&mut columns) {
        column.heading = String::from(match index {
            COST => "Expected",
            COST_80 => "At 80\u{a0}%",
            _ => "",
        });
    }
    let mut table = Table::at(header_row, columns);
    let known = words::known_total(report);
    let added =
        [(COST, LABOR), (COST_80, LABOR_80)].map(|(parts, labor)| both(lines, parts, labor));
    push(&mut table, "The lines added up", added);
    push(
        &mut table,
        words::total_words(report),
        [
            words::followed(
                report,
                known.map(|f| f.expected).into(),
                words::totals(report)[0],
            ),
            words::followed(
                report,
                known.map(|f| f.p80).into(),
                words::totals(report)[1],
            ),
        ],
    );
    let less = [COST, COST_80].map(|column| difference(&table, column));
    push(&mut table, "The lines less the season's total", less);
    table
}

fn push(table: &mut Table, label: &str, [expected, at_80]: [Cell; 2]) {
    let mut row = vec![Cell::Empty; usize::from(COST_80) + 1];
    row[0] = Cell::Wide(label.to_owned());
    row[usize::from(COST)] = expected;
    row[usize::from(COST_80)] = at_80;
    table.push(row);
}

/// Sum of two totals of the lines.
fn both(lines: &Table, parts: u16, labor: u16) -> Cell {
    let row = lines.next_row() - 1;
    let name = |column| rust_xlsxwriter::utility::row_col_to_cell(row, column);
    let value = |column| lines.totals[0][usize::from(column)].number();
    let (a, b) = (name(parts), name(labor));
    let result = match (value(parts), value(labor)) {
        (None, None) => None,
        (x, y) => Some(x.unwrap_or(0.0) + y.unwrap_or(0.0)),
    };
    Cell::formula(format!("IF(COUNT({a},{b})=0,\"\",SUM({a},{b}))"), result)
}

fn difference(table: &Table, column: u16) -> Cell {
    let name =
        |index: u32| rust_xlsxwriter::utility::row_col_to_cell(table.first_row() + index, column);
    let value = |index: usize| table.rows[index][usize::from(column)].number();
    let (a, b) = (name(0), name(1));
    // Sums in another order differ in their last bits, which a sheet may show as -0.00.
    let cents = |money: f64| (100.0 * money).round() / 100.0 + 0.0;
    let result = value(0).zip(value(1)).map(|(x, y)| cents(x - y));
    Cell::formula(
        format!("IF(COUNT({a},{b})<2,\"\",ROUND({a}-{b},2))"),
        result,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_made_up_to_whole_packs() {
        let cases = [(0.0, 4.0, 0), (1.0, 4.0, 1), (4.0, 4.0, 1), (4.2, 1.0, 5)];
        for (pieces, pack, expected) in cases {
            assert_eq!(packs(pieces, pack) as u32, expected, "{pieces} pieces");
        }
    }

    #[test]
    fn a_rounding_error_buys_no_pack() {
        assert_eq!(packs(8.000_000_000_000_002, 4.0) as u32, 2);
        assert_eq!(packs(8.01, 4.0) as u32, 3);
    }
}
