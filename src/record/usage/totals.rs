//! Use of every product over all machines.

use rayon::prelude::*;

use super::UsageLog;
use super::amount::{Exact, Kept};
use super::store::{MachineUse, Store};
use super::table::Table;
use crate::units::Measure;

/// By measure; `None` where none is recorded.
type OfProduct = [Option<Exact>; 3];

impl UsageLog {
    /// Acres, tons and hours of every product, in the order of [`Self::products`]; `None` where none
    /// is recorded. Exact, so that the order of days cannot tip a close race.
    #[must_use]
    pub fn totals(&self) -> Vec<[Option<f64>; 3]> {
        let store = &*self.store;
        let machines: Vec<_> = self.machine_uses().collect();
        let sums = machines
            .into_par_iter()
            .fold(Totals::default, |mut sums, (place, uses)| {
                let days = self.days(place);
                sums.add_written(uses, days.written_down(), store);
                for read in days.read_off() {
                    let amounts = read.amounts.map(|amount| amount.map(Exact::of_odd));
                    sums.add(store, read.pair, amounts);
                }
                sums
            })
            .map(|sums| sums.finish(store))
            .reduce(Vec::new, together);
        let mut totals = vec![[None; 3]; store.products.len()];
        for (total, sums) in totals.iter_mut().zip(sums) {
            *total = Measure::OF_USE.map(|m| {
                let sum = sums[m.index()];
                sum.map(|sum| sum.value(store.factors[m.index()]))
            });
        }
        totals
    }
}

impl UsageLog {
    /// Whether some use is recorded in a measure.
    #[must_use]
    pub fn has_any(&self, measure: Measure) -> bool {
        let index = measure.index();
        self.machine_uses().any(|(place, uses)| {
            let days = self.days(place);
            let mut written = 0..days.written_down();
            let is_written = match uses.kept[index] {
                Kept::Nothing => false,
                Kept::Thousandths => !written.is_empty(),
                Kept::Various => written.any(|i| uses.is_recorded(i, index)),
            };
            is_written || days.read_off().any(|read| read.amounts[index].is_some())
        })
    }
}

/// Sums of some machines.
#[derive(Debug, Default)]
struct Totals {
    by_product: Vec<OfProduct>,
    /// By measure and pair: thousandths of columns that hold nothing else, and of how many uses.
    plain: [Vec<(u64, u64)>; 3],
    room: Table,
}

impl Totals {
    fn add(&mut self, store: &Store, pair: u32, sums: OfProduct) {
        let product = store.pairs[pair as usize].product as usize;
        self.by_product
            .resize(store.products.len(), OfProduct::default());
        add(&mut self.by_product[product], sums);
    }

    /// Adds the first `count` uses that were written down.
    fn add_written(&mut self, uses: &MachineUse, count: usize, store: &Store) {
        let mut rows = std::mem::take(&mut self.room);
        uses.days.unpack(count, &mut rows);
        for (measure, codes) in rows.codes.iter().enumerate() {
            let uses_of = rows.pairs.iter().zip(codes);
            match uses.kept[measure] {
                Kept::Nothing => {}
                Kept::Thousandths => {
                    let plain = &mut self.plain[measure];
                    plain.resize(store.pairs.len(), (0, 0));
                    for (pair, code) in uses_of {
                        let (sum, cells) = &mut plain[*pair as usize];
                        *sum += u64::from(*code);
                        *cells += 1;
                    }
                }
                Kept::Various => {
                    for (pair, code) in uses_of {
                        let mut sums = OfProduct::default();
                        sums[measure] = uses.others.exact(*code);
                        self.add(store, *pair, sums);
                    }
                }
            }
        }
        self.room = rows;
    }

    fn finish(mut self, store: &Store) -> Vec<OfProduct> {
        for (measure, plain) in std::mem::take(&mut self.plain).into_iter().enumerate() {
            for (pair, (sum, cells)) in (0..).zip(plain) {
                let mut sums = OfProduct::default();
                sums[measure] = (0 < cells).then(|| Exact::of_thousandths(sum));
                self.add(store, pair, sums);
            }
        }
        self.by_product
    }
}

fn add(to: &mut OfProduct, more: OfProduct) {
    for (to, more) in to.iter_mut().zip(more) {
        if let Some(more) = more {
            to.get_or_insert_default().add(more);
        }
    }
}

fn together(mut a: Vec<OfProduct>, b: Vec<OfProduct>) -> Vec<OfProduct> {
    a.resize(a.len().max(b.len()), OfProduct::default());
    for (to, more) in a.iter_mut().zip(b) {
        add(to, more);
    }
    a
}
