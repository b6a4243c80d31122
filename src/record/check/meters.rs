//! Meter readings.

use std::collections::BTreeSet;

use super::{Check, Finding, order, twins, unknown};
use crate::record::{MeterReading, ProblemKind, Table};

impl Check<'_> {
    pub(super) fn meters(&mut self) {
        let mut rows = std::mem::take(&mut self.records.meters);
        let machines: BTreeSet<&str> = self
            .records
            .machines
            .iter()
            .map(|m| m.name.as_str())
            .collect();
        self.notes.keep(
            Table::Meters,
            &mut rows,
            |m| m.row,
            |row| {
                let known = machines.contains(row.machine.as_str());
                let finding = || unknown("machine", "machine", &row.machine, Table::Machines);
                (!known).then(finding).into_iter().collect()
            },
        );
        for (later, earlier) in twins::pairs(&rows, |m| m.row, order::meter) {
            let finding = twins::equal(earlier);
            self.notes.remark(Table::Meters, Some(later), finding);
        }
        rows.sort_by(|a, b| order::meter(a, b).then(a.row.cmp(&b.row)));
        for pair in rows.windows(2) {
            if let Some(finding) = backwards(&pair[0], &pair[1]) {
                self.notes.remark(Table::Meters, Some(pair[1].row), finding);
            }
        }
        self.records.meters = rows;
    }
}

/// A meter that shows less than before.
fn backwards(earlier: &MeterReading, later: &MeterReading) -> Option<Finding> {
    let same = earlier.machine == later.machine && earlier.meter == later.meter;
    (same && later.reading < earlier.reading).then(|| {
        Finding::new(
            "reading",
            ProblemKind::Order,
            format!(
                "{}, below the {} of {}",
                later.reading, earlier.reading, earlier.date
            ),
            "a reading that is not below an earlier one; where the meter was changed, say so in `note`",
        )
    })
}
