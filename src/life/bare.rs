//! A bare table of lives: what users have who keep no usage log.

use std::collections::BTreeMap;

use super::Ending;
use crate::units::Measure;

/// One row of a bare table of lives, in whatever measure its user counts.
#[derive(Clone, Debug, PartialEq)]
pub struct BareLife {
    /// Row of the table.
    pub row: u32,
    /// Family; `None` where the table has no such column or cell.
    pub family: Option<String>,
    /// Exposure at the end; `None`: not recorded, so the life cannot be fitted.
    pub life: Option<f64>,
    /// How it ended.
    pub ended: Ending,
    /// Exposure when last known good; `None` for a wear-out seen exactly.
    pub low: Option<f64>,
    /// Exposure when it came under observation; 0 where the cell is empty.
    pub entry: f64,
    /// This many lives are alike.
    pub count: u64,
    /// What its exposure is counted in; `None`: the table does not say.
    pub measure: Option<Measure>,
    /// The machine it was on, where the table says.
    pub machine: Option<String>,
    /// Whether anybody knows when it began; otherwise no fit can use it.
    pub start_known: bool,
    /// The group that counts as 1, where the table says.
    pub reference: Option<String>,
    /// `entry_GROUP`, `low_GROUP`, `use_GROUP` by group; an empty cell is 0 use of that group
    /// where another group of the row is recorded.
    pub groups: BTreeMap<String, BareUse>,
}

/// Use of one product group at entry, at last known good and at the end.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BareUse {
    /// At entry.
    pub entry: f64,
    /// When last known good; `None` where the table does not say.
    pub low: Option<f64>,
    /// At the end.
    pub end: f64,
}

/// A part in service, in a bare table of ages.
#[derive(Clone, Debug, PartialEq)]
pub struct BareAge {
    /// Row of the table.
    pub row: u32,
    /// Words for the part, where the table has a `name` column.
    pub name: Option<String>,
    /// Family.
    pub family: Option<String>,
    /// Exposure since new.
    pub age: f64,
    /// `use_GROUP` by group.
    pub groups: BTreeMap<String, f64>,
}
