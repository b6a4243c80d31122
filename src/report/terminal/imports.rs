//! What an import read, and what became of it.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{amount, capital, whole, wrapped};
use crate::report::imports::{Fate, ImportReport, Lines, MeterLine, UseLine};
use crate::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON, Measure, Units};

/// Every row, the account of rows, what is wrong in the files, and the names that must be matched.
#[must_use]
pub fn imports(report: &ImportReport, width: usize) -> String {
    let mut out = match &report.lines {
        Lines::Use(lines) => used(lines, report.units, width),
        Lines::Meters(lines) => meters(lines, width),
    };
    let [read, used, aside] = report.account();
    let n = |count: usize| whole(count as f64);
    let _ = writeln!(
        out,
        "\n{} rows read = {} used + {} set aside",
        n(read),
        n(used),
        n(aside)
    );
    let fates = [
        Fate::Added,
        Fate::Already,
        Fate::Replaced,
        Fate::KeptChanged,
    ];
    for fate in fates {
        let count = report.count(|f| *f == fate);
        if 0 < count {
            let _ = writeln!(out, "  {:>6}  {}", n(count), fate.word());
        }
    }
    let _ = writeln!(out, "Into {}", report.into);
    if !report.problems.is_empty() {
        out.push_str("\nProblems\n");
        for problem in &report.problems {
            out.push_str(&wrapped(problem, "  - ", "    ", width));
        }
    }
    if !report.unmatched.is_empty() {
        out.push_str("\nNames to match\n");
        for name in &report.unmatched {
            let rows = if name.rows == 1 { "row" } else { "rows" };
            let text = format!(
                "{} `{}` ({} {rows}): {}",
                capital(name.kind),
                name.name,
                n(name.rows),
                name.todo
            );
            out.push_str(&wrapped(&text, "  - ", "    ", width));
        }
    }
    close(&mut out, &report.header, false, width);
    out
}

/// A cell for a value that the file does not say stays empty.
fn shown(value: Option<f64>) -> String {
    value.map(amount).unwrap_or_default()
}

fn fate(fate: &Fate) -> String {
    match fate.why() {
        Some(why) => format!("{}: {why}", fate.word()),
        None => fate.word().to_owned(),
    }
}

/// The name in the records, else the one in the file, on one line.
fn either(ours: Option<&String>, theirs: Option<&String>) -> String {
    let name = ours.or(theirs).map(String::as_str).unwrap_or_default();
    name.replace('\n', "\\n").replace('\t', "\\t")
}

fn used(lines: &[UseLine], units: Units, width: usize) -> String {
    let [tons, acres] = match units {
        Units::Us => ["Tons", "Acres"],
        Units::Metric => ["Tonnes", "Hectares"],
    };
    let mass = |kg| Measure::Tons.shown(kg / KILOGRAMS_PER_TON, units);
    let area = |m2| Measure::Acres.shown(m2 / 10_000.0 / HECTARES_PER_ACRE, units);
    let mut grid = Grid::new(
        &[
            ("Day", Lean::Left),
            ("Machine", Lean::Left),
            ("Bin", Lean::Left),
            ("Product", Lean::Left),
            (tons, Lean::Right),
            (acres, Lean::Right),
            ("Hours", Lean::Right),
            ("Result", Lean::Left),
        ],
        width,
    );
    for line in lines {
        let [machine, bin, product] = &line.ours;
        grid.row([
            line.date.map(|d| d.to_string()).unwrap_or_default(),
            either(machine.as_ref(), Some(&line.machine)),
            either(bin.as_ref(), line.bin.as_ref()),
            either(product.as_ref(), line.product.as_ref()),
            shown(line.kilograms.map(mass)),
            shown(line.square_metres.map(area)),
            shown(line.hours),
            fate(&line.fate),
        ]);
    }
    grid.text()
}

fn meters(lines: &[MeterLine], width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Day", Lean::Left),
            ("Machine", Lean::Left),
            ("Meter", Lean::Left),
            ("Reading", Lean::Right),
            ("Unit", Lean::Left),
            ("Result", Lean::Left),
        ],
        width,
    );
    for line in lines {
        grid.row([
            line.date.map(|d| d.to_string()).unwrap_or_default(),
            either(line.ours.as_ref(), Some(&line.machine)),
            line.meter.to_owned(),
            shown(line.value),
            line.unit.to_owned(),
            fate(&line.fate),
        ]);
    }
    grid.text()
}
