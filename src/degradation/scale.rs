//! Units of readings: lengths into each other, percent under its several names.

/// Names of a length and its millimetres.
const LENGTHS: [(&[&str], f64); 6] = [
    (
        &[
            "mm",
            "millimeter",
            "millimeters",
            "millimetre",
            "millimetres",
        ],
        1.0,
    ),
    (
        &[
            "cm",
            "centimeter",
            "centimeters",
            "centimetre",
            "centimetres",
        ],
        10.0,
    ),
    (&["m", "meter", "meters", "metre", "metres"], 1_000.0),
    (&["in", "inch", "inches", "\""], 25.4),
    (&["thou"], 0.0254),
    (&["ft", "foot", "feet"], 304.8),
];

const PERCENT: [&str; 4] = ["%", "percent", "per cent", "pct"];

/// What a value in `from` is multiplied by to be in `to`; `None` where that is not certain.
///
/// Names are compared without regard to case; a unit that is not in the table is only itself.
#[must_use]
pub fn factor(from: &str, to: &str) -> Option<f64> {
    let (from, to) = (from.trim().to_lowercase(), to.trim().to_lowercase());
    if from == to {
        return Some(1.0);
    }
    if is_percent(&from) && is_percent(&to) {
        return Some(1.0);
    }
    Some(millimetres(&from)? / millimetres(&to)?)
}

/// Whether a unit is a hundredth.
#[must_use]
pub fn is_percent(unit: &str) -> bool {
    PERCENT.contains(&unit.trim().to_lowercase().as_str())
}

fn millimetres(name: &str) -> Option<f64> {
    LENGTHS
        .iter()
        .find(|(names, _)| names.contains(&name))
        .map(|(_, mm)| *mm)
}
