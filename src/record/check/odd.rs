//! What no rule forbids and is most likely a slip: rows that were to be deleted, mistyped years, sums
//! of a season among days.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate};

use super::{Check, Finding};
use crate::record::{
    Installed, Machine, OF_BUDGET, Position, ProblemKind, StockRow, Table, example,
};
use crate::units::Measure;

/// Days without anything on record after which a single last date looks mistyped: longer than from
/// the end of one spring to the start of the next (our own choice).
const LONE: i64 = 300;
/// Days in service without use after which notes seem to have begun later (our own choice).
const UNUSED: i64 = 500;
/// A day with so many times what a day has on average looks like a sum of days (our own choice).
const TIMES: f64 = 25.0;
/// Days of use that an average is taken of.
const FEWEST: usize = 20;
/// Rows of a log that is gone through day by day; longer ones no one types.
const TYPED: u64 = 200_000;
/// Years after the last that is known by which a date looks mistyped (our own choice).
const FAR: i32 = 5;
/// Year before which nobody writes of a machine that is still at work (our own choice).
const FIRST: i32 = 1970;
/// Remarks on days that are told one by one.
const TOLD: usize = 3;
/// Remarks on dates that are told one by one.
const MANY: usize = 20;

impl Check<'_> {
    /// Remarks, and changes nothing.
    pub(super) fn odd(&mut self) {
        self.examples();
        self.lone_date();
        self.far_dates();
        self.early_records();
        self.late_notes();
        self.first_parts();
        self.sums_among_days();
        self.not_numbers();
    }

    /// Columns of machines that the budget reads where they hold numbers.
    fn not_numbers(&mut self) {
        let mut findings = Vec::new();
        for machine in &self.records.machines {
            for column in OF_BUDGET {
                if let (Some(text), None) = (machine.own(column), machine.own_amount(column)) {
                    findings.push((machine.row, column, text.to_owned()));
                }
            }
        }
        for (row, column, text) in findings {
            let finding = Finding::new(
                column,
                ProblemKind::Odd,
                format!("`{text}`"),
                "a number such as `61500`; as it stands it counts for nothing",
            );
            self.notes.remark(Table::Machines, Some(row), finding);
        }
    }

    fn examples(&mut self) {
        let left = self.records.machines.iter().find(|m| example::is_left(m));
        let Some(row) = left.map(|m| m.row) else {
            return;
        };
        let finding = Finding::new(
            "machine",
            ProblemKind::Example,
            format!(
                "the example `{}` of a workbook to be filled in",
                example::MACHINE
            ),
            "machines of your own; it counts as one of them, delete the yellow rows of every sheet",
        );
        self.notes.remark(Table::Machines, Some(row), finding);
    }

    /// The last date is what everything is seen from.
    fn lone_date(&mut self) {
        let latest = self.latest();
        let (Some((last, table, row)), Some(before), false) =
            (latest.last, latest.before, latest.again)
        else {
            return;
        };
        let gap = (last - before).num_days();
        if gap < LONE {
            return;
        }
        let finding = Finding::new(
            "date",
            ProblemKind::Odd,
            format!("{last}, {gap} days after any other date"),
            "a last date near the others, because everything is seen from it; mend the year if it is mistyped, or give `--as-of`",
        );
        self.notes.remark(table, row, finding);
    }

    /// Dates of machines, positions, plan and stock that lie years ahead of everything else: a part that
    /// is fitted in 2099 is not in service.
    fn far_dates(&mut self) {
        let latest = self.latest();
        let last = latest.last.map(|(last, ..)| last);
        // A mistyped last date is no measure for others.
        let lone = |last: NaiveDate, before: NaiveDate| {
            !latest.again && LONE <= (last - before).num_days()
        };
        let last = match (last, latest.before) {
            (Some(last), Some(before)) if lone(last, before) => Some(before),
            (last, _) => last,
        };
        let Some(known) = last.max(self.context.as_of) else {
            return;
        };
        let records = &self.records;
        let mut dates: Vec<(Table, u32, &'static str, NaiveDate)> = Vec::new();
        for machine in &records.machines {
            let row = machine.row;
            dates.push((Table::Machines, row, "in_service", machine.in_service));
            if machine.records_from != machine.in_service {
                dates.push((Table::Machines, row, "records_from", machine.records_from));
            }
            let retired = machine
                .retired
                .map(|day| (Table::Machines, row, "retired", day));
            dates.extend(retired);
        }
        let in_service = |position: &Position| {
            let machine = records.machine(&position.machine);
            machine.map(|m| m.in_service)
        };
        for position in &records.positions {
            // Where none is given, it is that of the machine, which has its own remark.
            if let Installed::On(day) = position.installed
                && in_service(position) != Some(day)
            {
                dates.push((Table::Positions, position.row, "installed", day));
            }
        }
        let months = records
            .plan
            .iter()
            .map(|p| (Table::Plan, p.row, "month", p.month));
        dates.extend(months);
        let due = |s: &StockRow| Some((Table::Stock, s.row, "due", s.due?));
        dates.extend(records.stock.iter().filter_map(due));
        dates.retain(|(.., day)| known.year() + FAR < day.year() || day.year() < FIRST);
        let more = dates.len().saturating_sub(MANY);
        for (table, row, column, day) in dates.into_iter().take(MANY) {
            if day.year() < FIRST {
                let finding = Finding::new(
                    column,
                    ProblemKind::Odd,
                    format!("`{day}`"),
                    "a date of the machine's own time; a year alone, such as 2019, in a cell of dates is so many days after 1900",
                );
                self.notes.remark(table, Some(row), finding);
                continue;
            }
            let mut expected = format!(
                "a date near {known}, the last day that anything is known of; mend the year if it is mistyped"
            );
            if 0 < more {
                let _ = write!(expected, " (so far ahead are {more} dates more)");
            }
            let finding = Finding::new(column, ProblemKind::Odd, format!("`{day}`"), expected);
            self.notes.remark(table, Some(row), finding);
        }
    }

    /// Records that are said to be complete from a day on which there was no machine yet.
    fn early_records(&mut self) {
        let early = |m: &&Machine| m.records_from < m.in_service;
        let findings: Vec<(u32, Finding)> = (self.records.machines.iter().filter(early))
            .map(|machine| {
                let finding = Finding::new(
                    "records_from",
                    ProblemKind::Odd,
                    format!("`{}`", machine.records_from),
                    format!(
                        "a date on or after `in_service` {}, or an earlier `in_service` if it worked before",
                        machine.in_service
                    ),
                );
                (machine.row, finding)
            })
            .collect();
        for (row, finding) in findings {
            self.notes.remark(Table::Machines, Some(row), finding);
        }
    }

    fn latest(&self) -> Latest {
        let records = &self.records;
        let mut latest = Latest::default();
        let last = |m: &&str| records.usage.of_machine(m).last_day();
        if let Some(machine) = records.usage.machines().max_by_key(last) {
            let end = last(&machine);
            let days = records.usage.of_machine(machine).map(|day| day.date);
            let before = days.take_while(|date| Some(*date) < end).last();
            latest.see_all(before, Table::Usage);
        }
        let ends = records.usage.machines().filter_map(|m| last(&m));
        latest.see_all(ends, Table::Usage);
        for row in &records.replacements {
            latest.see(row.date, Table::Replacements, Some(row.row));
        }
        for row in &records.inspections {
            latest.see(row.date, Table::Inspections, Some(row.row));
        }
        for row in &records.meters {
            latest.see(row.date, Table::Meters, Some(row.row));
        }
        latest
    }

    /// A used machine whose notes begin years after it came into service.
    fn late_notes(&mut self) {
        let mut changed: BTreeMap<&str, NaiveDate> = BTreeMap::new();
        for row in &self.records.replacements {
            let first = changed.entry(&row.machine).or_insert(row.date);
            *first = row.date.min(*first);
        }
        let first = |m: &Machine| {
            let used = self.records.usage.of_machine(&m.name).next()?.date;
            let changed = changed.get(m.name.as_str());
            Some(changed.map_or(used, |date| used.min(*date)))
        };
        let late = self.records.machines.iter().filter_map(|m| {
            let first = first(m)?;
            let late = !example::is_left(m)
                && m.records_from == m.in_service
                && UNUSED < (first - m.in_service).num_days();
            late.then_some((m.row, m.in_service, first))
        });
        for (row, in_service, first) in late.collect::<Vec<_>>() {
            let finding = Finding::new(
                "in_service",
                ProblemKind::Odd,
                format!("in service from {in_service}, and nothing on record before {first}"),
                "the day it was first used; if notes begin later than that, give the day they begin as `records_from`, or its parts count as new at first",
            );
            self.notes.remark(Table::Machines, Some(row), finding);
        }
    }

    /// Machines whose notes begin long after they came into service, with parts of which nobody says when they
    /// were fitted.
    fn first_parts(&mut self) {
        let machines = self.records.machines.iter();
        let machines: BTreeMap<&str, &Machine> = machines.map(|m| (m.name.as_str(), m)).collect();
        let families = self.families_of_parts();
        let is_scheduled = |part: &str| {
            let family = families.get(part);
            family.is_some_and(|family| (self.context.family)(family).is_scheduled)
        };
        let mut told: BTreeMap<&str, usize> = BTreeMap::new();
        for position in &self.records.positions {
            let Some(machine) = machines.get(position.machine.as_str()) else {
                continue;
            };
            let is_first = !position.is_dated
                && position.installed != Installed::Unknown
                && !is_scheduled(&position.part);
            let is_told = Measure::OF_USE
                .iter()
                .any(|m| position.before.get(*m).is_some());
            let late = (machine.records_from - machine.in_service).num_days();
            if is_first && !is_told && UNUSED < late && !example::is_left(machine) {
                *told.entry(&machine.name).or_default() += 1;
            }
        }
        let positions: usize = told.values().sum();
        let names: Vec<&str> = told.keys().copied().collect();
        let Some(first) = names.first() else { return };
        let more = match names.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        let finding = Finding::new(
            "installed",
            ProblemKind::Odd,
            format!(
                "{} of `{first}`{more}, taken to be there from the first though notes begin years after the machine was new",
                if positions == 1 {
                    "1 part".to_owned()
                } else {
                    format!("{positions} parts")
                }
            ),
            "the day each was fitted, or `unknown` where it may have been changed before notes begin",
        );
        self.notes.remark(Table::Positions, None, finding);
    }

    fn sums_among_days(&mut self) {
        if TYPED < self.records.usage.rows() {
            return;
        }
        let mut told = Vec::new();
        for measure in Measure::OF_USE {
            let days = self.records.usage.iter();
            let amounts = days.filter_map(|day| day.amounts.get(measure));
            let (count, sum) = amounts.fold((0, 0.0), |(n, sum), amount| (n + 1, sum + amount));
            if count < FEWEST {
                continue;
            }
            for day in self.records.usage.iter() {
                let Some(amount) = day.amounts.get(measure) else {
                    continue;
                };
                let average = (sum - amount) / (count - 1) as f64;
                if 0.0 < average && TIMES * average < amount {
                    told.push((day.machine.to_owned(), day.date, measure, amount / average));
                }
            }
        }
        // One row too many is one in every measure.
        told.sort_by(|a: &(String, NaiveDate, Measure, f64), b| (&a.0, a.1).cmp(&(&b.0, b.1)));
        told.dedup_by(|a, b| (&a.0, a.1) == (&b.0, b.1));
        for (machine, date, measure, times) in told.into_iter().take(TOLD) {
            let finding = Finding::new(
                measure.name(),
                ProblemKind::Odd,
                format!(
                    "`{machine}` on {date}: {times:.0} times the {} of other days",
                    measure.name()
                ),
                "the work of one day a row; delete it if it is a total of other rows",
            );
            self.notes.remark(Table::Usage, None, finding);
        }
    }
}

/// The last date seen, and the one before it.
#[derive(Default)]
struct Latest {
    last: Option<(NaiveDate, Table, Option<u32>)>,
    /// Whether the last date was seen more than once.
    again: bool,
    before: Option<NaiveDate>,
}

impl Latest {
    fn see(&mut self, date: NaiveDate, table: Table, row: Option<u32>) {
        match self.last {
            Some((last, ..)) if date == last => self.again = true,
            Some((last, ..)) if date < last => self.before = self.before.max(Some(date)),
            earlier => {
                self.before = earlier.map(|(last, ..)| last);
                self.last = Some((date, table, row));
                self.again = false;
            }
        }
    }

    fn see_all(&mut self, dates: impl IntoIterator<Item = NaiveDate>, table: Table) {
        for date in dates {
            self.see(date, table, None);
        }
    }
}
