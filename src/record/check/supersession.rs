//! The parts list and the numbers that supersede each other.

use std::collections::{BTreeMap, BTreeSet};

use super::{Check, Finding, Names};
use crate::record::{Part, ProblemKind, Table};

impl Check<'_> {
    pub(super) fn parts(&mut self) {
        let mut names = Names::new("part", "part");
        self.notes.keep(
            Table::Parts,
            &mut self.records.parts,
            |p| p.row,
            |part| {
                names
                    .twice(&format!("`{}`", part.number), part.row)
                    .into_iter()
                    .collect()
            },
        );
        let circle = circles(&self.records.parts);
        let mut replaced: BTreeMap<String, u32> = BTreeMap::new();
        self.notes.keep(Table::Parts, &mut self.records.parts, |p| p.row, |part| {
            let Some(old) = &part.replaces else { return Vec::new() };
            if circle.contains(&part.number) {
                return vec![supersession(
                    format!("`{}` replaces `{old}` and, by way of others or itself, is replaced by it", part.number),
                    "part numbers that replace older ones only; empty the cell of the oldest",
                )];
            }
            if let Some(first) = replaced.get(old) {
                return vec![supersession(
                    format!("`{old}`, which the part of row {first} replaces too"),
                    "one successor for a part number; empty one of the two cells",
                )];
            }
            replaced.insert(old.clone(), part.row);
            Vec::new()
        });
        self.families_of_successors();
        self.families_without_model();
        self.records.parts.sort_by(|a, b| a.number.cmp(&b.number));
    }

    /// A remark where a part number and its successor are of two families: a slip, most likely.
    fn families_of_successors(&mut self) {
        let parts = &self.records.parts;
        let of_old = |part: &Part| {
            parts
                .iter()
                .find(|old| Some(&old.number) == part.replaces.as_ref())
        };
        let other = parts.iter().filter_map(|part| {
            let old = of_old(part).filter(|old| old.family != part.family)?;
            let finding = Finding::new(
                "family",
                ProblemKind::Supersession,
                format!(
                    "`{}` of the family `{}`, which replaces `{}` of the family `{}`",
                    part.number, part.family, old.number, old.family
                ),
                "one family for a part and its successor, whose family all lives of both count in",
            );
            Some((part.row, finding))
        });
        let other: Vec<_> = other.collect();
        for (row, finding) in other {
            self.notes.remark(Table::Parts, Some(row), finding);
        }
    }

    /// One remark for each family without a model file, where it is first named.
    fn families_without_model(&mut self) {
        let mut told = BTreeSet::new();
        for part in &self.records.parts {
            if (self.context.family)(&part.family).has_model || !told.insert(part.family.clone()) {
                continue;
            }
            let finding = Finding::new(
                "family",
                ProblemKind::NoModel,
                format!("the family `{}`, which has no model file", part.family),
                "a model file in `models`; without one the records choose the measure, each piece has a life of its \
                 own, and a Weibull life with a weak prior on its shape is fitted",
            );
            self.notes.remark(Table::Parts, Some(part.row), finding);
        }
    }

    /// Family of every part number that is listed or superseded: the newest successor's.
    pub(super) fn families_by_number(&self) -> BTreeMap<String, String> {
        let parts = &self.records.parts;
        let successor: BTreeMap<&str, &Part> = parts
            .iter()
            .filter_map(|part| Some((part.replaces.as_deref()?, part)))
            .collect();
        let listed: BTreeMap<&str, &Part> = parts
            .iter()
            .map(|part| (part.number.as_str(), part))
            .collect();
        let newest = |number: &str| {
            let mut part = listed
                .get(number)
                .or_else(|| successor.get(number))
                .copied()?;
            // Circles have been set aside, so this comes to an end.
            while let Some(next) = successor.get(part.number.as_str()) {
                part = next;
            }
            Some((number.to_owned(), part.family.clone()))
        };
        listed
            .keys()
            .chain(successor.keys())
            .filter_map(|number| newest(number))
            .collect()
    }
}

fn supersession(found: String, expected: &str) -> Finding {
    Finding::new("replaces", ProblemKind::Supersession, found, expected)
}

/// The numbers of parts that stand in a circle of `replaces`.
fn circles(parts: &[Part]) -> BTreeSet<String> {
    let older: BTreeMap<&str, &str> = parts
        .iter()
        .filter_map(|part| Some((part.number.as_str(), part.replaces.as_deref()?)))
        .collect();
    let mut done: BTreeSet<&str> = BTreeSet::new();
    let mut circle = BTreeSet::new();
    for start in older.keys().copied() {
        let mut path: Vec<&str> = Vec::new();
        let mut on_path = BTreeSet::new();
        let mut number = start;
        while !done.contains(number) && on_path.insert(number) {
            path.push(number);
            match older.get(number) {
                Some(next) => number = next,
                None => break,
            }
        }
        if older.contains_key(number) && !done.contains(number) {
            let from = path.iter().position(|n| *n == number).unwrap_or(path.len());
            circle.extend(path[from..].iter().map(|n| (*n).to_owned()));
        }
        done.extend(path);
    }
    circle
}
