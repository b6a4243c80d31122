//! Rows that have come in and are yet to be given to their machines, a batch at a time.

use super::layout::Layout;
use super::table::{Table, UseColumns};

/// Rows that are given away together.
const MOST: usize = 1 << 19;

/// Rows that are packed before they go to their machines, few enough for the memory nearest by.
const RUN: usize = 1 << 10;

/// Rows in the order they came, with their machines.
#[derive(Clone, Debug, Default)]
pub(super) struct Arrivals {
    machines: Vec<u32>,
    rows: Table,
}

impl Arrivals {
    /// Adds a row; whether there are now enough to be given away.
    #[inline]
    pub(super) fn push(
        &mut self,
        row: u32,
        day: u32,
        (machine, pair): (u32, u32),
        codes: [u32; 3],
    ) -> bool {
        self.machines.push(machine);
        self.rows.rows.push(row);
        self.rows.push(day, pair, codes);
        MOST <= self.machines.len()
    }

    /// Adds rows; whether there are now enough to be given away.
    pub(super) fn append(&mut self, machines: &[u32], rows: &UseColumns<'_>) -> bool {
        self.machines.extend_from_slice(machines);
        self.rows.append(rows);
        MOST <= self.machines.len()
    }

    pub(super) fn machines(&self) -> &[u32] {
        &self.machines
    }

    pub(super) fn columns(&self) -> UseColumns<'_> {
        self.rows.columns()
    }

    pub(super) fn clear(&mut self) {
        self.machines.clear();
        self.rows.clear();
    }
}

/// Rows in words, machine by machine, those of one machine in the order they came.
#[derive(Clone, Debug, Default)]
pub(super) struct Sorted {
    layout: Layout,
    /// One of the words of a few rows, as they came.
    packed: Vec<u64>,
    words: Vec<u64>,
    /// By machine: where its rows end.
    ends: Vec<u32>,
}

impl Sorted {
    /// Takes rows, fewer than 2^32, of machines below `count`.
    pub(super) fn sort(&mut self, machines: &[u32], columns: &UseColumns<'_>, count: usize) {
        self.layout = Layout::new(columns);
        let of_row = self.layout.words();
        self.words.resize(machines.len() * of_row, 0);
        for word in 0..of_row {
            self.begin(machines, count);
            // Each place moves on with its machine's rows, and so comes to their end.
            let places = &mut self.ends[1..];
            for (run, machines) in machines.chunks(RUN).enumerate() {
                let rows = columns.part(run * RUN, run * RUN + machines.len());
                self.packed.resize(machines.len(), 0);
                self.layout.pack(word, &rows, &mut self.packed);
                for (machine, value) in machines.iter().zip(&self.packed) {
                    let place = &mut places[*machine as usize];
                    self.words[*place as usize * of_row + word] = *value;
                    *place += 1;
                }
            }
        }
    }

    /// Where each machine's rows begin, in the place for their end.
    fn begin(&mut self, machines: &[u32], count: usize) {
        self.ends.clear();
        self.ends.resize(count + 1, 0);
        for machine in machines {
            self.ends[*machine as usize + 1] += 1;
        }
        let mut sum = 0;
        for count in &mut self.ends {
            sum += std::mem::replace(count, sum);
        }
    }

    /// The layout of the rows.
    pub(super) fn layout(&self) -> Layout {
        self.layout
    }

    /// The words of one machine's rows.
    pub(super) fn of(&self, machine: usize) -> &[u64] {
        let of_row = self.layout.words();
        let [from, to] = [machine, machine + 1].map(|m| self.ends[m] as usize * of_row);
        &self.words[from..to]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of one word, and rows that take several.
    #[test]
    fn every_machine_gets_its_rows_in_order() {
        for large in [0, u32::MAX - 1] {
            let mut arrivals = Arrivals::default();
            let mut sorted = Sorted::default();
            for round in 0..2 {
                for (row, machine) in [3, 0, 3, 1, 3, 0].into_iter().enumerate() {
                    let row = 10 * round + row as u32;
                    assert!(!arrivals.push(row, large * (row % 2), (machine, row), [large; 3]));
                }
                sorted.sort(arrivals.machines(), &arrivals.columns(), 5);
                let rows: Vec<Vec<u32>> = (0..5)
                    .map(|machine| {
                        let (words, layout) = (sorted.of(machine), sorted.layout());
                        let mut table = Table::default();
                        table.resize(words.len() / layout.words());
                        layout.unpack(words, &mut table, 0);
                        assert!(table.codes[1].iter().all(|code| *code == large));
                        assert_eq!(table.rows, table.pairs);
                        table.rows.iter().map(|row| row - 10 * round).collect()
                    })
                    .collect();
                assert_eq!(rows, [vec![1, 5], vec![3], vec![], vec![0, 2, 4], vec![]]);
                arrivals.clear();
            }
        }
    }
}
