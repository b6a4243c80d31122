//! `machines`

use crate::read::header::{AmountColumns, Spec, normal};
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
};

/// Columns that may be there beside them and must hold numbers: `list_price` and `hours_before`.
const NUMBERS: [&str; 2] = ["listprice", "hoursbefore"];

pub(in crate::read) fn row(row: &mut Row<'_>) -> Machine {
    let in_service = row.needed_date("in_service");
    let columns = row.columns();
    for index in &columns.extra {
        if NUMBERS.contains(&normal(&columns.headers[*index]).as_str()) {
            row.number_at(*index);
        }
    }
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
