//! Use of a machine summed by day, bin and product group: the narrow seam between the usage log
//! and everything that measures a life on it.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::record::{Amounts, UsageLog};
use crate::units::Measure;
use crate::wear::Groups;

/// Use of one machine, bin and group on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct DaySum {
    /// The day.
    pub date: NaiveDate,
    /// Bin, where recorded.
    pub bin: Option<String>,
    /// Place of the group in [`Groups::names`].
    pub group: usize,
    /// Sums; `None` where a product of the group has no amount recorded in that measure.
    pub amounts: Amounts,
}

/// Use by machine and day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UseSums {
    by_machine: BTreeMap<String, Vec<DaySum>>,
    n_groups: usize,
}

/// Values of one day, machine, bin and product, to be added in a fixed order.
#[derive(Default)]
struct Parts {
    values: [Vec<f64>; 3],
}

impl UseSums {
    /// Sums the log up to and including `until`.
    ///
    /// Rows of one day, machine, bin and product add up; a measure that none of them records is
    /// unknown for that day. The order of rows does not reach the sums.
    ///
    /// # Panics
    /// When `groups` were made from another log.
    #[must_use]
    pub fn new(usage: &UsageLog, groups: &Groups, until: NaiveDate) -> Self {
        type Key<'a> = (&'a str, NaiveDate, Option<&'a str>, &'a str);
        let mut parts: BTreeMap<Key<'_>, Parts> = BTreeMap::new();
        for row in usage.iter().filter(|r| r.date <= until) {
            let part = parts
                .entry((row.machine, row.date, row.bin, row.product))
                .or_default();
            for (values, measure) in part.values.iter_mut().zip(Measure::OF_USE) {
                values.extend(row.amounts.get(measure));
            }
        }
        let mut by_machine: BTreeMap<String, Vec<DaySum>> = BTreeMap::new();
        for ((machine, date, bin, product), part) in parts {
            let [acres, tons, hours] = part.values.map(sum_known);
            let amounts = Amounts { acres, tons, hours };
            let group = groups
                .names()
                .binary_search_by(|n| n.as_str().cmp(groups.group(product)))
                .expect("every product of the log has a group");
            let days = by_machine.entry(machine.to_owned()).or_default();
            match days
                .iter_mut()
                .rev()
                .take_while(|d| d.date == date)
                .find(|d| d.bin.as_deref() == bin && d.group == group)
            {
                Some(sum) => sum.amounts = add(sum.amounts, amounts),
                None => days.push(DaySum {
                    date,
                    bin: bin.map(str::to_owned),
                    group,
                    amounts,
                }),
            }
        }
        Self {
            by_machine,
            n_groups: groups.names().len(),
        }
    }

    /// The sums of one machine, by date.
    #[must_use]
    pub fn of_machine(&self, machine: &str) -> &[DaySum] {
        self.by_machine.get(machine).map_or(&[], Vec::as_slice)
    }

    /// Machines with use, sorted.
    pub fn machines(&self) -> impl Iterator<Item = &str> {
        self.by_machine.keys().map(String::as_str)
    }

    /// The use a position sees: of its bin, or all of its machine's.
    #[must_use]
    pub fn path(&self, machine: &str, bin: Option<&str>) -> UsePath {
        let seen = self
            .of_machine(machine)
            .iter()
            .filter(|d| bin.is_none() || d.bin.as_deref() == bin);
        UsePath::new(seen, self.n_groups)
    }
}

fn sum_known(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (!values.is_empty()).then(|| values.iter().sum())
}

fn add(a: Amounts, b: Amounts) -> Amounts {
    let both = |a: Option<f64>, b: Option<f64>| Some(a? + b?);
    Amounts {
        acres: both(a.acres, b.acres),
        tons: both(a.tons, b.tons),
        hours: both(a.hours, b.hours),
    }
}

/// Cumulative use by group over the days of use.
#[derive(Clone, Debug, PartialEq)]
pub struct UsePath {
    days: Vec<NaiveDate>,
    n_groups: usize,
    /// For each measure of use, `days + 1` rows of `n_groups` running sums.
    cumulative: [Vec<f64>; 3],
    /// For each measure of use, how many of the days before have an unknown amount.
    unknown: [Vec<u32>; 3],
}

impl UsePath {
    fn new<'a>(sums: impl Iterator<Item = &'a DaySum>, n_groups: usize) -> Self {
        let mut path = Self {
            days: Vec::new(),
            n_groups,
            cumulative: std::array::from_fn(|_| vec![0.0; n_groups]),
            unknown: std::array::from_fn(|_| vec![0]),
        };
        for sum in sums {
            let amounts = Measure::OF_USE.map(|m| sum.amounts.get(m));
            if amounts.iter().all(|a| a.is_some_and(|a| a <= 0.0)) {
                continue;
            }
            if path.days.last() != Some(&sum.date) {
                path.push_day(sum.date);
            }
            for (i, amount) in amounts.into_iter().enumerate() {
                let row = path.cumulative[i].len() - n_groups;
                match amount {
                    Some(amount) => path.cumulative[i][row + sum.group] += amount,
                    None => *path.unknown[i].last_mut().expect("never empty") += 1,
                }
            }
        }
        path
    }

    fn push_day(&mut self, date: NaiveDate) {
        self.days.push(date);
        for i in 0..3 {
            let from = self.cumulative[i].len() - self.n_groups;
            self.cumulative[i].extend_from_within(from..);
            let unknown = *self.unknown[i].last().expect("never empty");
            self.unknown[i].push(unknown);
        }
    }

    /// Days with any use.
    #[must_use]
    pub fn days(&self) -> &[NaiveDate] {
        &self.days
    }

    /// How many days of use there are up to and including `date`.
    #[must_use]
    pub fn days_until(&self, date: NaiveDate) -> usize {
        self.days.partition_point(|d| *d <= date)
    }

    /// Use by group between two counts of days, whether known or not: what was recorded.
    #[must_use]
    pub fn recorded(&self, measure: Measure, from: usize, to: usize) -> Vec<f64> {
        let i = measure.index();
        let row = |k: usize| &self.cumulative[i][k * self.n_groups..(k + 1) * self.n_groups];
        row(to).iter().zip(row(from)).map(|(b, a)| b - a).collect()
    }

    /// Whether every day between two counts has its amount recorded.
    #[must_use]
    pub fn is_known(&self, measure: Measure, from: usize, to: usize) -> bool {
        let i = measure.index();
        self.unknown[i][to] == self.unknown[i][from]
    }

    /// The count of days at which the last use in `measure` before the count `to` had not begun.
    #[must_use]
    pub fn before_last_use(&self, measure: Measure, from: usize, to: usize) -> usize {
        if measure == Measure::Days {
            return if from < to { to - 1 } else { to };
        }
        let used = |k: usize| {
            !self.is_known(measure, k, k + 1)
                || 0.0 < self.recorded(measure, k, k + 1).iter().sum::<f64>()
        };
        (from..to).rev().find(|k| used(*k)).unwrap_or(to)
    }
}
