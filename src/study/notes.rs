//! Sentences that results begin with, or end on.

use std::collections::BTreeSet;

use crate::forecast::plan;
use crate::forecast::unit::{Age, InService, Unit};
use crate::record::{Account, Table};

/// Which rows are in no figure: what they would have said is missing from every one.
pub(super) fn set_aside(accounts: &[Account]) -> Option<String> {
    let short: Vec<&Account> = accounts.iter().filter(|a| 0 < a.set_aside).collect();
    let tables = short.iter().map(|a| {
        let (table, rows) = (a.table.name(), a.set_aside);
        format!("{table} {rows} of {}", a.read)
    });
    let tables: Vec<String> = tables.collect();
    let places = [Table::Machines, Table::Positions];
    let parts_left_out = short.iter().any(|a| places.contains(&a.table));
    let what = if parts_left_out {
        "; the parts that sit there are in no figure, so the sums are too low"
    } else {
        ""
    };
    (!tables.is_empty()).then(|| {
        format!(
            "rows with problems are set aside: {}{what}; `wearcast check` lists them",
            tables.join(", ")
        )
    })
}

/// Scheduled work that is to be done before the season.
pub(super) fn due_before(in_service: &InService) -> Option<String> {
    let work: BTreeSet<String> = in_service
        .due_before
        .iter()
        .map(|due| {
            let machine = &in_service.machines[due.machine];
            format!("{} of {machine} ({})", due.position, due.date)
        })
        .collect();
    (!work.is_empty()).then(|| {
        format!(
            "scheduled work that is due before the season is taken to be done then, and is in no figure of it: {}",
            plan::list(&work)
        )
    })
}

/// How many parts are of no known age.
pub(super) fn unknown_ages(units: &[Unit]) -> Option<String> {
    let is_unknown = |unit: &&Unit| matches!(unit.age, Age::AtLeast(_));
    let count = units.iter().filter(is_unknown).count();
    (0 < count).then(|| {
        format!(
            "parts in service whose age nobody knows, taken as of any age their family allows beyond the use on record: {count}"
        )
    })
}
