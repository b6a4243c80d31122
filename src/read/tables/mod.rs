//! The tables of a records folder: their columns, and a row of each as its type.

mod machines;
mod meters;
mod narrow;
mod parts;
mod plan;
mod positions;
mod products;
mod replacements;
mod shelf;
mod usage;

use chrono::NaiveDate;
use std::collections::BTreeMap;

use crate::record::Table;

use super::header::Spec;

pub(super) use machines::row as machine;
pub(super) use meters::row as meter;
pub(super) use parts::row as part;
pub(super) use plan::row as plan;
pub(super) use positions::row as position;
pub(super) use products::row as product;
pub(super) use replacements::{inspection, replacement};
pub(super) use shelf::row as stock;
pub(super) use usage::{Spread, UsageTake};

/// Date first used, by machine.
pub(super) type InService = BTreeMap<String, NaiveDate>;

/// The columns of daily sums that take the place of the usage log.
pub(super) fn sums_spec() -> &'static Spec {
    &usage::SUMS
}

/// The columns a table takes.
pub(super) fn spec(table: Table) -> &'static Spec {
    match table {
        Table::Machines => &machines::SPEC,
        Table::Positions => &positions::SPEC,
        Table::Parts => &parts::SPEC,
        Table::Products => &products::SPEC,
        Table::Usage => &usage::SPEC,
        Table::Replacements => &replacements::SPEC,
        Table::Inspections => &replacements::INSPECTIONS,
        Table::Plan => &plan::SPEC,
        Table::Stock => &shelf::SPEC,
        Table::Meters => &meters::SPEC,
    }
}
