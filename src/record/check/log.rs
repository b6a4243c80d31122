//! The usage log: row by row while it is read, so that no row has to be kept for its sake.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate};

use super::{Check, Finding, Notes, unknown};
use crate::record::usage::{Gather, UsageLog, UseColumns};
use crate::record::{Machine, ProblemKind, Records, Table};

/// Equal rows told one by one; the rest are told as a number.
const TOLD: usize = 20;
/// The code of an amount that a row leaves out.
const NO_AMOUNT: u32 = u32::MAX;
/// Begins the name of a group that no product has: no text of a table begins so.
const NO_GROUP: char = '\n';

/// Days on which use of a machine may be recorded; none where the machine is not known.
#[derive(Clone, Copy, Debug)]
struct Time {
    from: u32,
    to: u32,
}

/// Checks rows of the usage log as they come, and gathers those that pass.
///
/// Names have numbers, which are looked up once for many rows.
pub struct LogCheck {
    gather: Gather,
    machines: BTreeMap<String, Machine>,
    /// Products there may be; `None`: any.
    products: Option<BTreeSet<String>>,
    /// A product of each group, to stand for the group where use is given by it.
    of_groups: BTreeMap<String, String>,
    times: Vec<Time>,
    /// By pair of bin and product: whether its product is known.
    known: Vec<bool>,
    /// Rows after this day are counted.
    as_of: u32,
    later: u64,
    /// Rows without any amount, and the number of the first.
    empty: u64,
    first_empty: Option<u32>,
    /// Where each file's rows begin among all.
    files: Vec<(u64, String)>,
    /// The number of the last row.
    last: u64,
    /// Room for the numbers of many rows.
    numbers: Vec<u32>,
    notes: Notes,
}

/// A day as rows carry it: counted from the first of the common era.
fn number(date: NaiveDate) -> u32 {
    u32::try_from(date.num_days_from_ce()).unwrap_or(0)
}

/// The number by which a row is known. Four billion rows have numbers; of more, only equal ones
/// would be told by a wrong row.
fn own_number(number: u64) -> u32 {
    number.min(u64::from(u32::MAX - 1)) as u32
}

impl LogCheck {
    /// Against the machines and products that have passed their own checks.
    pub(super) fn new(records: &Records, as_of: Option<NaiveDate>) -> Self {
        let machines = records.machines.iter();
        let mut of_groups: BTreeMap<String, String> = BTreeMap::new();
        for product in &records.products {
            let stands = of_groups.entry(product.group.clone());
            let stands = stands.or_insert_with(|| product.name.clone());
            // The product of the group's own name, where there is one, or else the first by name.
            let is_better = product.name < *stands && *stands != product.group;
            if is_better || product.name == product.group {
                stands.clone_from(&product.name);
            }
        }
        let products = records.products.iter().map(|p| p.name.clone());
        Self {
            gather: Gather::default(),
            machines: machines.map(|m| (m.name.clone(), m.clone())).collect(),
            products: records
                .sources
                .contains_key(&Table::Products)
                .then(|| products.collect()),
            of_groups,
            times: Vec::new(),
            known: Vec::new(),
            as_of: as_of.map_or(u32::MAX, number),
            later: 0,
            empty: 0,
            first_empty: None,
            files: Vec::new(),
            last: 0,
            numbers: Vec::new(),
            notes: Notes {
                as_of,
                ..Notes::default()
            },
        }
    }

    /// The rows to come are those of a file, in units of which one is `factors` internal ones:
    /// acres, tons, hours.
    pub fn file(&mut self, source: &str, factors: [f64; 3]) {
        self.files.push((self.last, source.to_owned()));
        self.notes.sources.insert(Table::Usage, source.to_owned());
        self.gather.units(factors);
    }

    /// The number of a machine, known or not.
    pub fn machine(&mut self, name: &str) -> u32 {
        let number = self.gather.machine(name);
        if self.times.len() <= number as usize {
            self.times.push(self.machines.get(name).map_or(
                Time {
                    from: u32::MAX,
                    to: 0,
                },
                |machine| Time {
                    from: self::number(machine.records_from),
                    to: machine.retired.map_or(u32::MAX, self::number),
                },
            ));
        }
        number
    }

    /// The number of a product.
    pub fn product(&mut self, name: &str) -> u32 {
        self.gather.product(name)
    }

    /// The number of a product that stands for a product group.
    pub fn group(&mut self, name: &str) -> u32 {
        if self.products.is_none() {
            return self.gather.product(name);
        }
        match self.of_groups.get(name) {
            Some(product) => self.gather.product(product),
            None => self.gather.product(&format!("{NO_GROUP}{name}")),
        }
    }

    /// The number of a bin.
    pub fn bin(&mut self, name: &str) -> u32 {
        self.gather.bin(name)
    }

    /// The number of a product that went through a bin, known or not.
    pub fn pair(&mut self, bin: Option<u32>, product: u32) -> u32 {
        let pair = self.gather.pair(bin, product);
        if self.known.len() <= pair as usize {
            let name = self.gather.product_name(product);
            let listed = self.products.as_ref().is_none_or(|p| p.contains(name));
            self.known.push(listed);
        }
        pair
    }

    /// Takes in a row.
    ///
    /// - `row`: of its file, the header being row 1.
    /// - `day`, `amounts` and `mark`: see [`Gather::push`].
    #[inline]
    pub fn row(
        &mut self,
        row: u32,
        day: u32,
        (machine, pair): (u32, u32),
        amounts: [f64; 3],
        mark: u64,
    ) {
        if let Some(number) = self.admitted(row, day, (machine, pair)) {
            if amounts.iter().all(|amount| amount.is_nan()) {
                self.is_empty(number);
            }
            self.gather
                .push(number, day, (machine, pair), amounts, mark);
        }
    }

    /// Takes in a row as [`Gather::push_plain`] does.
    #[inline]
    pub fn plain_row(&mut self, row: u32, day: u32, what: (u32, u32), codes: [u32; 3]) {
        if let Some(number) = self.admitted(row, day, what) {
            if codes == [NO_AMOUNT; 3] {
                self.is_empty(number);
            }
            self.gather.push_plain(number, day, what, codes);
        }
    }

    /// Takes in many rows of a file as [`Self::plain_row`] does; the first is its row `first`, so that
    /// their own numbers are not asked for.
    pub fn plain_rows(&mut self, first: u32, machines: &[u32], columns: &UseColumns<'_>) {
        let days = columns.days.iter();
        let (first_day, last_day) =
            days.fold((u32::MAX, 0), |(a, b), day| (a.min(*day), b.max(*day)));
        if !self.admits_all((first_day, last_day), machines, columns) {
            let each = columns.days.iter().zip(machines.iter().zip(columns.pairs));
            for (i, (day, (machine, pair))) in each.enumerate() {
                let codes = columns.codes.map(|codes| codes[i]);
                self.plain_row(first + i as u32, *day, (*machine, *pair), codes);
            }
            return;
        }
        let begun = self.begun();
        self.last = self
            .last
            .max(begun + u64::from(first) + machines.len() as u64 - 1);
        if self.as_of < last_day {
            let later = columns.days.iter().filter(|day| self.as_of < **day);
            self.later += later.count() as u64;
        }
        let mut numbers = std::mem::take(&mut self.numbers);
        numbers.clear();
        numbers.extend(
            (begun + u64::from(first)..)
                .take(machines.len())
                .map(own_number),
        );
        self.note_empty(&numbers, columns);
        let rows = &numbers;
        self.gather
            .extend_plain(machines, &UseColumns { rows, ..*columns });
        self.numbers = numbers;
    }

    /// Counts a row without any amount.
    #[cold]
    fn is_empty(&mut self, number: u32) {
        self.empty += 1;
        self.first_empty.get_or_insert(number);
    }

    fn note_empty(&mut self, numbers: &[u32], columns: &UseColumns<'_>) {
        // Most often some measure is in every row.
        let lacks = |codes: &&[u32]| 0 < codes.iter().filter(|c| **c == NO_AMOUNT).count();
        if !columns.codes.iter().all(lacks) {
            return;
        }
        for (i, number) in numbers.iter().enumerate() {
            if columns.codes.iter().all(|codes| codes[i] == NO_AMOUNT) {
                self.is_empty(*number);
            }
        }
    }

    /// The number of a row among all; `None`: it is set aside.
    #[inline]
    fn admitted(&mut self, row: u32, day: u32, what: (u32, u32)) -> Option<u32> {
        if self.admits(day, what) {
            return Some(self.counted(row, day));
        }
        self.wrong(row, day, what);
        None
    }

    #[inline]
    fn admits(&self, day: u32, (machine, pair): (u32, u32)) -> bool {
        let time = self.times[machine as usize];
        time.from <= day && day <= time.to && self.known[pair as usize]
    }

    /// Whether all rows, which are of days from the first to the last, are admitted.
    fn admits_all(
        &self,
        (first, last): (u32, u32),
        machines: &[u32],
        columns: &UseColumns<'_>,
    ) -> bool {
        // Most logs lie within the times of every machine, and need not be gone through for it.
        let from = self.times.iter().fold(0, |from, time| from.max(time.from));
        let to = self.times.iter().fold(u32::MAX, |to, time| to.min(time.to));
        if from <= first && last <= to && self.known.iter().all(|is| *is) {
            return true;
        }
        let mut each = columns.days.iter().zip(machines.iter().zip(columns.pairs));
        each.all(|(day, (machine, pair))| self.admits(*day, (*machine, *pair)))
    }

    /// The number among all of a row that is taken in.
    #[inline]
    fn counted(&mut self, row: u32, day: u32) -> u32 {
        self.later += u64::from(self.as_of < day);
        let number = self.begun() + u64::from(row);
        self.last = self.last.max(number);
        own_number(number)
    }

    /// Where the rows of the file now read begin among all.
    fn begun(&self) -> u64 {
        self.files.last().map_or(0, |(begun, _)| *begun)
    }

    #[cold]
    fn wrong(&mut self, row: u32, day: u32, (machine, pair): (u32, u32)) {
        let mut findings = Vec::new();
        let name = self.gather.machine_name(machine);
        match self.machines.get(name) {
            None => findings.push(unknown("machine", "machine", name, Table::Machines)),
            Some(machine) => findings.extend(out_of_time(day, machine)),
        }
        if !self.known[pair as usize] {
            let product = self.gather.product_name(self.gather.product_of(pair));
            findings.push(match product.strip_prefix(NO_GROUP) {
                Some(group) => unknown("group", "product group", group, Table::Products),
                None => unknown("product", "product", product, Table::Products),
            });
        }
        let date = NaiveDate::from_num_days_from_ce_opt(day.cast_signed());
        self.notes.passes(Table::Usage, row, date, findings);
    }

    /// The file and the row of a row's number.
    fn place(&self, number: u32) -> (&str, u32) {
        let number = u64::from(number);
        let after = self.files.partition_point(|(begun, _)| *begun < number);
        let (begun, source) = &self.files[after.saturating_sub(1)];
        (source, (number - begun) as u32)
    }

    /// Remarks on rows that say nothing of how much was spread.
    fn remark_empty(&mut self) {
        let Some(number) = self.first_empty else {
            return;
        };
        let (source, row) = self.place(number);
        let source = source.to_owned();
        let found = match self.empty {
            1 => "neither acres nor tons nor hours".to_owned(),
            rows => format!("the first of {rows} rows with neither acres nor tons nor hours"),
        };
        let expected = "an amount in one of them at least; without one nobody knows how much the parts \
                        of its machine saw by then";
        self.notes.sources.insert(Table::Usage, source);
        let finding = Finding::new("", ProblemKind::Missing, found, expected);
        self.notes.remark(Table::Usage, Some(row), finding);
    }

    /// Remarks on rows equal to an earlier one.
    fn remark_twins(&mut self, twins: &[(u32, u32)]) {
        for (later, earlier) in twins.iter().take(TOLD) {
            let (source, row) = self.place(*later);
            let (other, of_other) = self.place(*earlier);
            let mut finding = super::twins::equal(of_other);
            if source != other {
                finding.found = format!("{} of {other}", finding.found);
            }
            let source = source.to_owned();
            self.notes.sources.insert(Table::Usage, source);
            self.notes.remark(Table::Usage, Some(row), finding);
        }
    }
}

impl Check<'_> {
    /// Takes over the log and what was found in it.
    pub(super) fn usage(&mut self, mut log: LogCheck) {
        let (usage, twins) = UsageLog::new(std::mem::take(&mut log.gather));
        self.records.usage = usage;
        log.remark_twins(&twins);
        log.remark_empty();
        let LogCheck { notes, later, .. } = log;
        *self.notes.later.entry(Table::Usage).or_default() += later;
        self.notes.problems.extend(notes.problems);
        for (table, rows) in notes.later {
            *self.notes.later.entry(table).or_default() += rows;
        }
        for (table, rows) in notes.dropped {
            *self.notes.dropped.entry(table).or_default() += rows;
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

/// Use outside the time for which the machine's records are complete.
fn out_of_time(day: u32, machine: &Machine) -> Option<Finding> {
    let date = NaiveDate::from_num_days_from_ce_opt(i32::try_from(day).ok()?)?;
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
