//! Where daily sums are kept: sorted by machine, day, bin and product, mostly eight bytes each.

use chrono::{Datelike, NaiveDate};

use super::amount::{Kept, Others};
use super::pages::Sums;
use super::{Stretch, UsageRow};
use crate::units::Measure;

/// A product and the bin it went through, as numbers of their names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct Pair {
    pub(super) bin: Option<u32>,
    pub(super) product: u32,
}

/// The sum of one day, bin and product.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DayCell {
    pub(super) day: u32,
    pub(super) pair: u32,
    pub(super) codes: [u32; 3],
}

/// Use that was laid on a day between two readings of a meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SpreadUse {
    pub(super) day: u32,
    pub(super) pair: u32,
    pub(super) amounts: [Option<f64>; 3],
    pub(super) stretch: Stretch,
}

/// The use of one machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct MachineUse {
    /// Sorted by day and pair, each once.
    pub(super) days: Sums,
    pub(super) others: Others,
    /// By measure: what the amounts of `days` are.
    pub(super) kept: [Kept; 3],
    /// Sorted by day and pair.
    pub(super) spread: Vec<SpreadUse>,
    /// Rows that were written down, and those of them without a bin.
    pub(super) rows: u64,
    pub(super) without_bin: u64,
}

impl MachineUse {
    /// Whether an amount of a day's use is recorded.
    pub(super) fn is_recorded(&self, index: usize, measure: usize) -> bool {
        let cell = self.days.get(index);
        self.others.exact(cell.codes[measure]).is_some()
    }
}

/// Every machine's use.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Store {
    /// Sorted, as all names are.
    pub(super) machines: Vec<String>,
    pub(super) uses: Vec<MachineUse>,
    pub(super) products: Vec<String>,
    pub(super) bins: Vec<String>,
    /// Sorted.
    pub(super) pairs: Vec<Pair>,
    /// Internal units in one of the log's, by measure.
    pub(super) factors: [f64; 3],
    /// By measure: whether no row of any machine has any.
    pub(super) lacks: [bool; 3],
}

/// By measure: whether there is no use that has any.
pub(super) fn lacking(uses: &[MachineUse]) -> [bool; 3] {
    std::array::from_fn(|measure| {
        uses.iter().all(|of_machine| {
            let mut spread = of_machine.spread.iter();
            of_machine.kept[measure] == Kept::Nothing
                && spread.all(|s| s.amounts[measure].is_none())
        })
    })
}

/// Days since the first of the common era.
pub(super) fn number(date: NaiveDate) -> u32 {
    u32::try_from(date.num_days_from_ce()).unwrap_or(0)
}

/// The day of a number.
pub(super) fn date(number: u32) -> NaiveDate {
    let days = i32::try_from(number).ok();
    days.and_then(NaiveDate::from_num_days_from_ce_opt)
        .unwrap_or(NaiveDate::MAX)
}

impl Store {
    /// Adds use read off meters.
    pub(super) fn with_spread(mut self, rows: &[(UsageRow<'_>, Stretch)]) -> Self {
        let named = |list: &[String], names: &mut dyn Iterator<Item = &str>| {
            let mut all: Vec<String> = list.to_vec();
            all.extend(names.map(str::to_owned));
            all.sort_unstable();
            all.dedup();
            all
        };
        let machines = named(&self.machines, &mut rows.iter().map(|(r, _)| r.machine));
        let products = named(&self.products, &mut rows.iter().map(|(r, _)| r.product));
        let bins = named(&self.bins, &mut rows.iter().filter_map(|(r, _)| r.bin));
        let pair = |bin: Option<&str>, product: &str| Pair {
            bin: bin.map(|b| place(&bins, b)),
            product: place(&products, product),
        };
        let old: Vec<Pair> = self
            .pairs
            .iter()
            .map(|p| {
                let bin = p.bin.map(|b| self.bins[b as usize].as_str());
                pair(bin, &self.products[p.product as usize])
            })
            .collect();
        let mut pairs = old.clone();
        pairs.extend(rows.iter().map(|(r, _)| pair(r.bin, r.product)));
        pairs.sort_unstable();
        pairs.dedup();
        let renamed: Vec<u32> = old.iter().map(|p| place(&pairs, p)).collect();
        let mut uses = vec![MachineUse::default(); machines.len()];
        for (name, mut of_machine) in self.machines.iter().zip(std::mem::take(&mut self.uses)) {
            // The order of names has not changed, so the order of cells has not.
            of_machine.days = of_machine.days.renamed(&renamed);
            for spread in &mut of_machine.spread {
                spread.pair = renamed[spread.pair as usize];
            }
            uses[place(&machines, name) as usize] = of_machine;
        }
        for (row, stretch) in rows {
            uses[place(&machines, row.machine) as usize]
                .spread
                .push(SpreadUse {
                    day: number(row.date),
                    pair: place(&pairs, &pair(row.bin, row.product)),
                    amounts: Measure::OF_USE.map(|m| row.amounts.get(m)),
                    stretch: *stretch,
                });
        }
        for of_machine in &mut uses {
            of_machine.spread.sort_by_key(|s| (s.day, s.pair));
        }
        Self {
            machines,
            lacks: lacking(&uses),
            uses,
            products,
            bins,
            pairs,
            factors: self.factors,
        }
    }
}

/// Where an item of a sorted list is.
fn place<Q: Ord + ?Sized, T: std::borrow::Borrow<Q>>(list: &[T], item: &Q) -> u32 {
    list.binary_search_by(|known| known.borrow().cmp(item))
        .expect("every name was put into the list") as u32
}
