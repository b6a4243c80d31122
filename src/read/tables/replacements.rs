//! `replacements` and `inspections`: what was done and seen at a position.

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{Inspection, Reason, Replacement};

pub(super) const SPEC: Spec = Spec {
    name: "replacements",
    columns: &[
        ("date", true),
        ("machine", true),
        ("position", true),
        ("part", false),
        ("quantity", false),
        ("slot", false),
        ("reason", true),
        ("last_good", false),
        ("down_hours", false),
        ("labor_hours", false),
        ("parts_cost", false),
        ("note", false),
        ("date_from", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(super) const INSPECTIONS: Spec = Spec {
    name: "inspections",
    columns: &[
        ("date", true),
        ("machine", true),
        ("position", true),
        ("measure", true),
        ("value", true),
        ("unit", false),
        ("slot", false),
        ("note", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(in crate::read) fn replacement(row: &mut Row<'_>) -> Replacement {
    Replacement {
        row: row.number,
        date: row.needed_last_day("date"),
        date_from: row.date("date_from"),
        machine: row.needed_text("machine"),
        position: row.needed_text("position"),
        part: row.text("part"),
        quantity: row.positive("quantity"),
        slot: row.text("slot"),
        reason: row.needed_word("reason", &Reason::ALL.map(|reason| (reason.name(), reason))),
        last_good: row.date("last_good"),
        down_hours: row.number("down_hours"),
        labor_hours: row.number("labor_hours"),
        parts_cost: row.number("parts_cost"),
        note: row.text("note"),
        extra: row.extra(),
    }
}

pub(in crate::read) fn inspection(row: &mut Row<'_>) -> Inspection {
    Inspection {
        row: row.number,
        date: row.needed_date("date"),
        machine: row.needed_text("machine"),
        position: row.needed_text("position"),
        slot: row.text("slot"),
        measure: row.needed_text("measure"),
        // How far below 0 a reading may be depends on the family: the checks across tables ask.
        value: row.needed_signed("value"),
        unit: row.text("unit"),
        note: row.text("note"),
        extra: row.extra(),
    }
}
