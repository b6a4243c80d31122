//! `products`

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::Product;

pub(super) const SPEC: Spec = Spec {
    name: "products",
    columns: &[("product", true), ("group", false)],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> Product {
    let name = row.needed_text("product");
    Product {
        row: row.number,
        group: row.text("group").unwrap_or_else(|| name.clone()),
        extra: row.extra(),
        name,
    }
}
