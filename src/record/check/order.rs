//! The order of rows: by what they say, never by where they stand in a file.

use std::cmp::Ordering;

use crate::record::{Amounts, Inspection, MeterReading, PlanRow, Records, Replacement, StockRow};

/// Floats as they sort; equal bits are equal.
fn float(a: Option<f64>, b: Option<f64>) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) => a.total_cmp(&b),
        (a, b) => a.is_some().cmp(&b.is_some()),
    }
}

fn amounts(a: Amounts, b: Amounts) -> Ordering {
    float(a.acres, b.acres)
        .then_with(|| float(a.tons, b.tons))
        .then_with(|| float(a.hours, b.hours))
}

/// Of one day those that name their slot come first: the oldest of the pieces is then not one of theirs.
pub(super) fn replacement(a: &Replacement, b: &Replacement) -> Ordering {
    (a.date, &a.machine, &a.position)
        .cmp(&(b.date, &b.machine, &b.position))
        .then_with(|| a.slot.is_none().cmp(&b.slot.is_none()))
        .then_with(|| (&a.slot, a.reason).cmp(&(&b.slot, b.reason)))
        .then_with(|| {
            (&a.part, a.last_good, &a.note, a.date_from).cmp(&(
                &b.part,
                b.last_good,
                &b.note,
                b.date_from,
            ))
        })
        .then_with(|| float(a.quantity, b.quantity))
        .then_with(|| float(a.down_hours, b.down_hours))
        .then_with(|| float(a.labor_hours, b.labor_hours))
        .then_with(|| float(a.parts_cost, b.parts_cost))
        .then_with(|| a.extra.cmp(&b.extra))
}

pub(super) fn inspection(a: &Inspection, b: &Inspection) -> Ordering {
    (a.date, &a.machine, &a.position, &a.slot)
        .cmp(&(b.date, &b.machine, &b.position, &b.slot))
        .then_with(|| (&a.measure, &a.unit, &a.note).cmp(&(&b.measure, &b.unit, &b.note)))
        .then_with(|| a.value.total_cmp(&b.value))
        .then_with(|| a.extra.cmp(&b.extra))
}

pub(super) fn plan(a: &PlanRow, b: &PlanRow) -> Ordering {
    (a.month, &a.machine, &a.product, &a.bin)
        .cmp(&(b.month, &b.machine, &b.product, &b.bin))
        .then_with(|| amounts(a.amounts, b.amounts))
        .then_with(|| a.extra.cmp(&b.extra))
}

pub(super) fn stock(a: &StockRow, b: &StockRow) -> Ordering {
    a.part
        .cmp(&b.part)
        .then_with(|| a.on_hand.total_cmp(&b.on_hand))
        .then_with(|| float(a.on_order, b.on_order))
        .then_with(|| (a.due, &a.extra).cmp(&(b.due, &b.extra)))
}

pub(super) fn meter(a: &MeterReading, b: &MeterReading) -> Ordering {
    (&a.machine, a.meter, a.date)
        .cmp(&(&b.machine, b.meter, b.date))
        .then_with(|| a.reading.total_cmp(&b.reading))
        .then_with(|| (&a.note, &a.extra).cmp(&(&b.note, &b.extra)))
}

/// Sorts the lists that are not sorted by a name alone.
pub(super) fn sort(records: &mut Records) {
    records
        .replacements
        .sort_by(|a, b| replacement(a, b).then(a.row.cmp(&b.row)));
    records
        .inspections
        .sort_by(|a, b| inspection(a, b).then(a.row.cmp(&b.row)));
    records
        .plan
        .sort_by(|a, b| plan(a, b).then(a.row.cmp(&b.row)));
    records
        .stock
        .sort_by(|a, b| stock(a, b).then(a.row.cmp(&b.row)));
    records
        .meters
        .sort_by(|a, b| meter(a, b).then(a.row.cmp(&b.row)));
}
