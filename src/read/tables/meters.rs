//! `meters`

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{MeterKind, MeterReading};

pub(super) const SPEC: Spec = Spec {
    name: "meters",
    columns: &[
        ("date", true),
        ("machine", true),
        ("meter", true),
        ("reading", true),
        ("note", false),
    ],
    amounts: AmountColumns::None,
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> MeterReading {
    MeterReading {
        row: row.number,
        date: row.needed_date("date"),
        machine: row.needed_text("machine"),
        meter: row.needed_word("meter", &MeterKind::ALL.map(|kind| (kind.name(), kind))),
        reading: row.needed_number("reading"),
        note: row.text("note"),
        extra: row.extra(),
    }
}
