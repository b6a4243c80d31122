//! Gathers usage rows into daily sums, in any order; until the log is read they wait packed.
//!
//! Rows are given to their machines by the hundred thousand, as what lies in memory for a machine is
//! then fetched once for many of them.
//! A row waits with those of its machine, in about twelve bytes, until the log is read: no row of
//! the same day may be missing when they are added up and those entered twice are found. An amount
//! that thousandths do not hold has eight bytes more; so has a row where the log has columns of its
//! own, for what they say.

use std::collections::HashMap;

use rayon::prelude::*;

use super::amount::{self, Exact, Others, UNKNOWN};
use super::arrivals::Arrivals;
use super::names::{Names, places};
use super::pages::{Cell, Rows, Sums};
use super::store::{DayCell, MachineUse, Pair, Store};

/// Stands for the row of a cell that several rows went into.
const SEVERAL: u32 = u32::MAX;
/// Rows of one day, bin and product that are held against each other one by one.
const FEW: usize = 8;
/// Machines that a thread sees to at a time.
const SHARE: usize = 256;

/// Rows of one machine.
#[derive(Clone, Debug, Default)]
struct Heap {
    waiting: Rows,
    others: Others,
    rows: u64,
    without_bin: u64,
}

impl Heap {
    fn take(&mut self, cells: &[Cell], pairs: &[(Pair, bool)]) {
        let without_bin = cells
            .iter()
            .filter(|c| pairs[c.pair as usize].0.bin.is_none());
        self.without_bin += without_bin.count() as u64;
        self.rows += cells.len() as u64;
        self.waiting.extend(cells);
    }

    /// The finished days of use, and the rows entered twice, each with the earlier one.
    fn finish(self, marks: &[u64], pairs: &[u32]) -> (MachineUse, Vec<(u32, u32)>) {
        let mut cells = self.waiting.unpacked();
        for cell in &mut cells {
            cell.pair = pairs[cell.pair as usize];
        }
        sort(&mut cells);
        let mut twins = Vec::new();
        let mut others = Others::default();
        let mut kept = 0;
        let mut from = 0;
        while from < cells.len() {
            let key = cells[from].key();
            let same = cells[from..].iter().take_while(|c| c.key() == key).count();
            let group = from..from + same;
            cells[kept] = if same == 1 {
                let mut cell = cells[from];
                if !self.others.is_empty() {
                    cell.codes = cell.codes.map(|c| self.others.moved(c, &mut others));
                }
                cell
            } else {
                self.find_twins(&cells[group.clone()], marks, &mut twins);
                self.together(&cells[group], &mut others)
            };
            kept += 1;
            from += same;
        }
        cells.truncate(kept);
        others.shrink();
        let days = cells.iter().map(|c| DayCell {
            day: c.day,
            pair: c.pair,
            codes: c.codes,
        });
        let done = MachineUse {
            days: Sums::new(self.waiting, days),
            others,
            spread: Vec::new(),
            rows: self.rows,
            without_bin: self.without_bin,
        };
        (done, twins)
    }

    /// What rows of one day, bin and product must agree in to be equal.
    fn rest(&self, cell: &Cell, marks: &[u64]) -> [u64; 4] {
        let mark = marks.get(cell.row as usize).copied().unwrap_or(0);
        let [a, b, c] = cell.codes.map(|code| self.others.bits(code));
        [a, b, c, mark]
    }

    /// Rows equal to an earlier one; `cells` are of one day, bin and product, sorted by row.
    fn find_twins(&self, cells: &[Cell], marks: &[u64], twins: &mut Vec<(u32, u32)>) {
        if cells.len() <= FEW {
            // Codes of thousandths are equal where amounts are.
            let is_plain = self.others.is_empty() && marks.is_empty();
            let is_equal = |a: &Cell, b: &Cell| {
                if is_plain {
                    a.codes == b.codes
                } else {
                    self.rest(a, marks) == self.rest(b, marks)
                }
            };
            for (i, cell) in cells.iter().enumerate().skip(1) {
                let mut before = cells[..i].iter();
                if let Some(first) = before.find(|c| is_equal(c, cell)) {
                    twins.push((cell.row, first.row));
                }
            }
            return;
        }
        let rest = |cell: &Cell| (self.rest(cell, marks), cell.row);
        let mut all: Vec<_> = cells.iter().map(rest).collect();
        all.sort_unstable();
        for alike in all.chunk_by(|a, b| a.0 == b.0) {
            twins.extend(alike[1..].iter().map(|(_, row)| (*row, alike[0].1)));
        }
    }

    fn together(&self, cells: &[Cell], others: &mut Others) -> Cell {
        let mut sum = |measure: usize| {
            let codes = cells.iter().map(|c| c.codes[measure]);
            let plain = codes.clone().try_fold(UNKNOWN, amount::plain_sum);
            plain.unwrap_or_else(|| {
                let mut sum = Exact::default();
                let known = codes.filter_map(|c| self.others.exact(c));
                known.for_each(|exact| sum.add(exact));
                others.keep_sum(sum)
            })
        };
        Cell {
            row: SEVERAL,
            codes: [sum(0), sum(1), sum(2)],
            ..cells[0]
        }
    }
}

impl Cell {
    fn key(&self) -> (u32, u32) {
        (self.day, self.pair)
    }
}

/// By day, then pair, then row. Logs are mostly written day by day: then only days are sorted.
fn sort(cells: &mut [Cell]) {
    if cells.is_sorted_by_key(|c| c.day) {
        for day in cells.chunk_by_mut(|a, b| a.day == b.day) {
            if 1 < day.len() {
                day.sort_unstable_by_key(|c| (c.pair, c.row));
            }
        }
    } else {
        cells.sort_unstable_by_key(|c| (c.day, c.pair, c.row));
    }
}

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

    #[inline]
    fn arrive(&mut self, row: u32, day: u32, (machine, pair): (u32, u32), codes: [u32; 3]) {
        self.pair_list[pair as usize].1 = true;
        let cell = Cell {
            day,
            pair,
            row,
            codes,
        };
        if self.arrivals.push(machine, cell) {
            self.give();
        }
    }

    /// Gives the machines the rows that have arrived.
    #[cold]
    fn give(&mut self) {
        let pairs = &self.pair_list;
        let arrivals = self.arrivals.sorted(self.heaps.len());
        let heaps = self.heaps.par_iter_mut().enumerate();
        heaps.with_min_len(SHARE).for_each(|(machine, heap)| {
            let cells = arrivals.of(machine);
            if !cells.is_empty() {
                heap.take(cells, pairs);
            }
        });
        self.arrivals.clear();
    }

    /// The daily sums, and rows that are equal to an earlier one, each with that one, in order.
    pub(super) fn finish(mut self) -> (Store, Vec<(u32, u32)>) {
        self.give();
        self.arrivals = Arrivals::default();
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
        let used_machines: Vec<bool> = self.heaps.iter().map(|h| 0 < h.rows).collect();
        let (machines, machine_places) = self.machines.sorted(&used_machines);
        let marks = &self.marks;
        let done: Vec<_> = self
            .heaps
            .into_par_iter()
            .map(|heap| heap.finish(marks, &pair_places))
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
            uses,
            products,
            bins,
            pairs: order.iter().map(|i| pairs[*i as usize]).collect(),
            factors: self.factors.unwrap_or([1.0; 3]),
        };
        (store, twins)
    }
}
