//! What was spread up to any day, product by product and bin by bin: added up once, looked up often.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::Mix;
use crate::record::usage::UsageLog;
use crate::record::{Amounts, MeterKind};
use crate::units::Measure;

/// Product and bin.
type Key<'r> = (&'r str, Option<&'r str>);

/// Sums of acres, tons and hours up to each day on which there was any use, by product and bin.
#[derive(Default)]
pub(super) struct Mixes<'r> {
    sums: BTreeMap<Key<'r>, Vec<(NaiveDate, [f64; 3])>>,
}

impl<'r> Mixes<'r> {
    /// Of one machine.
    pub(super) fn of_machine(usage: &'r UsageLog, machine: &str) -> Self {
        let products = usage.products();
        let days = usage.of_machine(machine);
        Self::new(days.map(|day| {
            let key = (products[day.product].as_str(), day.bin);
            (day.date, key, day.amounts)
        }))
    }

    /// Of all machines together.
    pub(super) fn of_fleet(usage: &'r UsageLog) -> Self {
        Self::new(
            usage
                .iter()
                .map(|r| (r.date, (r.product, r.bin), r.amounts)),
        )
    }

    fn new(rows: impl Iterator<Item = (NaiveDate, Key<'r>, Amounts)>) -> Self {
        let mut days: BTreeMap<Key<'r>, BTreeMap<NaiveDate, [f64; 3]>> = BTreeMap::new();
        for (date, key, amounts) in rows {
            let sums = days.entry(key).or_default().entry(date).or_default();
            for (sum, measure) in sums.iter_mut().zip(Measure::OF_USE) {
                *sum += amounts.get(measure).unwrap_or(0.0);
            }
        }
        let so_far = |days: BTreeMap<NaiveDate, [f64; 3]>| {
            let mut sums = [0.0; 3];
            let add = |(date, amounts): (NaiveDate, [f64; 3])| {
                for (sum, amount) in sums.iter_mut().zip(amounts) {
                    *sum += amount;
                }
                (date, sums)
            };
            days.into_iter().map(add).collect()
        };
        let sums = days.into_iter().map(|(key, days)| (key, so_far(days)));
        Self {
            sums: sums.collect(),
        }
    }

    /// Shares in the log up to a day of what the meter counts, or else of the first measure that says
    /// anything: a product with many tons an hour has few of the hours.
    pub(super) fn up_to(&self, until: NaiveDate, meter: MeterKind) -> Option<Mix> {
        let last = |(key, days): (&Key<'r>, &Vec<(NaiveDate, [f64; 3])>)| {
            let after = days.partition_point(|(date, _)| *date <= until);
            after.checked_sub(1).map(|last| (*key, days[last].1))
        };
        let sums: Vec<_> = self.sums.iter().filter_map(last).collect();
        let counted = match meter {
            MeterKind::Acres => 0,
            MeterKind::Tons => 1,
            MeterKind::Hours | MeterKind::EngineHours | MeterKind::Miles => 2,
        };
        // Tons tell most of what a spreader did, then acres, then hours.
        [counted, 1, 0, 2].into_iter().find_map(|i| {
            let total: f64 = sums.iter().map(|(_, sums)| sums[i]).sum();
            let owned = |(product, bin): Key<'_>| (product.to_owned(), bin.map(str::to_owned));
            let shares = || {
                sums.iter()
                    .filter(|(_, sums)| 0.0 < sums[i])
                    .map(|(key, sums)| (owned(*key), sums[i] / total))
                    .collect()
            };
            (0.0 < total).then(shares)
        })
    }
}
