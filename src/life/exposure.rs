//! Use of a machine summed by day, bin and product group: the narrow seam between the usage log
//! and everything that measures a life on it.

use std::sync::OnceLock;

use chrono::NaiveDate;

use super::rates::{OfMachine, Rates};
use crate::record::usage::{DayUse, Days};
use crate::record::{Amounts, UsageLog};
use crate::units::Measure;
use crate::wear::Groups;

/// Use of one machine, bin and product on one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DaySum<'a> {
    /// The day.
    pub date: NaiveDate,
    /// Bin, where recorded.
    pub bin: Option<&'a str>,
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

/// Use by machine and day, as it was known on some day.
///
/// Nothing is copied: days are read from the log, and filled in, as they are asked for.
#[derive(Clone, Debug, Default)]
pub struct UseSums {
    log: UsageLog,
    /// The group of each product of the log.
    groups: Vec<Option<usize>>,
    n_groups: usize,
    /// Made when first needed: of complete records it never is.
    rates: OnceLock<Rates>,
}

impl UseSums {
    /// The log up to and including `until`.
    ///
    /// Rows of one day, machine, bin and product add up. A measure that none of them records is
    /// filled in from the other measures at past rates, and marked so. The order of rows does not
    /// reach the sums. `groups` are those of the log's products.
    #[must_use]
    pub fn new(usage: &UsageLog, groups: &Groups, until: NaiveDate) -> Self {
        let log = usage.known_on(until);
        let place = |product: &String| {
            let names = groups.names();
            names.binary_search_by(|n| n.as_str().cmp(groups.group(product)))
        };
        let places = log.products().iter().map(|p| place(p).ok()).collect();
        Self {
            log,
            groups: places,
            n_groups: groups.names().len(),
            rates: OnceLock::new(),
        }
    }

    /// Products of the log, sorted.
    #[must_use]
    pub fn products(&self) -> &[String] {
        self.log.products()
    }

    /// The group of a product.
    ///
    /// # Panics
    /// When the groups were made from another log.
    fn group(&self, product: usize) -> usize {
        self.groups[product].expect("every product of the log has a group")
    }

    /// A day of a machine, with what it leaves out filled in.
    #[inline]
    fn filled<'a>(
        &'a self,
        day: DayUse<'a>,
        machine: &'a str,
        rates: &mut Option<OfMachine<'a>>,
    ) -> DaySum<'a> {
        let group = self.group(day.product);
        let given = day.amounts;
        let recorded = Measure::OF_USE.map(|m| given.get(m).is_some());
        let amounts = if recorded == [true; 3] {
            given
        } else {
            let rates = rates.get_or_insert_with(|| self.rates().of_machine(machine));
            rates.filled(group, given)
        };
        DaySum {
            date: day.date,
            bin: day.bin,
            product: day.product,
            group,
            amounts,
            recorded,
            after: day.after,
        }
    }

    /// Past ratios between the measures.
    #[must_use]
    pub fn rates(&self) -> &Rates {
        self.rates.get_or_init(|| {
            let mut rates = Rates::default();
            for machine in self.log.machines() {
                let days = self.log.of_machine(machine);
                let days = days.map(|day| (self.group(day.product), day.amounts));
                rates.add(machine, self.n_groups, days);
            }
            rates
        })
    }

    /// The sums of one machine, by date, bin and product.
    ///
    /// # Panics
    /// When the groups were made from another log.
    #[must_use]
    pub fn of_machine<'a>(&'a self, machine: &'a str) -> MachineSums<'a> {
        MachineSums {
            sums: self,
            machine,
            days: self.log.of_machine(machine),
            rates: None,
        }
    }

    /// Machines with use, sorted.
    pub fn machines(&self) -> impl Iterator<Item = &str> {
        self.log.machines()
    }

    /// Whether anything is known of a machine's use.
    #[must_use]
    pub fn has(&self, machine: &str) -> bool {
        !self.log.of_machine(machine).is_over()
    }

    /// The last day of a machine's use.
    #[must_use]
    pub fn last_day(&self, machine: &str) -> Option<NaiveDate> {
        self.log.of_machine(machine).last_day()
    }

    /// The use a position sees: of its bin, or all of its machine's.
    #[must_use]
    pub fn path(&self, machine: &str, bin: Option<&str>) -> UsePath {
        let seen = self
            .of_machine(machine)
            .filter(|d| bin.is_none() || d.bin == bin);
        UsePath::new(seen, self.n_groups)
    }
}

/// The sums of one machine, one after the other.
#[derive(Clone, Debug)]
pub struct MachineSums<'a> {
    sums: &'a UseSums,
    machine: &'a str,
    days: Days<'a>,
    /// Looked up when first needed.
    rates: Option<OfMachine<'a>>,
}

impl<'a> Iterator for MachineSums<'a> {
    type Item = DaySum<'a>;

    #[inline]
    fn next(&mut self) -> Option<DaySum<'a>> {
        let day = self.days.next()?;
        Some(self.sums.filled(day, self.machine, &mut self.rates))
    }

    #[inline]
    fn fold<B, F: FnMut(B, DaySum<'a>) -> B>(mut self, init: B, mut f: F) -> B {
        self.days.fold(init, |sum, day| {
            f(sum, self.sums.filled(day, self.machine, &mut self.rates))
        })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.days.size_hint()
    }
}

/// Cumulative use by group over the days of use.
#[derive(Clone, Debug, PartialEq)]
pub struct UsePath {
    days: Vec<NaiveDate>,
    /// For each day whose use was read off a meter, the day of the reading before.
    after: Vec<Option<NaiveDate>>,
    n_groups: usize,
    /// For each day, and one past the last, where its uses begin.
    begins: Vec<usize>,
    uses: Vec<Use>,
    /// For each measure of use, its running sums.
    running: [Running; 3],
}

/// Use of one group on one day.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Use {
    group: usize,
    /// By measure; 0 where unknown.
    amounts: [f64; 3],
}

/// Days from one row of sums to the next: a day has few groups, and a row has them all.
const EVERY: usize = 16;

/// Running sums of one measure of use.
#[derive(Clone, Debug, Default, PartialEq)]
struct Running {
    /// Sums of all groups before every [`EVERY`]th day.
    rows: Vec<f64>,
    /// Days on which an amount is unknown, even from rates.
    unknown: Vec<usize>,
    /// The same for amounts that are not recorded, filled in or not.
    unrecorded: Vec<usize>,
}

impl UsePath {
    fn new<'a>(sums: impl Iterator<Item = DaySum<'a>>, n_groups: usize) -> Self {
        let mut path = Self {
            days: Vec::new(),
            after: Vec::new(),
            n_groups,
            begins: Vec::new(),
            // One piece of memory instead of ever larger ones.
            uses: Vec::with_capacity(sums.size_hint().1.unwrap_or(0)),
            running: Default::default(),
        };
        let mut totals = vec![[0.0; 3]; n_groups];
        sums.for_each(|sum| {
            let amounts = Measure::OF_USE.map(|m| sum.amounts.get(m));
            if amounts.iter().all(|a| a.is_some_and(|a| a <= 0.0)) {
                return;
            }
            if path.days.last() != Some(&sum.date) {
                path.begin_day(sum.date, &totals);
            }
            if let (Some(after), Some(_)) = (path.after.last_mut(), sum.after) {
                *after = [*after, sum.after].into_iter().flatten().min();
            }
            let day = path.days.len() - 1;
            for (i, running) in path.running.iter_mut().enumerate() {
                match amounts[i] {
                    Some(amount) => totals[sum.group][i] += amount,
                    None => running.unknown.push(day),
                }
                if !sum.recorded[i] {
                    running.unrecorded.push(day);
                }
            }
            path.uses.push(Use {
                group: sum.group,
                amounts: amounts.map(|a| a.unwrap_or(0.0)),
            });
        });
        // The count of all days has a row as well where it comes to that.
        path.begins.push(path.uses.len());
        if path.days.len().is_multiple_of(EVERY) {
            path.push_rows(&totals);
        }
        path
    }

    fn begin_day(&mut self, date: NaiveDate, totals: &[[f64; 3]]) {
        if self.days.len().is_multiple_of(EVERY) {
            self.push_rows(totals);
        }
        self.begins.push(self.uses.len());
        self.days.push(date);
        self.after.push(None);
    }

    fn push_rows(&mut self, totals: &[[f64; 3]]) {
        for (i, running) in self.running.iter_mut().enumerate() {
            running
                .rows
                .extend(totals.iter().map(|of_group| of_group[i]));
        }
    }

    /// Sums by group over the first `count` days, into `sums`, which has room for all groups.
    fn sums(&self, measure: usize, count: usize, sums: &mut [f64]) {
        let before = count / EVERY;
        let row = before * self.n_groups..(before + 1) * self.n_groups;
        sums.copy_from_slice(&self.running[measure].rows[row]);
        for used in &self.uses[self.begins[before * EVERY]..self.begins[count]] {
            sums[used.group] += used.amounts[measure];
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
        /// Groups up to which sums are made where no memory is asked for.
        const FEW: usize = 16;
        let mut sums = vec![0.0; self.n_groups];
        self.sums(measure.index(), to, &mut sums);
        let (mut few, mut many);
        let before = if self.n_groups <= FEW {
            few = [0.0; FEW];
            &mut few[..self.n_groups]
        } else {
            many = vec![0.0; self.n_groups];
            &mut many[..]
        };
        self.sums(measure.index(), from, before);
        for (to, from) in sums.iter_mut().zip(before) {
            *to -= *from;
        }
        sums
    }

    /// Whether every day between two counts has its amount recorded.
    #[must_use]
    pub fn is_recorded(&self, measure: Measure, from: usize, to: usize) -> bool {
        none_between(&self.running[measure.index()].unrecorded, from, to)
    }

    /// Whether every day between two counts has its amount recorded or filled in from rates.
    #[must_use]
    pub fn is_known(&self, measure: Measure, from: usize, to: usize) -> bool {
        none_between(&self.running[measure.index()].unknown, from, to)
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

/// Whether none of some ascending days is from `from` on and before `to`.
fn none_between(days: &[usize], from: usize, to: usize) -> bool {
    let first = days.partition_point(|day| *day < from);
    days.get(first).is_none_or(|day| to <= *day)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Added up anew between every two counts of days, over more days than lie between two rows of sums.
    #[test]
    fn use_between_two_days_is_the_sum_of_what_lies_between() {
        // A day's groups stay on the stack, or do not.
        for groups in [3, 20] {
            held_against_sums_made_anew(groups);
        }
    }

    fn held_against_sums_made_anew(groups: usize) {
        let first = NaiveDate::from_ymd_opt(2025, 3, 1).expect("a day");
        let of_day = |day: usize| {
            (0..=day % 2).map(move |i| {
                let tons = (day % 7 != 3).then_some((day * 2 + i) as f64 + 1.0);
                DaySum {
                    date: first + chrono::Days::new(2 * day as u64),
                    bin: None,
                    product: i,
                    group: (day + i) % groups,
                    amounts: Amounts {
                        acres: Some(1.0),
                        tons,
                        hours: None,
                    },
                    recorded: [true, tons.is_some(), false],
                    after: None,
                }
            })
        };
        for days in [0, 1, EVERY - 1, EVERY, EVERY + 1, 3 * EVERY, 3 * EVERY + 5] {
            let path = UsePath::new((0..days).flat_map(of_day), groups);
            assert_eq!(path.days().len(), days);
            for (from, to) in (0..=days).flat_map(|from| (from..=days).map(move |to| (from, to))) {
                let between = || (from..to).flat_map(of_day);
                let mut tons = vec![0.0; groups];
                for sum in between() {
                    tons[sum.group] += sum.amounts.tons.unwrap_or(0.0);
                }
                // Whole numbers: their sums are exact.
                let found = path.recorded(Measure::Tons, from, to);
                assert!(found.iter().zip(tons).all(|(a, b)| (a - b).abs() < 1e-9));
                let known = between().all(|sum| sum.amounts.tons.is_some());
                assert_eq!(path.is_known(Measure::Tons, from, to), known);
                assert_eq!(path.is_recorded(Measure::Tons, from, to), known);
                assert!(path.is_known(Measure::Acres, from, to));
                assert_eq!(path.is_known(Measure::Hours, from, to), from == to);
            }
        }
    }
}
