//! What goes through each bin of a machine whose plan names none.

use std::collections::{BTreeMap, BTreeSet};

use super::Planner;
use crate::record::{Amounts, PlanRow};
use crate::units::Measure;

impl Planner<'_> {
    /// Shares of a product's past use on a machine by bin, of all its use where it had none of the
    /// product, or equal ones where it had none through bins; empty where its parts sit in no bins.
    pub(super) fn bin_shares(&self, row: &PlanRow) -> Vec<(Option<String>, f64)> {
        let (machine, product) = (row.machine.as_str(), row.product.as_str());
        let positions = self.planning.records.positions_of(machine);
        let bins: BTreeSet<&String> = positions.iter().filter_map(|p| p.bin.as_ref()).collect();
        if bins.is_empty() {
            return Vec::new();
        }
        let days = || self.planning.sums.of_machine(machine);
        let measure = self.shared_by(row);
        let group = self.planning.groups.group(product);
        let of_group = |g: usize| self.planning.groups.names()[g] == group;
        let sums = |wanted: &dyn Fn(usize) -> bool| {
            let mut sums: BTreeMap<Option<String>, f64> = BTreeMap::new();
            for day in days().filter(|d| wanted(d.group)) {
                let amount = day.amounts.get(measure).unwrap_or(0.0);
                *sums.entry(day.bin.map(str::to_owned)).or_default() += amount;
            }
            sums
        };
        let mut by_bin = sums(&of_group);
        if by_bin.values().sum::<f64>() <= 0.0 {
            by_bin = sums(&|_| true);
        }
        let total: f64 = by_bin.values().sum();
        let named = by_bin.iter().any(|(bin, sum)| bin.is_some() && 0.0 < *sum);
        if !named || total <= 0.0 {
            let share = 1.0 / bins.len() as f64;
            return bins
                .into_iter()
                .map(|bin| (Some(bin.clone()), share))
                .collect();
        }
        let used = by_bin.into_iter().filter(|(_, sum)| 0.0 < *sum);
        used.map(|(bin, sum)| (bin, sum / total)).collect()
    }

    /// The measure of past use that a row without a bin is shared out by. One for all bins: tons of
    /// one and acres of another do not compare. One that the plan gives, where use is recorded in it:
    /// a bin with most of the tons may have few of the hours.
    fn shared_by(&self, row: &PlanRow) -> Measure {
        // Tons tell most of what went through a bin; both bins may be open on the same acres and hours.
        const ORDER: [Measure; 3] = [Measure::Tons, Measure::Acres, Measure::Hours];
        let has = |amounts: Amounts, m: Measure| amounts.get(m).is_some_and(|a| 0.0 < a);
        let days = |m: Measure| {
            let days = self.planning.sums.of_machine(&row.machine);
            days.filter(|day| has(day.amounts, m)).count()
        };
        let known = ORDER.map(days);
        let most = known.into_iter().max().unwrap_or(0);
        // What is written down for one bin alone would give it everything.
        let is_usual = |days: usize| 0 < days && 9 * most <= 10 * days;
        let usual = ORDER
            .into_iter()
            .zip(known)
            .filter(|(_, days)| is_usual(*days));
        let usual: Vec<Measure> = usual.map(|(measure, _)| measure).collect();
        let given = usual.iter().find(|m| has(row.amounts, **m));
        given.or(usual.first()).copied().unwrap_or(Measure::Acres)
    }
}
