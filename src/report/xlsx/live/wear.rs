//! Sheet `Wear`: factors, and what the plan makes of every place's use.

use rust_xlsxwriter::Workbook;

use super::{Layout, PLAN_GROUP, cell, down, place_cell, places};
use crate::report::live::{FamilyFactors, Place};
use crate::report::xlsx::XlsxError;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::units::Measure;

/// Header of the factors as they are told: title, paragraph and section heading stand above.
const TOLD: u32 = 3;
/// Number of the line, counted from 1 as on sheet `Parts`.
pub(in crate::report::xlsx) const LINE: u16 = 3;
/// Number of the machine, counted from 1 as on sheet `Machines`.
pub(in crate::report::xlsx) const MACHINE: u16 = 4;
/// First column of effective use by product group.
pub(super) const USE: u16 = 6;

impl Layout<'_> {
    fn factors_len(&self) -> u32 {
        self.live.families.len().max(1) as u32
    }

    /// Header of the factors that formulas use: below those told an empty row and a heading.
    fn factors_header(&self) -> u32 {
        TOLD + self.factors_len() + 3
    }

    /// Header of the places.
    fn wear_header(&self) -> u32 {
        self.factors_header() + self.factors_len() + 3
    }

    /// Header of the part numbers.
    fn parts_header(&self) -> u32 {
        self.wear_header() + self.places().max(1) as u32 + 3
    }

    pub(in crate::report::xlsx) fn wear_column(&self, column: u16) -> String {
        down("Wear", self.wear_header() + 1, self.places(), column)
    }

    fn wear(&self, place: usize, column: u16) -> String {
        cell("Wear", self.wear_header() + 1 + place as u32, column)
    }

    /// First column after the product groups.
    fn after(&self) -> u16 {
        USE + self.live.groups.len() as u16
    }

    fn planned(&self) -> u16 {
        self.after()
    }
    fn now(&self) -> u16 {
        self.after() + 1
    }
    fn times(&self) -> u16 {
        self.after() + 2
    }
    fn clock_planned(&self) -> u16 {
        self.after() + 3
    }
    fn clock_now(&self) -> u16 {
        self.after() + 4
    }
    fn clock_times(&self) -> u16 {
        self.after() + 5
    }
    fn step(&self) -> u16 {
        self.after() + 6
    }
    fn part_of_step(&self) -> u16 {
        self.after() + 7
    }
    fn weight(&self) -> u16 {
        self.after() + 8
    }
    /// Money for each unit of effective use.
    pub(super) fn money_per_use(&self) -> u16 {
        self.after() + 9
    }
    /// Money of places that no use of the plan wears.
    pub(super) fn money_without(&self) -> u16 {
        self.after() + 10
    }

    /// How many times the plan a place now sees.
    pub(super) fn place_times(&self, place: usize) -> String {
        self.wear(place, self.times())
    }

    /// The same of damage's clock.
    pub(super) fn place_clock(&self, place: usize) -> String {
        self.wear(place, self.clock_times())
    }

    /// Step of the tables and part of it: of a place.
    pub(super) fn place_step(&self, place: usize) -> [String; 2] {
        [self.step(), self.part_of_step()].map(|c| self.wear(place, c))
    }

    /// Of a machine.
    pub(super) fn machine_step(&self, machine: usize) -> [String; 2] {
        self.line_step(self.report.lines.len() + 1 + machine)
    }

    /// Of a line; of the season with the number of lines.
    pub(super) fn line_step(&self, line: usize) -> [String; 2] {
        let row = self.parts_header() + 1 + line as u32;
        [self.step(), self.part_of_step()].map(|c| cell("Wear", row, c))
    }
}

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    layout: Layout<'_>,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Wear", Paper::Wide, layout.report)?;
    let told = factors(layout, TOLD, |f| f.told.clone());
    let means = |f: &FamilyFactors| f.factors.iter().map(|w| Some(*w)).collect();
    let means = factors(layout, layout.factors_header(), means);
    let (places, parts) = (places(layout), parts(layout));
    page.fit(&[&told, &means, &places, &parts])?;
    page.title("Wear: what the plan does to each place")?;
    page.aside(
        "Effective use is planned use times the mean wear factor of its product. How many times the use planned when this \
         workbook was made that is, decides where in the tables a place is looked up.",
    )?;
    let found = layout.live.families.iter().any(|f| f.with_found);
    page.section(if found {
        "Wear factors by product group, parts of unknown age counted, which `wearcast fit` and `wearcast compare` leave out"
    } else {
        "Wear factors by product group, as `wearcast fit` and `wearcast compare` tell them"
    })?;
    page.table(&told)?;
    page.gap();
    page.section("For the formulas alone: means of all factors that the records leave possible, which the few very large ones raise")?;
    page.table(&means)?;
    page.gap();
    page.section(
        "Effective use by place: parts of one number on one machine that see the same use",
    )?;
    page.table(&places)?;
    page.gap();
    page.section("Times the plan by part number, in all and by machine: means over places, weighted by how much their money scatters")?;
    page.table(&parts)?;
    page.lock();
    page.finish(0)
}

fn columns(layout: Layout<'_>, named: bool) -> Vec<Column> {
    let name = |words: &str| {
        if named {
            words.to_owned()
        } else {
            String::new()
        }
    };
    let mut columns = vec![
        Column::words(name("Machine"), 20.0),
        Column::words(name("Bin"), 10.0),
        Column::words(name("Part number"), 16.0),
        Column::new(name("Line"), Kind::Whole),
        Column::new(name("Machine no."), Kind::Whole),
        Column::words(name("Use in"), 9.0),
    ];
    let groups = layout.live.groups.iter();
    columns.extend(groups.map(|g| Column::new(g.as_str(), Kind::Tenths)));
    for (heading, kind) in [
        ("Planned when made", Kind::Tenths),
        ("Now", Kind::Tenths),
        ("Times the plan", Kind::Thousandths),
        ("Damage: use planned", Kind::Tenths),
        ("Now", Kind::Tenths),
        ("Times", Kind::Thousandths),
        ("Step", Kind::Whole),
        ("Part of step", Kind::Thousandths),
        ("Weight", Kind::Tenths),
        ("Money for a unit of use", Kind::Thousandths),
        ("Money of no use", Kind::Cents),
    ] {
        columns.push(Column::new(name(heading), kind));
    }
    columns
}

fn factors(
    layout: Layout<'_>,
    header_row: u32,
    of: impl Fn(&FamilyFactors) -> Vec<Option<f64>>,
) -> Table {
    let mut columns = columns(layout, false);
    columns[0].heading = String::from("Family");
    columns[5].heading = String::from("Use in");
    for column in &mut columns[6..6 + layout.live.groups.len()] {
        column.kind = Kind::Thousandths;
    }
    let mut table = Table::at(header_row, columns);
    for family in &layout.live.families {
        let mut cells = vec![Cell::from(family.family.as_str())];
        cells.resize(5, Cell::Empty);
        cells.push(family.measure.label(layout.report.units).into());
        if family.measure != Measure::Days {
            cells.extend(of(family).into_iter().map(Cell::from));
        }
        table.push(cells);
    }
    table.say_none();
    table
}

fn places(layout: Layout<'_>) -> Table {
    let mut table = Table::at(layout.wear_header(), columns(layout, true));
    for (index, place) in layout.live.places.iter().enumerate() {
        let cells = cells(layout, index, place);
        table.push(cells);
    }
    table.say_none();
    table
}

fn cells(layout: Layout<'_>, index: usize, place: &Place) -> Vec<Cell> {
    let (report, live) = (layout.report, layout.live);
    let units = report.units;
    let mut cells: Vec<Cell> = vec![
        report.machines[place.machine].machine.as_str().into(),
        place.bin.as_deref().into(),
        report.lines[place.line].part.as_str().into(),
        (place.line as f64 + 1.0).into(),
        (place.machine as f64 + 1.0).into(),
        place.measure.label(units).into(),
    ];
    let seen = layout.seen(place, &layout.wear(index, 0), &layout.wear(index, 1));
    let effective = live.effective(report, place);
    let by_use = place.measure != Measure::Days;
    for (g, effective) in effective.iter().enumerate() {
        if !by_use {
            cells.push(Cell::Empty);
            continue;
        }
        let mut terms = seen.clone();
        let column = USE + g as u16;
        let group = cell("Wear", layout.wear_header(), column);
        terms.push(layout.named(PLAN_GROUP, &group));
        let mut formula = layout.use_now(&terms, place.measure);
        if let Some(family) = place.family {
            let factor = cell("Wear", layout.factors_header() + 1 + family as u32, column);
            formula = format!("{formula}*{factor}");
        }
        cells.push(Cell::formula(
            formula,
            Some(place.measure.shown(*effective, units)),
        ));
    }
    let sum = effective
        .iter()
        .map(|e| place.measure.shown(*e, units))
        .sum::<f64>();
    let row = |column: u16| layout.wear(index, column);
    if by_use {
        let (first, last) = (row(USE), row(layout.after() - 1));
        let last = last.trim_start_matches("Wear!");
        cells.push(sum.into());
        cells.push(Cell::formula(format!("SUM({first}:{last})"), Some(sum)));
    } else {
        cells.extend([Cell::Empty, Cell::Empty]);
    }
    cells.push(times(&row(layout.planned()), &row(layout.now())));
    if place.clock == Measure::Days {
        cells.extend([Cell::Empty, Cell::Empty]);
    } else {
        let used = live.used(report, place, place.clock);
        let used = used
            .iter()
            .map(|u| place.clock.shown(*u, units))
            .sum::<f64>();
        cells.push(used.into());
        cells.push(Cell::formula(
            layout.use_now(&seen, place.clock),
            Some(used),
        ));
    }
    cells.push(times(
        &row(layout.clock_planned()),
        &row(layout.clock_now()),
    ));
    cells.extend(step(layout, &row(layout.times()), &row(layout.step())));
    cells.push(weight(layout, place).into());
    let money = places::money(layout, index);
    let both = format!(
        "SUM({},{})",
        place_cell(index, places::PARTS),
        place_cell(index, places::LABOR)
    );
    let now = row(layout.now());
    cells.push(Cell::formula(
        format!("IF(N({now})>0,{both}/{now},0)"),
        Some(if 0.0 < sum { money / sum } else { 0.0 }),
    ));
    cells.push(Cell::formula(
        format!("IF(N({now})>0,0,{both})"),
        Some(if 0.0 < sum { 0.0 } else { money }),
    ));
    cells
}

/// Ratio of two cells, 1 where nothing was planned; rounded so that no error of the last digit
/// takes another step.
fn times(planned: &str, now: &str) -> Cell {
    Cell::formula(
        format!("IF(N({planned})=0,1,ROUND({now}/{planned},9))"),
        Some(1.0),
    )
}

/// Step of the tables and the part of it, at the plan itself.
fn step(layout: Layout<'_>, times: &str, step: &str) -> [Cell; 2] {
    let grid = layout.grid();
    let steps = layout.live.scales.len() - 1;
    [
        Cell::formula(
            format!("MAX(1,MIN(MATCH({times},{grid},1),{steps}))"),
            Some(layout.live.at_plan() as f64 + 1.0),
        ),
        Cell::formula(
            format!("({times}-INDEX({grid},{step}))/(INDEX({grid},{step}+1)-INDEX({grid},{step}))"),
            Some(0.0),
        ),
    ]
}

/// Square of how far a place's money scatters at the plan; of its changes where no price is known.
fn weight(layout: Layout<'_>, place: &Place) -> f64 {
    let each = layout.each(place);
    let each = if each <= 0.0 { 1.0 } else { each };
    (place.sd[layout.live.at_plan()] * each).powi(2)
}

/// Column and name of a row, and the numbers it sums by; none for all.
type Summed<'a> = (usize, &'a str, Option<(&'a str, usize)>);

fn parts(layout: Layout<'_>) -> Table {
    let mut columns = columns(layout, true);
    for (index, column) in (0_u16..).zip(&mut columns) {
        let keep = [
            0,
            2,
            LINE,
            MACHINE,
            layout.times(),
            layout.step(),
            layout.part_of_step(),
        ];
        if !keep.contains(&index) {
            column.heading = String::new();
        }
    }
    let mut table = Table::at(layout.parts_header(), columns);
    let (weights, ratios) = (
        layout.wear_column(layout.weight()),
        layout.wear_column(layout.times()),
    );
    let [lines, machines] = [LINE, MACHINE].map(|c| layout.wear_column(c));
    let report = layout.report;
    let mut rows: Vec<Summed<'_>> = Vec::new();
    for (l, line) in report.lines.iter().enumerate() {
        rows.push((2, &line.part, Some((&lines, l + 1))));
    }
    rows.push((2, "all", None));
    for (m, machine) in report.machines.iter().enumerate() {
        rows.push((0, &machine.machine, Some((&machines, m + 1))));
    }
    for (column, name, of) in rows {
        let (sum, products) = match of {
            Some((numbers, n)) => (
                format!("SUMIF({numbers},{n},{weights})"),
                format!("SUMPRODUCT(--({numbers}={n}),{weights},{ratios})"),
            ),
            None => (
                format!("SUM({weights})"),
                format!("SUMPRODUCT({weights},{ratios})"),
            ),
        };
        let mut cells = vec![Cell::Empty; table.columns.len()];
        cells[column] = name.into();
        let number = of.map(|(_, n)| n as f64);
        cells[usize::from(if column == 0 { MACHINE } else { LINE })] = number.into();
        let (times, at) = (usize::from(layout.times()), usize::from(layout.step()));
        cells[times] = Cell::formula(
            format!("IF({sum}=0,1,ROUND({products}/{sum},9))"),
            Some(1.0),
        );
        let here = |column| table.here(column);
        let [first, second] = step(layout, &here(layout.times()), &here(layout.step()));
        cells[at] = first;
        cells[at + 1] = second;
        table.push(cells);
    }
    table
}

/// A table's row looked up at a step and part of it.
pub(super) fn look_up(row: &str, [step, part]: &[String; 2]) -> String {
    format!("(INDEX({row},{step})*(1-{part})+INDEX({row},{step}+1)*{part})")
}
