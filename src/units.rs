//! Units of use and of mass and area: one table of conversions, applied once at the entrance.
//!
//! Inside the program area is in acres, mass in short tons of 2,000 lb, time in hours and
//! calendar time in days. Other units exist only in the files read and in what is printed.

use serde::{Deserialize, Serialize};

/// Kilograms in a short ton of 2,000 lb: 2000 x 0.45359237 (international avoirdupois pound, 1959).
pub const KILOGRAMS_PER_TON: f64 = 907.184_74;
/// Hectares in an international acre: 4,046.8564224 square metres.
pub const HECTARES_PER_ACRE: f64 = 0.404_685_642_24;

/// What wears a part: the axis its life is measured on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Measure {
    /// Area spread, in acres.
    Acres,
    /// Mass spread, in short tons.
    Tons,
    /// Hours of use.
    Hours,
    /// Calendar days since the part was fitted.
    Days,
}

impl Measure {
    /// Every measure, in the order results list them.
    pub const ALL: [Self; 4] = [Self::Acres, Self::Tons, Self::Hours, Self::Days];
    /// The measures that a usage log records.
    pub const OF_USE: [Self; 3] = [Self::Acres, Self::Tons, Self::Hours];

    /// Place in [`Self::ALL`].
    #[must_use]
    pub fn index(self) -> usize {
        match self {
            Self::Acres => 0,
            Self::Tons => 1,
            Self::Hours => 2,
            Self::Days => 3,
        }
    }

    /// The word used in files and in JSON: `acres`, `tons`, `hours`, `days`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Acres => "acres",
            Self::Tons => "tons",
            Self::Hours => "hours",
            Self::Days => "days",
        }
    }

    /// The word printed for people, in their units.
    #[must_use]
    pub fn label(self, units: Units) -> &'static str {
        match (self, units) {
            (Self::Acres, Units::Metric) => "hectares",
            (Self::Tons, Units::Metric) => "tonnes",
            _ => self.name(),
        }
    }

    /// An amount in internal units as people of those units read it.
    #[must_use]
    pub fn shown(self, amount: f64, units: Units) -> f64 {
        match (self, units) {
            (Self::Acres, Units::Metric) => amount * HECTARES_PER_ACRE,
            (Self::Tons, Units::Metric) => amount * KILOGRAMS_PER_TON / 1000.0,
            _ => amount,
        }
    }
}

/// The units results are printed in; JSON keys carry their unit and never change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Acres and short tons.
    #[default]
    Us,
    /// Hectares and tonnes.
    Metric,
}

/// A unit that a column header can carry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaderUnit {
    /// The word in the header.
    pub word: &'static str,
    /// What it measures.
    pub measure: Measure,
    /// Internal units in one of it.
    pub factor: f64,
}

/// Every unit word a header may carry.
pub const HEADER_UNITS: [HeaderUnit; 7] = [
    HeaderUnit {
        word: "acres",
        measure: Measure::Acres,
        factor: 1.0,
    },
    HeaderUnit {
        word: "hectares",
        measure: Measure::Acres,
        factor: 1.0 / HECTARES_PER_ACRE,
    },
    HeaderUnit {
        word: "tons",
        measure: Measure::Tons,
        factor: 1.0,
    },
    HeaderUnit {
        word: "tonnes",
        measure: Measure::Tons,
        factor: 1000.0 / KILOGRAMS_PER_TON,
    },
    HeaderUnit {
        word: "lb",
        measure: Measure::Tons,
        factor: 1.0 / 2000.0,
    },
    HeaderUnit {
        word: "kg",
        measure: Measure::Tons,
        factor: 1.0 / KILOGRAMS_PER_TON,
    },
    HeaderUnit {
        word: "hours",
        measure: Measure::Hours,
        factor: 1.0,
    },
];
