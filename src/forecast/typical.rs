//! Typical use: what a machine of the fleet did on average in the last season, for machines that
//! neither plan nor record any.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Datelike;

use super::plan::{Planning, both};
use super::season::Season;
use crate::record::{Amounts, Records};

/// Months since the season's start, product, bin.
type Key = (i32, String, Option<String>);

/// Average use of a machine, by the bins its positions name.
#[derive(Clone, Debug, Default)]
pub(super) struct Typical {
    by_bins: BTreeMap<BTreeSet<String>, BTreeMap<Key, Amounts>>,
    /// Of all machines, whatever their bins.
    of_all: BTreeMap<Key, Amounts>,
}

impl Typical {
    /// From each machine's use in the last season that is over, where it used anything.
    pub(super) fn of(planning: Planning<'_>) -> Self {
        let starts = planning.records.settings.season_start();
        let last = Season::last_full(planning.as_of, starts);
        let mut typical = Self::default();
        let mut counts: BTreeMap<BTreeSet<String>, f64> = BTreeMap::new();
        let mut count = 0.0;
        for machine in planning.sums.machines() {
            let days = planning.sums.of_machine(machine);
            let days: Vec<_> = days.filter(|d| last.holds(d.date)).collect();
            // A season with days that nobody measured is no average.
            if days.is_empty() || days.iter().any(|day| day.amounts == Amounts::default()) {
                continue;
            }
            let bins = bins(planning.records, machine);
            count += 1.0;
            *counts.entry(bins.clone()).or_default() += 1.0;
            let of_bins = typical.by_bins.entry(bins).or_default();
            for day in days {
                let months = 12 * (day.date.year() - last.start.year())
                    + day.date.month0().cast_signed()
                    - last.start.month0().cast_signed();
                let product = planning.sums.products()[day.product].clone();
                add(
                    of_bins,
                    (months, product.clone(), day.bin.map(str::to_owned)),
                    day.amounts,
                );
                add(&mut typical.of_all, (months, product, None), day.amounts);
            }
        }
        for (bins, uses) in &mut typical.by_bins {
            share(uses, 1.0 / counts[bins]);
        }
        if 0.0 < count {
            share(&mut typical.of_all, 1.0 / count);
        }
        typical
    }

    /// Of machines with the same bins, or else of all.
    pub(super) fn of_machine(
        &self,
        records: &Records,
        machine: &str,
    ) -> impl Iterator<Item = (&Key, &Amounts)> {
        let bins = bins(records, machine);
        self.by_bins.get(&bins).unwrap_or(&self.of_all).iter()
    }
}

fn bins(records: &Records, machine: &str) -> BTreeSet<String> {
    let of_machine = records.positions_of(machine).iter();
    of_machine.filter_map(|p| p.bin.clone()).collect()
}

fn add(uses: &mut BTreeMap<Key, Amounts>, key: Key, amounts: Amounts) {
    uses.entry(key)
        .and_modify(|sum| *sum = both(*sum, amounts))
        .or_insert(amounts);
}

fn share(uses: &mut BTreeMap<Key, Amounts>, share: f64) {
    for amounts in uses.values_mut() {
        for amount in [&mut amounts.acres, &mut amounts.tons, &mut amounts.hours] {
            *amount = amount.map(|a| a * share);
        }
    }
}
