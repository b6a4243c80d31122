//! The usage log.

use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::{Check, Finding, unknown};
use crate::record::{Amounts, Machine, ProblemKind, Table, UsageRow};

/// Equal rows told one by one; the rest are told as a number.
const TOLD: usize = 20;

impl Check<'_> {
    pub(super) fn usage(&mut self) {
        let records = &self.records;
        let machines: BTreeMap<&str, &Machine> = records
            .machines
            .iter()
            .map(|m| (m.name.as_str(), m))
            .collect();
        let listed = records.sources.contains_key(&Table::Products);
        let products: BTreeSet<&str> = records.products.iter().map(|p| p.name.as_str()).collect();
        let mut kept = vec![true; records.usage.len()];
        for (row, kept) in records.usage.iter().zip(&mut kept) {
            let mut findings = Vec::new();
            match machines.get(row.machine) {
                None => findings.push(unknown("machine", "machine", row.machine, Table::Machines)),
                Some(machine) => findings.extend(out_of_time(row, machine)),
            }
            if listed && !products.contains(row.product) {
                findings.push(unknown("product", "product", row.product, Table::Products));
            }
            *kept = self.notes.passes(Table::Usage, row.row, findings);
        }
        self.twin_usage(&kept);
        if kept.contains(&false) {
            let mut kept = kept.into_iter();
            self.records.usage = self.records.usage.filtered(|_| kept.next().unwrap_or(true));
        }
    }

    /// Remarks on rows equal to an earlier one: eight bytes a row, then a second look at the few.
    fn twin_usage(&mut self, kept: &[bool]) {
        let usage = &self.records.usage;
        let mark = |index: usize| self.context.usage_marks.get(index).copied().unwrap_or(0);
        let mut hashes: Vec<u64> = usage
            .iter()
            .enumerate()
            .filter(|(i, _)| kept[*i])
            .map(|(i, row)| hash(row, mark(i)))
            .collect();
        hashes.sort_unstable();
        let repeated: BTreeSet<u64> = hashes
            .windows(2)
            .filter(|w| w[0] == w[1])
            .map(|w| w[0])
            .collect();
        drop(hashes);
        if repeated.is_empty() {
            return;
        }
        let mut first: BTreeMap<u64, usize> = BTreeMap::new();
        let mut twins: Vec<(u32, u32)> = Vec::new();
        for (index, row) in usage.iter().enumerate().filter(|(i, _)| kept[*i]) {
            let hash = hash(row, mark(index));
            if !repeated.contains(&hash) {
                continue;
            }
            match first.get(&hash).map(|earlier| usage.get(*earlier)) {
                Some(earlier) if alike(earlier, row) => twins.push((row.row, earlier.row)),
                Some(_) => {}
                None => drop(first.insert(hash, index)),
            }
        }
        for (row, earlier) in twins.iter().take(TOLD) {
            self.notes
                .remark(Table::Usage, Some(*row), super::twins::equal(*earlier));
        }
        if TOLD < twins.len() {
            let finding = Finding::new(
                "",
                ProblemKind::Identical,
                format!("{} more rows equal to an earlier one", twins.len() - TOLD),
                super::twins::IF_TWICE,
            );
            self.notes.remark(Table::Usage, None, finding);
        }
    }
}

fn bits(amounts: Amounts) -> [Option<u64>; 3] {
    [amounts.acres, amounts.tons, amounts.hours].map(|amount| amount.map(f64::to_bits))
}

fn hash(row: UsageRow<'_>, mark: u64) -> u64 {
    let mut hasher = DefaultHasher::new();
    (
        row.date,
        row.machine,
        row.product,
        row.bin,
        bits(row.amounts),
        mark,
    )
        .hash(&mut hasher);
    hasher.finish()
}

fn alike(a: UsageRow<'_>, b: UsageRow<'_>) -> bool {
    UsageRow { row: b.row, ..a } == b
}

/// Use outside the time for which the machine's records are complete.
fn out_of_time(row: UsageRow<'_>, machine: &Machine) -> Option<Finding> {
    let date = row.date;
    if date < machine.records_from {
        let expected = format!(
            "a date on or after `records_from` {} of `{}`; give earlier use as `..._before` in positions, \
             or an earlier `records_from` if usage and replacements are complete from then",
            machine.records_from, machine.name
        );
        return Some(Finding::new(
            "date",
            ProblemKind::Order,
            format!("`{date}`"),
            expected,
        ));
    }
    let retired = machine.retired.filter(|retired| *retired < date)?;
    let expected = format!(
        "a date on or before {retired}, when `{}` was retired",
        machine.name
    );
    Some(Finding::new(
        "date",
        ProblemKind::Order,
        format!("`{date}`"),
        expected,
    ))
}
