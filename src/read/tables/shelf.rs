//! `stock`

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::StockRow;

pub(super) const SPEC: Spec = Spec {
    name: "stock",
    columns: &[
        ("part", true),
        ("on_hand", true),
        ("on_order", false),
        ("due", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> StockRow {
    StockRow {
        row: row.number,
        part: row.needed_text("part"),
        on_hand: row.needed_number("on_hand"),
        on_order: row.number("on_order"),
        due: row.date("due"),
        extra: row.extra(),
    }
}
