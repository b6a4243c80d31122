//! `positions`

use super::InService;
use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{Installed, Position};

pub(super) const SPEC: Spec = Spec {
    name: "positions",
    columns: &[
        ("machine", true),
        ("position", true),
        ("part", true),
        ("quantity", false),
        ("bin", false),
        ("installed", false),
    ],
    amounts: AmountColumns::Before,
    groups: &[],
};

/// A position of a machine that is not listed gets some date; it is set aside for its machine.
pub(in crate::read) fn row(row: &mut Row<'_>, in_service: &InService) -> Position {
    let machine = row.needed_text("machine");
    let unknown = row
        .str("installed")
        .is_some_and(|text| text.eq_ignore_ascii_case("unknown"));
    let date = if unknown { None } else { row.date("installed") };
    let installed = if unknown {
        Installed::Unknown
    } else {
        let with_machine = in_service.get(&machine).copied();
        Installed::On(date.or(with_machine).unwrap_or_default())
    };
    Position {
        row: row.number,
        name: row.needed_text("position"),
        part: row.needed_text("part"),
        quantity: row.positive("quantity").unwrap_or(1.0),
        bin: row.text("bin"),
        installed,
        is_dated: date.is_some(),
        before: row.amounts(),
        extra: row.extra(),
        machine,
    }
}
