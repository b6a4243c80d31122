//! How large the days of work on record are, and how often products share them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::life::exposure::UseSums;
use crate::units::Measure;

/// Sizes of the days on record.
#[derive(Clone, Debug, Default)]
pub struct DaySizes {
    /// Sum and sum of squares.
    sums: BTreeMap<DayKind, (f64, f64)>,
    /// By machine (none for all), bin and group.
    shared: BTreeMap<(Option<String>, Option<String>, usize), Shared>,
}

/// How often a group has its days with others.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Shared {
    days: f64,
    /// Days with another group.
    with_others: f64,
    /// Other groups on these, in all.
    others: f64,
}

impl Shared {
    /// Share of the group's days that have another.
    pub(super) fn chance(self) -> f64 {
        self.with_others / self.days.max(1.0)
    }

    /// Groups on such a day.
    pub(super) fn groups(self) -> usize {
        1 + (self.others / self.with_others.max(1.0)).round().max(1.0) as usize
    }
}

/// Machine (none for all), bin, group and measure.
type DayKind = (Option<String>, Option<String>, usize, usize);

/// Bin (none for all), day and group.
type OfDay<'a> = (Option<&'a str>, NaiveDate, usize);

impl DaySizes {
    /// Measures the days on record.
    #[must_use]
    pub fn new(sums: &UseSums) -> Self {
        let mut sizes = Self::default();
        for machine in sums.machines() {
            // Of all bins, and of each: products of one group on one day are one day's work.
            let mut works: BTreeMap<OfDay<'_>, [Option<f64>; 3]> = BTreeMap::new();
            let mut groups: BTreeMap<(Option<&str>, NaiveDate), BTreeSet<usize>> = BTreeMap::new();
            for day in sums.of_machine(machine) {
                let amounts = Measure::OF_USE.map(|m| day.amounts.get(m));
                if amounts.iter().flatten().any(|a| 0.0 < *a) {
                    groups
                        .entry((None, day.date))
                        .or_default()
                        .insert(day.group);
                    if day.bin.is_some() {
                        groups
                            .entry((day.bin, day.date))
                            .or_default()
                            .insert(day.group);
                    }
                }
                let bins = std::iter::once(None).chain(day.bin.map(Some));
                for bin in bins {
                    let sum = works.entry((bin, day.date, day.group)).or_default();
                    for (s, a) in sum.iter_mut().zip(amounts) {
                        *s = a.map(|a| s.unwrap_or(0.0) + a).or(*s);
                    }
                }
            }
            for ((bin, _, group), amounts) in works {
                sizes.add(machine, bin, group, amounts);
            }
            for ((bin, _), groups) in groups {
                sizes.share(machine, bin, &groups);
            }
        }
        sizes
    }

    fn add(&mut self, machine: &str, bin: Option<&str>, group: usize, amounts: [Option<f64>; 3]) {
        for (i, amount) in amounts.into_iter().enumerate() {
            let Some(amount) = amount else { continue };
            for machine in [Some(machine.to_owned()), None] {
                let sums = self
                    .sums
                    .entry((machine, bin.map(str::to_owned), group, i))
                    .or_default();
                sums.0 += amount;
                sums.1 += amount * amount;
            }
        }
    }

    fn share(&mut self, machine: &str, bin: Option<&str>, groups: &BTreeSet<usize>) {
        let others = (groups.len() - 1) as f64;
        for group in groups {
            for machine in [Some(machine.to_owned()), None] {
                let key = (machine, bin.map(str::to_owned), *group);
                let shared = self.shared.entry(key).or_default();
                shared.days += 1.0;
                shared.with_others += f64::from(u8::from(0.0 < others));
                shared.others += others;
            }
        }
    }

    /// How often a group has its days with others on that machine and bin; in the whole fleet where it
    /// had none there.
    pub(super) fn shared(&self, machine: &str, bin: Option<&str>, group: usize) -> Shared {
        let bin = bin.map(str::to_owned);
        let keys = [
            (Some(machine.to_owned()), bin.clone(), group),
            (Some(machine.to_owned()), None, group),
            (None, bin, group),
            (None, None, group),
        ];
        let known = keys.iter().find_map(|key| self.shared.get(key));
        known.copied().unwrap_or_default()
    }

    /// `E[d^2] / E[d]` of that machine, bin and group; of the whole fleet where it has none; `None` where
    /// nobody worked a day of it.
    pub(super) fn typical(
        &self,
        machine: &str,
        bin: Option<&str>,
        group: usize,
        measure: usize,
    ) -> Option<f64> {
        let bin = bin.map(str::to_owned);
        let keys = [
            (Some(machine.to_owned()), bin.clone(), group, measure),
            (Some(machine.to_owned()), None, group, measure),
            (None, bin, group, measure),
            (None, None, group, measure),
        ];
        keys.iter()
            .filter_map(|key| self.sums.get(key))
            .find(|(sum, _)| 0.0 < *sum)
            .map(|(sum, squares)| squares / sum)
    }
}
