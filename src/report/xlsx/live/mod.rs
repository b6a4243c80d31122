//! The workbook that follows a changed plan: inputs, the sheets that reckon, and where each cell is.
//!
//! Formulas use nothing newer than SUMPRODUCT, SUMIF, INDEX and MATCH, so that any spreadsheet
//! program reckons them. Text is compared by `=` alone: names with `*` or `?` stay names.

pub(super) mod numbers;
pub(super) mod places;
pub(super) mod plan;
pub(super) mod prices;
mod rules;
pub(super) mod tables;
pub(super) mod ways;
pub(super) mod wear;

use rust_xlsxwriter::Workbook;
use rust_xlsxwriter::utility::{cell_range_absolute, row_col_to_cell_absolute};

use super::XlsxError;
use super::page::kept;
use crate::report::BudgetReport;
use crate::report::live::{Live, Place};
use crate::units::Measure;

/// Names of single cells that formulas and readers use.
pub(super) const PLAN_CHANGE: &str = "Plan_change";
pub(super) const PRICE_CHANGE: &str = "Price_change";
pub(super) const LABOR_RATE: &str = "Labor_rate";
pub(super) const DOWN_COST: &str = "Down_cost";
/// Names of the season's figures: known lines, all lines, down cost, in the order of
/// [`super::words::FIGURES`].
pub(super) const KNOWN: [&str; 4] = [
    "Known_expected",
    "Known_8_in_10",
    "Known_9_in_10",
    "Known_low",
];
pub(super) const TOTAL: [&str; 4] = [
    "Total_expected",
    "Total_8_in_10",
    "Total_9_in_10",
    "Total_low",
];
pub(super) const DOWN: [&str; 4] = ["Down_expected", "Down_8_in_10", "Down_9_in_10", "Down_low"];

/// Columns of sheet `Plan`.
pub(super) const PLAN_MONTH: u16 = 0;
pub(super) const PLAN_MACHINE: u16 = 1;
pub(super) const PLAN_GROUP: u16 = 3;
pub(super) const PLAN_BIN: u16 = 4;
/// Acres; tons and hours follow.
pub(super) const PLAN_ACRES: u16 = 5;

/// A live report and where its cells are.
#[derive(Clone, Copy)]
pub(super) struct Layout<'a> {
    pub(super) report: &'a BudgetReport,
    pub(super) live: &'a Live,
}

/// What a report can be followed by; `None` where it stays as it is.
pub(super) fn layout(report: &BudgetReport) -> Option<Layout<'_>> {
    let live = report.live.as_ref()?;
    Some(Layout { report, live })
}

/// A cell of a sheet, for formulas on any sheet.
pub(super) fn cell(sheet: &str, row: u32, column: u16) -> String {
    format!("{sheet}!{}", row_col_to_cell_absolute(row, column))
}

/// A stretch of a column.
pub(super) fn down(sheet: &str, first: u32, rows: usize, column: u16) -> String {
    let last = first + (rows.max(1) as u32) - 1;
    format!(
        "{sheet}!{}",
        cell_range_absolute(first, column, last, column)
    )
}

/// A stretch of a row.
pub(super) fn along(sheet: &str, row: u32, first: u16, columns: usize) -> String {
    let last = first + columns.max(1) as u16 - 1;
    format!("{sheet}!{}", cell_range_absolute(row, first, row, last))
}

impl Layout<'_> {
    pub(super) fn places(&self) -> usize {
        self.live.places.len()
    }

    /// A column of the plan, whole.
    pub(super) fn plan(&self, column: u16) -> String {
        down("Plan", plan::HEADER + 1, self.report.plan.len(), column)
    }

    /// Planned use now, of rows that meet `terms`, in the owner's units; in brackets, as others divide
    /// by it.
    pub(super) fn use_now(&self, terms: &[String], measure: Measure) -> String {
        let amounts = self.plan(PLAN_ACRES + measure_column(measure));
        let terms = terms.join("),--(");
        if terms.is_empty() {
            return format!("(SUM({amounts})*(1+{PLAN_CHANGE}))");
        }
        format!("(SUMPRODUCT(--({terms}),{amounts})*(1+{PLAN_CHANGE}))")
    }

    /// All planned use now, in the owner's units.
    pub(super) fn plan_sum(&self, measure: Measure) -> String {
        self.use_now(&[], measure)
    }

    /// Terms for the rows of the plan that a place sees; `machine` and `bin` are its cells.
    pub(super) fn seen(&self, place: &Place, machine: &str, bin: &str) -> Vec<String> {
        let mut terms = vec![self.named(PLAN_MACHINE, machine)];
        if place.bin.is_some() {
            terms.push(self.named(PLAN_BIN, bin));
        }
        terms
    }

    /// Which rows of the plan have the name of a cell in a column, to the letter: `=` takes `Rig` for `rig`.
    pub(super) fn named(&self, column: u16, cell: &str) -> String {
        format!("EXACT({},{cell})", self.plan(column))
    }

    /// Sum of a column of sheet `Places` over the places of a line.
    pub(super) fn of_line(&self, line: usize, column: u16) -> String {
        let numbers = self.wear_column(wear::LINE);
        format!(
            "SUMIF({numbers},{},{})",
            line + 1,
            self.place_column(column)
        )
    }

    /// The same of a machine.
    pub(super) fn of_machine(&self, machine: usize, column: u16) -> String {
        let numbers = self.wear_column(wear::MACHINE);
        format!(
            "SUMIF({numbers},{},{})",
            machine + 1,
            self.place_column(column)
        )
    }

    pub(super) fn place_column(&self, column: u16) -> String {
        down("Places", places::HEADER + 1, self.places(), column)
    }

    /// Money of one change of a place without price or labor unknown: what is known of it.
    fn each(&self, place: &Place) -> f64 {
        let price = self.report.lines[place.line].price.unwrap_or(0.0);
        let hours = self.live.lines[place.line].labor_hours;
        let labor = self.live.labor_rate.zip(hours).map_or(0.0, |(r, h)| r * h);
        place.pieces * price + labor
    }

    /// What holds where every price, and every labor where labor is priced, is there.
    pub(super) fn all_known(&self) -> String {
        let lines = self.report.lines.len();
        let (prices, hours) = (
            self.price_column(prices::PRICE),
            self.price_column(prices::HOURS),
        );
        let planned = self.plan_is_there();
        format!(
            "AND({planned},COUNT({prices})={lines},OR({LABOR_RATE}=\"\",COUNT({hours})={lines}))"
        )
    }

    /// What holds while every amount of the plan that was known is there: one that is taken out is unknown,
    /// which is not 0.
    pub(super) fn plan_is_there(&self) -> String {
        /// Stretches that a formula has room for.
        const MOST: usize = 40;
        let known = |m: Measure| {
            let lines = self.report.plan.iter().zip(plan::HEADER + 1..);
            lines
                .filter(move |(line, _)| line.amounts.get(m).is_some())
                .map(|(_, row)| row)
        };
        let mut stretches = Vec::new();
        let mut count = 0;
        for measure in Measure::OF_USE {
            let rows: Vec<u32> = known(measure).collect();
            let column = PLAN_ACRES + measure_column(measure);
            for stretch in rows.chunk_by(|a, b| a + 1 == *b) {
                stretches.push(down("Plan", stretch[0], stretch.len(), column));
            }
            count += rows.len();
        }
        if MOST < stretches.len() {
            stretches = Measure::OF_USE
                .map(|m| self.plan(PLAN_ACRES + measure_column(m)))
                .to_vec();
        }
        match count {
            0 => "TRUE".to_owned(),
            known => format!("COUNT({})>={known}", stretches.join(",")),
        }
    }

    /// What holds where a price is missing.
    pub(super) fn no_price(&self) -> String {
        let lines = self.report.lines.len();
        format!("COUNT({})<{lines}", self.price_column(prices::PRICE))
    }

    /// What holds where labor is priced and the hours of some job are missing.
    pub(super) fn no_labor(&self) -> String {
        let (hours, lines) = (self.price_column(prices::HOURS), self.report.lines.len());
        format!("AND({LABOR_RATE}<>\"\",COUNT({hours})<{lines})")
    }

    /// What holds where down cost is not known of every line that wears.
    pub(super) fn no_down(&self) -> String {
        let (cells, number) = self.fields();
        if number == 0 {
            return format!("{DOWN_COST}=\"\"");
        }
        let planned = self.plan_is_there();
        format!("OR(NOT({planned}),{DOWN_COST}=\"\",COUNT({cells})<{number})")
    }

    /// The field hours of lines that wear: the stretches of their cells, and how many there are.
    pub(super) fn fields(&self) -> (String, usize) {
        let lines = self.report.lines.iter().enumerate();
        let wearing: Vec<usize> = lines
            .filter(|(_, l)| !l.scheduled)
            .map(|(i, _)| i)
            .collect();
        let stretches = wearing.chunk_by(|a, b| a + 1 == *b).map(|stretch| {
            let first = prices::HEADER + 1 + stretch[0] as u32;
            down("Prices", first, stretch.len(), prices::FIELD)
        });
        (stretches.collect::<Vec<_>>().join(","), wearing.len())
    }

    /// What holds where every price of a machine's places, and every labor where labor is priced, is
    /// there.
    pub(super) fn machine_known(&self, machine: usize) -> String {
        let numbers = self.wear_column(wear::MACHINE);
        let none_empty = |column| {
            let cells = self.place_column(column);
            format!(
                "SUMPRODUCT(--({numbers}={}),--({cells}=\"\"))=0",
                machine + 1
            )
        };
        let (parts, labor) = (none_empty(places::PARTS), none_empty(places::LABOR));
        let planned = self.plan_is_there();
        format!("AND({planned},{parts},OR({LABOR_RATE}=\"\",{labor}))")
    }

    pub(super) fn price_column(&self, column: u16) -> String {
        down(
            "Prices",
            prices::HEADER + 1,
            self.report.lines.len(),
            column,
        )
    }
}

/// Column of a measure of use after that of acres; the calendar has none and takes the first.
pub(super) fn measure_column(measure: Measure) -> u16 {
    Measure::OF_USE
        .iter()
        .position(|m| *m == measure)
        .unwrap_or(0) as u16
}

/// Names the cells that readers and formulas look for.
pub(super) fn names(workbook: &mut Workbook, layout: Layout<'_>) -> Result<(), XlsxError> {
    let mut names = vec![
        (PLAN_CHANGE, cell("Plan", plan::CHANGE_ROW, PLAN_ACRES)),
        (PRICE_CHANGE, cell("Prices", prices::RATES, prices::PRICE)),
        (LABOR_RATE, cell("Prices", prices::RATES + 1, prices::PRICE)),
        (DOWN_COST, cell("Prices", prices::RATES + 2, prices::PRICE)),
    ];
    let columns = [
        (KNOWN, places::PARTS),
        (TOTAL, places::LABOR),
        (DOWN, places::DOWN),
    ];
    for (of, column) in columns {
        for (row, name) in (layout.season_row()..).zip(of) {
            names.push((name, cell("Places", row, column)));
        }
    }
    for (name, cell) in names {
        kept(workbook.define_name(name, &format!("={cell}")))?;
    }
    Ok(())
}

/// A figure beside the expectation, by what sheet `Tables` says of it: so many spreads above, or a
/// share of the expectation below. It never falls when a price rises.
pub(super) fn beside(expected: &str, entry: &str, spread: &str) -> String {
    format!("MAX(0,{expected}+N({entry})*IF(N({entry})<0,{expected},{spread}))")
}

/// A cell of sheet `Places`.
pub(super) fn place_cell(place: usize, column: u16) -> String {
    cell("Places", places::HEADER + 1 + place as u32, column)
}

/// A cell of sheet `Prices`.
pub(super) fn price_cell(line: usize, column: u16) -> String {
    cell("Prices", prices::HEADER + 1 + line as u32, column)
}
