//! Gathers usage rows into daily sums while they are read, in any order and without holding them.
//!
//! Each machine has its own heap of cells of 24 bytes. When a heap has doubled, its rows of the
//! same day, bin and product are put together. Of rows that were, a fingerprint of 16 bytes is kept:
//! that is how rows entered twice are found. Where the log has columns of its own, each row has
//! eight bytes that stand for what they say.

use std::collections::HashMap;

use rayon::prelude::*;

use super::amount::{self, Exact, Others, UNKNOWN};
use super::names::{Names, places};
use super::store::{DayCell, MachineUse, Pair, Store};

/// Cells in a block of a heap.
const BLOCK: usize = 256;
/// Cells a heap has before it is first looked through.
const FIRST: usize = 1024;
/// Stands for the row of a cell that several rows went into.
const SEVERAL: u32 = u32::MAX;

/// A row, or the sum of several of one day, bin and product.
#[derive(Clone, Copy, Debug)]
struct Cell {
    day: u32,
    pair: u32,
    row: u32,
    codes: [u32; 3],
}

impl Cell {
    fn key(&self) -> (u32, u32) {
        (self.day, self.pair)
    }
}

/// What is known of a row that shares its day, bin and product with others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Print {
    fingerprint: u64,
    row: u32,
}

/// Cells of one machine.
#[derive(Clone, Debug, Default)]
struct Heap {
    /// The block that is being filled, and those that are full.
    tail: Vec<Cell>,
    full: Vec<Vec<Cell>>,
    /// Cells there were when it was last looked through.
    settled: usize,
    len: usize,
    others: Others,
    prints: Vec<Print>,
    rows: u64,
    without_bin: u64,
}

impl Heap {
    #[inline]
    fn push(&mut self, cell: Cell) {
        self.tail.push(cell);
        self.len += 1;
        self.rows += 1;
    }

    fn is_full(&self) -> bool {
        self.tail.len() == self.tail.capacity()
    }

    /// To be called before a cell is made: what codes stand for is sorted out anew.
    fn make_room(&mut self, marks: &[u64]) {
        if self.len >= FIRST.max(2 * self.settled) {
            let cells = self.settle(marks);
            self.settled = cells.len();
            self.len = cells.len();
            self.full = cells.chunks(BLOCK).map(<[Cell]>::to_vec).collect();
        } else if self.tail.len() >= BLOCK {
            self.full.push(std::mem::take(&mut self.tail));
        } else {
            let more = self.tail.capacity().clamp(8, BLOCK / 2);
            self.tail.reserve_exact(more);
            return;
        }
        self.tail = Vec::with_capacity(BLOCK);
    }

    /// Takes the cells out, sorted and put together.
    fn settle(&mut self, marks: &[u64]) -> Vec<Cell> {
        let mut cells = Vec::with_capacity(self.len);
        for block in self.full.drain(..) {
            cells.extend_from_slice(&block);
        }
        cells.append(&mut self.tail);
        sort(&mut cells);
        let mut others = Others::default();
        let mut kept = 0;
        let mut from = 0;
        while from < cells.len() {
            let key = cells[from].key();
            let same = cells[from..].iter().take_while(|c| c.key() == key).count();
            let group = from..from + same;
            cells[kept] = if same == 1 {
                self.moved(cells[from], &mut others)
            } else {
                for cell in &cells[group.clone()] {
                    self.print(cell, marks);
                }
                self.together(&cells[group], &mut others)
            };
            kept += 1;
            from += same;
        }
        cells.truncate(kept);
        self.others = others;
        cells
    }

    fn moved(&self, cell: Cell, others: &mut Others) -> Cell {
        if self.others.is_empty() {
            return cell;
        }
        let codes = cell.codes.map(|code| self.others.moved(code, others));
        Cell { codes, ..cell }
    }

    /// Notes what a row was that becomes part of a sum.
    fn print(&mut self, cell: &Cell, marks: &[u64]) {
        if cell.row == SEVERAL {
            return;
        }
        let mark = marks.get(cell.row as usize).copied().unwrap_or(0);
        let [a, b, c] = cell.codes.map(|code| self.others.bits(code));
        let key = u64::from(cell.day) << 32 | u64::from(cell.pair);
        let fingerprint = [key, a, b, c, mark].into_iter().fold(0, mixed);
        self.prints.push(Print {
            fingerprint,
            row: cell.row,
        });
    }

    fn together(&self, cells: &[Cell], others: &mut Others) -> Cell {
        let mut sum = |measure: usize| {
            let mut codes = cells.iter().map(|c| c.codes[measure]);
            let plain = codes.clone().try_fold(UNKNOWN, amount::plain_sum);
            plain.unwrap_or_else(|| {
                let known = codes.by_ref().filter_map(|c| self.others.exact(c));
                let mut sum = Exact::default();
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

    /// Rows equal to an earlier one of the same day, with that one.
    fn twins(&mut self) -> Vec<(u32, u32)> {
        self.prints.sort_unstable();
        let alike = self.prints.chunk_by(|a, b| a.fingerprint == b.fingerprint);
        let mut twins = Vec::new();
        for group in alike.filter(|g| 1 < g.len()) {
            twins.extend(group[1..].iter().map(|p| (p.row, group[0].row)));
        }
        self.prints = Vec::new();
        twins
    }

    /// The finished days of use, and the rows entered twice.
    fn finish(mut self, marks: &[u64], pairs: &[u32]) -> (MachineUse, Vec<(u32, u32)>) {
        let cells = self.settle(marks);
        let mut days: Vec<DayCell> = cells
            .iter()
            .map(|c| DayCell {
                day: c.day,
                pair: pairs[c.pair as usize],
                codes: c.codes,
            })
            .collect();
        drop(cells);
        for day in days.chunk_by_mut(|a, b| a.day == b.day) {
            day.sort_unstable_by_key(|c| c.pair);
        }
        let twins = self.twins();
        self.others.shrink();
        let done = MachineUse {
            days,
            others: self.others,
            spread: Vec::new(),
            rows: self.rows,
            without_bin: self.without_bin,
        };
        (done, twins)
    }
}

/// By day, then pair, then row. Logs are mostly written day by day: then only days are sorted.
fn sort(cells: &mut [Cell]) {
    let by_rest = |c: &Cell| (c.pair, c.row);
    if cells.is_sorted_by_key(|c| c.day) {
        for day in cells.chunk_by_mut(|a, b| a.day == b.day) {
            if 1 < day.len() {
                day.sort_unstable_by_key(by_rest);
            }
        }
    } else {
        cells.sort_unstable_by_key(|c| (c.day, c.pair, c.row));
    }
}

/// Mixes a number into a fingerprint; the steps are those of the finaliser of `SplitMix64`
/// (Steele, Lea and Flood 2014, written from memory).
fn mixed(so_far: u64, value: u64) -> u64 {
    let mut x = so_far.rotate_left(23) ^ value;
    x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
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
        let heap = &mut self.heaps[machine as usize];
        if heap.is_full() {
            heap.make_room(&self.marks);
        }
        let mut codes = [UNKNOWN; 3];
        for (i, (code, amount)) in codes.iter_mut().zip(amounts).enumerate() {
            *code = match amount::thousandths(amount) {
                Some(plain) if self.in_units[i] || plain == UNKNOWN => plain,
                _ => heap.others.keep(amount * self.file_factors[i]),
            };
        }
        let (Pair { bin, .. }, used) = &mut self.pair_list[pair as usize];
        heap.without_bin += u64::from(bin.is_none());
        *used = true;
        let cell = Cell {
            day,
            pair,
            row,
            codes,
        };
        heap.push(cell);
    }

    /// The daily sums, and rows that are equal to an earlier one, each with that one, in order.
    pub(super) fn finish(self) -> (Store, Vec<(u32, u32)>) {
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
