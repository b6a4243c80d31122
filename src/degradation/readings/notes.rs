//! Sentences on inspections: what was taken for granted of them, and why some are not used.

use std::collections::BTreeMap;

use super::Gatherer;
use crate::record::Table;

impl Gatherer<'_> {
    pub(super) fn source(&self) -> String {
        let sources = &self.context.records.sources;
        let named = sources.get(&Table::Inspections);
        named.map_or_else(|| "inspections".to_owned(), Clone::clone)
    }

    pub(super) fn notes(&self, notes: &mut Vec<String>) {
        let source = self.source();
        if !self.without_unit.is_empty() {
            notes.push(format!(
                "inspections without a unit, taken to be in the unit of the limit: {source} {}",
                rows(&self.without_unit)
            ));
        }
        if !self.of_oldest.is_empty() {
            notes.push(format!(
                "inspections past the limit that do not say which of several parts was measured, taken to be of the oldest: {source} {}",
                rows(&self.of_oldest)
            ));
        }
        if !self.fractions.is_empty() {
            notes.push(format!(
                "readings in percent that look like fractions: {source} {}; a spreadsheet cell that shows 1.4 % holds 0.014 and is read as 0.014 %, so write 1.4",
                rows(&self.fractions)
            ));
        }
        if !self.timeless.is_empty() {
            notes.push(format!(
                "inspections that count for the limit alone, as nobody knows what the part had done by then: {source} {}; the day it was fitted (`installed`), or a rough figure of what it did before (`tons_before` and the like), makes a path of them",
                rows(&self.timeless)
            ));
        }
        let mut by_reason: BTreeMap<&str, Vec<u32>> = BTreeMap::new();
        for unused in &self.unused {
            by_reason.entry(&unused.why).or_default().push(unused.row);
        }
        for (why, at) in by_reason {
            notes.push(format!(
                "inspections kept but not used, {why}: {source} {}",
                rows(&at)
            ));
        }
    }
}

/// `row 3` or `rows 3, 5`; the first of many.
fn rows(at: &[u32]) -> String {
    const FEW: usize = 12;
    let list: Vec<String> = at.iter().take(FEW).map(ToString::to_string).collect();
    let more = match at.len().saturating_sub(FEW) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!(
        "row{} {}{more}",
        if at.len() == 1 { "" } else { "s" },
        list.join(", ")
    )
}
