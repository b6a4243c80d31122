//! `parts`

use crate::read::cell::Wrong;
use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{Critical, Part, ProblemKind};

pub(super) const SPEC: Spec = Spec {
    name: "parts",
    columns: &[
        ("part", true),
        ("family", true),
        ("description", false),
        ("material", false),
        ("price", false),
        ("pack", false),
        ("lead_days", false),
        ("labor_hours", false),
        ("replaces", false),
        ("kit", false),
        ("critical", false),
        ("min_order", false),
        ("lead_days_spread", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

const CRITICAL: [(&str, Critical); 3] = [
    ("stops", Critical::Stops),
    ("degrades", Critical::Degrades),
    ("cosmetic", Critical::Cosmetic),
];

pub(in crate::read) fn row(row: &mut Row<'_>) -> Part {
    Part {
        row: row.number,
        number: row.needed_text("part"),
        family: row.needed_text("family"),
        description: row.text("description"),
        material: row.text("material"),
        price: row.number("price"),
        pack: row.whole("pack").unwrap_or(1),
        lead_days: row.number("lead_days"),
        lead_days_spread: spread(row),
        labor_hours: row.number("labor_hours"),
        replaces: row.text("replaces"),
        kit: row.text("kit"),
        critical: row.word("critical", &CRITICAL),
        min_order: row.number("min_order"),
        extra: row.extra(),
    }
}

fn spread(row: &mut Row<'_>) -> Option<f64> {
    let spread = row.number("lead_days_spread")?;
    if spread < 1.0 {
        let wrong = Wrong::new(
            ProblemKind::OutOfRange,
            format!("`{spread}`"),
            "a factor of 1 or more: 90 % of deliveries come within lead / spread .. lead * spread",
        );
        row.fault("lead_days_spread", wrong);
    }
    Some(spread)
}
