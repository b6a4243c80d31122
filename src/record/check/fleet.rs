//! Machines, products and positions.

use std::collections::{BTreeMap, BTreeSet};

use super::{Check, Finding, Names, unknown};
use crate::record::{Installed, Machine, Position, ProblemKind, Table};

impl Check<'_> {
    pub(super) fn machines(&mut self) {
        let mut names = Names::new("machine", "machine");
        self.notes.keep(
            Table::Machines,
            &mut self.records.machines,
            |m| m.row,
            |machine| {
                let mut findings: Vec<Finding> = names
                    .twice(&format!("`{}`", machine.name), machine.row)
                    .into_iter()
                    .collect();
                findings.extend(left_too_early(machine));
                findings
            },
        );
        self.records.machines.sort_by(|a, b| a.name.cmp(&b.name));
    }

    pub(super) fn products(&mut self) {
        let mut names = Names::new("product", "product");
        self.notes.keep(
            Table::Products,
            &mut self.records.products,
            |p| p.row,
            |product| {
                names
                    .twice(&format!("`{}`", product.name), product.row)
                    .into_iter()
                    .collect()
            },
        );
        self.records.products.sort_by(|a, b| a.name.cmp(&b.name));
    }

    pub(super) fn positions(&mut self) {
        let mut positions = std::mem::take(&mut self.records.positions);
        let mut names = Names::new("position", "position");
        let families = self.families_by_number();
        let Self {
            notes,
            records,
            context,
            ..
        } = self;
        let machines: BTreeMap<&str, &Machine> = records
            .machines
            .iter()
            .map(|m| (m.name.as_str(), m))
            .collect();
        notes.keep(
            Table::Positions,
            &mut positions,
            |p| p.row,
            |position| {
                let mut findings = Vec::new();
                match machines.get(position.machine.as_str()) {
                    None => findings.push(unknown(
                        "machine",
                        "machine",
                        &position.machine,
                        Table::Machines,
                    )),
                    Some(machine) => {
                        let name = format!("`{}` of `{}`", position.name, position.machine);
                        findings.extend(names.twice(&name, position.row));
                        findings.extend(fitted_too_late(position, machine));
                    }
                }
                match families.get(&position.part) {
                    None => findings.push(unknown("part", "part", &position.part, Table::Parts)),
                    Some(family) if !(context.family)(family).is_scheduled => {
                        findings.extend(not_whole(position.quantity));
                        findings.extend(far_too_many(position.quantity, MOST_PIECES));
                    }
                    Some(_) => findings.extend(far_too_many(position.quantity, MOST_UNITS)),
                }
                findings
            },
        );
        for position in &positions {
            if let Some(machine) = machines.get(position.machine.as_str())
                && let Some(finding) = idle_before(position, machine)
            {
                notes.remark(Table::Positions, Some(position.row), finding);
            }
        }
        positions.sort_by(|a, b| (&a.machine, &a.name).cmp(&(&b.machine, &b.name)));
        self.records.positions = positions;
    }

    /// Positions with a bin that no use is recorded for, and use without a bin, or through one that
    /// no position names, where bins matter.
    pub(super) fn bins(&mut self) {
        self.used_bins();
        self.planned_bins();
    }

    /// Bins of the positions of every machine that has any.
    fn bins_of_positions(&self) -> BTreeMap<&str, BTreeSet<&str>> {
        let mut bins: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for position in &self.records.positions {
            if let Some(bin) = position.bin.as_deref() {
                bins.entry(&position.machine).or_default().insert(bin);
            }
        }
        bins
    }

    /// The plan as a machine's positions see it: rows of it without a bin, or through an unknown one,
    /// are no use for those with a bin.
    fn planned_bins(&mut self) {
        let mut without: BTreeMap<&str, u64> = BTreeMap::new();
        let mut strange: BTreeMap<(&str, &str), u64> = BTreeMap::new();
        let of_positions = self.bins_of_positions();
        for row in &self.records.plan {
            let Some(bins) = of_positions.get(row.machine.as_str()) else {
                continue;
            };
            match row.bin.as_deref() {
                None => *without.entry(&row.machine).or_default() += 1,
                Some(bin) if !bins.contains(bin) => {
                    *strange.entry((&row.machine, bin)).or_default() += 1;
                }
                Some(_) => {}
            }
        }
        let mut findings: Vec<Finding> = (without.into_iter())
            .map(|(machine, rows)| without_bin(rows, "plan", machine))
            .collect();
        let told = |((machine, bin), rows): ((&str, &str), u64)| {
            let rows = format!("{} of", counted(rows, "plan"));
            strange_bin(&rows, machine, bin, &of_positions[machine])
        };
        findings.extend(strange.into_iter().map(told));
        for finding in findings {
            self.notes.remark(Table::Plan, None, finding);
        }
    }

    fn used_bins(&mut self) {
        let usage = &self.records.usage;
        if usage.is_empty() {
            return;
        }
        let of_positions = self.bins_of_positions();
        let mut of_usage = Vec::new();
        let mut used: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for (machine, known) in &of_positions {
            let bins: BTreeSet<&str> = usage.of_machine(machine).filter_map(|d| d.bin).collect();
            let without = usage.rows_without_bin(machine);
            of_usage.extend((0 < without).then(|| without_bin(without, "usage", machine)));
            let strange = bins.difference(known);
            of_usage.extend(strange.map(|bin| strange_bin("use of", machine, bin, known)));
            used.insert(machine, bins);
        }
        let idle = |position: &Position| {
            let bin = position.bin.as_deref()?;
            let is_used = used[position.machine.as_str()].contains(bin);
            (!is_used).then(|| (position.row, idle_bin(bin, &position.machine)))
        };
        let of_positions: Vec<(u32, Finding)> =
            self.records.positions.iter().filter_map(idle).collect();
        for (row, finding) in of_positions {
            self.notes.remark(Table::Positions, Some(row), finding);
        }
        for finding in of_usage {
            self.notes.remark(Table::Usage, None, finding);
        }
    }
}

/// A bin of a position through which nothing goes.
fn idle_bin(bin: &str, machine: &str) -> Finding {
    Finding::new(
        "bin",
        ProblemKind::Unknown,
        format!("the bin `{bin}`, for which no use of `{machine}` is recorded"),
        "a bin that the machine's usage rows name, or an empty cell for all of its use",
    )
}

/// `1 plan row`, `2 plan rows`.
pub(super) fn counted(rows: u64, table: &str) -> String {
    format!("{rows} {table} {}", if rows == 1 { "row" } else { "rows" })
}

/// Rows without a bin of a machine whose bins matter.
fn without_bin(rows: u64, table: &str, machine: &str) -> Finding {
    let else_ = if table == "plan" {
        "such use is shared out as past use was"
    } else {
        "such use does not count for those positions"
    };
    Finding::new(
        "bin",
        ProblemKind::Missing,
        format!("{} of `{machine}` without a bin", counted(rows, table)),
        format!("a bin in every row of a machine that has positions with bins; {else_}"),
    )
}

/// Use through a bin that no position of the machine names, where others are named.
fn strange_bin(what: &str, machine: &str, bin: &str, known: &BTreeSet<&str>) -> Finding {
    let known: Vec<String> = known.iter().map(|bin| format!("`{bin}`")).collect();
    Finding::new(
        "bin",
        ProblemKind::Unknown,
        format!("{what} `{machine}` through the bin `{bin}`, which none of its positions names"),
        format!(
            "{}; mind spelling and case: such use counts only for positions without a bin",
            known.join(" or ")
        ),
    )
}

fn left_too_early(machine: &Machine) -> Option<Finding> {
    let retired = machine.retired?;
    let first = machine.in_service;
    (retired < first).then(|| {
        let expected = format!("a date on or after `in_service` {first}");
        Finding::new(
            "retired",
            ProblemKind::Order,
            format!("`{retired}`"),
            expected,
        )
    })
}

fn fitted_too_late(position: &Position, machine: &Machine) -> Option<Finding> {
    let (Installed::On(installed), Some(retired)) = (position.installed, machine.retired) else {
        return None;
    };
    (retired < installed).then(|| {
        let expected = format!(
            "a date on or before {retired}, when `{}` was retired",
            machine.name
        );
        Finding::new(
            "installed",
            ProblemKind::Order,
            format!("`{installed}`"),
            expected,
        )
    })
}

/// Use before the records of a part that was fitted after they began.
fn idle_before(position: &Position, machine: &Machine) -> Option<Finding> {
    let Installed::On(installed) = position.installed else {
        return None;
    };
    let before = position.before;
    let has_use = [before.acres, before.tons, before.hours]
        .into_iter()
        .flatten()
        .any(|amount| 0.0 < amount);
    (has_use && machine.records_from <= installed).then(|| {
        Finding::new(
            "installed",
            ProblemKind::Order,
            format!("use before the records of a part fitted on {installed}"),
            format!(
                "a date before `records_from` {} of the machine, or no use before; it is not counted",
                machine.records_from
            ),
        )
    })
}

/// More wear parts, or gallons of a fluid, than any one position holds are a slip of the keyboard.
const MOST_PIECES: f64 = 500.0;
const MOST_UNITS: f64 = 10_000.0;

fn far_too_many(quantity: f64, most: f64) -> Option<Finding> {
    (most < quantity).then(|| {
        let expected = format!(
            "no more than {most} pieces in one position; name several positions if there are"
        );
        Finding::new(
            "quantity",
            ProblemKind::OutOfRange,
            format!("`{quantity}`"),
            expected,
        )
    })
}

/// Pieces are whole, except where a family is changed by schedule.
pub(super) fn not_whole(quantity: f64) -> Option<Finding> {
    (quantity.fract() != 0.0).then(|| {
        let expected =
            "a whole number of 1 or more; fractions are for scheduled families such as fluids";
        Finding::new(
            "quantity",
            ProblemKind::OutOfRange,
            format!("`{quantity}`"),
            expected,
        )
    })
}
