//! Replacements, inspections, plan and stock.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::fleet::{counted, not_whole};
use super::{Check, FamilyFacts, Finding, Notes, order, pieces, twins, unknown, vague};
use crate::record::{
    Installed, Machine, PlanRow, Position, ProblemKind, Records, Replacement, Table,
};

/// Names to look up, over sound rows.
struct Known<'r> {
    machines: BTreeMap<&'r str, &'r Machine>,
    positions: BTreeMap<(&'r str, &'r str), &'r Position>,
    products: Option<BTreeSet<&'r str>>,
}

impl<'r> Known<'r> {
    fn new(records: &'r Records) -> Self {
        let listed = records.sources.contains_key(&Table::Products);
        Self {
            machines: records
                .machines
                .iter()
                .map(|m| (m.name.as_str(), m))
                .collect(),
            positions: records
                .positions
                .iter()
                .map(|p| ((p.machine.as_str(), p.name.as_str()), p))
                .collect(),
            products: listed.then(|| records.products.iter().map(|p| p.name.as_str()).collect()),
        }
    }

    /// Machine and position of a row, or what is unknown of them.
    fn place(&self, machine: &str, position: &str) -> Result<(&'r Machine, &'r Position), Finding> {
        let Some(found) = self.machines.get(machine) else {
            return Err(unknown("machine", "machine", machine, Table::Machines));
        };
        match self.positions.get(&(machine, position)) {
            Some(position) => Ok((found, position)),
            None => Err(unknown(
                "position",
                "position",
                &format!("{position}` of `{machine}"),
                Table::Positions,
            )),
        }
    }
}

impl Check<'_> {
    pub(super) fn replacements(&mut self) {
        let mut rows = std::mem::take(&mut self.records.replacements);
        self.narrow(&mut rows);
        let families = self.families_by_number();
        let Self {
            notes,
            records,
            context,
            ..
        } = self;
        let known = Known::new(records);
        drop_twins(notes, &mut rows);
        let facts = |part: &str| {
            families
                .get(part)
                .map_or_else(FamilyFacts::default, |name| (context.family)(name))
        };
        notes.keep_dated(
            Table::Replacements,
            &mut rows,
            |r| r.row,
            first_day,
            |row| {
                let mut findings = Vec::new();
                match known.place(&row.machine, &row.position) {
                    Err(finding) => findings.push(finding),
                    Ok((machine, position)) => {
                        findings.extend(out_of_time(row, machine, position));
                        findings.extend(does_not_fit(row, position, facts(&position.part)));
                    }
                }
                if let Some(part) = row
                    .part
                    .as_ref()
                    .filter(|part| !families.contains_key(*part))
                {
                    findings.push(unknown("part", "part", part, Table::Parts));
                }
                findings
            },
        );
        let overfull = overfull(&rows, &known);
        notes.keep_dated(
            Table::Replacements,
            &mut rows,
            |r| r.row,
            first_day,
            |row| overfull.get(&row.row).cloned().into_iter().collect(),
        );
        for (row, finding) in other_families(&rows, &known, &families) {
            notes.remark(Table::Replacements, row, finding);
        }
        vague::last_good(&mut rows);
        if let Some(finding) = vague::told(&rows) {
            self.notes.remark(Table::Replacements, None, finding);
        }
        self.records.replacements = rows;
    }

    pub(super) fn inspections(&mut self) {
        let mut rows = std::mem::take(&mut self.records.inspections);
        let families = self.families_by_number();
        let Self {
            notes,
            records,
            context,
            ..
        } = self;
        let known = Known::new(records);
        notes.keep_dated(
            Table::Inspections,
            &mut rows,
            |i| i.row,
            |i| Some(i.date),
            |row| match known.place(&row.machine, &row.position) {
                Err(finding) => vec![finding],
                Ok((_, position)) => {
                    let family = families.get(&position.part).map_or("", String::as_str);
                    let lowest = (context.lowest)(family, row);
                    below(row.value, lowest).into_iter().collect()
                }
            },
        );
        remark_twins(
            notes,
            Table::Inspections,
            &twins::pairs(&rows, |i| i.row, order::inspection),
        );
        self.records.inspections = rows;
    }

    pub(super) fn plan(&mut self) {
        let mut rows = std::mem::take(&mut self.records.plan);
        let Self { notes, records, .. } = self;
        let known = Known::new(records);
        notes.keep(
            Table::Plan,
            &mut rows,
            |p| p.row,
            |row| {
                let mut findings = Vec::new();
                if !known.machines.contains_key(row.machine.as_str()) {
                    findings.push(unknown("machine", "machine", &row.machine, Table::Machines));
                }
                if known
                    .products
                    .as_ref()
                    .is_some_and(|products| !products.contains(row.product.as_str()))
                {
                    findings.push(unknown("product", "product", &row.product, Table::Products));
                }
                findings
            },
        );
        for finding in after_retirement(&rows, &known) {
            notes.remark(Table::Plan, None, finding);
        }
        remark_twins(
            notes,
            Table::Plan,
            &twins::pairs(&rows, |p| p.row, order::plan),
        );
        self.records.plan = rows;
    }

    pub(super) fn stock(&mut self) {
        let mut rows = std::mem::take(&mut self.records.stock);
        let families = self.families_by_number();
        let notes = &mut self.notes;
        notes.keep(
            Table::Stock,
            &mut rows,
            |s| s.row,
            |row| {
                let is_known = families.contains_key(&row.part);
                (!is_known)
                    .then(|| unknown("part", "part", &row.part, Table::Parts))
                    .into_iter()
                    .collect()
            },
        );
        remark_twins(
            notes,
            Table::Stock,
            &twins::pairs(&rows, |s| s.row, order::stock),
        );
        self.records.stock = rows;
    }
}

/// Planned months that begin after their machine has left the fleet, machine by machine.
fn after_retirement(rows: &[PlanRow], known: &Known<'_>) -> Vec<Finding> {
    let mut after: BTreeMap<(&str, NaiveDate), u64> = BTreeMap::new();
    for row in rows {
        let machine = known.machines.get(row.machine.as_str());
        let retired = machine.and_then(|m| m.retired);
        if let Some(date) = retired.filter(|date| *date < row.month) {
            *after.entry((&row.machine, date)).or_default() += 1;
        }
    }
    let finding = |((machine, date), rows): ((&str, NaiveDate), u64)| {
        Finding::new(
            "month",
            ProblemKind::Order,
            format!("{} of `{machine}` after {date}", counted(rows, "plan")),
            format!("months up to {date}, when `{machine}` is retired; later ones are left out"),
        )
    };
    after.into_iter().map(finding).collect()
}

/// A reading further below 0 than measuring error goes.
fn below(value: f64, lowest: f64) -> Option<Finding> {
    (value < lowest.min(0.0)).then(|| {
        let expected = if lowest < 0.0 {
            format!("a number of {lowest} or more; less is more than a measuring error")
        } else {
            "a number that is not negative".to_owned()
        };
        Finding::new(
            "value",
            ProblemKind::OutOfRange,
            format!("`{value}`"),
            expected,
        )
    })
}

fn remark_twins(notes: &mut Notes, table: Table, pairs: &[(u32, u32)]) {
    for (row, earlier) in pairs {
        notes.remark(table, Some(*row), twins::equal(*earlier));
    }
}

/// The first day that a replacement can have been.
#[expect(clippy::unnecessary_wraps, reason = "tables without dates say `None`")]
fn first_day(row: &Replacement) -> Option<NaiveDate> {
    Some(row.date_from.unwrap_or(row.date).min(row.date))
}

/// Two equal replacements are one entered twice, or two that must be told apart.
fn drop_twins(notes: &mut Notes, rows: &mut Vec<Replacement>) {
    let pairs: BTreeMap<u32, u32> = twins::pairs(rows, |r| r.row, order::replacement)
        .into_iter()
        .collect();
    notes.keep_dated(Table::Replacements, rows, |r| r.row, first_day, |row| {
        let finding = |earlier: &u32| {
            Finding::new(
                "",
                ProblemKind::Identical,
                format!("the same as row {earlier}"),
                "a row for each replacement; delete one if it was entered twice, else write quantity 2 or name the slots",
            )
        };
        pairs.get(&row.row).map(finding).into_iter().collect()
    });
}

fn order_finding(column: &'static str, date: NaiveDate, expected: String) -> Finding {
    Finding::new(column, ProblemKind::Order, format!("`{date}`"), expected)
}

/// A replacement outside the time its machine and position can have one.
fn out_of_time(row: &Replacement, machine: &Machine, position: &Position) -> Vec<Finding> {
    let date = row.date;
    let mut findings = Vec::new();
    let name = &machine.name;
    if date < machine.in_service {
        let expected = format!(
            "a date on or after `in_service` {} of `{name}`",
            machine.in_service
        );
        findings.push(order_finding("date", date, expected));
    } else if date < machine.records_from {
        let expected = format!(
            "a date on or after `records_from` {} of `{name}`; tell of an earlier one by `installed` and \
             `..._before` in positions",
            machine.records_from
        );
        findings.push(order_finding("date", date, expected));
    } else if let Installed::On(installed) = position.installed
        && date < installed
    {
        let expected =
            format!("a date on or after {installed}, when the first part was fitted (`installed`)");
        findings.push(order_finding("date", date, expected));
    }
    if let Some(retired) = machine.retired.filter(|retired| *retired < date) {
        findings.push(order_finding(
            "date",
            date,
            format!("a date on or before {retired}, when `{name}` was retired"),
        ));
    }
    if let Some(first) = row.date_from.filter(|first| date < *first) {
        let expected = format!("a first possible day on or before the last, {date}");
        findings.push(order_finding("date_from", first, expected));
    }
    if let Some(last_good) = row.last_good.filter(|last_good| date < *last_good) {
        let expected = format!("a date on or before the replacement on {date}");
        findings.push(order_finding("last_good", last_good, expected));
    }
    findings
}

fn too_many(column: &'static str, found: String, expected: impl Into<String>) -> Finding {
    Finding::new(column, ProblemKind::TooMany, found, expected)
}

/// More pieces in one row than can be.
fn does_not_fit(row: &Replacement, position: &Position, family: FamilyFacts) -> Vec<Finding> {
    let Some(quantity) = row.quantity else {
        return Vec::new();
    };
    let mut findings = Vec::new();
    if !family.is_scheduled {
        findings.extend(not_whole(quantity));
    }
    if position.quantity < quantity {
        let expected = format!(
            "no more than the {} that the position holds",
            pieces(position.quantity)
        );
        findings.push(too_many("quantity", pieces(quantity), expected));
    } else if row.slot.is_some() && family.is_counted_each && !family.is_scheduled && 1.0 < quantity
    {
        let found = format!("{} in one slot", pieces(quantity));
        findings.push(too_many(
            "quantity",
            found,
            "1 piece where a slot is named; a row for each slot",
        ));
    }
    findings
}

/// Remarks told one by one; the rest are told as a number.
const TOLD: usize = 20;

/// Rows that fit a part of another family than that of their position: its life is counted as one of
/// its own family, which is most likely a slip.
///
/// - `families`: families by part number.
fn other_families(
    rows: &[Replacement],
    known: &Known<'_>,
    families: &BTreeMap<String, String>,
) -> Vec<(Option<u32>, Finding)> {
    let other = |row: &Replacement| {
        let part = row.part.as_ref()?;
        let (_, position) = known.place(&row.machine, &row.position).ok()?;
        let (found, wanted) = (families.get(part)?, families.get(&position.part)?);
        let finding = || {
            Finding::new(
                "part",
                ProblemKind::Odd,
                format!("`{part}` of the family `{found}`"),
                format!(
                    "a part of the family `{wanted}`, as `{}` of `{}` has; mend the part or the position \
                     if one of the two is mistyped",
                    position.name, position.machine
                ),
            )
        };
        (found != wanted).then(|| (Some(row.row), finding()))
    };
    let mut told: Vec<_> = rows.iter().filter_map(other).collect();
    let more = told.len().saturating_sub(TOLD);
    told.truncate(TOLD);
    if 0 < more {
        let finding = Finding::new(
            "part",
            ProblemKind::Odd,
            format!("{more} more parts of another family than their position's"),
            "parts of the family of their position; mend the parts or the positions",
        );
        told.push((None, finding));
    }
    told
}

/// What one position saw so far.
#[derive(Default)]
struct Seen<'r> {
    slots: BTreeSet<&'r str>,
    day: Option<NaiveDate>,
    today: f64,
    slots_today: BTreeSet<&'r str>,
}

/// Rows that, with earlier ones of their position, replace more than it holds; by row.
fn overfull<'r>(rows: &'r [Replacement], known: &Known<'_>) -> BTreeMap<u32, Finding> {
    let mut sorted: Vec<&Replacement> = rows.iter().collect();
    sorted.sort_by_key(|row| (row.date, row.row));
    let mut seen: BTreeMap<(&str, &str), Seen<'r>> = BTreeMap::new();
    let mut findings = BTreeMap::new();
    for row in sorted {
        let Ok((_, position)) = known.place(&row.machine, &row.position) else {
            continue;
        };
        let seen = seen.entry((&row.machine, &row.position)).or_default();
        if let Some(finding) = seen.add(row, position) {
            findings.insert(row.row, finding);
        }
    }
    findings
}

impl<'r> Seen<'r> {
    /// Adds a row if it fits, else says why not.
    fn add(&mut self, row: &'r Replacement, position: &Position) -> Option<Finding> {
        if self.day != Some(row.date) {
            self.day = Some(row.date);
            self.today = 0.0;
            self.slots_today.clear();
        }
        // A named slot is one piece, also where only the whole set has a life.
        let whole = position.quantity;
        let amount = row.quantity.unwrap_or(if row.slot.is_some() {
            whole.min(1.0)
        } else {
            whole
        });
        let slot = row.slot.as_deref();
        let finding = self
            .twice_a_day(slot, amount, position)
            .or_else(|| self.too_many(slot, amount, position));
        if finding.is_none() {
            self.today += amount;
            self.slots.extend(slot);
            self.slots_today.extend(slot);
        }
        finding
    }

    fn twice_a_day(&self, slot: Option<&str>, amount: f64, position: &Position) -> Option<Finding> {
        let expected =
            "one replacement a day; a part taken out the day it was fitted has no use of its own";
        if let Some(slot) = slot.filter(|slot| self.slots_today.contains(slot)) {
            let found = format!("a second replacement of slot `{slot}` that day");
            return Some(Finding::new("date", ProblemKind::Order, found, expected));
        }
        let is_whole = position.quantity <= amount && position.quantity <= self.today;
        is_whole.then(|| {
            let found = format!(
                "a second replacement of all of `{}` that day",
                position.name
            );
            Finding::new("date", ProblemKind::Order, found, expected)
        })
    }

    fn too_many(&self, slot: Option<&str>, amount: f64, position: &Position) -> Option<Finding> {
        let holds = pieces(position.quantity);
        if position.quantity < self.today + amount {
            let found = format!("{} on one day", pieces(self.today + amount));
            return Some(too_many(
                "quantity",
                found,
                format!("no more than the {holds} that the position holds"),
            ));
        }
        let slot = slot.filter(|slot| !self.slots.contains(slot))?;
        let slots = self.slots.len() + 1;
        (position.quantity < slots as f64).then(|| {
            let names: Vec<String> = self.slots.iter().map(|name| format!("`{name}`")).collect();
            let found = format!("`{slot}` beside {}", names.join(", "));
            too_many(
                "slot",
                found,
                format!("no more slots than the {holds} that the position holds; mind spelling"),
            )
        })
    }
}
