//! Records as they stood on an earlier day.

use chrono::NaiveDate;

use crate::record::{Installed, Machine, Position, Records};

/// What was known at the end of `as_of`: every dated row up to that day, and machines whose
/// records had begun by then.
///
/// A retirement still to come is not known, nor is a position fitted later. Plan and stock are
/// left out, for they are of today. The lists without dates (parts, products, settings) stay as
/// they are.
#[must_use]
pub fn known_on(records: &Records, as_of: NaiveDate) -> Records {
    let machines: Vec<Machine> = records
        .machines
        .iter()
        .filter(|m| m.in_service <= as_of && m.records_from <= as_of)
        .map(|m| Machine {
            retired: m.retired.filter(|date| *date <= as_of),
            ..m.clone()
        })
        .collect();
    let begun = |name: &str| {
        machines
            .binary_search_by(|m| m.name.as_str().cmp(name))
            .is_ok()
    };
    let fitted = |p: &&Position| match p.installed {
        Installed::On(date) => date <= as_of,
        Installed::Unknown => true,
    };
    let positions = records.positions.iter();
    let replacements = records.replacements.iter();
    let inspections = records.inspections.iter();
    let meters = records.meters.iter();
    Records {
        positions: positions
            .filter(|p| begun(&p.machine))
            .filter(fitted)
            .cloned()
            .collect(),
        parts: records.parts.clone(),
        products: records.products.clone(),
        usage: records.usage.known_on(as_of).of_machines(begun),
        replacements: replacements
            .filter(|r| r.date <= as_of && begun(&r.machine))
            .cloned()
            .collect(),
        inspections: inspections
            .filter(|i| i.date <= as_of && begun(&i.machine))
            .cloned()
            .collect(),
        meters: meters
            .filter(|m| m.date <= as_of && begun(&m.machine))
            .cloned()
            .collect(),
        plan: Vec::new(),
        stock: Vec::new(),
        settings: records.settings.clone(),
        sources: records.sources.clone(),
        machines,
    }
}
