//! Use of a machine or bin as a path over its days, from which the use of any stretch is read.

use std::ops::Range;
use std::sync::OnceLock;

use chrono::NaiveDate;

use super::exposure::DaySum;
use crate::record::usage::{FullDays, Thousandths};
use crate::units::Measure;

/// Cumulative use by group over the days of use.
#[derive(Clone, Debug)]
pub struct UsePath {
    days: Vec<NaiveDate>,
    /// For each day whose use was read off a meter, the day of the reading before; empty where none
    /// was.
    after: Vec<Option<NaiveDate>>,
    n_groups: usize,
    /// For each day, and one past the last, where its uses begin.
    begins: Vec<u32>,
    /// Of each use of a group on a day: the group.
    groups: Vec<u32>,
    /// By measure, of each use: how much.
    amounts: [Amounts; 3],
    /// By measure: days on which an amount is unknown, even from rates.
    unknown: [Vec<usize>; 3],
    /// The same for amounts that are not recorded, filled in or not.
    unrecorded: [Vec<usize>; 3],
    /// Whether the records log any use at all, of whatever machine.
    is_logged: bool,
    /// By measure: sums of all groups before every [`EVERY`]th day, made when first asked for, as
    /// most lives are measured in one.
    sums_before: [OnceLock<Vec<f64>>; 3],
}

/// Amounts of uses.
#[derive(Clone, Debug)]
enum Amounts {
    /// 0 where unknown.
    Each(Vec<f64>),
    Thousandths(Thousandths),
    /// None is recorded.
    Unknown,
}

impl Amounts {
    /// Of some uses, each with its place among them, as far as they are known.
    #[inline]
    fn each(&self, uses: Range<usize>, mut f: impl FnMut(usize, f64)) {
        match self {
            Self::Each(amounts) => {
                let amounts = amounts[uses].iter().enumerate();
                amounts.for_each(|(i, amount)| f(i, *amount));
            }
            Self::Thousandths(amounts) => {
                let amounts = amounts.values(uses).enumerate();
                amounts.for_each(|(i, amount)| f(i, amount));
            }
            Self::Unknown => {}
        }
    }
}

/// Days from one row of sums to the next: a day has few groups, and a row has them all.
const EVERY: usize = 16;

impl UsePath {
    /// The path of sums by date.
    pub(super) fn new<'a>(sums: impl Iterator<Item = DaySum<'a>>, n_groups: usize) -> Self {
        let mut path = Self::empty(n_groups);
        let most = sums.size_hint().1.unwrap_or(0);
        path.groups.reserve(most);
        let mut amounts = [const { Vec::new() }; 3];
        for amounts in &mut amounts {
            amounts.reserve(most);
        }
        sums.for_each(|sum| path.push(&sum, &mut amounts));
        path.amounts = amounts.map(Amounts::Each);
        path.begins.push(path.groups.len() as u32);
        if path.after.iter().all(Option::is_none) {
            path.after.clear();
        }
        path
    }

    /// The same of days that are recorded in full.
    pub(super) fn of_full(full: FullDays, n_groups: usize) -> Self {
        let ends = full.ends.iter().copied();
        let unknown = full.amounts.each_ref().map(|amounts| match amounts {
            Some(_) => Vec::new(),
            None => (0..full.days.len()).collect(),
        });
        Self {
            begins: std::iter::once(0).chain(ends).collect(),
            days: full.days,
            groups: full.groups,
            amounts: full
                .amounts
                .map(|a| a.map_or(Amounts::Unknown, Amounts::Thousandths)),
            unrecorded: unknown.clone(),
            unknown,
            ..Self::empty(n_groups)
        }
    }

    /// Of a machine in records without any use: nobody knows what it did.
    pub(super) fn not_logged(n_groups: usize) -> Self {
        Self {
            is_logged: false,
            begins: vec![0],
            ..Self::empty(n_groups)
        }
    }

    fn empty(n_groups: usize) -> Self {
        Self {
            days: Vec::new(),
            after: Vec::new(),
            n_groups,
            begins: Vec::new(),
            groups: Vec::new(),
            amounts: [const { Amounts::Unknown }; 3],
            unknown: Default::default(),
            unrecorded: Default::default(),
            is_logged: true,
            sums_before: Default::default(),
        }
    }

    fn push(&mut self, sum: &DaySum<'_>, columns: &mut [Vec<f64>; 3]) {
        let amounts = Measure::OF_USE.map(|m| sum.amounts.get(m));
        if amounts.iter().all(|a| a.is_some_and(|a| a <= 0.0)) {
            return;
        }
        if self.days.last() != Some(&sum.date) {
            self.begins.push(self.groups.len() as u32);
            self.days.push(sum.date);
            self.after.push(None);
        }
        if let (Some(after), Some(_)) = (self.after.last_mut(), sum.after) {
            *after = [*after, sum.after].into_iter().flatten().min();
        }
        let day = self.days.len() - 1;
        for (i, amount) in amounts.into_iter().enumerate() {
            if amount.is_none() {
                self.unknown[i].push(day);
            }
            if !sum.recorded[i] {
                self.unrecorded[i].push(day);
            }
            columns[i].push(amount.unwrap_or(0.0));
        }
        self.groups.push(sum.group as u32);
    }

    /// Adds the uses of the days from one count of days to another, by group.
    fn add(&self, measure: usize, (from, to): (usize, usize), sums: &mut [f64]) {
        let uses = self.begins[from] as usize..self.begins[to] as usize;
        let groups = &self.groups[uses.clone()];
        self.amounts[measure].each(uses, |i, amount| sums[groups[i] as usize] += amount);
    }

    fn sums_before(&self, measure: usize) -> &[f64] {
        self.sums_before[measure].get_or_init(|| {
            let mut totals = vec![0.0; self.n_groups];
            let mut rows = Vec::with_capacity((self.days.len() / EVERY + 1) * self.n_groups);
            for first in (0..=self.days.len()).step_by(EVERY) {
                rows.extend(&totals);
                let next = self.days.len().min(first + EVERY);
                self.add(measure, (first, next), &mut totals);
            }
            rows
        })
    }

    /// Sums by group over the first `count` days, into `sums`, which has room for all groups.
    fn sums(&self, measure: usize, count: usize, sums: &mut [f64]) {
        let before = count / EVERY;
        let row = before * self.n_groups..(before + 1) * self.n_groups;
        sums.copy_from_slice(&self.sums_before(measure)[row]);
        self.add(measure, (before * EVERY, count), sums);
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
        self.is_logged && none_between(&self.unrecorded[measure.index()], from, to)
    }

    /// Whether every day between two counts has its amount recorded or filled in from rates.
    #[must_use]
    pub fn is_known(&self, measure: Measure, from: usize, to: usize) -> bool {
        self.is_logged && none_between(&self.unknown[measure.index()], from, to)
    }

    /// The days of use between two counts of which some amount is not known, even from rates; `None` where no use
    /// of the machine is logged at all.
    #[must_use]
    pub fn unknown_days(&self, measure: Measure, from: usize, to: usize) -> Option<Vec<usize>> {
        let unknown = &self.unknown[measure.index()];
        let until = |count: usize| unknown.partition_point(|day| *day < count);
        let mut days = unknown[until(from)..until(to)].to_vec();
        days.dedup();
        self.is_logged.then_some(days)
    }

    /// The count of days at the reading before the day of use number `k`, where that day's use was
    /// read off a meter; or `k`.
    #[must_use]
    pub fn reading_before(&self, k: usize) -> usize {
        let after = self.after.get(k).copied().flatten();
        after.map_or(k, |day| self.days_until(day).min(k))
    }

    /// The count of days at the reading after `day`, where `k` days of use lie up to it and the use of the next
    /// was read off a meter from before it on; or `k`.
    #[must_use]
    pub fn reading_after(&self, k: usize, day: NaiveDate) -> usize {
        let Some(after) = self.reading_day(k).filter(|after| *after < day) else {
            return k;
        };
        let of_reading = self.after[k..].iter();
        k + of_reading.take_while(|a| **a == Some(after)).count()
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
    use crate::record::Amounts;

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
