//! `plan`

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::PlanRow;

pub(super) const SPEC: Spec = Spec {
    name: "plan",
    columns: &[
        ("month", true),
        ("machine", true),
        ("product", true),
        ("bin", false),
    ],
    amounts: AmountColumns::Use { needed: true },
    groups: &[],
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> PlanRow {
    PlanRow {
        row: row.number,
        month: row.needed_month("month"),
        machine: row.needed_text("machine"),
        product: row.needed_text("product"),
        bin: row.text("bin"),
        amounts: row.amounts(),
        extra: row.extra(),
    }
}
