//! Use of a machine summed by day, bin and product group: the narrow seam between the usage log
//! and everything that measures a life on it.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use chrono::NaiveDate;

use super::rates::{OfMachine, Rates};
use super::use_path::UsePath;
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
/// Nothing is copied but into paths: days are read from the log, and filled in, as they are asked
/// for.
#[derive(Clone, Debug, Default)]
pub struct UseSums {
    log: UsageLog,
    /// The group of each product of the log.
    groups: Vec<Option<usize>>,
    n_groups: usize,
    /// Machines that were at work while nobody wrote it down.
    not_logged: BTreeSet<String>,
    /// Made when first needed: of complete records it never is.
    rates: OnceLock<Rates>,
}

impl UseSums {
    /// The log up to and including `until`.
    ///
    /// Rows of one day, machine, bin and product add up. A measure that none of them records, or that
    /// one of several loads leaves out, is filled in from the other measures at past rates, and marked
    /// so. The order of rows does not reach the sums. `groups` are those of the log's products.
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
            not_logged: BTreeSet::new(),
            rates: OnceLock::new(),
        }
    }

    /// Says of which machines without any use in the log nobody knows what they did; of the others it
    /// is known that they did nothing.
    pub fn leave_unknown(&mut self, machines: BTreeSet<String>) {
        self.not_logged = machines;
    }

    /// Machines of which nobody knows what they did, while others have a log.
    #[must_use]
    pub fn not_logged(&self) -> &BTreeSet<String> {
        &self.not_logged
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
        if self.machines().next().is_none() || self.not_logged.contains(machine) {
            return UsePath::not_logged(self.n_groups);
        }
        let group = |product| self.group(product) as u32;
        if let Some(full) = self.log.full_days(machine, bin, group) {
            return UsePath::of_full(full, self.n_groups);
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Product, UsageRow};

    /// Days of two bins and some groups: `gap` is a row without acres, `odd` one whose hours
    /// thousandths do not hold.
    fn log(rows: u64, gap: Option<u64>, odd: Option<u64>) -> UsageLog {
        used(rows, gap, odd).collect()
    }

    fn used(
        rows: u64,
        gap: Option<u64>,
        odd: Option<u64>,
    ) -> impl Iterator<Item = UsageRow<'static>> {
        let first = NaiveDate::from_ymd_opt(2024, 2, 27).expect("a day");
        let row = move |i: u64| UsageRow {
            date: first + chrono::Days::new(i * 7 % 40),
            machine: "M1",
            product: ["lime", "potash", "urea"][(i % 3) as usize],
            bin: [Some("front"), Some("rear"), None][(i / 3 % 3) as usize],
            amounts: Amounts {
                acres: (gap != Some(i)).then_some((i % 11) as f64),
                tons: Some((i % 11 * 13) as f64 / 100.0),
                hours: Some((i % 11) as f64 / if odd == Some(i) { 3.0 } else { 10.0 }),
            },
        };
        (0..rows).map(row)
    }

    fn without_hours(row: UsageRow<'static>) -> UsageRow<'static> {
        let amounts = Amounts {
            hours: None,
            ..row.amounts
        };
        UsageRow { amounts, ..row }
    }

    #[test]
    fn full_days_make_the_path_that_days_one_by_one_make() {
        let group_of = [("lime", "lime"), ("potash", "salts"), ("urea", "salts")];
        let products = group_of.map(|(name, group)| Product {
            row: 0,
            name: name.to_owned(),
            group: group.to_owned(),
            extra: std::collections::BTreeMap::default(),
        });
        // Of forty days, three products and three bins the first 360 rows have one each.
        for (gap, odd) in [(Some(5), None), (None, Some(51))] {
            assert!(log(90, gap, odd).full_days("M1", None, |_| 0).is_none());
        }
        let others = used(90, None, None).map(|row| UsageRow {
            machine: "M2",
            ..row
        });
        // Hours of others fill in those of this one.
        let mixed: UsageLog = used(90, None, None)
            .map(without_hours)
            .chain(others)
            .collect();
        assert!(mixed.full_days("M1", None, |_| 0).is_none());
        let lacking = used(800, None, None).map(without_hours).collect();
        for log in [log(800, None, None), lacking] {
            assert!(log.full_days("M2", None, |_| 0).is_none());
            full_days_are_as_good_as_days_one_by_one(&products, &log);
        }
    }

    fn full_days_are_as_good_as_days_one_by_one(products: &[Product], log: &UsageLog) {
        for day in [60, 20] {
            let until =
                NaiveDate::from_ymd_opt(2024, 2, 27).expect("a day") + chrono::Days::new(day);
            let groups = Groups::new(products, log, None).expect("groups");
            let sums = UseSums::new(log, &groups, until);
            assert!(sums.log.full_days("M1", None, |_| 0).is_some());
            for bin in [None, Some("front"), Some("rear"), Some("none")] {
                let path = sums.path("M1", bin);
                let seen = sums.of_machine("M1");
                let seen = seen.filter(|d| bin.is_none() || d.bin == bin);
                let one_by_one = UsePath::new(seen, sums.n_groups);
                assert_eq!(path.days(), one_by_one.days());
                let days = path.days().len();
                for (from, to) in (0..=days).flat_map(|f| (f..=days).map(move |t| (f, t))) {
                    for measure in Measure::OF_USE {
                        let of = |path: &UsePath| {
                            let known = path.is_known(measure, from, to);
                            let recorded = path.is_recorded(measure, from, to);
                            let sums = path.recorded(measure, from, to);
                            let bits: Vec<u64> = sums.iter().map(|s| s.to_bits()).collect();
                            let last_use = path.before_last_use(measure, from, to);
                            (known, recorded, bits, last_use, path.reading_before(from))
                        };
                        assert_eq!(of(&path), of(&one_by_one), "{bin:?} {from} {to}");
                    }
                }
            }
        }
    }
}
