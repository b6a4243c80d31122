//! Sample folders that are part of the program.

/// A folder of invented records.
pub(super) struct Sample {
    /// What it is asked for by.
    name: &'static str,
    /// Names and bytes.
    pub(super) files: &'static [(&'static str, &'static [u8])],
}

macro_rules! sample {
    ($name:literal: $($file:literal)+) => {
        Sample {
            name: $name,
            files: &[$((
                $file,
                include_bytes!(concat!(
                    env!("CARGO_MANIFEST_DIR"), "/sample-data/", $name, "/", $file
                )),
            )),+],
        }
    };
}

/// One line a folder of `sample-data`: its name and its files.
const SAMPLES: &[Sample] = &[
    sample!("owner": "README.md" "inspections.csv" "machines.csv" "parts.csv" "plan.csv" "positions.csv" "products.csv" "replacements.csv" "settings.toml" "stock.csv" "usage.csv"),
    sample!("desk": "README.md" "inspections.csv" "machines.csv" "parts.csv" "plan.csv" "positions.csv" "products.csv" "replacements.csv" "settings.toml" "stock.csv" "usage.csv"),
    sample!("fleet": "README.md" "inspections.csv" "machines.csv" "parts.csv" "plan.csv" "positions.csv" "products.csv" "replacements.csv" "settings.toml" "stock.csv" "usage.csv" "models/spinner-fin.toml"),
];

/// The sample of that name.
pub(super) fn find(name: &str) -> Option<&'static Sample> {
    SAMPLES.iter().find(|sample| sample.name == name)
}

/// Names of all samples.
pub(in crate::cli) fn names() -> impl Iterator<Item = &'static str> {
    SAMPLES.iter().map(|sample| sample.name)
}
