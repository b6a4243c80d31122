//! Measures that parts are counted in and the log leaves out: then nothing is known of these parts.

use std::collections::{BTreeMap, BTreeSet};

use super::{Check, Finding};
use crate::record::{ProblemKind, Table};
use crate::units::Measure;

impl Check<'_> {
    /// Remarks on what was spread without the measure in which parts wear by it.
    pub(super) fn unmeasured(&mut self) {
        let usage = &self.records.usage;
        let totals = usage.totals();
        let mut told = Vec::new();
        for (measure, families) in self.families_by_measure() {
            let index = measure.index();
            let products = usage.products().iter().zip(&totals);
            let used = products.filter(|(_, total)| total.iter().any(Option::is_some));
            let (with, without): (Vec<_>, Vec<_>) =
                used.partition(|(_, total)| total[index].is_some());
            if without.is_empty() {
                continue;
            }
            let name = measure.name();
            let (kind, found) = if with.is_empty() {
                (ProblemKind::MissingColumn, format!("no {name} in any row"))
            } else {
                let products: Vec<&str> = without.iter().map(|(name, _)| name.as_str()).collect();
                let products = super::spellings::listed(&products);
                (ProblemKind::Odd, format!("no {name} of {products}"))
            };
            let how = match measure {
                Measure::Hours => ", or readings of an hour meter in `meters`",
                Measure::Tons => " (area times rate)",
                _ => "",
            };
            let families: Vec<&str> = families.into_iter().collect();
            let expected = format!(
                "{name}{how}, as lives of {} are counted in {name}; or a model file of your own that counts them in another measure, `life50` included",
                families.join(", ")
            );
            told.push(Finding::new(name, kind, found, expected));
        }
        for finding in told {
            self.notes.remark(Table::Usage, None, finding);
        }
    }

    /// The family of every part number.
    pub(super) fn families_of_parts(&self) -> BTreeMap<&str, &str> {
        let parts = self.records.parts.iter();
        parts
            .map(|p| (p.number.as_str(), p.family.as_str()))
            .collect()
    }

    /// Families in some position by the measure that their model files count them in.
    fn families_by_measure(&self) -> BTreeMap<Measure, BTreeSet<&str>> {
        let of_part = self.families_of_parts();
        let mut families: BTreeMap<Measure, BTreeSet<&str>> = BTreeMap::new();
        for position in &self.records.positions {
            let Some(family) = of_part.get(position.part.as_str()) else {
                continue;
            };
            let measure = (self.context.family)(family).measure;
            if let Some(measure) = measure.filter(|m| Measure::OF_USE.contains(m)) {
                families.entry(measure).or_default().insert(family);
            }
        }
        families
    }
}
