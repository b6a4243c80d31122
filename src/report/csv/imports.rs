//! An import as CSV.

use super::{Table, heads, number, word, words};
use crate::report::imports::{Fate, ImportReport, Lines, MeterLine, UseLine};
use crate::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

/// Every row that was read, and what became of it.
#[must_use]
pub fn imports(report: &ImportReport) -> String {
    match &report.lines {
        Lines::Use(lines) => used(lines),
        Lines::Meters(lines) => meters(lines),
    }
}

fn fixed(value: Option<f64>, decimals: usize) -> String {
    value.map(|v| format!("{v:.decimals$}")).unwrap_or_default()
}

fn why(fate: &Fate) -> String {
    words(fate.why().unwrap_or_default())
}

fn used(lines: &[UseLine]) -> String {
    let mut table = Table::new(&heads(
        "task,date,machine,bin,product,applied_kg,area_m2,effective_h,applied_short_tons,area_acres,our_machine,our_bin,our_product,result,why",
    ));
    for line in lines {
        let [machine, bin, product] = &line.ours;
        table.row([
            words(&line.task),
            super::shown(line.date),
            words(&line.machine),
            word(line.bin.as_ref()),
            word(line.product.as_ref()),
            number(line.kilograms),
            number(line.square_metres),
            fixed(line.hours, 4),
            fixed(line.kilograms.map(|kg| kg / KILOGRAMS_PER_TON), 4),
            fixed(
                line.square_metres
                    .map(|m2| m2 / 10_000.0 / HECTARES_PER_ACRE),
                3,
            ),
            word(machine.as_ref()),
            word(bin.as_ref()),
            word(product.as_ref()),
            line.fate.word().to_owned(),
            why(&line.fate),
        ]);
    }
    table.text()
}

fn meters(lines: &[MeterLine]) -> String {
    let mut table = Table::new(&heads(
        "date,machine,meter,reading,unit,our_machine,result,why",
    ));
    for line in lines {
        table.row([
            super::shown(line.date),
            words(&line.machine),
            line.meter.to_owned(),
            number(line.value),
            line.unit.to_owned(),
            word(line.ours.as_ref()),
            line.fate.word().to_owned(),
            why(&line.fate),
        ]);
    }
    table.text()
}
