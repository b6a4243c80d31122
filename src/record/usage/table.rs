//! Rows of use by numbers, column by column.

/// Numbers of a row.
pub(super) const NUMBERS: usize = 6;

/// Rows by numbers, column by column: all columns are of one length; one that says nothing, where
/// that is allowed, is empty.
#[derive(Clone, Copy, Debug, Default)]
pub struct UseColumns<'a> {
    /// Days, counted from the first of the common era.
    pub days: &'a [u32],
    /// Bins and products.
    pub pairs: &'a [u32],
    /// The rows' own numbers.
    pub rows: &'a [u32],
    /// Codes of acres, tons and hours.
    pub codes: [&'a [u32]; 3],
}

impl<'a> UseColumns<'a> {
    pub(super) fn all(&self) -> [&'a [u32]; NUMBERS] {
        let [a, b, c] = self.codes;
        [self.days, self.pairs, self.rows, a, b, c]
    }

    /// Whether there are so many rows, in every column.
    pub(super) fn are(&self, count: usize) -> bool {
        self.all().iter().all(|column| column.len() == count)
    }

    /// The rows from one place to another.
    pub(super) fn part(&self, from: usize, to: usize) -> Self {
        let of = |column: &'a [u32]| column.get(from..to).unwrap_or_default();
        Self {
            days: of(self.days),
            pairs: of(self.pairs),
            rows: of(self.rows),
            codes: self.codes.map(of),
        }
    }
}

/// Columns that grow.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    pub(super) days: Vec<u32>,
    pub(super) pairs: Vec<u32>,
    pub(super) rows: Vec<u32>,
    pub(super) codes: [Vec<u32>; 3],
}

impl Table {
    pub(super) fn columns(&self) -> UseColumns<'_> {
        UseColumns {
            days: &self.days,
            pairs: &self.pairs,
            rows: &self.rows,
            codes: self.codes.each_ref().map(Vec::as_slice),
        }
    }

    pub(super) fn push(&mut self, day: u32, pair: u32, codes: [u32; 3]) {
        self.days.push(day);
        self.pairs.push(pair);
        for (column, code) in self.codes.iter_mut().zip(codes) {
            column.push(code);
        }
    }

    pub(super) fn append(&mut self, columns: &UseColumns<'_>) {
        for (own, more) in self.all().into_iter().zip(columns.all()) {
            own.extend_from_slice(more);
        }
    }

    pub(super) fn codes(&self, row: usize) -> [u32; 3] {
        let [a, b, c] = &self.codes;
        [a[row], b[row], c[row]]
    }

    pub(super) fn set_codes(&mut self, row: usize, codes: [u32; 3]) {
        for (column, code) in self.codes.iter_mut().zip(codes) {
            column[row] = code;
        }
    }

    /// Makes it so many rows, of no use where they are new.
    pub(super) fn resize(&mut self, count: usize) {
        for column in self.all() {
            column.resize(count, 0);
        }
    }

    /// Keeps the rows for which `keep` holds.
    pub(super) fn retain(&mut self, keep: &[bool]) {
        for column in self.all() {
            let mut of_rows = keep.iter();
            column.retain(|_| of_rows.next() == Some(&true));
        }
    }

    fn all(&mut self) -> [&mut Vec<u32>; NUMBERS] {
        let [a, b, c] = &mut self.codes;
        [&mut self.days, &mut self.pairs, &mut self.rows, a, b, c]
    }

    pub(super) fn clear(&mut self) {
        for column in self.all() {
            column.clear();
        }
    }
}
