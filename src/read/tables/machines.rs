//! `machines`

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::Machine;

pub(super) const SPEC: Spec = Spec {
    name: "machines",
    columns: &[
        ("machine", true),
        ("in_service", true),
        ("records_from", false),
        ("retired", false),
        ("site", false),
        ("customer", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> Machine {
    let in_service = row.needed_date("in_service");
    Machine {
        row: row.number,
        name: row.needed_text("machine"),
        in_service,
        records_from: row.date("records_from").unwrap_or(in_service),
        retired: row.date("retired"),
        site: row.text("site"),
        customer: row.text("customer"),
        extra: row.extra(),
    }
}
