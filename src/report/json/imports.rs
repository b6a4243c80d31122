//! An import as JSON.

use serde_json::{Value, json};

use super::document;
use crate::report::imports::{Fate, ImportReport, Lines, MeterLine, UseLine};
use crate::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

/// What was read, and what became of every row of it.
#[must_use]
pub fn imports(report: &ImportReport) -> Value {
    let [read, used, set_aside] = report.account();
    let count = |word: &str| report.count(|fate| fate.word() == word);
    let rows: Vec<Value> = match &report.lines {
        Lines::Use(lines) => lines.iter().map(used_row).collect(),
        Lines::Meters(lines) => lines.iter().map(meter_row).collect(),
    };
    let unmatched: Vec<Value> = report
        .unmatched
        .iter()
        .map(|u| json!({"kind": u.kind, "name": u.name, "rows": u.rows, "todo": u.todo}))
        .collect();
    document(
        &report.header,
        json!({
            "kind": report.kind,
            "into": report.into,
            "read": read,
            "used": used,
            "set_aside": set_aside,
            "added": count(Fate::Added.word()),
            "already_there": count(Fate::Already.word()),
            "replaced": count(Fate::Replaced.word()),
            "kept_as_changed": count(Fate::KeptChanged.word()),
            "taken_out": report.taken_out,
            "unmatched": unmatched,
            "problems": report.problems,
            "rows": rows,
        }),
    )
}

fn used_row(line: &UseLine) -> Value {
    let [machine, bin, product] = &line.ours;
    json!({
        "task": line.task,
        "date": super::date(line.date),
        "machine_in_file": line.machine,
        "bin_in_file": line.bin,
        "product_in_file": line.product,
        "machine": machine,
        "bin": bin,
        "product": product,
        "applied_kg": line.kilograms,
        "area_m2": line.square_metres,
        "effective_h": line.hours,
        "tons": line.kilograms.map(|kg| kg / KILOGRAMS_PER_TON),
        "acres": line.square_metres.map(|m2| m2 / 10_000.0 / HECTARES_PER_ACRE),
        "result": line.fate.word(),
        "why": line.fate.why(),
    })
}

fn meter_row(line: &MeterLine) -> Value {
    json!({
        "date": super::date(line.date),
        "machine_in_file": line.machine,
        "machine": line.ours,
        "meter": line.meter,
        "reading": line.value,
        "unit": line.unit,
        "result": line.fate.word(),
        "why": line.fate.why(),
    })
}
