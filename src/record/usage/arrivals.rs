//! Rows that have come in and are yet to be given to their machines, a batch at a time.

use super::pages::Cell;

/// Rows of a batch.
const MOST: usize = 1 << 19;

/// Rows in the order they came, and machine by machine.
#[derive(Clone, Debug, Default)]
pub(super) struct Arrivals {
    rows: Vec<(u32, Cell)>,
    sorted: Vec<Cell>,
    /// By machine: where its rows end among the sorted.
    ends: Vec<usize>,
}

impl Arrivals {
    /// Adds a row; whether there are now enough to be given away.
    #[inline]
    pub(super) fn push(&mut self, machine: u32, cell: Cell) -> bool {
        self.rows.push((machine, cell));
        MOST <= self.rows.len()
    }

    /// The same with the rows machine by machine, those of one machine in the order they came.
    pub(super) fn sorted(&mut self, machines: usize) -> &Self {
        self.ends.clear();
        self.ends.resize(machines + 1, 0);
        for (machine, _) in &self.rows {
            self.ends[*machine as usize + 1] += 1;
        }
        let mut sum = 0;
        for count in &mut self.ends {
            sum += std::mem::replace(count, sum);
        }
        // Each place moves on with its machine's rows, and so comes to their end.
        let places = &mut self.ends[1..];
        self.sorted.resize(self.rows.len(), Cell::default());
        for (machine, cell) in &self.rows {
            let place = &mut places[*machine as usize];
            self.sorted[*place] = *cell;
            *place += 1;
        }
        self
    }

    /// The rows of one machine, once they are sorted.
    pub(super) fn of(&self, machine: usize) -> &[Cell] {
        &self.sorted[self.ends[machine]..self.ends[machine + 1]]
    }

    pub(super) fn clear(&mut self) {
        self.rows.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_machine_gets_its_rows_in_order() {
        let mut arrivals = Arrivals::default();
        let cell = |row| Cell {
            row,
            ..Cell::default()
        };
        for round in 0..2 {
            for (row, machine) in [3, 0, 3, 1, 3, 0].into_iter().enumerate() {
                assert!(!arrivals.push(machine, cell(10 * round + row as u32)));
            }
            let sorted = arrivals.sorted(5);
            let rows: Vec<Vec<u32>> = (0..5)
                .map(|m| sorted.of(m).iter().map(|c| c.row - 10 * round).collect())
                .collect();
            assert_eq!(rows, [vec![1, 5], vec![3], vec![], vec![0, 2, 4], vec![]]);
            arrivals.clear();
        }
    }
}
