//! Use of a machine summed by day, bin and product group: the narrow seam between the usage log
//! and everything that measures a life on it.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::rates::Rates;
use crate::record::{Amounts, UsageLog};
use crate::units::Measure;
use crate::wear::Groups;

/// Use of one machine, bin and product on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct DaySum {
    /// The day.
    pub date: NaiveDate,
    /// Bin, where recorded.
    pub bin: Option<String>,
    /// Place of the product in [`UseSums::products`].
    pub product: usize,
    /// Place of its group in [`Groups::names`].
    pub group: usize,
    /// Sums; what the day leaves out is filled in from past rates, and `None` where there is none.
    pub amounts: Amounts,
    /// Whether each measure of use is recorded rather than filled in.
    pub recorded: [bool; 3],
    /// Where the use was read off a meter: the day of the reading after which it lies somewhere.
    pub after: Option<NaiveDate>,
}

/// Use by machine and day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UseSums {
    by_machine: BTreeMap<String, Vec<DaySum>>,
    products: Vec<String>,
    rates: Rates,
    n_groups: usize,
}

/// Values of one day, machine, bin and product, to be added in a fixed order.
#[derive(Default)]
struct Parts {
    values: [Vec<f64>; 3],
    after: Option<NaiveDate>,
}

impl UseSums {
    /// Sums the log up to and including `until`.
    ///
    /// Rows of one day, machine, bin and product add up. A measure that none of them records is
    /// filled in from the other measures at past rates, and marked so. The order of rows does not
    /// reach the sums.
    ///
    /// # Panics
    /// When `groups` were made from another log.
    #[must_use]
    pub fn new(usage: &UsageLog, groups: &Groups, until: NaiveDate) -> Self {
        type Key<'a> = (&'a str, NaiveDate, Option<&'a str>, &'a str);
        let mut parts: BTreeMap<Key<'_>, Parts> = BTreeMap::new();
        for (index, row) in usage.iter().enumerate().filter(|(_, r)| r.date <= until) {
            let stretch = usage.stretch(index);
            if stretch.is_some_and(|s| until < s.known) {
                continue;
            }
            let part = parts
                .entry((row.machine, row.date, row.bin, row.product))
                .or_default();
            for (values, measure) in part.values.iter_mut().zip(Measure::OF_USE) {
                values.extend(row.amounts.get(measure));
            }
            part.after = [part.after, stretch.map(|s| s.after)]
                .into_iter()
                .flatten()
                .min();
        }
        let mut sums = Self {
            n_groups: groups.names().len(),
            ..Self::default()
        };
        sums.products = parts.keys().map(|k| k.3.to_owned()).collect();
        sums.products.sort();
        sums.products.dedup();
        for ((machine, date, bin, product), part) in parts {
            let [acres, tons, hours] = part.values.map(sum_known);
            let amounts = Amounts { acres, tons, hours };
            let place = |names: &[String], name: &str| {
                names
                    .binary_search_by(|n| n.as_str().cmp(name))
                    .expect("every product of the log has a place and a group")
            };
            let group = place(groups.names(), groups.group(product));
            sums.rates.add(machine, group, &amounts);
            let day = DaySum {
                date,
                bin: bin.map(str::to_owned),
                product: place(&sums.products, product),
                group,
                amounts,
                recorded: [acres, tons, hours].map(|a| a.is_some()),
                after: part.after,
            };
            sums.by_machine
                .entry(machine.to_owned())
                .or_default()
                .push(day);
        }
        for (machine, days) in &mut sums.by_machine {
            for day in days {
                day.amounts = sums.rates.filled(machine, day.group, day.amounts);
            }
        }
        sums
    }

    /// Products of the log, sorted.
    #[must_use]
    pub fn products(&self) -> &[String] {
        &self.products
    }

    /// Past ratios between the measures.
    #[must_use]
    pub fn rates(&self) -> &Rates {
        &self.rates
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

/// Cumulative use by group over the days of use.
#[derive(Clone, Debug, PartialEq)]
pub struct UsePath {
    days: Vec<NaiveDate>,
    /// For each day whose use was read off a meter, the day of the reading before.
    after: Vec<Option<NaiveDate>>,
    n_groups: usize,
    /// For each measure of use, `days + 1` rows of `n_groups` running sums.
    cumulative: [Vec<f64>; 3],
    /// For each measure of use, how many amounts before are unknown, even from rates.
    unknown: [Vec<u32>; 3],
    /// The same for amounts that are not recorded, filled in or not.
    unrecorded: [Vec<u32>; 3],
}

impl UsePath {
    fn new<'a>(sums: impl Iterator<Item = &'a DaySum>, n_groups: usize) -> Self {
        let mut path = Self {
            days: Vec::new(),
            after: Vec::new(),
            n_groups,
            cumulative: std::array::from_fn(|_| vec![0.0; n_groups]),
            unknown: std::array::from_fn(|_| vec![0]),
            unrecorded: std::array::from_fn(|_| vec![0]),
        };
        for sum in sums {
            let amounts = Measure::OF_USE.map(|m| sum.amounts.get(m));
            if amounts.iter().all(|a| a.is_some_and(|a| a <= 0.0)) {
                continue;
            }
            if path.days.last() != Some(&sum.date) {
                path.push_day(sum.date);
            }
            if let Some(after) = path.after.last_mut() {
                *after = [*after, sum.after].into_iter().flatten().min();
            }
            for (i, amount) in amounts.into_iter().enumerate() {
                let row = path.cumulative[i].len() - n_groups;
                let count = |counts: &mut Vec<u32>| {
                    *counts.last_mut().expect("never empty") += 1;
                };
                match amount {
                    Some(amount) => path.cumulative[i][row + sum.group] += amount,
                    None => count(&mut path.unknown[i]),
                }
                if !sum.recorded[i] {
                    count(&mut path.unrecorded[i]);
                }
            }
        }
        path
    }

    fn push_day(&mut self, date: NaiveDate) {
        self.days.push(date);
        self.after.push(None);
        for i in 0..3 {
            let from = self.cumulative[i].len() - self.n_groups;
            self.cumulative[i].extend_from_within(from..);
            for counts in [&mut self.unknown[i], &mut self.unrecorded[i]] {
                let count = *counts.last().expect("never empty");
                counts.push(count);
            }
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

    /// Use by group between two counts of days, as far as it is known.
    #[must_use]
    pub fn recorded(&self, measure: Measure, from: usize, to: usize) -> Vec<f64> {
        let i = measure.index();
        let row = |k: usize| &self.cumulative[i][k * self.n_groups..(k + 1) * self.n_groups];
        row(to).iter().zip(row(from)).map(|(b, a)| b - a).collect()
    }

    /// Whether every day between two counts has its amount recorded.
    #[must_use]
    pub fn is_recorded(&self, measure: Measure, from: usize, to: usize) -> bool {
        let i = measure.index();
        self.unrecorded[i][to] == self.unrecorded[i][from]
    }

    /// Whether every day between two counts has its amount recorded or filled in from rates.
    #[must_use]
    pub fn is_known(&self, measure: Measure, from: usize, to: usize) -> bool {
        let i = measure.index();
        self.unknown[i][to] == self.unknown[i][from]
    }

    /// The count of days at the reading before the day of use number `k`, where that day's use was
    /// read off a meter; or `k`.
    #[must_use]
    pub fn reading_before(&self, k: usize) -> usize {
        let after = self.after.get(k).copied().flatten();
        after.map_or(k, |day| self.days_until(day).min(k))
    }

    /// The day of the reading before the day of use number `k`, where its use was read off a meter.
    #[must_use]
    pub fn reading_day(&self, k: usize) -> Option<NaiveDate> {
        self.after.get(k).copied().flatten()
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
