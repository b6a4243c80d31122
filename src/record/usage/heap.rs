//! The rows of one machine: as they wait, and how they become daily sums once the log is read.

use super::amount::{self, Exact, Kept, Others};
use super::layout::Layout;
use super::order::{Groups, Order};
use super::pages::{Rows, Sums};
use super::store::MachineUse;
use super::table::Table;

/// Rows of one day, bin and product that are held against each other one by one.
const FEW: usize = 8;

/// Rows of one machine.
#[derive(Clone, Debug, Default)]
pub(super) struct Heap {
    pub(super) waiting: Rows,
    pub(super) others: Others,
}

/// What the log holds for all machines.
pub(super) struct Whole<'a> {
    /// By part.
    pub(super) layouts: &'a [Layout],
    /// By pair: its place once they are sorted, and whether it has a bin.
    pub(super) pairs: &'a [(u32, bool)],
    pub(super) marks: &'a [u64],
}

/// Room that is used for one machine after the other.
#[derive(Default)]
pub(super) struct Scratch {
    rows: Table,
    order: Order,
    /// Rows in order of one day and pair.
    groups: Groups,
    /// By group.
    sums: Table,
    packed: Vec<u64>,
}

impl Scratch {
    /// Brings the rows of a machine in order; how many of them have no bin.
    fn sort(&mut self, waiting: &Rows, whole: &Whole<'_>) -> u64 {
        waiting.unpack(whole.layouts, &mut self.rows);
        let mut without_bin = 0;
        for pair in &mut self.rows.pairs {
            let (place, has_bin) = whole.pairs[*pair as usize];
            *pair = place;
            without_bin += u64::from(!has_bin);
        }
        self.order.sort(&self.rows);
        self.groups.find(self.order.keys());
        without_bin
    }

    /// Makes the first row of every group its sum.
    fn begin(&mut self) {
        let firsts = self.groups.firsts().iter().map(|i| *i as usize);
        let keys = self.order.keys();
        let key = |i: usize| keys[i];
        self.sums.clear();
        let days = firsts.clone().map(|i| (key(i) >> u32::BITS) as u32);
        self.sums.days.extend(days);
        self.sums
            .pairs
            .extend(firsts.clone().map(|i| key(i) as u32));
        let places = self.order.places();
        for (sums, codes) in self.sums.codes.iter_mut().zip(&self.rows.codes) {
            sums.extend(firsts.clone().map(|i| codes[places[i] as usize]));
        }
    }
}

/// The sum of rows of which each measure is in thousandths or left out by all, where four bytes hold it.
fn plain(same: &[u32], rows: &Table, kept: [Kept; 3]) -> Option<[u32; 3]> {
    let mut sums = [0_u64; 3];
    for i in same {
        for (sum, code) in sums.iter_mut().zip(rows.codes(*i as usize)) {
            *sum += u64::from(code);
        }
    }
    amount::plain_codes(sums, kept)
}

impl Heap {
    /// The finished days of use, and the rows entered twice, each with the earlier one.
    pub(super) fn finish(
        self,
        whole: &Whole<'_>,
        scratch: &mut Scratch,
    ) -> (MachineUse, Vec<(u32, u32)>) {
        let without_bin = scratch.sort(&self.waiting, whole);
        scratch.begin();
        let mut twins = Vec::new();
        let mut others = Others::default();
        if !self.others.is_empty() {
            for sum in scratch.groups.single() {
                let codes = scratch.sums.codes(sum);
                let codes = codes.map(|c| self.others.moved(c, &mut others));
                scratch.sums.set_codes(sum, codes);
            }
        }
        let kept = scratch.rows.codes.each_ref().map(|codes| Kept::of(codes));
        let are_plain = whole.marks.is_empty() && !kept.contains(&Kept::Various);
        for (sum, same) in scratch.groups.several() {
            let same = &scratch.order.places()[same];
            self.find_twins(same, &scratch.rows, whole.marks, &mut twins);
            let plain = are_plain
                .then(|| plain(same, &scratch.rows, kept))
                .flatten();
            let codes = plain.unwrap_or_else(|| self.together(same, &scratch.rows, &mut others));
            scratch.sums.set_codes(sum, codes);
        }
        others.shrink();
        let codes = scratch.sums.codes.each_ref();
        let done = MachineUse {
            kept: codes.map(|codes| Kept::of(codes)),
            rows: self.waiting.len() as u64,
            days: Sums::new(self.waiting, &scratch.sums.columns(), &mut scratch.packed),
            others,
            spread: Vec::new(),
            without_bin,
        };
        (done, twins)
    }

    /// What rows of one day, bin and product must agree in to be equal.
    fn rest(&self, codes: [u32; 3], row: u32, marks: &[u64]) -> [u64; 4] {
        let mark = marks.get(row as usize).copied().unwrap_or(0);
        let [a, b, c] = codes.map(|code| self.others.bits(code));
        [a, b, c, mark]
    }

    /// Rows equal to an earlier one; `same` are the places of rows of one day, bin and product,
    /// sorted by their numbers.
    fn find_twins(&self, same: &[u32], rows: &Table, marks: &[u64], twins: &mut Vec<(u32, u32)>) {
        let (number, codes) = (|i: u32| rows.rows[i as usize], |i| rows.codes(i as usize));
        let rest = |i: u32| self.rest(codes(i), number(i), marks);
        if same.len() <= FEW {
            // Codes of thousandths are equal where amounts are.
            let is_plain = self.others.is_empty() && marks.is_empty();
            let is_equal = |a: u32, b: u32| {
                if is_plain {
                    codes(a) == codes(b)
                } else {
                    rest(a) == rest(b)
                }
            };
            for (i, row) in same.iter().enumerate().skip(1) {
                let mut before = same[..i].iter();
                if let Some(first) = before.find(|first| is_equal(**first, *row)) {
                    twins.push((number(*row), number(*first)));
                }
            }
            return;
        }
        let mut all: Vec<_> = same.iter().map(|i| (rest(*i), number(*i))).collect();
        all.sort_unstable();
        for alike in all.chunk_by(|a, b| a.0 == b.0) {
            twins.extend(alike[1..].iter().map(|(_, row)| (*row, alike[0].1)));
        }
    }

    /// The amounts of several rows as one.
    fn together(&self, same: &[u32], rows: &Table, others: &mut Others) -> [u32; 3] {
        let mut measure = 0;
        rows.codes.each_ref().map(|column| {
            let own = measure;
            measure += 1;
            let codes = same.iter().map(|i| column[*i as usize]);
            if codes.clone().any(|c| c == amount::UNKNOWN) && self.leaves_out(own, same, rows) {
                return amount::UNKNOWN;
            }
            amount::plain_total(codes.clone()).unwrap_or_else(|| {
                let mut sum = Exact::default();
                let known = codes.filter_map(|c| self.others.exact(c));
                known.for_each(|exact| sum.add(exact));
                others.keep_sum(sum)
            })
        })
    }

    /// Whether some row is a load of its own whose amount in this measure nobody recorded: then
    /// nobody knows that of the day. Rows that share no measure with those that have it are the rest
    /// of the same loads, as where one column of a notebook became rows of their own.
    fn leaves_out(&self, measure: usize, same: &[u32], rows: &Table) -> bool {
        let (mut having, mut lacking) = (0_u8, 0_u8);
        for i in same {
            let codes = rows.codes(*i as usize);
            let recorded = codes.map(|c| self.others.exact(c).is_some());
            let all = (0..3).fold(0, |all, m| all | u8::from(recorded[m]) << m);
            if recorded[measure] {
                having |= all;
            } else {
                lacking |= all;
            }
        }
        having & lacking != 0
    }
}
