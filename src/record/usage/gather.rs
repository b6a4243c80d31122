//! Gathers usage rows into daily sums, in any order; until the log is read they wait packed.
//!
//! Rows are given to their machines by the hundred thousand, as what lies in memory for a machine is
//! then fetched once for many of them.
//! A row waits with those of its machine, mostly in eight bytes, until the log is read: no row of
//! the same day may be missing when they are added up and those entered twice are found. An amount
//! that thousandths do not hold has eight bytes more; so has a row where the log has columns of its
//! own, for what they say.

use std::collections::HashMap;

use rayon::prelude::*;

use super::amount::{self, UNKNOWN};
use super::arrivals::{Arrivals, Sorted};
use super::heap::{Heap, Scratch, Whole};
use super::layout::Layout;
use super::names::{Names, places};
use super::store::{self, MachineUse, Pair, Store};
use super::table::UseColumns;

/// Rows of a part, which are brought in order together: few, for which few bits are enough.
const PART: usize = 1 << 17;
/// Machines that a thread sees to at a time.
const SHARE: usize = 256;

/// Usage rows on their way to daily sums.
#[derive(Clone, Debug, Default)]
pub struct Gather {
    machines: Names,
    products: Names,
    bins: Names,
    pairs: HashMap<Pair, u32>,
    /// With whether any row of it was added: others were met in rows that were set aside.
    pair_list: Vec<(Pair, bool)>,
    heaps: Vec<Heap>,
    arrivals: Arrivals,
    /// Room to bring a few parts in order.
    sorted: Vec<Sorted>,
    /// By part of the rows given to their machines.
    layouts: Vec<Layout>,
    /// Internal units in one of the log's, by measure; the first file's hold for the log.
    factors: Option<[f64; 3]>,
    /// Which measures of the file now read are in the units of the log.
    in_units: [bool; 3],
    file_factors: [f64; 3],
    /// By row: what its unknown columns say, where there are any.
    marks: Vec<u64>,
}

impl Gather {
    /// The rows to come have amounts in units of which one is `factors` internal ones.
    pub fn units(&mut self, factors: [f64; 3]) {
        let of_log = *self.factors.get_or_insert(factors);
        self.file_factors = factors;
        self.in_units = std::array::from_fn(|i| of_log[i].to_bits() == factors[i].to_bits());
    }

    /// The number of a machine.
    pub fn machine(&mut self, name: &str) -> u32 {
        let number = self.machines.number(name);
        if self.heaps.len() < self.machines.len() {
            self.heaps.resize_with(self.machines.len(), Heap::default);
        }
        number
    }

    /// The number of a product.
    pub fn product(&mut self, name: &str) -> u32 {
        self.products.number(name)
    }

    /// The number of a bin.
    pub fn bin(&mut self, name: &str) -> u32 {
        self.bins.number(name)
    }

    /// The number of a product that went through a bin.
    pub fn pair(&mut self, bin: Option<u32>, product: u32) -> u32 {
        let pair = Pair { bin, product };
        *self.pairs.entry(pair).or_insert_with(|| {
            self.pair_list.push((pair, false));
            self.pair_list.len() as u32 - 1
        })
    }

    /// The product of a pair.
    #[must_use]
    pub fn product_of(&self, pair: u32) -> u32 {
        self.pair_list[pair as usize].0.product
    }

    /// The name of a machine.
    #[must_use]
    pub fn machine_name(&self, machine: u32) -> &str {
        self.machines.name(machine)
    }

    /// The name of a product.
    #[must_use]
    pub fn product_name(&self, product: u32) -> &str {
        self.products.name(product)
    }

    /// Adds a row.
    ///
    /// - `row`: a number of its own; of equal rows the lower is the earlier.
    /// - `day`: counted from the first day of the common era.
    /// - `amounts`: acres, tons and hours in the units given before; not negative, NaN where not
    ///   recorded.
    /// - `mark`: tells rows apart that are alike in everything else; 0 for none.
    #[inline]
    pub fn push(
        &mut self,
        row: u32,
        day: u32,
        (machine, pair): (u32, u32),
        amounts: [f64; 3],
        mark: u64,
    ) {
        if mark != 0 {
            let place = row as usize;
            self.marks.resize(self.marks.len().max(place + 1), 0);
            self.marks[place] = mark;
        }
        let mut codes = [UNKNOWN; 3];
        for (i, (code, amount)) in codes.iter_mut().zip(amounts).enumerate() {
            *code = match amount::thousandths(amount) {
                Some(plain) if self.in_units[i] || plain == UNKNOWN => plain,
                _ => {
                    let others = &mut self.heaps[machine as usize].others;
                    others.keep(amount * self.file_factors[i])
                }
            };
        }
        self.arrive(row, day, (machine, pair), codes);
    }

    /// Adds a row whose amounts are [`thousandths`](amount::thousandths) or not recorded, and which
    /// is told from others by nothing else.
    #[inline]
    pub fn push_plain(&mut self, row: u32, day: u32, (machine, pair): (u32, u32), codes: [u32; 3]) {
        if self.in_units == [true; 3] {
            self.arrive(row, day, (machine, pair), codes);
        } else {
            let amounts = codes.map(amount::of_thousandths);
            self.push(row, day, (machine, pair), amounts, 0);
        }
    }

    /// Adds many rows as [`Self::push_plain`] does; `machines` are theirs.
    ///
    /// # Panics
    /// When columns differ in length.
    pub fn extend_plain(&mut self, machines: &[u32], rows: &UseColumns<'_>) {
        assert!(rows.are(machines.len()), "columns of one length");
        if self.in_units != [true; 3] {
            for (i, machine) in machines.iter().enumerate() {
                let (what, codes) = ((*machine, rows.pairs[i]), rows.codes.map(|c| c[i]));
                self.push_plain(rows.rows[i], rows.days[i], what, codes);
            }
            return;
        }
        if self.pair_list.iter().any(|(_, is_used)| !is_used) {
            for pair in rows.pairs {
                self.pair_list[*pair as usize].1 = true;
            }
        }
        // Few rows wait for more: every machine is visited when any are given away. None overtakes
        // others, as rows in their order are brought in order fastest.
        let are_many = PART.max(self.heaps.len()) <= machines.len();
        if are_many && self.arrivals.machines().is_empty() {
            self.give(machines, rows);
        } else if self.arrivals.append(machines, rows) {
            self.give_arrivals();
        }
    }

    #[inline]
    fn arrive(&mut self, row: u32, day: u32, (machine, pair): (u32, u32), codes: [u32; 3]) {
        self.pair_list[pair as usize].1 = true;
        if self.arrivals.push(row, day, (machine, pair), codes) {
            self.give_arrivals();
        }
    }

    #[cold]
    fn give_arrivals(&mut self) {
        let mut arrivals = std::mem::take(&mut self.arrivals);
        self.give(arrivals.machines(), &arrivals.columns());
        arrivals.clear();
        self.arrivals = arrivals;
    }

    /// Gives rows to their machines.
    fn give(&mut self, machines: &[u32], rows: &UseColumns<'_>) {
        let parts = machines.len().div_ceil(PART);
        self.sorted.resize_with(parts, Sorted::default);
        let count = self.heaps.len();
        let each = self.sorted.par_iter_mut().zip(machines.par_chunks(PART));
        each.enumerate().for_each(|(i, (sorted, machines))| {
            let from = i * PART;
            sorted.sort(machines, &rows.part(from, from + machines.len()), count);
        });
        let (sorted, first) = (&self.sorted, self.layouts.len() as u32);
        let heaps = self.heaps.par_iter_mut().enumerate();
        heaps.with_min_len(SHARE).for_each(|(machine, heap)| {
            for (part, sorted) in (first..).zip(sorted) {
                let of_row = sorted.layout().words();
                heap.waiting.extend(part, sorted.of(machine), of_row);
            }
        });
        self.layouts.extend(self.sorted.iter().map(Sorted::layout));
    }

    /// The daily sums, and rows that are equal to an earlier one, each with that one, in order.
    pub(super) fn finish(mut self) -> (Store, Vec<(u32, u32)>) {
        self.give_arrivals();
        (self.arrivals, self.sorted) = Default::default();
        let mut used_products = vec![false; self.products.len()];
        let mut used_bins = vec![false; self.bins.len()];
        for (pair, _) in self.pair_list.iter().filter(|(_, used)| *used) {
            used_products[pair.product as usize] = true;
            if let Some(bin) = pair.bin {
                used_bins[bin as usize] = true;
            }
        }
        let (products, product_places) = self.products.sorted(&used_products);
        let (bins, bin_places) = self.bins.sorted(&used_bins);
        let pairs: Vec<Pair> = self
            .pair_list
            .iter()
            .map(|(p, _)| Pair {
                bin: p.bin.map(|b| bin_places[b as usize]),
                product: product_places[p.product as usize],
            })
            .collect();
        let mut order: Vec<u32> = (0..pairs.len() as u32)
            .filter(|i| self.pair_list[*i as usize].1)
            .collect();
        order.sort_unstable_by_key(|i| pairs[*i as usize]);
        let pair_places = places(&order, pairs.len());
        let used_machines: Vec<bool> = self.heaps.iter().map(|h| 0 < h.waiting.len()).collect();
        let (machines, machine_places) = self.machines.sorted(&used_machines);
        let bins_of = self.pair_list.iter().map(|(pair, _)| pair.bin.is_some());
        let whole = Whole {
            layouts: &self.layouts,
            pairs: &pair_places.into_iter().zip(bins_of).collect::<Vec<_>>(),
            marks: &self.marks,
        };
        let done: Vec<_> = self
            .heaps
            .into_par_iter()
            .map_init(Scratch::default, |scratch, heap| {
                heap.finish(&whole, scratch)
            })
            .collect();
        let mut uses = vec![MachineUse::default(); machines.len()];
        let mut twins = Vec::new();
        for (place, (of_machine, of_twins)) in machine_places.into_iter().zip(done) {
            if let Some(uses) = uses.get_mut(place as usize) {
                *uses = of_machine;
                twins.extend(of_twins);
            }
        }
        twins.sort_unstable();
        let store = Store {
            machines,
            lacks: store::lacking(&uses),
            uses,
            products,
            bins,
            pairs: order.iter().map(|i| pairs[*i as usize]).collect(),
            factors: self.factors.unwrap_or([1.0; 3]),
        };
        (store, twins)
    }
}
