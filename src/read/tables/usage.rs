//! `usage`: rows are borrowed, because there may be very many.

use std::borrow::Cow;
use std::hash::{DefaultHasher, Hash, Hasher};

use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{UsageLog, UsageRow};

pub(super) const SPEC: Spec = Spec {
    name: "usage",
    columns: &[
        ("date", true),
        ("machine", true),
        ("product", true),
        ("bin", false),
    ],
    amounts: AmountColumns::Use { needed: true },
};

/// Reads a row into the log; `marks` gets a mark of its unknown columns, where there are any,
/// so that two loads with tickets of their own are not taken for one entered twice.
pub(in crate::read) fn row(row: &mut Row<'_>, log: &mut UsageLog, marks: &mut Vec<u64>) {
    let date = row.needed_date("date");
    let machine: Cow<'_, str> = row.needed_str("machine");
    let product: Cow<'_, str> = row.needed_str("product");
    let bin = row.str("bin");
    let amounts = row.amounts();
    if !row.is_sound() {
        return;
    }
    log.push(UsageRow {
        row: row.number,
        date,
        machine: &machine,
        product: &product,
        bin: bin.as_deref(),
        amounts,
    });
    let extra = &row.columns().extra;
    if !extra.is_empty() {
        let mut hasher = DefaultHasher::new();
        for index in extra {
            row.at(*index).as_text().hash(&mut hasher);
        }
        marks.push(hasher.finish());
    }
}
