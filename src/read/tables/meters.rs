//! `meters`

use crate::read::cell::{Wrong, quoted};
use crate::read::header::{AmountColumns, Spec};
use crate::read::row::Row;
use crate::record::{MeterKind, MeterReading, ProblemKind};
use crate::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

pub(super) const SPEC: Spec = Spec {
    name: "meters",
    columns: &[
        ("date", true),
        ("machine", true),
        ("meter", true),
        ("reading", true),
        ("product", false),
        ("unit", false),
        ("note", false),
    ],
    amounts: AmountColumns::None,
    groups: &[],
};

pub(in crate::read) fn row(row: &mut Row<'_>) -> MeterReading {
    let meter = row.needed_word("meter", &MeterKind::ALL.map(|kind| (kind.name(), kind)));
    let unit = row.text("unit");
    let factor = unit.as_ref().map_or(Some(1.0), |unit| factor(meter, unit));
    if let (None, Some(unit)) = (factor, unit) {
        let expected = format!("a unit of `{}`, or an empty cell", meter.name());
        let wrong = Wrong::new(ProblemKind::UnknownWord, quoted(&unit), expected);
        row.fault("unit", wrong);
    }
    MeterReading {
        row: row.number,
        date: row.needed_date("date"),
        machine: row.needed_text("machine"),
        meter,
        reading: row.needed_number("reading") * factor.unwrap_or(1.0),
        product: row.text("product"),
        note: row.text("note"),
        extra: row.extra(),
    }
}

/// What a reading in a unit is multiplied by; `None`: no unit of that meter. A meter that becomes no use
/// may be in any.
fn factor(meter: MeterKind, unit: &str) -> Option<f64> {
    let unit = unit.trim().to_lowercase();
    let unit = unit.as_str();
    match meter {
        MeterKind::Acres => match unit {
            "acres" | "acre" | "ac" => Some(1.0),
            "hectares" | "hectare" | "ha" => Some(1.0 / HECTARES_PER_ACRE),
            _ => None,
        },
        MeterKind::Tons => match unit {
            "tons" | "ton" | "short tons" => Some(1.0),
            "tonnes" | "tonne" | "t" => Some(1000.0 / KILOGRAMS_PER_TON),
            "kg" => Some(1.0 / KILOGRAMS_PER_TON),
            "lb" | "lbs" => Some(1.0 / 2000.0),
            _ => None,
        },
        MeterKind::Hours => match unit {
            "hours" | "hour" | "h" | "hr" | "hrs" => Some(1.0),
            _ => None,
        },
        MeterKind::EngineHours | MeterKind::Miles => Some(1.0),
    }
}
